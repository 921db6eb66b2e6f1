/* Which cell is where: asked before a run starts, judged before a channel is energised, and asked
 * again when what stands there cannot be the cell. Over kills, pauses and stops. */
#include "engine/rig.h"

#include "bench/by_hand.h"

/* --- a channel whose voltage the test sets ---------------------------------------------------- */

static double volts;
static double driven; /* A */
static int drives;
static const struct clock *ticks;

static int put_in(struct channel *channel, const struct cell_facts *cell, struct error *error)
{
    (void)channel, (void)cell, (void)error;
    return 0;
}

static enum channel_reply drive(struct channel *channel, const struct drive *wanted,
                                struct error *error)
{
    (void)channel, (void)error;
    driven = wanted->amount;
    drives++;
    return CHANNEL_NOW;
}

static enum channel_reply look(struct channel *channel, struct reading *out, struct error *error)
{
    (void)channel, (void)error;
    *out = (struct reading){.at = clock_bench(ticks),
                            .voltage = volts,
                            .current = driven,
                            .temperature = 20,
                            .resistance = NAN};
    return CHANNEL_NOW;
}

static enum channel_reply make_safe(struct channel *channel, struct error *error)
{
    (void)channel, (void)error;
    driven = 0;
    return CHANNEL_NOW;
}

static void take_out(struct channel *channel)
{
    (void)channel;
}

static void close_channel(struct channel *channel)
{
    free(channel);
}

static const struct channel_ops wired_ops = {"instruments", put_in,   drive,        look,
                                             make_safe,     take_out, close_channel};

static void add_wired(struct rig *rig, const char *name, bool placed)
{
    struct channel *channel = calloc(1, sizeof *channel);
    *channel = (struct channel){.ops = &wired_ops,
                                .limits = LIMITS_NONE,
                                .tick_least = 1,
                                .tick_most = 10,
                                .rest_most = 60,
                                .physical = true,
                                .placed = placed,
                                .void_after = NAN,
                                .accuracy = STATES_NOTHING};
    string_copy(channel->name, sizeof channel->name, name);
    assert_int_equal(bench_add(&rig->bench, channel, &rig->error), 0);
}

static void open_wired(struct rig *rig, bool placed)
{
    rig_open(rig, 0);
    ticks = &rig->clock;
    volts = 1.25;
    driven = drives = 0;
    add_wired(rig, "A1", placed);
}

static void open_by_hand(struct rig *rig, int slots)
{
    rig_open(rig, 0);
    for (int i = 1; i <= slots; i++) {
        char name[16];
        snprintf(name, sizeof name, "H%d", i);
        bench_add(&rig->bench, by_hand_channel(name, NULL), &rig->error);
    }
}

/* --- looking ---------------------------------------------------------------------------------- */

/* A refused answer leaves its words in `refused`. */
static struct error refused;

static void say(struct rig *rig, int64_t question, const char *typed, enum error_code expected)
{
    json_t *reply = NULL, *request = json_pack("{s:s, s:I, s:s, s:s}", "act", "answer", "question",
                                               (json_int_t)question, "answer", typed, "who", "Ada");
    error_clear(&refused);
    act(rig->logbook, rig->engine, &letters, clock_utc(&rig->clock), request, &reply, &refused);
    if (refused.code != expected)
        print_error("%s: %s\n", refused.what, refused.why);
    assert_int_equal(refused.code, expected);
    json_decref(request);
    json_decref(reply);
}

static void has(const char *text, const char *words)
{
    if (!text || !strstr(text, words))
        print_error("no \"%s\" in \"%s\"\n", words, text ? text : "(null)");
    assert_true(text && strstr(text, words));
}

/* The one open question has these words. */
static void asked(struct rig *rig, int64_t id, const char *words)
{
    json_t *rows = rig_rows(rig, LIST_QUESTIONS, 0);
    assert_int_equal(json_array_size(rows), 1);
    assert_int_equal(rig_number(rows, 0, "question"), id);
    has(rig_text(rows, 0, "text"), words);
    json_decref(rows);
}

static void asked_nothing(struct rig *rig)
{
    json_t *rows = rig_rows(rig, LIST_QUESTIONS, 0);
    assert_int_equal(json_array_size(rows), 0);
    json_decref(rows);
}

static int64_t started(struct rig *rig, int64_t run)
{
    struct run_record record = {0};
    assert_int_equal(logbook_run(rig->logbook, run, &record, &rig->error), 0);
    int64_t at = record.started_at ? (record.started_at - RIG_START) / US_PER_S : -1;
    run_record_free(&record);
    return at;
}

/* --- putting it in ---------------------------------------------------------------------------- */

static void a_person_is_asked_to_put_the_cell_in(void **state)
{
    (void)state;
    struct rig rig;
    open_by_hand(&rig, 2);
    rig_queue(&rig, "n", "A");
    rig_queue(&rig, "n", "B");
    rig_engine(&rig);
    rig_until(&rig, 1);
    json_t *rows = rig_rows(&rig, LIST_QUESTIONS, 0);
    assert_int_equal(json_array_size(rows), 2);
    has(rig_text(rows, 0, "text"), "Put A into H1, + to +");
    has(rig_text(rows, 1, "text"), "Put B into H2");
    json_decref(rows);
    assert_int_equal(started(&rig, 1), -1);

    /* The wrong one, one that is on no record, nothing; then the right one. */
    say(&rig, 1, "B\r\n", ERROR_FAILED);
    has(refused.why, "B was given, and A belongs in H1; B belongs in H2");
    say(&rig, 1, "Z", ERROR_FAILED);
    has(refused.why, "Z was given, and A belongs in H1");
    say(&rig, 1, "", ERROR_FAILED);
    say(&rig, 1, "done with it", ERROR_FAILED);
    assert_int_equal(started(&rig, 1), -1);

    /* Killed while it waits: asked once, and once the same cell is scanned for both. */
    assert_true(engine_commit(rig.engine));
    rig_kill(&rig);
    rig_queue(&rig, "n", "C"); /* waits behind them */
    rig_engine(&rig);
    rig_until(&rig, 100);
    rows = rig_rows(&rig, LIST_QUESTIONS, 0);
    assert_int_equal(json_array_size(rows), 2);
    json_decref(rows);
    rig_until(&rig, 3600);
    say(&rig, 1, " a \r\n", 0);
    assert_int_equal(started(&rig, 1), 3600);
    rig_state(&rig, 1, RUN_DONE);
    rig_until(&rig, 3601);
    say(&rig, 2, "yes", 0);
    rig_state(&rig, 2, RUN_DONE);
    rows = rig_rows(&rig, LIST_QUESTIONS, 1);
    assert_string_equal(rig_text(rows, 0, "answer"), "A");
    assert_string_equal(rig_text(rows, 0, "who"), "Ada");
    json_decref(rows);
    rig_until(&rig, 3602);
    asked(&rig, 3, "Put C into H1");
    rig_close(&rig);
}

static void the_same_cell_in_two_places_is_refused(void **state)
{
    (void)state;
    struct rig rig;
    open_by_hand(&rig, 2);
    rig_queue(&rig, "w", "A");
    rig_queue(&rig, "w", "B");
    rig_engine(&rig);
    rig_until(&rig, 1);
    say(&rig, 1, "A", 0);
    say(&rig, 2, "A", ERROR_FAILED);
    has(refused.why, "A was given, and B belongs in H2; A is in H1 already");
    say(&rig, 2, "B", 0);
    rig_work(&rig);
    rig_state(&rig, 2, RUN_DONE);
    rig_close(&rig);
}

static void a_cell_that_is_there_is_not_asked_for(void **state)
{
    (void)state;
    struct rig rig;
    open_by_hand(&rig, 1);
    rig_queue(&rig, "n", "A");
    rig_engine(&rig);
    rig_until(&rig, 1);
    say(&rig, 1, "A", 0);
    rig_queue(&rig, "n", "A");
    rig_until(&rig, 2);
    rig_state(&rig, 2, RUN_DONE); /* nothing asked: it is still in H1 */

    /* Another cell was asked for, and perhaps put in, though its run was stopped. */
    rig_queue(&rig, "n", "B");
    rig_until(&rig, 3);
    asked(&rig, 2, "Put B into H1");
    rig_act_on(&rig, "stop", 3, 0);
    asked_nothing(&rig);
    rig_queue(&rig, "n", "A");
    rig_until(&rig, 4);
    asked(&rig, 3, "Put A into H1");
    rig_close(&rig);
}

static void a_cell_that_was_never_put_in_is_asked_for_again(void **state)
{
    (void)state;
    struct rig rig;
    open_by_hand(&rig, 1);
    rig_queue(&rig, "n", "A");
    rig_engine(&rig);
    rig_until(&rig, 1);
    rig_act_on(&rig, "stop", 1, 0);
    rig_queue(&rig, "n", "A");
    rig_until(&rig, 2);
    asked(&rig, 2, "Put A into H1");
    rig_close(&rig);
}

/* Another run has become due while no engine was at work, and would be first in the queue. */
static void the_slot_is_kept_for_the_cell_that_was_asked_for(void **state)
{
    (void)state;
    struct rig rig;
    struct run_record later = {0};
    struct cell_record cell;
    open_by_hand(&rig, 1);
    rig_queue(&rig, "n", "B");
    assert_int_equal(logbook_run(rig.logbook, 1, &later, &rig.error), 0);
    assert_int_equal(logbook_cell(rig.logbook, "C", &cell, &rig.error), 0);
    later.cell = cell.id;
    later.queued_at = RIG_START - 1;
    later.due_at = RIG_START + 1000 * US_PER_S;
    assert_int_equal(logbook_begin(rig.logbook, &rig.error), 0);
    assert_int_equal(logbook_add_run(rig.logbook, &later, &rig.error), 0);
    assert_int_equal(logbook_commit(rig.logbook, &rig.error), 0);
    run_record_free(&later);
    rig_engine(&rig);
    rig_until(&rig, 1);
    asked(&rig, 1, "Put B into H1");
    assert_true(engine_commit(rig.engine));
    rig_kill(&rig);

    clock_advance(&rig.clock, 2000 * US_PER_S);
    rig_engine(&rig);
    rig_until(&rig, 2001);
    asked(&rig, 1, "Put B into H1");
    say(&rig, 1, "B", 0);
    rig_state(&rig, 1, RUN_DONE);
    rig_until(&rig, 2002);
    asked(&rig, 2, "Put C into H1");
    rig_close(&rig);
}

static void a_run_prefers_the_slot_that_its_cell_is_in(void **state)
{
    (void)state;
    struct rig rig;
    open_by_hand(&rig, 2);
    rig_queue(&rig, "n", "A");
    rig_queue(&rig, "n", "B");
    rig_engine(&rig);
    rig_until(&rig, 1);
    say(&rig, 1, "A", 0);
    say(&rig, 2, "B", 0);
    rig_queue(&rig, "n", "B"); /* H1 is free as well */
    rig_until(&rig, 2);
    rig_state(&rig, 3, RUN_DONE);
    asked_nothing(&rig);
    rig_close(&rig);
}

static void a_pause_keeps_the_question(void **state)
{
    (void)state;
    struct rig rig;
    open_by_hand(&rig, 1);
    rig_queue(&rig, "nw", "A");
    rig_engine(&rig);
    rig_until(&rig, 1);
    rig_act_on(&rig, "pause", 1, 0);
    rig_until(&rig, 2);
    say(&rig, 1, "A", 0); /* put in meanwhile */
    assert_int_equal(started(&rig, 1), -1);
    rig_act_on(&rig, "resume", 1, 0);
    rig_until(&rig, 10);
    assert_true(started(&rig, 1) > 0);
    assert_int_equal(engine_count(rig.engine).working, 1);
    rig_kill(&rig);
    rig_close(&rig);
}

static void nobody_is_asked_where_cells_are_put_in_ahead(void **state)
{
    (void)state;
    struct rig rig;
    open_by_hand(&rig, 1);
    rig.bench.channels[0]->placed = true;
    rig_queue(&rig, "n", "A");
    rig_work(&rig);
    rig_state(&rig, 1, RUN_DONE);
    rig_close(&rig);
}

/* Its limits refuse the charge: the cell moves to another channel, and what was done stands. */
static void a_cell_moves_to_a_channel_that_can_do_it(void **state)
{
    (void)state;
    struct rig rig;
    open_wired(&rig, false);
    rig.bench.channels[0]->limits.charge_current_most = 0.5;
    add_wired(&rig, "A2", false);
    rig_queue(&rig, "rc", "A");
    rig_engine(&rig);
    rig_until(&rig, 1);
    asked(&rig, 1, "Put A into A1");
    say(&rig, 1, "A", 0);
    rig_until(&rig, 100);
    asked(&rig, 2, "Put A into A2");
    assert_int_equal(drives, 0);
    json_t *events = rig_rows(&rig, LIST_EVENTS, 1);
    size_t told = 0, i;
    json_t *event;
    json_array_foreach(events, i, event)
    {
        const char *text = json_string_value(json_object_get(event, "text"));
        told += strstr(text, "channel A1 is set aside") &&
                strstr(text, "raise its charge_current_most (500 mA) in the bench file");
    }
    assert_int_equal(told, 1);
    json_decref(events);

    /* The other one is free: the next of its kind is not put there. */
    rig_queue(&rig, "rc", "B");
    rig_queue(&rig, "rr", "C");
    rig_until(&rig, 101);
    json_t *rows = rig_rows(&rig, LIST_QUESTIONS, 0);
    assert_int_equal(json_array_size(rows), 2);
    has(rig_text(rows, 1, "text"), "Put C into A1");
    json_decref(rows);
    rig_act_on(&rig, "stop", 2, 0);
    rig_act_on(&rig, "stop", 3, 0);

    assert_true(engine_commit(rig.engine));
    rig_kill(&rig);
    rig_engine(&rig);
    rig_until(&rig, 200);
    asked(&rig, 2, "Put A into A2");
    say(&rig, 2, "A", 0);
    rig_work(&rig);
    rig_state(&rig, 1, RUN_DONE);
    json_t *steps = rig_rows(&rig, LIST_STEPS, 1);
    assert_int_equal(json_array_size(steps), 2);
    assert_string_equal(rig_text(steps, 0, "channel"), "A1");
    assert_string_equal(rig_text(steps, 1, "channel"), "A2");
    assert_near(rig_number(steps, 1, "charge_Ah"), 600 / 3600.0, 1e-6);
    assert_int_equal(started(&rig, 1), 1);
    assert_null(strstr(heard, "error"));
    json_decref(steps);
    rig_close(&rig);
}

/* --- looking at it ---------------------------------------------------------------------------- */

static void a_reversed_cell_is_asked_about(void **state)
{
    (void)state;
    struct rig rig;
    open_wired(&rig, true);
    volts = -1.25;
    rig_queue(&rig, "d", "A");
    rig_engine(&rig);
    rig_until(&rig, 1);
    asked(&rig, 1, "A1 reads -1.250 V: A looks reversed, and a reversed cell can vent or leak");
    assert_int_equal(drives, 0);
    assert_int_equal(engine_count(rig.engine).energised, 0);

    rig_until(&rig, 500);
    volts = 0.001; /* taken out, and answered too soon */
    say(&rig, 1, "yes", 0);
    rig_until(&rig, 501);
    asked(&rig, 2, "A1 reads 0.001 V: the slot looks empty");
    assert_int_equal(drives, 0);

    /* Killed while it waits; the cell is in by then, and still a person has to say so. */
    assert_true(engine_commit(rig.engine));
    rig_kill(&rig);
    volts = 1.25;
    rig_engine(&rig);
    rig_until(&rig, 600);
    asked(&rig, 2, "the slot looks empty");
    assert_int_equal(drives, 0);
    say(&rig, 2, "B", ERROR_FAILED);
    say(&rig, 2, "A", 0);
    rig_work(&rig);
    rig_state(&rig, 1, RUN_DONE);
    assert_true(drives > 0);

    /* The step began when it was driven: no gap, and the whole charge. */
    json_t *steps = rig_rows(&rig, LIST_STEPS, 1);
    assert_int_equal(json_array_size(steps), 1);
    assert_string_equal(rig_text(steps, 0, "started_at"), "2026-03-02T00:10:00Z");
    assert_string_equal(rig_text(steps, 0, "quality"), "good");
    assert_near(rig_number(steps, 0, "charge_Ah"), 300 / 3600.0, 1e-6);
    json_decref(steps);
    rig_close(&rig);
}

static void a_cell_of_another_chemistry_is_asked_about(void **state)
{
    (void)state;
    struct rig rig;
    open_wired(&rig, true);
    volts = 3.7;
    rig_queue(&rig, "e", "A");
    rig_engine(&rig);
    rig_until(&rig, 1);
    asked(&rig, 1, "A1 reads 3.700 V: too much for a NiMH cell here (1.80 V or less)");
    volts = 0.2;
    say(&rig, 1, "yes", 0);
    rig_until(&rig, 2);
    asked(&rig, 2, "A1 reads 0.200 V: too little for a sound NiMH cell (0.30 V or more)");
    rig_act_on(&rig, "stop", 1, 0);
    rig_until(&rig, 3);
    rig_state(&rig, 1, RUN_STOPPED);
    asked_nothing(&rig);
    rig_close(&rig);
}

static void after_a_gap_the_cell_is_plausibly_the_same(void **state)
{
    (void)state;
    struct rig rig;
    open_wired(&rig, true);
    rig_queue(&rig, "d", "A");
    rig_engine(&rig);
    rig_until(&rig, 100);
    assert_true(engine_commit(rig.engine));
    rig_kill(&rig);

    driven = drives = 0;
    volts = 1.6; /* 0.35 V more than it stood at: no NiMH cell recovers by that */
    rig_engine(&rig);
    rig_until(&rig, 200);
    asked(&rig, 1, "A1 reads 1.600 V: A stood at 1.250 V when it was last looked at");
    assert_int_equal(drives, 0);
    rig_until(&rig, 300);
    say(&rig, 1, "A", 0);
    rig_until(&rig, 301);
    asked_nothing(&rig);
    assert_int_equal(drives, 1);
    rig_work(&rig);
    rig_state(&rig, 1, RUN_DONE);
    json_t *steps = rig_rows(&rig, LIST_STEPS, 1);
    assert_string_equal(rig_text(steps, 0, "quality"), "gap");
    assert_near(rig_number(steps, 0, "gap_time_s"), 200, 2);
    assert_near(rig_number(steps, 0, "charge_Ah"), 300 / 3600.0, 0.001);
    json_decref(steps);
    rig_close(&rig);
}

static void a_small_change_over_a_gap_is_no_matter(void **state)
{
    (void)state;
    struct rig rig;
    open_wired(&rig, true);
    rig_queue(&rig, "d", "A");
    rig_engine(&rig);
    rig_until(&rig, 100);
    assert_true(engine_commit(rig.engine));
    rig_kill(&rig);
    volts = 1.4;
    rig_work(&rig);
    rig_state(&rig, 1, RUN_DONE);
    rig_close(&rig);
}

static void a_simulated_cell_is_never_asked_about(void **state)
{
    (void)state;
    struct rig rig;
    rig_open(&rig, 1);
    rig_queue(&rig, "d", "A");
    rig_work(&rig);
    rig_state(&rig, 1, RUN_DONE);
    asked_nothing(&rig);
    rig_close(&rig);
}

/* Placed by a person, then reversed: first the one question, then the other. */
static void put_in_and_then_looked_at(void **state)
{
    (void)state;
    struct rig rig;
    open_wired(&rig, false);
    volts = -1.2;
    rig_queue(&rig, "dr", "A");
    rig_engine(&rig);
    rig_until(&rig, 1);
    asked(&rig, 1, "Put A into A1");
    assert_int_equal(drives, 0);
    say(&rig, 1, "A", 0);
    rig_until(&rig, 2);
    asked(&rig, 2, "looks reversed");
    volts = 1.2;
    say(&rig, 2, "A", 0);
    rig_work(&rig);
    rig_state(&rig, 1, RUN_DONE);
    json_t *journal = rig_rows(&rig, LIST_JOURNAL, 1);
    assert_int_equal(json_array_size(journal), 4);
    assert_string_equal(rig_text(journal, 0, "name"), "look");
    assert_string_equal(rig_text(journal, 1, "name"), "insert");
    assert_string_equal(rig_text(journal, 2, "name"), "discharge");
    assert_int_equal(rig_number(journal, 2, "n"), 1);
    json_decref(journal);
    rig_close(&rig);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_person_is_asked_to_put_the_cell_in),
        cmocka_unit_test(the_same_cell_in_two_places_is_refused),
        cmocka_unit_test(a_cell_that_is_there_is_not_asked_for),
        cmocka_unit_test(a_cell_that_was_never_put_in_is_asked_for_again),
        cmocka_unit_test(the_slot_is_kept_for_the_cell_that_was_asked_for),
        cmocka_unit_test(a_run_prefers_the_slot_that_its_cell_is_in),
        cmocka_unit_test(a_pause_keeps_the_question),
        cmocka_unit_test(nobody_is_asked_where_cells_are_put_in_ahead),
        cmocka_unit_test(a_cell_moves_to_a_channel_that_can_do_it),
        cmocka_unit_test(a_reversed_cell_is_asked_about),
        cmocka_unit_test(a_cell_of_another_chemistry_is_asked_about),
        cmocka_unit_test(after_a_gap_the_cell_is_plausibly_the_same),
        cmocka_unit_test(a_small_change_over_a_gap_is_no_matter),
        cmocka_unit_test(a_simulated_cell_is_never_asked_about),
        cmocka_unit_test(put_in_and_then_looked_at),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
