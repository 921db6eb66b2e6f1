/* What follows from an answer, replaced: only what is there and has come about. */
#include <math.h>

#include "bench_day.h"
#include "logbook/corrections.h"

/* A logbook within a transaction: run 1 with a discharge by hand (entry 1, question 1) that has its
 * outcome, a result (entry 2), and a question that waits (entry 3, question 2). */
static struct logbook *a_run(const char *flags)
{
    struct logbook *logbook = memory_logbook();
    struct step_sums sums = no_sums;
    struct question_record first = {.run = 1,
                                    .n = 1,
                                    .text = "Type what the display says.",
                                    .expects = "{}",
                                    .asked_at = DAY_ONE};
    struct question_record second = {
        .run = 1, .n = 3, .text = "How many?", .expects = "{}", .asked_at = DAY_ONE};
    struct result_record result = {.run = 1,
                                   .n = 2,
                                   .name = "capacity",
                                   .value = 1.857,
                                   .unit = "Ah",
                                   .uncertainty = NAN,
                                   .how = "by hand",
                                   .flags = flags,
                                   .at = DAY_ONE + 2};

    must(logbook_begin(logbook, &error));
    assert_int_equal(add_run(logbook, add_cell(logbook, "KES-07")), 1);
    assert_int_equal(add_step(logbook, 1, 1), 1);
    must(logbook_add_question(logbook, &first, &error));
    must(logbook_answer(logbook, 1, "{\"charge\":6685.2}", "Ada", DAY_ONE, &error));
    sums.charge = 6685.2;
    sums.ended_by = "person";
    sums.quality = "good";
    must(logbook_end_step(logbook, 1, &sums, DAY_ONE + 5, &error));
    must(logbook_journal_outcome(logbook, 1, 0, 1, "{\"charge\":1.857}", DAY_ONE + 5, &error));
    add_entry(logbook, 1, 2, "record");
    must(logbook_add_result(logbook, &result, &error));
    must(logbook_journal_outcome(logbook, 1, 0, 2, "true", DAY_ONE + 5, &error));
    add_entry(logbook, 1, 3, "ask");
    must(logbook_add_question(logbook, &second, &error));
    return logbook;
}

static void add_bench(struct logbook *logbook, utc_us at, const char *accuracy)
{
    struct session_channel channel = {
        .channel = "S1", .how = "by hand", .accuracy = accuracy, .instruments = "{}"};
    must(logbook_add_session(logbook, at, "bench.lua", "", "1", &channel.session, &error));
    must(logbook_set_session_channel(logbook, &channel, &error));
}

static void test_what_was_answered(void **state)
{
    struct logbook *logbook = a_run("");
    struct answered answered;

    (void)state;
    must(logbook_answered(logbook, 1, &answered, &error));
    assert_null(answered.accuracy); /* no session is on record */
    answered_free(&answered);

    /* That of the session at work when it was taken: neither the one before nor the one after. */
    add_bench(logbook, DAY_ONE - 9, "{\"charge\":1}");
    add_bench(logbook, DAY_ONE + 1, "{\"charge\":2}");
    add_bench(logbook, DAY_ONE + 6, "{\"charge\":3}");
    must(logbook_answer(logbook, 1, "{\"charge\":6750}", "Ada", DAY_ONE + 7, &error));
    must(logbook_answered(logbook, 1, &answered, &error));
    assert_int_equal(answered.run, 1);
    assert_int_equal(answered.n, 1);
    assert_int_equal(answered.step, 1);
    assert_int_equal(answered.outcome_at, DAY_ONE + 5);
    assert_string_equal(answered.name, "discharge");
    assert_string_equal(answered.answer, "{\"charge\":6750}");
    assert_string_equal(answered.outcome, "{\"charge\":1.857}");
    assert_string_equal(answered.accuracy, "{\"charge\":2}");
    answered_free(&answered);

    must(logbook_answered(logbook, 2, &answered, &error));
    assert_null(answered.answer);
    assert_null(answered.outcome);
    assert_int_equal(answered.step, 0);
    answered_free(&answered);
    refused(ERROR_FAILED, logbook_answered(logbook, 3, &answered, &error));
    answered_free(&answered);
    must(logbook_commit(logbook, &error));
    close_sound(logbook);
}

static void test_only_what_has_come_about_is_corrected(void **state)
{
    struct logbook *logbook = a_run("");
    struct step_sums sums = no_sums;
    bool done;

    (void)state;
    must(logbook_correct_outcome(logbook, 1, 0, 1, "{\"charge\":1.875}", &error));
    refused(ERROR_INTERNAL, logbook_correct_outcome(logbook, 1, 0, 3, "4", &error));
    refused(ERROR_INTERNAL, logbook_correct_outcome(logbook, 1, 1, 1, "4", &error));
    must(logbook_correct_args(logbook, 1, 0, 2, "{\"value\":1.875}", &error));
    refused(ERROR_INTERNAL, logbook_correct_args(logbook, 1, 0, 3, "{}", &error));
    sums.charge = 6750;
    must(logbook_correct_step(logbook, 1, &sums, &error));
    refused(ERROR_INTERNAL, logbook_correct_step(logbook, 2, &sums, &error));
    must(logbook_journal_is_done(logbook, 1, 0, 2, &done, &error));
    assert_true(done);
    must(logbook_journal_is_done(logbook, 1, 0, 3, &done, &error));
    assert_false(done);
    must(logbook_commit(logbook, &error));

    ask_text(logbook, "SELECT outcome FROM journal WHERE n = 1", "{\"charge\":1.875}");
    assert_int_equal(ask(logbook, "SELECT outcome_at FROM journal WHERE n = 1"), DAY_ONE + 5);
    ask_text(logbook, "SELECT args || outcome FROM journal WHERE n = 2", "{\"value\":1.875}true");
    ask_text(logbook, "SELECT charge || ' ' || ended_by || ' ' || quality FROM outcome",
             "6750.0 person good");
    assert_int_equal(ask(logbook, "SELECT ended_at FROM outcome"), DAY_ONE + 5);
    close_sound(logbook);
}

static void test_a_result_is_flagged_once(void **state)
{
    static const struct {
        const char *before, *after;
    } flags[] = {{"", "corrected"},
                 {"gap", "gap corrected"},
                 {"uncorrected", "uncorrected corrected"},
                 {"corrected gap", "corrected gap"}};

    (void)state;
    for (size_t i = 0; i < sizeof flags / sizeof *flags; i++) {
        struct logbook *logbook = a_run(flags[i].before);
        struct result_record result = {.run = 1,
                                       .n = 2,
                                       .value = 1.875,
                                       .unit = "Ah",
                                       .uncertainty = 0.02,
                                       .freedom = INFINITY};

        must(logbook_correct_result(logbook, &result, NULL, &error)); /* told of nothing */
        ask_text(logbook, "SELECT flags FROM result", flags[i].before);
        must(logbook_correct_result(logbook, &result, "corrected", &error));
        must(logbook_correct_result(logbook, &result, "corrected", &error));
        result.n = 3;
        refused(ERROR_INTERNAL, logbook_correct_result(logbook, &result, "corrected", &error));
        must(logbook_commit(logbook, &error));
        ask_text(logbook, "SELECT flags FROM result", flags[i].after);
        ask_text(logbook, "SELECT value || ' ' || uncertainty || ' ' || how FROM result",
                 "1.875 0.02 by hand");
        assert_int_equal(ask(logbook, "SELECT freedom IS NULL FROM result"), 1);
        close_sound(logbook);
    }
}

static void test_how_a_segment_began(void **state)
{
    struct logbook *logbook = a_run("");
    struct journal_entry again = {1,           "restart_with", "{\"state\":{\"lap\":[1,2.50]}}",
                                  DAY_ONE + 6, "true",         DAY_ONE + 7};
    char *text = NULL;
    utc_us at = 0;

    (void)state;
    must(logbook_set_run_state(logbook, 1, RUN_RUNNING, DAY_ONE + 1, NULL, &error));
    must(logbook_journal_intent(logbook, 1, 1, &again, &error));
    must(logbook_segment_began(logbook, 1, 0, &text, &at, &error));
    assert_null(text);
    assert_int_equal(at, DAY_ONE + 1);
    must(logbook_segment_began(logbook, 1, 2, &text, &at, &error));
    assert_string_equal(text, "{\"lap\":[1,2.50]}"); /* as it was written */
    assert_int_equal(at, DAY_ONE + 7);
    free(text);
    refused(ERROR_INTERNAL, logbook_segment_began(logbook, 1, 1, &text, &at, &error));
    refused(ERROR_INTERNAL, logbook_segment_began(logbook, 1, 3, &text, &at, &error));
    must(logbook_commit(logbook, &error));
    close_sound(logbook);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_what_was_answered),
        cmocka_unit_test(test_only_what_has_come_about_is_corrected),
        cmocka_unit_test(test_a_result_is_flagged_once),
        cmocka_unit_test(test_how_a_segment_began),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
