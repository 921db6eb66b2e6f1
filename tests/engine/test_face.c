/* What a face of the engine is shown and when, and when what it asks for is acknowledged. */
#include "engine/rig.h"

#include <math.h>

#include "engine/face.h"
#include "engine/overview.h"

static struct channel_sight seen[4];
static int channels, runs;
static char doing[4][32];

static void see_channel(void *context, const struct channel_sight *sight)
{
    (void)context;
    seen[channels++] = *sight;
}

static void see_run(void *context, const struct run_sight *sight)
{
    (void)context;
    snprintf(doing[runs++], sizeof *doing, "%s %s", sight->state, sight->doing);
}

static void see(const struct rig *rig)
{
    channels = runs = 0;
    engine_see_channels(rig->engine, see_channel, NULL);
    engine_see_runs(rig->engine, see_run, NULL);
}

static void channels_and_runs_are_seen_as_they_stand(void **state)
{
    (void)state;
    struct rig rig;
    rig_open(&rig, 2);
    rig_queue(&rig, "c", "A");
    rig_queue(&rig, "q", "B");
    rig_queue(&rig, "c", "C");
    rig_engine(&rig);
    rig_until(&rig, 300);
    assert_true(engine_commit(rig.engine));
    see(&rig);
    assert_int_equal(channels, 2);
    assert_string_equal(seen[0].name, "S1");
    assert_int_equal(seen[0].run, 1);
    assert_string_equal(seen[0].cell, "A");
    assert_string_equal(seen[0].step, "charge");
    assert_near(seen[0].current, 1, 1e-6);
    assert_near(seen[0].voltage, 1.25 + 0.05, 1e-6); /* open circuit and 1 A through 0.05 ohm */
    assert_near(seen[0].limit, 600, 1e-9);
    assert_true(seen[0].elapsed > 200 && seen[0].elapsed <= 300);
    assert_near(seen[0].charge, seen[0].elapsed, 0.01); /* 1 A: as many A.s as seconds */
    assert_int_equal(seen[1].run, 2);
    assert_null(seen[1].step);
    assert_true(isnan(seen[1].voltage));
    assert_int_equal(runs, 3);
    assert_string_equal(doing[0], "running stepping");
    assert_string_equal(doing[1], "running asking");
    assert_string_equal(doing[2], "queued queued");
    rig_close(&rig);
}

static int looks;
static struct rig *looked_at;

static int face_open(void *owner, struct engine *engine, void *uv_loop, struct error *error)
{
    (void)owner;
    (void)engine;
    (void)error;
    assert_non_null(uv_loop);
    return 0;
}

/* Whatever is in memory is in the logbook, to the last second. */
static void face_look(void *owner)
{
    (void)owner;
    looks++;
    assert_true(engine_on_record(looked_at->engine));
    see(looked_at);
    if (!seen[0].step)
        return;
    json_t *rows = rig_rows(looked_at, LIST_STEPS, 1);
    assert_near(rig_number(rows, 0, "charge_Ah") * 3600, seen[0].charge, 1e-6);
    json_decref(rows);
}

static void face_close(void *owner)
{
    (void)owner;
}

static void what_is_shown_is_on_record(void **state)
{
    (void)state;
    struct rig rig;
    const struct face face = {face_open, face_look, face_close, NULL};
    rig_open(&rig, 1);
    rig_queue(&rig, "c", "A");
    struct engine_options options = {.logbook = rig.logbook,
                                     .clock = &rig.clock,
                                     .bench = &rig.bench,
                                     .scripts = &letters,
                                     .bench_name = "rig",
                                     .bench_hash = "",
                                     .face = &face,
                                     .commit_every = 1};
    /* 100 readings a real second, for two real seconds and a half. */
    struct clock real;
    clock_open_real(&real);
    clock_open_scaled(&rig.clock, 240, RIG_START, clock_utc(&real));
    rig.bench.channels[0]->tick_most = 2.4;
    looks = 0;
    looked_at = &rig;
    assert_int_equal(engine_open(&rig.engine, &options, &rig.error), 0);
    rig.engine->options.until_run = 1;
    assert_int_equal(engine_work(rig.engine, &rig.error), 0);
    assert_true(looks >= 2 && looks <= 4); /* 600 s take 2.5 s; about once a second */
    rig_close(&rig);
}

static char reply[512];
static int replies;

static void replied(void *owner, const char *json)
{
    (void)owner;
    replies++;
    string_copy(reply, sizeof reply, json);
}

static void ask(struct rig *rig, const char *request, void *owner)
{
    engine_ask(rig->engine, request, strlen(request), replied, owner);
}

static void a_reply_comes_after_its_commit(void **state)
{
    (void)state;
    struct rig rig;
    int me, you;
    rig_open(&rig, 1);
    rig_queue(&rig, "q", "A");
    rig_engine(&rig);
    rig_until(&rig, 1);
    replies = 0;
    ask(&rig, "{\"act\":\"answer\",\"question\":1,\"answer\":\"much\",\"who\":\"Ada\"}", &me);
    assert_int_equal(replies, 0);
    ask_reply_all(rig.engine);
    assert_int_equal(replies, 1);
    assert_non_null(strstr(reply, "\"error\""));
    int64_t before = engine_see(rig.engine).changes;
    ask(&rig, "{\"act\":\"answer\",\"question\":1,\"answer\":\"7\",\"who\":\"Ada\"}", &me);
    ask(&rig, "{\"act\":", &you);
    assert_true(engine_see(rig.engine).changes > before);
    engine_forget(rig.engine, &you);
    ask_reply_all(rig.engine);
    assert_int_equal(replies, 2);
    assert_non_null(strstr(reply, "\"answer\":7.0"));
    assert_true(engine_on_record(rig.engine));
    ask(&rig, "[", &you); /* never replied to: the engine is closed first */
    rig_close(&rig);
}

static void the_overview_has_what_is_open_and_the_latest_that_is_over(void **state)
{
    (void)state;
    struct rig rig;
    json_t *whole = NULL;
    rig_open(&rig, 1);
    rig_queue(&rig, "r", "A");
    rig_queue(&rig, "r", "B");
    rig_work(&rig);
    rig_queue(&rig, "q", "A");
    rig_queue(&rig, "rr", "C");
    rig_engine(&rig);
    rig_until(&rig, 200);
    assert_true(engine_commit(rig.engine));
    struct estimates *estimates = estimates_new(&letters);
    struct overview_options options = {.logbook = rig.logbook,
                                       .scripts = &letters,
                                       .estimates = estimates,
                                       .now = clock_utc(&rig.clock),
                                       .weeks = 8,
                                       .channels = 1,
                                       .over = 1};
    assert_int_equal(overview(&options, &whole, &rig.error), 0);
    const json_t *open = json_object_get(whole, "runs"), *over = json_object_get(whole, "over"),
                 *questions = json_object_get(whole, "questions");
    assert_int_equal(json_array_size(open), 2);
    assert_int_equal(json_array_size(over), 1);
    assert_near(rig_number(over, 0, "run"), 2, 0);
    assert_near(rig_number(open, 1, "run"), 4, 0);
    assert_near(rig_number(open, 1, "expected_s"), 120, 1); /* two rests of a minute */
    assert_int_equal(json_array_size(questions), 1);
    assert_string_equal(rig_text(questions, 0, "hint"), "a number");
    assert_true(json_is_null(json_object_get(whole, "agenda_trouble")));
    json_decref(whole);
    estimates_free(estimates);
    rig_close(&rig);
}

/* Of two rests of a minute, looked at `later` s after the first half minute. */
static bool is_longer_than_expected(struct rig *rig, int later)
{
    json_t *whole = NULL;
    struct estimates *estimates = estimates_new(&letters);
    struct overview_options options = {.logbook = rig->logbook,
                                       .scripts = &letters,
                                       .estimates = estimates,
                                       .now = clock_utc(&rig->clock) + later * (utc_us)US_PER_S,
                                       .weeks = 8,
                                       .channels = 1};
    assert_int_equal(overview(&options, &whole, &rig->error), 0);
    const json_t *run = json_array_get(json_object_get(whole, "runs"), 0),
                 *longer = json_object_get(run, "longer_than_expected");
    assert_true(json_is_boolean(longer));
    const bool is = json_is_true(longer);
    json_decref(whole);
    estimates_free(estimates);
    return is;
}

static void an_expected_end_that_is_past_is_remarked(void **state)
{
    (void)state;
    struct rig rig;
    rig_open(&rig, 1);
    rig_queue(&rig, "rr", "A");
    rig_engine(&rig);
    rig_until(&rig, 30);
    assert_true(engine_commit(rig.engine));
    assert_false(is_longer_than_expected(&rig, 0));
    assert_false(is_longer_than_expected(&rig, 80));
    assert_true(is_longer_than_expected(&rig, 100));
    rig_close(&rig);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(channels_and_runs_are_seen_as_they_stand),
        cmocka_unit_test(what_is_shown_is_on_record),
        cmocka_unit_test(a_reply_comes_after_its_commit),
        cmocka_unit_test(the_overview_has_what_is_open_and_the_latest_that_is_over),
        cmocka_unit_test(an_expected_end_that_is_past_is_remarked),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
