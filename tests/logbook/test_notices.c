/* Notices on record; and the last charge of a cell, by which a study's windows are counted. */
#include "bench_day.h"

#include "logbook/notices.h"
#include "logbook/studies.h"

static bool add(struct logbook *logbook, const struct notice_key *key)
{
    bool untold = false;
    must(logbook_add_notice(logbook, key, DAY_ONE, &untold, &error));
    return untold;
}

static void a_notice_is_untold_until_something_has_come_of_it(void **state)
{
    struct logbook *logbook = memory_logbook();
    (void)state;
    must(logbook_begin(logbook, &error));
    int64_t run = add_run(logbook, 0);
    const struct notice_key due = {run, 0, 1, "due"}, overdue = {run, 0, 1, "overdue"};
    add_entry(logbook, run, 1, "perform");
    assert_true(add(logbook, &due));
    assert_true(add(logbook, &due)); /* as after a crash: there, and not told */
    assert_true(add(logbook, &overdue));
    must(logbook_notice_came_of(logbook, &due, "exit 0", &error));
    assert_false(add(logbook, &due));
    assert_true(add(logbook, &overdue));
    must(logbook_notice_came_of(logbook, &due, "exit 1", &error));
    ask_text(logbook, "SELECT group_concat(what || came_of) FROM notice", "dueexit 0,overdue");
    must(logbook_commit(logbook, &error));
    close_sound(logbook);
}

static void what_is_over_is_closed(void **state)
{
    struct logbook *logbook = memory_logbook();
    (void)state;
    must(logbook_begin(logbook, &error));
    int64_t run = add_run(logbook, 0);
    const struct notice_key over = {run, 0, 1, "question"}, open = {run, 0, 2, "question"},
                            other = {run, 1, 1, "question"};
    struct journal_entry entry = {.n = 1, .name = "ask", .args = "{}", .intent_at = DAY_ONE};
    add_entry(logbook, run, 1, "ask");
    add_entry(logbook, run, 2, "ask");
    must(logbook_journal_intent(logbook, run, 1, &entry, &error)); /* of another segment: open */
    must(logbook_journal_outcome(logbook, run, 0, 1, "true", DAY_ONE, &error));
    add(logbook, &over);
    add(logbook, &open);
    add(logbook, &other);
    must(logbook_close_notices(logbook, "too late", &error));
    assert_false(add(logbook, &over));
    assert_true(add(logbook, &open));
    assert_true(add(logbook, &other));
    must(logbook_commit(logbook, &error));
    close_sound(logbook);
}

static void the_words_of_a_question(void **state)
{
    struct logbook *logbook = memory_logbook();
    char *text;
    (void)state;
    must(logbook_begin(logbook, &error));
    int64_t run = add_run(logbook, 0);
    struct question_record question = {
        .run = run, .n = 1, .text = "Warm?", .expects = "{}", .asked_at = DAY_ONE};
    add_entry(logbook, run, 1, "ask");
    must(logbook_add_question(logbook, &question, &error));
    must(logbook_question_text(logbook, question.id, &text, &error));
    assert_string_equal(text, "Warm?");
    free(text);
    must(logbook_question_text(logbook, question.id + 1, &text, &error));
    assert_string_equal(text, "");
    free(text);
    must(logbook_commit(logbook, &error));
    close_sound(logbook);
}

/* A charge of the run's cell by journal entry n, ended `hours` after day one; 0: still open. */
static void add_charge(struct logbook *logbook, int64_t run, int64_t cell, int64_t n, int hours)
{
    struct step_record step = {.run = run,
                               .n = n,
                               .cell = cell,
                               .channel = "S1",
                               .kind = "charge",
                               .how = "simulated",
                               .plan = "{}",
                               .started_at = DAY_ONE};
    add_entry(logbook, run, n, "charge");
    must(logbook_add_step(logbook, &step, &error));
    if (hours)
        must(logbook_end_step(logbook, step.id, &no_sums, DAY_ONE + hours * 3600 * US_PER_S,
                              &error));
}

static int hours_of_last(struct logbook *logbook, int64_t cell, utc_us before)
{
    utc_us at = 1;
    must(logbook_last_charge(logbook, cell, before, &at, &error));
    return at ? (int)((at - DAY_ONE) / US_PER_S / 3600) : 0;
}

static void the_last_charge_is_the_last_that_has_ended(void **state)
{
    struct logbook *logbook = memory_logbook();
    (void)state;
    must(logbook_begin(logbook, &error));
    int64_t cell = add_cell(logbook, "KES-01"), other = add_cell(logbook, "KES-02");
    int64_t run = add_run(logbook, cell);
    assert_int_equal(hours_of_last(logbook, cell, INT64_MAX), 0);
    add_charge(logbook, run, cell, 1, 16);
    add_charge(logbook, run, cell, 2, 40);
    add_charge(logbook, run, other, 3, 50);
    add_charge(logbook, run, cell, 4, 0);
    add_charge(logbook, run, cell, 5, 8); /* put on record late */
    assert_int_equal(hours_of_last(logbook, cell, INT64_MAX), 40);
    assert_int_equal(hours_of_last(logbook, cell, DAY_ONE + 40 * 3600 * US_PER_S), 40);
    assert_int_equal(hours_of_last(logbook, cell, DAY_ONE + 40 * 3600 * US_PER_S - 1), 16);
    assert_int_equal(hours_of_last(logbook, cell, DAY_ONE), 0);
    assert_int_equal(hours_of_last(logbook, other, INT64_MAX), 50);
    must(logbook_commit(logbook, &error));
    close_sound(logbook);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_notice_is_untold_until_something_has_come_of_it),
        cmocka_unit_test(what_is_over_is_closed),
        cmocka_unit_test(the_words_of_a_question),
        cmocka_unit_test(the_last_charge_is_the_last_that_has_ended),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
