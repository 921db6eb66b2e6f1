/* The guardian: whatever becomes of the engine, of the guardian, or of one line, the instruments
 * get their safe bytes in time. The two seconds are the promise; the rest is this design's. */
#include <sys/file.h>

#include "guardian_rig.h"

/* --- the engine dies -------------------------------------------------------------------------- */

static void killed(int count)
{
    add_ptys(count);
    struct engine engine = engine_begin(0, false, false);
    sleep_s(0.3);
    double before = now_s();
    engine_kill(&engine);
    assert_true(all_safe(1, 2));
    assert_true(last_safe_s() - before < 2);
    print_message("    %d line%s: all safe %.1f ms after SIGKILL\n", count, count == 1 ? "" : "s",
                  (last_safe_s() - before) * 1e3);
    /* More than once, each time after the end of whatever was begun; then no more. */
    assert_true(all_safe(3, 2));
    assert_guardian_ended(&engine, 2);
    all_safe(4, 0.2);
    for (int i = 0; i < count; i++) {
        assert_int_equal(lines[i].length, 3 * strlen(SAFE_ROUND));
        assert_memory_equal(lines[i].got, SAFE_ROUND SAFE_ROUND SAFE_ROUND, lines[i].length);
    }
}

static void test_engine_killed(void **state)
{
    (void)state;
    killed(1);
}

static void test_engine_killed_with_64_lines(void **state)
{
    (void)state;
    killed(64);
}

/* Somebody else has the engine's end of the socketpair open, so that its death closes nothing. */
static void test_engine_killed_but_its_end_stays_open(void **state)
{
    (void)state;
    add_ptys(2);
    struct engine engine = engine_begin(0, false, true);
    double before = now_s();
    engine_kill(&engine);
    assert_true(all_safe(1, 3));
    assert_true(last_safe_s() - before < 2);
    assert_guardian_ended(&engine, 2);
    kill(engine.sharer, SIGKILL);
    assert_int_equal(waitpid(engine.sharer, NULL, 0), engine.sharer);
}

static void test_half_a_command_is_ended_first(void **state)
{
    (void)state;
    add_pty();
    assert_int_equal(write(lines[0].theirs, "CURR 1", 6), 6);
    struct engine engine = engine_begin(QUICK, false, false);
    engine_kill(&engine);
    assert_true(all_safe(1, 2));
    assert_memory_equal(lines[0].got, "CURR 1\nOUTP OFF\n", 16);
    assert_guardian_ended(&engine, 2);
}

/* What the engine left unread must not turn the close into a reset, which overtakes the bytes. */
static void test_tcp_is_closed_in_order(void **state)
{
    (void)state;
    char byte;
    add_tcp();
    assert_int_equal(write(lines[0].ours, "+1.25\n", 6), 6);
    struct engine engine = engine_begin(QUICK, false, false);
    engine_kill(&engine);
    assert_true(all_safe(3, 2));
    assert_guardian_ended(&engine, 2);
    assert_int_equal(read(lines[0].ours, &byte, 1), 0);
}

/* Whoever comes next waits until the guardian is through, also where the engine's lock was on a
 * descriptor of its own. */
static void test_next_engine_is_kept_off_until_it_is_done(void **state)
{
    (void)state;
    add_pty();
    struct engine engine = engine_begin(QUICK, false, false);
    int next = open(ptsname(lines[0].ours), O_RDWR | O_NOCTTY | O_CLOEXEC);
    assert_int_equal(flock(next, LOCK_EX | LOCK_NB), 0);
    assert_int_equal(flock(next, LOCK_UN), 0);
    engine_kill(&engine);
    assert_true(all_safe(1, 2));
    assert_int_equal(flock(next, LOCK_EX | LOCK_NB), -1);
    assert_true(all_safe(3, 2));
    assert_guardian_ended(&engine, 2);
    assert_int_equal(flock(next, LOCK_EX | LOCK_NB), 0);
    close(next);
}

/* --- the engine hangs ------------------------------------------------------------------------- */

static void hangs(struct engine *engine, int trips)
{
    struct news news;
    double before = now_s();
    forget_lines();
    kill(engine->pid, SIGSTOP);
    assert_true(all_safe(1, 3));
    double took = last_safe_s() - before;
    print_message("    %d lines: all safe %.3f s after SIGSTOP\n", line_count, took);
    assert_true(took < 2);
    assert_true(took > 1.5 - 0.375 - 0.1); /* not before it had to: the last beat is that old */
    assert_true(all_safe(3, 2));
    assert_int_equal(kill(engine->guardian, 0), 0); /* it stays */

    kill(engine->pid, SIGCONT);
    before = now_s();
    assert_true(engine_tells(engine, GUARDIAN_FIRING, 2, &news));
    print_message("    told %.1f ms after SIGCONT\n", (now_s() - before) * 1e3);
    assert_true(engine_tells(engine, GUARDIAN_TRIPPED, 2, &news));
    assert_int_equal(news.counts.trips, trips);
    assert_true(engine_tells(engine, GUARDIAN_WATCHING, 2, &news));
    assert_int_equal(news.counts.starts, 1);
}

static void test_engine_stopped_and_stopped_again(void **state)
{
    (void)state;
    add_ptys(64);
    struct engine engine = engine_begin(0, true, false);
    hangs(&engine, 1);
    hangs(&engine, 2);
    forget_lines();
    engine_kill(&engine);
    assert_true(all_safe(3, 2));
    assert_guardian_ended(&engine, 2);
}

static void test_engine_killed_while_stopped(void **state)
{
    (void)state;
    add_ptys(2);
    struct engine engine = engine_begin(QUICK, false, false);
    kill(engine.pid, SIGSTOP);
    assert_true(all_safe(3, 2));
    engine_kill(&engine);
    assert_true(all_safe(6, 2));
    assert_guardian_ended(&engine, 2);
}

static void test_tripped_stays_until_settled(void **state)
{
    (void)state;
    add_pty();
    struct guardian *guardian = guardian_open(QUICK);
    hold_all(guardian);
    beats(guardian, 0.2);
    assert_int_equal(guardian_state(guardian), GUARDIAN_WATCHING);
    sleep_s(2 * QUICK);
    assert_int_not_equal(guardian_beat(guardian), GUARDIAN_WATCHING); /* the first look tells */
    beats(guardian, 0.5);
    assert_int_equal(guardian_state(guardian), GUARDIAN_TRIPPED);
    guardian_settle(guardian);
    beats(guardian, 0.2);
    assert_int_equal(guardian_state(guardian), GUARDIAN_WATCHING);
    assert_int_equal(guardian_count(guardian).trips, 1);
    assert_true(all_safe(3, 1));
    guardian_close(guardian);
}

/* An engine that comes back in the midst of it would have its new orders undone by the next
 * round. */
static void test_fires_until_all_is_written(void **state)
{
    (void)state;
    add_ptys(2);
    struct guardian *guardian = guardian_open(QUICK);
    hold_all(guardian);
    assert_true(all_safe(1, 2 * QUICK));
    assert_true(beats_until(guardian, GUARDIAN_FIRING, 0.2)); /* it writes first, then tells */
    guardian_settle(guardian);                                /* too early */
    assert_int_equal(guardian_state(guardian), GUARDIAN_FIRING);
    double before = now_s();
    while (guardian_beat(guardian) == GUARDIAN_FIRING && now_s() < before + 2)
        sleep_s(0.005);
    assert_int_equal(guardian_state(guardian), GUARDIAN_TRIPPED);
    print_message("    through %.0f ms after the first\n", (now_s() - before) * 1e3);
    assert_true(all_safe(3, 0));
    guardian_settle(guardian);
    beats(guardian, 0.5);
    assert_int_equal(guardian_state(guardian), GUARDIAN_WATCHING);
    assert_false(all_safe(4, 0));
    guardian_close(guardian);
}

static void test_nothing_held_nothing_trips(void **state)
{
    (void)state;
    struct guardian *guardian = guardian_open(QUICK);
    sleep_s(3 * QUICK);
    assert_int_equal(guardian_beat(guardian), GUARDIAN_WATCHING);
    assert_int_equal(guardian_count(guardian).starts, 0); /* none is needed */
    add_pty();
    hold_all(guardian);
    guardian_release(guardian, 0);
    sleep_s(3 * QUICK);
    assert_int_equal(guardian_beat(guardian), GUARDIAN_WATCHING);
    assert_int_equal(guardian_count(guardian).trips, 0);
    assert_int_equal(guardian_count(guardian).starts, 1);
    guardian_close(guardian);
}

/* --- a line is stuck -------------------------------------------------------------------------- */

static void test_jammed_lines_hold_up_no_other(void **state)
{
    (void)state;
    add_jammed(true);  /* writing to it blocks, come what may */
    add_jammed(false); /* has no room */
    add_ptys(8);
    struct engine engine = engine_begin(QUICK, false, false);
    struct line *blocking = &lines[0], *full = &lines[1];
    int kept[2] = {blocking->ours, full->ours};
    blocking->ours = full->ours = -1; /* nobody reads there */
    double before = now_s();
    engine_kill(&engine);
    assert_true(all_safe(3, 2));
    assert_true(last_safe_s() - before < 2);
    print_message("    8 lines beside 2 jammed: all safe %.1f ms after SIGKILL\n",
                  (last_safe_s() - before) * 1e3);

    /* One makes room in time: it gets its bytes, too. The other does not keep the guardian. */
    full->ours = kept[1];
    assert_true(all_safe(1, 1));
    assert_guardian_ended(&engine, 4 * QUICK + 2);
    blocking->ours = kept[0];
}

/* Safe bytes that find no room are given up in time: much later they would turn off what an engine
 * that came back has turned on again. */
static void test_jammed_line_gets_nothing_late(void **state)
{
    (void)state;
    add_jammed(false);
    struct guardian *guardian = guardian_open(QUICK);
    hold_all(guardian);
    sleep_s(QUICK + 4 * QUICK + 0.3);
    assert_true(beats_until(guardian, GUARDIAN_TRIPPED, 0.2));
    assert_false(all_safe(1, 0.1)); /* not long enough for it to trip again */
    guardian_close(guardian);
}

/* A message device that refuses all: tried for a while, then given up. */
static void test_refusing_device_is_given_up(void **state)
{
    (void)state;
    add_pty();
    int refusing = open("/dev/full", O_RDWR | O_CLOEXEC);
    add_line(open("/dev/null", O_RDONLY | O_CLOEXEC), refusing);
    struct engine engine = engine_begin(QUICK, false, false);
    hang_up(1);
    engine_kill(&engine);
    assert_true(all_safe(3, 2));
    assert_guardian_ended(&engine, 4 * QUICK + 2);
}

static void test_xoff_does_not_keep_an_output_on(void **state)
{
    (void)state;
    struct termios settings;
    add_pty();
    assert_int_equal(tcgetattr(lines[0].theirs, &settings), 0);
    settings.c_iflag |= IXON;
    assert_int_equal(tcsetattr(lines[0].theirs, TCSANOW, &settings), 0);
    assert_int_equal(write(lines[0].ours, "\x13", 1), 1); /* XOFF */
    sleep_s(0.05);
    assert_true(write(lines[0].theirs, "x", 1) < 1); /* it holds */
    struct engine engine = engine_begin(QUICK, false, false);
    engine_kill(&engine);
    assert_true(all_safe(1, 2));
    assert_guardian_ended(&engine, 2);
}

static void test_hung_up_line_is_let_go(void **state)
{
    (void)state;
    add_ptys(3);
    struct engine engine = engine_begin(QUICK, false, false);
    sleep_s(0.8); /* its rehearsal is over */
    int before = count_files(engine.guardian);
    hang_up(1);
    sleep_s(0.1);
    assert_int_equal(count_files(engine.guardian), before - 1);
    engine_kill(&engine);
    assert_true(all_safe(3, 2));
    assert_guardian_ended(&engine, 2);
}

int main(void)
{
#define TEST(name) cmocka_unit_test_setup_teardown(name, rig_begin, rig_end)
    const struct CMUnitTest tests[] = {
        TEST(test_engine_killed),
        TEST(test_engine_killed_with_64_lines),
        TEST(test_engine_killed_but_its_end_stays_open),
        TEST(test_half_a_command_is_ended_first),
        TEST(test_tcp_is_closed_in_order),
        TEST(test_next_engine_is_kept_off_until_it_is_done),
        TEST(test_engine_stopped_and_stopped_again),
        TEST(test_engine_killed_while_stopped),
        TEST(test_tripped_stays_until_settled),
        TEST(test_fires_until_all_is_written),
        TEST(test_nothing_held_nothing_trips),
        TEST(test_jammed_lines_hold_up_no_other),
        TEST(test_jammed_line_gets_nothing_late),
        TEST(test_refusing_device_is_given_up),
        TEST(test_xoff_does_not_keep_an_output_on),
        TEST(test_hung_up_line_is_let_go),
    };
    return cmocka_run_group_tests_name("guardian", tests, NULL, NULL);
}
