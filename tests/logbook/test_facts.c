/* Results, events, questions and the listings. */
#include <math.h>

#include "bench_day.h"

/* A logbook in memory, within a transaction, with KES-07 in run 1, one ended step, journal to 4. */
static struct logbook *a_run(void)
{
    struct logbook *logbook = memory_logbook();
    struct step_sums sums = no_sums;
    struct step_record step = {.run = 1,
                               .n = 1,
                               .channel = "S1",
                               .kind = "discharge",
                               .how = "simulated",
                               .plan = "{\"current\":0.4}",
                               .started_at = DAY_ONE};

    must(logbook_begin(logbook, &error));
    step.cell = add_cell(logbook, "KES-07");
    assert_int_equal(add_run(logbook, step.cell), 1);
    add_entry(logbook, 1, 1, "discharge");
    must(logbook_add_step(logbook, &step, &error));
    sums.charge = 1.9 * 3600;
    sums.duration = 17100;
    sums.ended_by = "voltage";
    sums.quality = "good";
    must(logbook_end_step(logbook, step.id, &sums, DAY_ONE + 1500000, &error));
    must(logbook_journal_outcome(logbook, 1, 0, 1, "{\"charge\":1.9}", DAY_ONE + 1, &error));
    add_entry(logbook, 1, 2, "record");
    add_entry(logbook, 1, 3, "ask");
    add_entry(logbook, 1, 4, "record");
    return logbook;
}

static struct result_record a_result(int64_t n)
{
    return (struct result_record){.run = 1,
                                  .n = n,
                                  .cell = 1,
                                  .name = "capacity",
                                  .value = 1.9,
                                  .unit = "Ah",
                                  .uncertainty = 0.004,
                                  .how = "simulated",
                                  .at = DAY_ONE + 2};
}

static json_t *list(struct logbook *logbook, enum listing listing, struct listing_filter filter,
                    size_t want)
{
    json_t *rows;

    must(logbook_list(logbook, listing, &filter, &rows, &error));
    assert_int_equal(json_array_size(rows), want);
    return rows;
}

static void expect_text(const json_t *rows, size_t row, const char *key, const char *want)
{
    const char *is = json_string_value(json_object_get(json_array_get(rows, row), key));

    if (is == NULL)
        fail_msg("there is no text in \"%s\"", key);
    assert_string_equal(is, want);
}

static void expect_number(const json_t *rows, size_t row, const char *key, double want)
{
    const json_t *value = json_object_get(json_array_get(rows, row), key);

    if (!json_is_number(value) || fabs(json_number_value(value) - want) > 1e-9)
        fail_msg("\"%s\" is %.12g, not %.12g", key, json_number_value(value), want);
}

static void expect_null(const json_t *rows, size_t row, const char *key)
{
    assert_true(json_is_null(json_object_get(json_array_get(rows, row), key)));
}

/* --- results ---------------------------------------------------------------------------------- */

static void test_results(void **state)
{
    struct logbook *logbook = a_run();
    struct result_record result = a_result(2), wrong = a_result(4);
    json_t *rows;

    (void)state;
    must(logbook_add_result(logbook, &result, &error));
    refused(ERROR_INTERNAL, logbook_add_result(logbook, &result, &error)); /* one a journal entry */
    wrong.value = NAN;
    refused(ERROR_FAILED, logbook_add_result(logbook, &wrong, &error));
    wrong.value = INFINITY;
    refused(ERROR_FAILED, logbook_add_result(logbook, &wrong, &error));
    result = a_result(4);
    result.name = "midpoint";
    result.unit = "V";
    result.value = 1.22;
    result.uncertainty = NAN;
    must(logbook_add_result(logbook, &result, &error));
    must(logbook_commit(logbook, &error));

    rows = list(logbook, LIST_RESULTS, (struct listing_filter){.run = 1}, 2);
    expect_number(rows, 0, "run", 1);
    expect_number(rows, 0, "step", 1); /* found by itself */
    expect_text(rows, 0, "cell", "KES-07");
    expect_text(rows, 0, "model", "Kestrel 2000");
    expect_text(rows, 0, "script", "capacity.lua");
    expect_text(rows, 0, "name", "capacity");
    expect_number(rows, 0, "value", 1.9);
    expect_text(rows, 0, "unit", "Ah");
    expect_number(rows, 0, "uncertainty", 0.004);
    expect_number(rows, 0, "percent_of_rating", 95); /* 1.9 Ah of 2.0 Ah */
    expect_text(rows, 0, "how", "simulated");
    expect_text(rows, 0, "flags", "");
    expect_text(rows, 0, "at", "2026-03-02T08:00:00.000002Z");
    expect_null(rows, 1, "uncertainty");
    expect_null(rows, 1, "percent_of_rating");
    json_decref(rows);
    json_decref(list(logbook, LIST_RESULTS, (struct listing_filter){.run = 2}, 0));
    json_decref(list(logbook, LIST_RESULTS, (struct listing_filter){.name = "midpoint"}, 1));
    json_decref(list(logbook, LIST_RESULTS, (struct listing_filter){.label = "kes-07"}, 2));
    json_decref(list(logbook, LIST_RESULTS, (struct listing_filter){.label = "KES-08"}, 0));
    ask_text(logbook, "SELECT cell || ' ' || name || ' ' || value || ' ' || unit FROM results",
             "KES-07 capacity 1.9 Ah");
    close_sound(logbook);
}

/* The quality of the step a result rests on is told with it, once. */
static void test_a_result_carries_the_quality_of_its_step(void **state)
{
    static const char *const cases[][3] = {
        {"good", "", ""},
        {"gap", "", "gap"},
        {"gap", "gap", "gap"},
        {"void", "late", "late void"},
    };

    (void)state;
    for (size_t i = 0; i < sizeof(cases) / sizeof(cases[0]); i++) {
        struct logbook *logbook = a_run();
        struct result_record result = a_result(4);
        struct step_record step = {.run = 1, .n = 3, .kind = "rest", .how = "simulated"};
        struct step_sums sums = no_sums;
        char sql[96];

        sums.quality = cases[i][0];
        must(logbook_add_step(logbook, &step, &error));
        must(logbook_end_step(logbook, step.id, &sums, DAY_ONE, &error));
        result.flags = cases[i][1];
        must(logbook_add_result(logbook, &result, &error));
        must(logbook_commit(logbook, &error));
        ask_text(logbook, "SELECT flags FROM result", cases[i][2]);
        snprintf(sql, sizeof(sql), "SELECT step = %d FROM result", (int)step.id);
        assert_int_equal(ask(logbook, sql), 1);
        close_sound(logbook);
    }
}

/* --- events, sessions ------------------------------------------------------------------------- */

static void test_events(void **state)
{
    struct logbook *logbook = a_run();
    json_t *rows;

    (void)state;
    must(logbook_add_event(logbook, DAY_ONE, 0, 0, "info", "engine begins", &error));
    must(logbook_add_event(logbook, DAY_ONE, 1, 0, "note", "smells of solder", &error));
    must(logbook_add_event(logbook, DAY_ONE, 1, 1, "warning", "a gap", &error));
    refused(ERROR_INTERNAL, logbook_add_event(logbook, DAY_ONE, 1, 0, "shout", "x", &error));
    must(logbook_commit(logbook, &error));
    rows = list(logbook, LIST_EVENTS, (struct listing_filter){0}, 3);
    expect_null(rows, 0, "run");
    expect_text(rows, 0, "text", "engine begins");
    expect_text(rows, 2, "level", "warning");
    expect_number(rows, 2, "step", 1);
    json_decref(rows);
    rows = list(logbook, LIST_EVENTS, (struct listing_filter){.run = 1}, 2);
    expect_text(rows, 0, "text", "smells of solder");
    expect_text(rows, 0, "at", "2026-03-02T08:00:00Z");
    json_decref(rows);
    close_sound(logbook);
}

static void test_sessions(void **state)
{
    struct logbook *logbook = memory_logbook();
    int64_t first, second;

    (void)state;
    must(logbook_begin(logbook, &error));
    must(logbook_add_session(logbook, DAY_ONE, "bench.lua", "ab", "0.1.0", &first, &error));
    must(logbook_add_session(logbook, DAY_ONE, "bench.lua", "ab", "0.1.0", &second, &error));
    assert_true(first > 0 && second > first);
    must(logbook_end_session(logbook, second, DAY_ONE + 1, "idle", &error));
    must(logbook_commit(logbook, &error));
    ask_text(logbook, "SELECT group_concat(id || ' ' || coalesce(ended_why, 'open')) FROM session",
             "1 open,2 idle");
    close_sound(logbook);
}

/* --- questions -------------------------------------------------------------------------------- */

static void test_questions_and_answers(void **state)
{
    struct logbook *logbook = a_run();
    struct question_record question = {.run = 1,
                                       .n = 3,
                                       .text = "Which slot?",
                                       .expects = "{\"kind\":\"number\",\"least\":1}",
                                       .asked_at = DAY_ONE};
    int64_t id;
    utc_us at;
    char *answer;
    json_t *rows;

    (void)state;
    must(logbook_question(logbook, 1, 0, 3, &id, &answer, &at, &error));
    assert_int_equal(id, 0);
    assert_null(answer);
    must(logbook_add_question(logbook, &question, &error));
    refused(ERROR_INTERNAL, logbook_add_question(logbook, &question, &error));
    must(logbook_question(logbook, 1, 0, 3, &id, &answer, &at, &error));
    assert_int_equal(id, question.id);
    assert_null(answer);
    rows = list(logbook, LIST_QUESTIONS, (struct listing_filter){0}, 1);
    expect_text(rows, 0, "text", "Which slot?");
    expect_text(rows, 0, "cell", "KES-07");
    expect_number(rows, 0, "answers", 0);
    expect_null(rows, 0, "answer");
    json_decref(rows);

    refused(ERROR_FAILED, logbook_answer(logbook, id + 1, "1", "AB", DAY_ONE + 1, &error));
    must(logbook_answer(logbook, id, "1", "AB", DAY_ONE + 1, &error));
    must(logbook_question(logbook, 1, 0, 3, &id, &answer, &at, &error));
    assert_string_equal(answer, "1");
    assert_int_equal(at, DAY_ONE + 1);
    free(answer);
    must(logbook_answer(logbook, id, "2", "AB", DAY_ONE + 2, &error)); /* a correction */
    must(logbook_question(logbook, 1, 0, 3, &id, &answer, &at, &error));
    assert_string_equal(answer, "2");
    free(answer);
    must(logbook_commit(logbook, &error));
    assert_int_equal(ask(logbook, "SELECT count(*) FROM answer"), 2); /* both are on record */

    json_decref(list(logbook, LIST_QUESTIONS, (struct listing_filter){0}, 0)); /* none is open */
    rows = list(logbook, LIST_QUESTIONS, (struct listing_filter){.run = 1}, 1);
    expect_number(rows, 0, "question", (double)question.id);
    expect_number(rows, 0, "answer", 2);
    expect_number(rows, 0, "answers", 2);
    expect_text(rows, 0, "who", "AB");
    assert_int_equal(json_integer_value(json_object_get(
                         json_object_get(json_array_get(rows, 0), "expects"), "least")),
                     1);
    json_decref(rows);
    ask_text(logbook, "SELECT text || ' ' || answer FROM questions", "Which slot? 2");
    close_sound(logbook);
}

/* --- listings --------------------------------------------------------------------------------- */

static void test_models_cells_and_runs(void **state)
{
    struct logbook *logbook = a_run();
    json_t *rows;

    (void)state;
    add_cell(logbook, "KES-08");
    add_run(logbook, 0);
    must(logbook_commit(logbook, &error));
    rows = list(logbook, LIST_MODELS, (struct listing_filter){0}, 1);
    expect_text(rows, 0, "name", "Kestrel 2000");
    expect_number(rows, 0, "rated_Ah", 2.0);
    expect_number(rows, 0, "price", 2.5);
    expect_number(rows, 0, "cells", 2);
    json_decref(rows);
    rows = list(logbook, LIST_CELLS, (struct listing_filter){0}, 2);
    expect_text(rows, 0, "label", "KES-07");
    expect_text(rows, 0, "model", "Kestrel 2000");
    expect_number(rows, 0, "rated_Ah", 2.0);
    expect_number(rows, 0, "runs", 1);
    expect_number(rows, 0, "open_run", 1);
    expect_text(rows, 0, "enrolled_at", "2026-03-02T08:00:00Z");
    expect_null(rows, 1, "open_run");
    json_decref(rows);
    json_decref(list(logbook, LIST_CELLS, (struct listing_filter){.label = "KES-08"}, 1));
    rows = list(logbook, LIST_RUNS, (struct listing_filter){0}, 2);
    expect_number(rows, 0, "run", 1);
    expect_text(rows, 0, "script", "capacity.lua");
    expect_text(rows, 0, "cell", "KES-07");
    expect_text(rows, 0, "state", "queued");
    expect_text(rows, 0, "seed", "5");
    expect_null(rows, 0, "started_at");
    assert_true(json_is_object(json_object_get(json_array_get(rows, 0), "params")));
    expect_null(rows, 1, "cell");
    json_decref(rows);
    json_decref(list(logbook, LIST_RUNS, (struct listing_filter){.run = 2}, 1));
    assert_int_equal(ask(logbook, "SELECT count(*) FROM cells"), 2);
    assert_int_equal(ask(logbook, "SELECT count(*) FROM runs WHERE state = 'queued'"), 2);
    close_sound(logbook);
}

static void test_steps_journal_and_gaps(void **state)
{
    struct logbook *logbook = a_run();
    json_t *rows;

    (void)state;
    must(logbook_add_gap(logbook, 1, DAY_ONE + 500000, DAY_ONE + 2500000, "asleep", &error));
    must(logbook_commit(logbook, &error));
    rows = list(logbook, LIST_STEPS, (struct listing_filter){.run = 1}, 1);
    expect_number(rows, 0, "step", 1);
    expect_number(rows, 0, "n", 1);
    expect_text(rows, 0, "kind", "discharge");
    expect_number(rows, 0, "charge_Ah", 1.9);
    expect_number(rows, 0, "duration_h", 4.75);
    expect_null(rows, 0, "energy_Wh");
    expect_text(rows, 0, "ended_by", "voltage");
    expect_text(rows, 0, "ended_at", "2026-03-02T08:00:01.500Z");
    expect_number(rows, 0, "samples", 0);
    assert_true(json_is_object(json_object_get(json_array_get(rows, 0), "plan")));
    json_decref(rows);
    json_decref(list(logbook, LIST_STEPS, (struct listing_filter){.run = 2}, 0));
    json_decref(list(logbook, LIST_STEPS, (struct listing_filter){.step = 1}, 1));
    json_decref(list(logbook, LIST_STEPS, (struct listing_filter){.step = 2}, 0));
    rows = list(logbook, LIST_CELL_STEPS, (struct listing_filter){.label = "KES-07"}, 1);
    expect_text(rows, 0, "script", "capacity.lua");
    expect_number(rows, 0, "charge_Ah", 1.9);
    json_decref(rows);
    json_decref(list(logbook, LIST_CELL_STEPS, (struct listing_filter){.label = "KES-08"}, 0));
    rows = list(logbook, LIST_GAPS, (struct listing_filter){.step = 1}, 1);
    expect_number(rows, 0, "from_s", 0.5);
    expect_number(rows, 0, "to_s", 2.5);
    expect_text(rows, 0, "why", "asleep");
    json_decref(rows);
    json_decref(list(logbook, LIST_GAPS, (struct listing_filter){.step = 2}, 0));
    rows = list(logbook, LIST_JOURNAL, (struct listing_filter){.run = 1}, 4);
    expect_text(rows, 0, "name", "discharge");
    assert_true(json_object_get(json_object_get(json_array_get(rows, 0), "outcome"), "charge") !=
                NULL);
    expect_null(rows, 1, "outcome");
    expect_null(rows, 1, "outcome_at");
    json_decref(rows);
    close_sound(logbook);
}

/* Runs at work side by side: the steps of each are its own. */
static void test_steps_of_runs_side_by_side(void **state)
{
    struct logbook *logbook = memory_logbook();
    json_t *rows;

    (void)state;
    must(logbook_begin(logbook, &error));
    for (int run = 0; run < 3; run++)
        add_run(logbook, 0);
    for (int n = 1; n <= 4; n++)
        for (int run = 1; run <= 2; run++)
            add_step(logbook, run, n);
    must(logbook_commit(logbook, &error));
    rows = list(logbook, LIST_STEPS, (struct listing_filter){.run = 2}, 4);
    for (size_t i = 0; i < 4; i++) {
        expect_number(rows, i, "run", 2);
        expect_number(rows, i, "step", 2.0 * (double)(i + 1));
    }
    json_decref(rows);
    json_decref(list(logbook, LIST_STEPS, (struct listing_filter){0}, 8));
    json_decref(list(logbook, LIST_STEPS, (struct listing_filter){.run = 3}, 0));
    json_decref(list(logbook, LIST_STEPS, (struct listing_filter){.run = 9}, 0));
    json_decref(list(logbook, LIST_STEPS, (struct listing_filter){.run = 2, .step = 4}, 1));
    json_decref(list(logbook, LIST_STEPS, (struct listing_filter){.run = 2, .step = 3}, 0));
    json_decref(list(logbook, LIST_STEPS, (struct listing_filter){.run = 2, .after = 4}, 2));
    json_decref(list(logbook, LIST_STEPS, (struct listing_filter){.after = 7}, 1));
    close_sound(logbook);
}

static void test_totals_of_steps(void **state)
{
    struct logbook *logbook = a_run();
    struct step_record step = {.run = 1,
                               .n = 2,
                               .cell = 1,
                               .channel = "A1",
                               .kind = "rest",
                               .how = "simulated",
                               .plan = "{}",
                               .started_at = DAY_ONE};
    json_t *rows;

    (void)state;
    must(logbook_add_step(logbook, &step, &error)); /* open, so it has come to nothing yet */
    step.n = 3;
    must(logbook_add_step(logbook, &step, &error));
    add_samples(logbook, step.id, 0, 5);
    must(logbook_end_step(logbook, step.id, &no_sums, DAY_ONE + 1, &error));
    must(logbook_commit(logbook, &error));
    rows = list(logbook, LIST_STEP_TOTALS, (struct listing_filter){0}, 2);
    expect_text(rows, 0, "channel", "A1");
    expect_number(rows, 0, "steps", 2);
    expect_number(rows, 0, "samples", 5);
    expect_text(rows, 1, "cell", "KES-07");
    expect_text(rows, 1, "channel", "S1");
    expect_text(rows, 1, "how", "simulated");
    expect_number(rows, 1, "steps", 1);
    json_decref(rows);
    json_decref(list(logbook, LIST_STEP_TOTALS, (struct listing_filter){.label = "none"}, 0));
    close_sound(logbook);
}

struct visiting {
    struct logbook *logbook;
    int deep, rows, samples, stop_after;
};

static int count_sample(void *context, int64_t k, const struct sample *sample)
{
    struct visiting *visiting = context;

    assert_int_equal(sample->t_us % US_PER_S, 1 + visiting->deep);
    assert_true(k < 3);
    visiting->samples++;
    return 0;
}

/* Reads the samples of the step, and, once, all steps anew. */
static int visit_step(void *context, json_t *row)
{
    struct visiting *visiting = context;
    const json_int_t step = json_integer_value(json_object_get(row, "step"));

    assert_int_equal(step, visiting->rows + 1);
    visiting->deep = (int)step - 1;
    must(logbook_samples(visiting->logbook, step, count_sample, visiting, &error));
    if (visiting->stop_after == 0 && step == 2) {
        struct visiting within = {.logbook = visiting->logbook, .stop_after = 3};
        must(logbook_each(visiting->logbook, LIST_STEPS, NULL, visit_step, &within, &error));
        assert_int_equal(within.rows, 3);
    }
    return ++visiting->rows == visiting->stop_after;
}

/* Row by row, while more of the logbook is read, also by the very same listing. */
static void test_visits(void **state)
{
    struct logbook *logbook = memory_logbook();

    (void)state;
    must(logbook_begin(logbook, &error));
    add_run(logbook, 0);
    for (int n = 1; n <= 4; n++)
        add_samples(logbook, add_step(logbook, 1, n), 0, 3);
    must(logbook_commit(logbook, &error));
    for (int again = 0; again < 2; again++) {
        struct visiting visiting = {.logbook = logbook};
        must(logbook_each(logbook, LIST_STEPS, NULL, visit_step, &visiting, &error));
        assert_int_equal(visiting.rows, 4);
        assert_int_equal(visiting.samples, 12);
    }
    /* Nothing is left open that would be in a writer's way. */
    must(logbook_begin(logbook, &error));
    must(logbook_commit(logbook, &error));
    close_sound(logbook);
}

/* Bytes that are no UTF-8, and JSON that is none, must not take a listing down. */
static void test_odd_texts_are_listed_as_they_are(void **state)
{
    struct logbook *logbook = a_run();
    json_t *rows;

    (void)state;
    must(logbook_add_event(logbook, DAY_ONE, 0, 0, "info", "\xff\xfe", &error));
    must(logbook_journal_outcome(logbook, 1, 0, 2, "not JSON", DAY_ONE, &error));
    must(logbook_commit(logbook, &error));
    rows = list(logbook, LIST_EVENTS, (struct listing_filter){0}, 1);
    assert_true(json_is_string(json_object_get(json_array_get(rows, 0), "text")));
    json_decref(rows);
    rows = list(logbook, LIST_JOURNAL, (struct listing_filter){.run = 1}, 4);
    expect_text(rows, 1, "outcome", "not JSON");
    json_decref(rows);
    must(logbook_list(logbook, LIST_EVENTS, NULL, &rows, &error)); /* no filter: all */
    assert_int_equal(json_array_size(rows), 1);
    json_decref(rows);
    close_sound(logbook);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_results),
        cmocka_unit_test(test_a_result_carries_the_quality_of_its_step),
        cmocka_unit_test(test_events),
        cmocka_unit_test(test_sessions),
        cmocka_unit_test(test_questions_and_answers),
        cmocka_unit_test(test_models_cells_and_runs),
        cmocka_unit_test(test_steps_journal_and_gaps),
        cmocka_unit_test(test_steps_of_runs_side_by_side),
        cmocka_unit_test(test_totals_of_steps),
        cmocka_unit_test(test_visits),
        cmocka_unit_test(test_odd_texts_are_listed_as_they_are),
    };

    return cmocka_run_group_tests_name("facts", tests, NULL, NULL);
}
