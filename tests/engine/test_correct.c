/* An answer is corrected: what follows from it is worked out anew, and what held before is told; or
 * the correction is refused, and nothing of it is kept. */
#include "engine/rig.h"

#include "bench/by_hand.h"
#include "engine/audit.h"

static void open_by_hand(struct rig *rig)
{
    rig_open(rig, 0);
    struct channel *channel = by_hand_channel("H1", "slot 1 of the charger");
    channel->placed = true;
    channel->accuracy.charge = (struct stated_accuracy){0.02, 0};
    bench_add(&rig->bench, channel, &rig->error);
}

static void say(struct rig *rig, int64_t question, const char *typed, const char *who,
                enum error_code expected)
{
    rig_act(rig,
            json_pack("{s:s, s:I, s:s, s:s}", "act", "answer", "question", (json_int_t)question,
                      "answer", typed, "who", who),
            expected);
}

/* Refused, with `word` in what is said about it. */
static void refused(struct rig *rig, int64_t question, const char *typed, const char *word)
{
    json_t *reply = NULL, *request = json_pack("{s:s, s:I, s:s, s:s}", "act", "answer", "question",
                                               (json_int_t)question, "answer", typed, "who", "Ada");
    struct error error;
    char said[1600];
    error_clear(&error);
    assert_int_equal(
        act(rig->logbook, rig->engine, &letters, clock_utc(&rig->clock), request, &reply, &error),
        ERROR_FAILED);
    assert_null(reply);
    snprintf(said, sizeof said, "%s: %s; %s", error.what, error.why, error.todo);
    if (!strstr(said, word))
        print_error("no \"%s\" in: %s\n", word, said);
    assert_non_null(strstr(said, word));
    json_decref(request);
}

/* What a correction may touch, and what it may not: all of it as one text. */
static char *all_of_it(struct rig *rig, int64_t run)
{
    static const enum listing listings[] = {LIST_RUNS,    LIST_RESULTS,   LIST_STEPS,
                                            LIST_JOURNAL, LIST_QUESTIONS, LIST_EVENTS};
    json_t *all = json_array();
    for (size_t i = 0; i < sizeof listings / sizeof *listings; i++)
        json_array_append_new(all, rig_rows(rig, listings[i], run));
    char *text = json_dumps(all, JSON_COMPACT | JSON_REAL_PRECISION(17));
    json_decref(all);
    return text;
}

static void sound(struct rig *rig)
{
    struct audit found;
    assert_int_equal(audit(rig->logbook, &letters, &found, &rig->error), 0);
    if (json_array_size(found.findings))
        print_error("%s\n", json_string_value(json_array_get(found.findings, 0)));
    assert_int_equal(json_array_size(found.findings), 0);
    assert_true(found.entries > 0);
    json_decref(found.findings);
}

static size_t events_with(struct rig *rig, int64_t run, const char *words)
{
    json_t *events = rig_rows(rig, LIST_EVENTS, run);
    size_t count = 0;
    for (size_t i = 0; i < json_array_size(events); i++)
        count += strstr(rig_text(events, i, "text"), words) != NULL &&
                 strcmp(rig_text(events, i, "level"), "note") == 0;
    json_decref(events);
    return count;
}

static void one_result(struct rig *rig, size_t i, double value, const char *flags)
{
    json_t *results = rig_rows(rig, LIST_RESULTS, 0);
    assert_near(rig_number(results, i, "value"), value, 1e-12);
    assert_string_equal(rig_text(results, i, "flags"), flags);
    json_decref(results);
}

static double answers(struct rig *rig, size_t i)
{
    json_t *questions = rig_rows(rig, LIST_QUESTIONS, 1);
    double count = rig_number(questions, i, "answers");
    json_decref(questions);
    return count;
}

/* A run that is over: a discharge by hand, "1857 mAh, 2350 mWh", recorded and noted. */
static void discharged(struct rig *rig)
{
    open_by_hand(rig);
    rig_queue(rig, "dkN", "A");
    rig_engine(rig);
    rig_until(rig, 1);
    say(rig, 1, "1857 mAh, 2350 mWh", "Ada", 0);
    rig_work(rig);
    rig_state(rig, 1, RUN_DONE);
}

static void a_run_that_is_over_shows_the_corrected_figures(void **state)
{
    (void)state;
    struct rig rig;
    discharged(&rig);
    one_result(&rig, 0, 1.857, "");
    say(&rig, 1, "1875 mAh", "Berta", 0);
    rig_state(&rig, 1, RUN_DONE);

    /* Half-width 2 % of 1875 mAh, and the last digit typed, 1 mAh; both rectangular (JCGM
     * 100:2008, 4.3.7 and F.2.2.1). */
    double u = sqrt(pow(0.02 * 1.875, 2) / 3 + pow(0.001, 2) / 12);
    json_t *results = rig_rows(&rig, LIST_RESULTS, 1);
    assert_int_equal(json_array_size(results), 1);
    assert_near(rig_number(results, 0, "value"), 1.875, 1e-12);
    assert_near(rig_number(results, 0, "uncertainty"), u, 1e-12);
    assert_near(rig_number(results, 0, "percent_of_rating"), 93.75, 1e-9);
    assert_string_equal(rig_text(results, 0, "flags"), "corrected");
    json_decref(results);

    json_t *steps = rig_rows(&rig, LIST_STEPS, 1);
    assert_near(rig_number(steps, 0, "charge_Ah"), 1.875, 1e-12);
    assert_near(rig_number(steps, 0, "energy_Wh"), 2.35, 1e-12); /* not typed again: as it was */
    assert_near(rig_number(steps, 0, "mean_voltage_V"), 2.35 / 1.875, 1e-12);
    assert_string_equal(rig_text(steps, 0, "ended_by"), "person");
    json_decref(steps);

    assert_int_equal(events_with(&rig, 1, "capacity was 1.857 Ah"), 1);
    assert_int_equal(events_with(&rig, 1,
                                 "and is 1.875 Ah (u 0.0217 Ah): question 1 was corrected "
                                 "by Berta"),
                     1);
    assert_int_equal(events_with(&rig, 1, "entry 1: charge was 1.857 Ah and is 1.875 Ah"), 1);
    assert_int_equal(events_with(&rig, 1, "the note was \"it has 1.857\" and is \"it has 1.875\""),
                     1);
    assert_int_equal(answers(&rig, 0), 2);
    sound(&rig);

    /* Corrected once more: what held in between stays too. */
    say(&rig, 1, "1.87 Ah", "", 0);
    one_result(&rig, 0, 1.87, "corrected");
    assert_int_equal(events_with(&rig, 1, "capacity was 1.875 Ah (u 0.0217 Ah) and is 1.87 Ah"), 1);
    assert_int_equal(answers(&rig, 0), 3);
    sound(&rig);
    rig_close(&rig);
}

static void the_same_again_changes_nothing(void **state)
{
    (void)state;
    struct rig rig;
    discharged(&rig);
    char *before = all_of_it(&rig, 1);
    say(&rig, 1, "1.857 Ah, 2.350 Wh", "Berta", 0);
    say(&rig, 1, "1857 mAh", "Berta", 0);
    char *after = all_of_it(&rig, 1);
    assert_string_equal(before, after);
    free(after);

    /* Neither does what no such cell has, or what is no charge. */
    say(&rig, 1, "4100 mAh", "Berta", ERROR_FAILED);
    say(&rig, 1, "1.2 V", "Berta", ERROR_FAILED);
    after = all_of_it(&rig, 1);
    assert_string_equal(before, after);
    free(before);
    free(after);
    rig_close(&rig);
}

/* The same act by an engine that has the run no more. */
static void an_engine_at_work_corrects_what_is_over(void **state)
{
    (void)state;
    struct rig rig;
    discharged(&rig);
    clock_advance(&rig.clock, 86400 * US_PER_S);
    rig.bench.channels[0]->accuracy.charge.relative = 0.5; /* today's: of no account for then */
    rig_engine(&rig);
    rig_until(&rig, 2 * 86400);
    say(&rig, 1, "1875 mAh", "Ada", 0);
    assert_true(engine_commit(rig.engine));
    rig_kill(&rig);
    json_t *results = rig_rows(&rig, LIST_RESULTS, 1);
    assert_near(rig_number(results, 0, "value"), 1.875, 1e-12);
    assert_near(rig_number(results, 0, "uncertainty"), 0.0217, 0.0001);
    json_decref(results);
    sound(&rig);
    rig_close(&rig);
}

static void a_run_goes_on_by_the_corrected_figure(void **state)
{
    (void)state;
    for (int kill = 0; kill <= 1; kill++) {
        struct rig rig;
        open_by_hand(&rig);
        rig_queue(&rig, "dqkrdk", "A"); /* what was asked is recorded: the figure last heard */
        rig_engine(&rig);
        rig_until(&rig, 1);
        say(&rig, 1, "166 mAh", "Ada", 0);
        say(&rig, 2, "3", "Ada", 0);
        rig_until(&rig, 70);
        assert_int_equal(engine_count(rig.engine).waiting_answer, 1);
        heard[0] = '\0';
        say(&rig, 2, "4", "Ada", 0);
        say(&rig, 1, "165 mAh", "Ada", 0);
        /* The script is the one that has heard it; the person is not asked again. */
        assert_non_null(strstr(heard, "\"charge\":0.165"));
        assert_int_equal(engine_count(rig.engine).waiting_answer, 1);
        one_result(&rig, 0, 4, "corrected");
        assert_int_equal(events_with(&rig, 1, "the answer was 3.0 and is 4.0"), 1);
        if (kill) {
            rig_kill(&rig);
            rig_engine(&rig);
            rig_until(&rig, 100);
        }
        say(&rig, 3, "171 mAh", "Ada", 0);
        rig_work(&rig);
        rig_state(&rig, 1, RUN_DONE);
        one_result(&rig, 1, 0.171, "");
        json_t *questions = rig_rows(&rig, LIST_QUESTIONS, 1);
        assert_int_equal(json_array_size(questions), 3);
        json_decref(questions);
        sound(&rig);
        rig_close(&rig);
    }
}

static void what_is_recorded_later_has_the_corrected_figure(void **state)
{
    (void)state;
    struct rig rig;
    open_by_hand(&rig);
    rig_queue(&rig, "qrk", "A");
    rig_engine(&rig);
    rig_until(&rig, 1);
    say(&rig, 1, "3", "Ada", 0);
    rig_until(&rig, 30); /* within the rest */
    say(&rig, 1, "4", "Ada", 0);
    rig_until(&rig, 40);
    json_t *results = rig_rows(&rig, LIST_RESULTS, 1);
    assert_int_equal(json_array_size(results), 0);
    json_decref(results);
    rig_work(&rig);
    rig_state(&rig, 1, RUN_DONE);
    one_result(&rig, 0, 4, ""); /* never was anything else */
    sound(&rig);
    rig_close(&rig);
}

static void a_run_that_failed_is_corrected_too(void **state)
{
    (void)state;
    struct rig rig;
    open_by_hand(&rig);
    rig_queue(&rig, "dkE", "A");
    rig_engine(&rig);
    rig_until(&rig, 1);
    say(&rig, 1, "1857 mAh", "Ada", 0);
    rig_work(&rig);
    rig_state(&rig, 1, RUN_FAILED);
    say(&rig, 1, "1875 mAh", "Ada", 0);
    rig_state(&rig, 1, RUN_FAILED);
    one_result(&rig, 0, 1.875, "corrected");
    assert_int_equal(events_with(&rig, 1,
                                 "it failed by \"1.857 is wrong\" and would fail by "
                                 "\"1.875 is wrong\": question 1"),
                     1);
    sound(&rig);
    rig_close(&rig);
}

/* What a channel is doing meanwhile goes on: no gap, no second look. */
static void a_step_is_not_disturbed(void **state)
{
    (void)state;
    struct rig rig;
    rig_open(&rig, 1);
    rig_queue(&rig, "qkcN", "A");
    rig_engine(&rig);
    rig_until(&rig, 1);
    say(&rig, 1, "3", "Ada", 0);
    rig_until(&rig, 200);
    assert_int_equal(engine_count(rig.engine).energised, 1);
    say(&rig, 1, "4", "Ada", 0);
    assert_int_equal(engine_count(rig.engine).energised, 1);
    rig_work(&rig);
    rig_state(&rig, 1, RUN_DONE);
    one_result(&rig, 0, 4, "corrected");
    json_t *steps = rig_rows(&rig, LIST_STEPS, 1);
    assert_string_equal(rig_text(steps, 0, "quality"), "good");
    assert_int_equal(rig_number(steps, 0, "gaps"), 0);
    assert_near(rig_number(steps, 0, "duration_h"), 600 / 3600.0, 1e-9);
    json_decref(steps);
    sound(&rig);
    rig_close(&rig);
}

/* The answer had not been taken: the one that is, holds from the start. */
static void what_is_not_taken_yet_is_only_said_anew(void **state)
{
    (void)state;
    struct rig rig;
    open_by_hand(&rig);
    rig_queue(&rig, "dk", "A");
    rig_engine(&rig);
    rig_until(&rig, 1);
    assert_true(engine_commit(rig.engine));
    rig_kill(&rig);
    say(&rig, 1, "1857 mAh", "Ada", 0);
    say(&rig, 1, "1875 mAh", "Ada", 0);
    say(&rig, 1, "1875 mAh", "Ada", 0);
    rig_work(&rig);
    one_result(&rig, 0, 1.875, "");
    assert_int_equal(answers(&rig, 0), 2);
    sound(&rig);
    rig_close(&rig);
}

static void a_script_that_would_have_gone_on_otherwise_refuses(void **state)
{
    (void)state;
    static const struct {
        const char *script, *first, *then, *words;
    } cases[] = {
        /* Another current, and the run is over. */
        {"dkD", "1857 mAh", "1875 mAh", "for discharge {\"current\":1.875"},
        /* It was done, and would have waited; it waited, and would be done. */
        {"dkO", "857 mAh", "1875 mAh", "it would ask for wait {} where it was done"},
        {"dkO", "1857 mAh", "875 mAh", "ends with 1 entry left on record"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct rig rig;
        open_by_hand(&rig);
        rig_queue(&rig, cases[i].script, "A");
        rig_engine(&rig);
        rig_until(&rig, 1);
        say(&rig, 1, cases[i].first, "Ada", 0);
        if (i == 0)
            say(&rig, 2, "1 Ah", "Ada", 0);
        rig_until(&rig, 2);
        char *before = all_of_it(&rig, 1);
        refused(&rig, 1, cases[i].then, cases[i].words);
        refused(&rig, 1, cases[i].then, "nothing is changed");
        char *after = all_of_it(&rig, 1);
        assert_string_equal(before, after);
        free(after);
        rig_work(&rig);
        rig_state(&rig, 1, RUN_DONE);

        before = (free(before), all_of_it(&rig, 1));
        refused(&rig, 1, cases[i].then, "run letters again on A");
        after = all_of_it(&rig, 1);
        assert_string_equal(before, after);
        assert_int_equal(answers(&rig, 0), 1);
        free(before);
        free(after);
        sound(&rig);
        rig_close(&rig);
    }
}

static void an_earlier_segment_is_corrected_too(void **state)
{
    (void)state;
    struct rig rig;
    open_by_hand(&rig);
    rig_queue(&rig, "dkXdk", "A");
    rig_engine(&rig);
    rig_until(&rig, 1);
    say(&rig, 1, "1857 mAh", "Ada", 0);
    rig_until(&rig, 2);
    say(&rig, 1, "1875 mAh", "Ada", 0);
    say(&rig, 2, "1.9 Ah", "Ada", 0);
    rig_work(&rig);
    rig_state(&rig, 1, RUN_DONE);
    one_result(&rig, 0, 1.875, "corrected");
    one_result(&rig, 1, 1.9, "");
    say(&rig, 1, "1874 mAh", "Ada", 0);
    say(&rig, 2, "1.8 Ah", "Ada", 0);
    one_result(&rig, 0, 1.874, "corrected");
    one_result(&rig, 1, 1.8, "corrected");
    sound(&rig);
    rig_close(&rig);
}

static void where_a_cell_is_has_no_figure_to_correct(void **state)
{
    (void)state;
    struct rig rig;
    open_by_hand(&rig);
    rig.bench.channels[0]->placed = false;
    rig_queue(&rig, "dk", "A");
    rig_engine(&rig);
    rig_until(&rig, 1);
    say(&rig, 1, "A", "Ada", 0);
    rig_until(&rig, 2);
    char *before = all_of_it(&rig, 1);
    refused(&rig, 1, "yes", "there is no figure to correct");
    char *after = all_of_it(&rig, 1);
    assert_string_equal(before, after);
    free(before);
    free(after);
    rig_close(&rig);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_run_that_is_over_shows_the_corrected_figures),
        cmocka_unit_test(the_same_again_changes_nothing),
        cmocka_unit_test(an_engine_at_work_corrects_what_is_over),
        cmocka_unit_test(a_run_goes_on_by_the_corrected_figure),
        cmocka_unit_test(what_is_recorded_later_has_the_corrected_figure),
        cmocka_unit_test(a_run_that_failed_is_corrected_too),
        cmocka_unit_test(a_step_is_not_disturbed),
        cmocka_unit_test(what_is_not_taken_yet_is_only_said_anew),
        cmocka_unit_test(a_script_that_would_have_gone_on_otherwise_refuses),
        cmocka_unit_test(an_earlier_segment_is_corrected_too),
        cmocka_unit_test(where_a_cell_is_has_no_figure_to_correct),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
