/* A step saved and taken up again goes on as if nothing had been. */
#include "base/random.h"
#include "base/text.h"
#include "step/checkpoint.h"
#include "step/feed.h"

static struct step_plan plan_of(int kind)
{
    struct step_plan plan;
    switch (kind) {
    case 0:
        plan = rig_charge(2, NAN);
        plan.drop = 0.005;
        plan.blind = 300;
        break;
    case 1:
        plan = rig_discharge(DRIVE_POWER, -1.5);
        plan.voltage = 1.0;
        break;
    case 2: plan = rig_rest(5 * 3600); break;
    case 3:
        plan = rig_charge(1, NAN);
        plan.temperature_rate = 0.5 / 60;
        plan.flat = 1e-7;
        plan.blind = 600;
        break;
    default:
        plan = feed_plan(STEP_PULSE);
        plan.level[0] = (struct drive){DRIVE_CURRENT, -0.4, NAN};
        plan.level[1] = (struct drive){DRIVE_CURRENT, -4, NAN};
        plan.level_time[0] = 10;
        plan.level_time[1] = 3;
    }
    return plan;
}

/* Saves, begins anew from the plan, loads. What no checkpoint holds, the channel's clock, is put
 * back where `same_clock`, as no engine could after a restart. */
static void save_and_load(struct rig *rig, struct step_plan *plan, bool same_clock)
{
    struct step loaded;
    struct text text = TEXT_EMPTY;
    struct error error = {0};
    step_save(&rig->step, &text);
    step_begin(&loaded, plan, &rig->facts, &rig->limits, rig->channel->tick_least,
               rig->channel->tick_most, rig->channel->rest_most);
    if (step_load(&loaded, text.bytes, &error))
        fail_msg("%s", error.why);
    assert_true(loaded.origin == BENCH_NEVER);
    assert_true(text.length < 4096);
    text_free(&text);
    if (same_clock)
        loaded.origin = rig->step.origin;
    rig->step = loaded;
}

/* Runs a step; at random points (chosen by `seed`) saves and loads, or does so in a gap. */
static void run(struct rig *rig, int kind, uint64_t seed, bool loads, bool gaps)
{
    struct random random;
    struct step_plan plan = plan_of(kind);
    enum step_verdict verdict = STEP_GO_ON;
    random_seed(&random, seed);
    rig_begin(rig, &plan);
    while (verdict == STEP_GO_ON || verdict == STEP_REDRIVE) {
        verdict = rig_tick(rig);
        bool here = random_range(&random, 0, 9) == 0;
        if (!here || verdict != STEP_GO_ON)
            continue;
        if (loads)
            save_and_load(rig, &plan, !gaps);
        if (gaps) {
            step_interrupt(&rig->step, 30);
            clock_advance(&rig->clock, clock_bench(&rig->clock) + 30 * US_PER_S);
        }
    }
    step_outcome(&rig->step, &rig->out);
}

static void compare(int kind, bool gaps)
{
    for (uint64_t seed = 1; seed <= 5; seed++) {
        struct rig whole, loaded;
        rig_open(&whole, "NiMH", 2, NULL);
        rig_open(&loaded, "NiMH", 2, NULL);
        run(&whole, kind, seed, false, gaps);
        run(&loaded, kind, seed, true, gaps);
        assert_int_equal(whole.readings, loaded.readings);
        assert_memory_equal(&whole.out, &loaded.out, sizeof(whole.out));
        assert_int_equal(whole.row_count, loaded.row_count);
        assert_memory_equal(whole.rows, loaded.rows, (size_t)whole.row_count * sizeof(*whole.rows));
        assert_true(!gaps || kind == 4 || whole.out.gaps > 0);
        rig_close(&whole);
        rig_close(&loaded);
    }
}

static void goes_on_bit_for_bit(void **state)
{
    (void)state;
    for (int kind = 0; kind <= 4; kind++)
        compare(kind, false);
}

static void goes_on_bit_for_bit_after_gaps(void **state)
{
    (void)state;
    for (int kind = 0; kind <= 4; kind++)
        compare(kind, true);
}

/* Each field that is progress, set to something of its own, comes back: a field that was added to
 * the struct and forgotten in the table is found here. */
static void every_field_is_saved(void **state)
{
    struct step step, loaded;
    struct step_plan plan = plan_of(0);
    struct text text = TEXT_EMPTY;
    (void)state;
    feed_begin(&step, &plan, &LIMITS_NONE);
    loaded = step;
    double value = 1.0 / 3;
    for (double *at = &step.active; at <= &step.smooth_peak; at++)
        *at = value += 1.1;
    for (int i = 0; i < STEP_PAST; i++) {
        step.past_charge[i] = value += 1.1;
        step.past_voltage[i] = value += 1.1;
    }
    for (int i = 0; i < STEP_WINDOW; i++) {
        step.window_t[i] = value += 1.1;
        step.window_v[i] = value += 1.1;
        step.window_temperature[i] = value += 1.1;
    }
    for (int i = 0; i < PULSE_LEVELS; i++) {
        step.level_voltage[i] = value += 1.1;
        step.level_current[i] = value += 1.1;
    }
    step.elapsed_us = 123456789012;
    step.past_spacing = value += 1.1;
    step.past_count = STEP_PAST;
    step.window_count = STEP_WINDOW;
    step.stretch_start = value += 1.1;
    step.odd_currents = 2;
    step.tapering = true;
    step.last = (struct step_row){7, value, -0.0, NAN};
    step.kept = (struct step_row){6, value, INFINITY, 5e-324};
    step.level = 1;
    step.level_start = value += 1.1;
    step.gaps = 3;
    step.gap_time = value += 1.1;
    step.row_count = 99;
    step.ended_by = END_GUARD;
    step.guard = GUARD_STALE;
    step.interrupted = true;
    step.tick = value + 1.1;
    step_save(&step, &text);
    assert_int_equal(step_load(&loaded, text.bytes, NULL), 0);
    assert_memory_equal(&loaded, &step, sizeof(step));
    text_free(&text);
}

static void loads_at_the_very_beginning(void **state)
{
    struct rig rig;
    struct step_plan plan = plan_of(2);
    (void)state;
    rig_open(&rig, "NiMH", 2, NULL);
    rig_begin(&rig, &plan);
    save_and_load(&rig, &plan, false);
    assert_int_equal(rig_tick(&rig), STEP_GO_ON);
    assert_int_equal(rig.step.rows, 1);
    rig_close(&rig);
}

static void refused(const char *saved, const char *why)
{
    struct step step, before;
    struct step_plan plan = plan_of(1);
    struct error error = {0};
    feed_begin(&step, &plan, &LIMITS_NONE);
    before = step;
    assert_int_equal(step_load(&step, saved, &error), ERROR_LOGBOOK);
    if (strstr(error.why, why) == NULL)
        fail_msg("\"%s\" does not say \"%s\"", error.why, why);
    assert_memory_equal(&step, &before, sizeof(step)); /* nothing half loaded */
}

static void refuses_what_it_does_not_know(void **state)
{
    struct step step;
    struct step_plan plan = plan_of(1);
    struct text text = TEXT_EMPTY;
    char *changed;
    (void)state;
    feed_begin(&step, &plan, &LIMITS_NONE);
    feed(&step, 0, 1.3, -1);
    step_save(&step, &text);
    refused("", "format");
    refused("step/3 +0", "format");
    refused("step/1", "missing");
    refused("step/1 colour=red", "not known");
    refused("step/1 active=one", "cannot be read");
    refused("step/1 active=1 active=2", "twice");
    refused("step/1 active=1,2", "cannot be read");
    refused("step/1 level=3", "");
    refused("step/1 ended_by=boredom", "cannot be read");

    changed = malloc(text.length + 32);
    assert_non_null(changed);
    sprintf(changed, "%s +1", text.bytes);
    refused(changed, "not known");
    for (int length = 0; length < (int)text.length; length++) { /* torn */
        sprintf(changed, "%.*s", length, text.bytes);
        refused(changed, "");
    }
    for (size_t i = strlen("step/2"); i < text.length; i++) { /* no value is without its sign */
        strcpy(changed, text.bytes);
        if (changed[i] != ' ')
            continue;
        changed[i + 1] = '!';
        refused(changed, "");
    }
    free(changed);
    text_free(&text);
}

/* What versions before this one saved, in the middle of a discharge. */
static void loads_what_was_saved_before(void **state)
{
    static const char *const before =
        "step/1 elapsed_us=8001620 active=0x1.000d4562e09fep+3 charge=3.200648 "
        "energy=0x1.f9c0eb8f7d028p+1 voltage_time=0x1.3c189339ae219p+3 first_voltage=1.2345 "
        "peak_voltage=1.2345 low_voltage=1.2345 max_temperature=nan min_temperature=nan "
        "smooth_voltage=nan smooth_peak=nan past_count=3 past_spacing=0 "
        "past_charge=0,0x1.9c2d92e041f4ap-2,3.200648 past_voltage=1.2345,1.2,-0 stretch_start=0 "
        "odd_currents=2 tapering=1 last.t_us=8001620 last.voltage=1.2345 last.current=-0.4 "
        "last.temperature=nan kept.t_us=8001619 kept.voltage=1.2345 kept.current=-0.4 "
        "kept.temperature=inf row_due_us=9000000 level=0 level_start=0 level_voltage=nan,nan "
        "level_current=nan,nan window_count=0 gaps=0 gap_time=0 row_count=9 ended_by=none "
        "guard=none interrupted=0 tick=0x1.ff2ba9d1f6017p-1";
    struct step step, again;
    struct step_plan plan = plan_of(1);
    struct text text = TEXT_EMPTY;
    (void)state;
    feed_begin(&step, &plan, &LIMITS_NONE);
    again = step;
    assert_int_equal(step_load(&step, before, NULL), 0);
    assert_true(step.elapsed_us == 8001620 && step.active == 0x1.000d4562e09fep+3);
    assert_true(step.charge == 3.200648 && step.past_count == 3);
    assert_true(step.past_charge[1] == 0x1.9c2d92e041f4ap-2 && step.past_charge[2] == 3.200648);
    assert_true(step.past_voltage[2] == 0 && signbit(step.past_voltage[2]));
    assert_true(step.odd_currents == 2 && step.tapering && !step.interrupted);
    assert_true(step.last.current == -0.4 && isnan(step.last.temperature));
    assert_true(step.kept.t_us == 8001619 && isinf(step.kept.temperature));
    assert_true(step.row_due_us == 9000000 && step.row_count == 9);
    assert_true(step.tick == 0x1.ff2ba9d1f6017p-1);

    step_save(&step, &text);
    assert_int_equal(strncmp(text.bytes, "step/2 ", 7), 0);
    assert_true(text.length < strlen(before) / 2);
    assert_int_equal(step_load(&again, text.bytes, NULL), 0);
    assert_memory_equal(&again, &step, sizeof(step));
    text_free(&text);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(goes_on_bit_for_bit),
        cmocka_unit_test(goes_on_bit_for_bit_after_gaps),
        cmocka_unit_test(every_field_is_saved),
        cmocka_unit_test(loads_at_the_very_beginning),
        cmocka_unit_test(loads_what_was_saved_before),
        cmocka_unit_test(refuses_what_it_does_not_know),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
