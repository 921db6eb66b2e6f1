/* Charge and energy by the trapezoid at every reading: closed forms (calculus; no source needed),
 * and the rule's own known error. */
#include "step/feed.h"

/* Feeds i(t), v(t) every `h` s up to `end` s. As a rest, whose guards mind no current and whose
 * charge counts into the cell. */
static struct step fed(double (*current)(double), double (*voltage)(double), double h, double end)
{
    struct step step;
    struct step_plan plan = feed_plan(STEP_REST);
    plan.time = 1e9;
    feed_begin(&step, &plan, &LIMITS_NONE);
    long n = lround(end / h);
    for (long i = 0; i <= n; i++)
        assert_int_equal(feed(&step, (double)i * h, voltage((double)i * h), current((double)i * h)),
                         STEP_GO_ON);
    return step;
}

static double two(double t)
{
    (void)t;
    return 2;
}

static double four_tenths(double t)
{
    (void)t;
    return 0.4;
}

static double one(double t)
{
    (void)t;
    return 1;
}

static double ramp(double t)
{
    return 2 * t / 3600;
}

static double sine(double t)
{
    return sin(M_PI * t / 1800);
}

static double decay(double t)
{
    return exp(-t / 3600);
}

static double falling_in_5_h(double t)
{
    return 1.4 - 0.4 * t / 18000;
}

static double falling_in_1_h(double t)
{
    return 1.4 - 0.4 * t / 3600;
}

static void two_amperes_for_an_hour(void **state)
{
    (void)state;
    assert_within(fed(two, one, 1, 3600).charge / AH, 2.0, 1e-12);
}

static void a_ramp_is_exact(void **state)
{
    (void)state;
    assert_within(fed(ramp, one, 1, 3600).charge / AH, 1.0, 1e-12);
    assert_within(fed(ramp, one, 720, 3600).charge / AH, 1.0, 1e-12);
}

/* Half a sine of 1 A peak over 1800 s moves 1/pi = 0.3183098862 Ah; the trapezoid's own value at
 * each step width, and its error within the rule's bound. */
static void half_a_sine_is_off_by_what_the_rule_is(void **state)
{
    static const struct {
        double h, value, bound;
    } rule[] = {{900, 0.25, 0.1028},
                {450, 0.3017766953, 0.0257},
                {100, 0.3175014529, 0.00126924},
                {10, 0.3183018059, 1.269e-5}};
    (void)state;
    for (size_t i = 0; i < sizeof(rule) / sizeof(rule[0]); i++) {
        double charge = fed(sine, one, rule[i].h, 1800).charge / AH;
        assert_near(charge, rule[i].value, 1e-10);
        assert_near(charge, 1 / M_PI, rule[i].bound);
    }
}

static void linear_discharge_energy(void **state)
{
    struct step step = fed(four_tenths, falling_in_5_h, 1, 18000);
    (void)state;
    assert_within(step.charge / AH, 2.0, 1e-10);
    assert_within(step.energy / AH, 2.4, 1e-10);
    assert_within(step.voltage_time / step.active, 1.2, 1e-10);
}

/* Two ramps: 1.4 - 0.8/3 Wh exactly; 1.13333332 Wh by a trapezoid of 1 s. */
static void energy_of_two_ramps(void **state)
{
    double energy = fed(ramp, falling_in_1_h, 1, 3600).energy / AH;
    (void)state;
    assert_near(energy, 1.4 - 0.8 / 3, 2e-8);
    assert_near(energy, 1.13333332, 6e-9);
}

static void exponential_decay(void **state)
{
    (void)state;
    assert_near(fed(decay, one, 1, 18000).charge / AH, 0.993262053, 1e-8);
}

/* A meter whose zero is off by 1 mA is off by 10 mAh after 10 h. */
static double offset(double t)
{
    (void)t;
    return 0.001;
}

static void an_offset_adds_up(void **state)
{
    (void)state;
    assert_within(fed(offset, one, 10, 36000).charge / AH, 0.010, 1e-10);
}

/* The voltage at half of the charge, on a curve that bends: 1.4 - 0.4*q^2 is 1.3 V there. Thousands
 * of readings, a few points remembered. */
static void voltage_at_half_the_charge(void **state)
{
    (void)state;
    for (int n = 100; n <= 100000; n = n * 3 + 7) {
        struct step step;
        struct step_plan plan = feed_plan(STEP_DISCHARGE);
        plan.drive = (struct drive){DRIVE_CURRENT, -1, NAN};
        plan.time = 1e9;
        feed_begin(&step, &plan, &LIMITS_NONE);
        for (int i = 0; i <= n; i++) {
            double q = (double)i / n;
            feed(&step, i, 1.4 - 0.4 * q * q, -1);
        }
        assert_near(outcome_of(&step).mid_voltage, 1.3, 0.0006);
    }
}

/* Readings come when they come: their own times count. */
static void uneven_readings(void **state)
{
    struct step step;
    struct step_plan plan = feed_plan(STEP_REST);
    double t = 0;
    (void)state;
    plan.time = 1e9;
    feed_begin(&step, &plan, &LIMITS_NONE);
    for (int i = 0; t < 3600; i++) {
        feed(&step, t, 1, ramp(t));
        t += 0.5 + 7 * (i % 5);
    }
    feed(&step, 3600, 1, ramp(3600));
    assert_within(step.charge / AH, 1.0, 1e-9);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(two_amperes_for_an_hour),
        cmocka_unit_test(a_ramp_is_exact),
        cmocka_unit_test(half_a_sine_is_off_by_what_the_rule_is),
        cmocka_unit_test(linear_discharge_energy),
        cmocka_unit_test(energy_of_two_ramps),
        cmocka_unit_test(exponential_decay),
        cmocka_unit_test(an_offset_adds_up),
        cmocka_unit_test(voltage_at_half_the_charge),
        cmocka_unit_test(uneven_readings),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
