/* total and mean: what several outcomes come to, and how sure that is. Figures by hand. */
#include "bindings/drive.h"

#define THREE                                                                                      \
    "local list = { { r = 0.024, r_uncertainty = 0.0006 }, { r = 0.025, r_uncertainty = 0.0006 }," \
    " { r = 0.026, r_uncertainty = 0.0006 } } "
#define BARE "local list = { { r = 1, r_uncertainty = 0.1 }, { r = 2 } } "

/* What a body records as n, and with it. */
static double recorded(const char *body, double *uncertainty, double *freedom)
{
    struct drive_end end = drive_body(&(struct drive_case){0}, body);
    const char *at;
    if (end.status != SCRIPT_DONE)
        fail_msg("%s: failed: %s", body, end.all);
    at = strstr(end.asked.bytes, "\"uncertainty\":");
    *uncertainty = at ? strtod(at + 14, NULL) : NAN;
    at = strstr(end.asked.bytes, "\"freedom\":");
    *freedom = at ? strtod(at + 10, NULL) : NAN;
    at = strstr(end.asked.bytes, "\"value\":");
    assert_non_null(at);
    double value = strtod(at + 8, NULL);
    drive_end_free(&end);
    return value;
}

static void within(double got, double want)
{
    if (!(fabs(got - want) <= 1e-12 * fabs(want)))
        fail_msg("%.15g, not %.15g", got, want);
}

/* One channel's error is the same each time: it adds up. */
static void a_total_adds_values_and_errors(void **state)
{
    (void)state;
    double u, freedom;
    within(recorded(THREE "local n, u = total(list, 'r') record('n', n, '', u)", &u, &freedom),
           0.075);
    within(u, 0.0018);
    assert_true(isnan(freedom));
}

/* s = 0.001 of three: 0.001 / sqrt(3), 2 degrees of freedom; the channel's 0.0006 stays. Effective
 * freedom u^4 / (A^4 / 2) (JCGM 100:2008, G.4.1). */
static void a_mean_keeps_the_channels_error_and_averages_scatter(void **state)
{
    (void)state;
    double u, freedom, scatter = 0.001 * 0.001 / 3, both = scatter + 0.0006 * 0.0006;
    within(recorded(THREE "local n, u = mean(list, 'r') record('n', n, '', u)", &u, &freedom),
           0.025);
    within(u, sqrt(both));
    assert_true(fabs(freedom - 2 * both * both / (scatter * scatter)) < 1e-9);

    recorded("local n, u = mean({ { r = 5, r_uncertainty = 0.1 } }, 'r') record('n', n, '', u)", &u,
             &freedom);
    within(u, 0.1);
    assert_true(isnan(freedom));
    /* Of two without an error of the channel's own: one degree of freedom, not a hair less. */
    recorded(
        "local n, u = mean({ { r = 0.1, r_uncertainty = 0 }, { r = 0.3, r_uncertainty = 0 } }, "
        "'r') record('n', n, '', u)",
        &u, &freedom);
    within(u, 0.1);
    within(freedom, 1);
}

static void not_known_of_one_is_not_known_of_all(void **state)
{
    (void)state;
    double u, freedom;
    within(recorded(BARE "local n, u = total(list, 'r') record('n', n, '', u)", &u, &freedom), 3);
    assert_true(isnan(u));
    within(recorded(BARE "local n, u = mean(list, 'r') record('n', n, '', u)", &u, &freedom), 1.5);
    assert_true(isnan(u));
}

static void outcomes_of_steps_can_be_combined(void **state)
{
    (void)state;
    drive_asks("local outs = {} for i = 1, 2 do outs[i] = cell:discharge { current = 0.4, stop = "
               "{ voltage = 1.0 } } end record('n', (total(outs, 'charge')))",
               "discharge {\"current\":0.4,\"stop\":{\"voltage\":1.0}}\n"
               "discharge {\"current\":0.4,\"stop\":{\"voltage\":1.0}}\n"
               "record {\"name\":\"n\",\"unit\":\"1\",\"value\":3.9}\n");
}

static void wrong_ones(void **state)
{
    (void)state;
    drive_fails("mean({}, 'r')", "there are no outcomes");
    drive_fails("mean(5, 'r')", "the outcomes are a number");
    drive_fails("total({ 5 }, 'r')", "entry 1 is a number");
    drive_fails("total({ { r = 1 }, { q = 1 } }, 'r')", "outcome 2 has no 'r'");
    drive_fails("total({ { r = 0/0 } }, 'r')", "'r' of outcome 1 is no number");
    drive_fails("total({ { r = 'x' } }, 'r')", "'r' of outcome 1 is no number");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_total_adds_values_and_errors),
        cmocka_unit_test(a_mean_keeps_the_channels_error_and_averages_scatter),
        cmocka_unit_test(not_known_of_one_is_not_known_of_all),
        cmocka_unit_test(outcomes_of_steps_can_be_combined),
        cmocka_unit_test(wrong_ones),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
