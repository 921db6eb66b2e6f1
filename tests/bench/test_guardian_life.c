/* The guardian's own life: it is replaced when it fails, holds what it is given and lets go of it,
 * and leaves nothing behind. */
#include <sys/resource.h>

#include "guardian_rig.h"

/* --- the guardian dies ------------------------------------------------------------------------ */

/* Returns the new one's process id. */
static pid_t strike(struct guardian *guardian, int signal_number, double seconds)
{
    pid_t old = guardian_count(guardian).pid;
    double before = now_s();
    kill(old, signal_number);
    while (guardian_count(guardian).pid == old && now_s() < before + seconds) {
        assert_int_not_equal(guardian_beat(guardian), GUARDIAN_LOST);
        sleep_s(0.005);
    }
    pid_t new = guardian_count(guardian).pid;
    print_message("    another guardian %.1f ms after %s\n", (now_s() - before) * 1e3,
                  signal_number == SIGKILL ? "SIGKILL" : "SIGSTOP");
    assert_int_not_equal(new, old);
    assert_int_not_equal(new, 0);
    beats(guardian, 0.5);
    assert_int_equal(guardian_state(guardian), GUARDIAN_WATCHING);
    assert_int_equal(kill(old, 0), -1); /* reaped, too */
    return new;
}

static void test_guardian_killed_and_killed_again(void **state)
{
    (void)state;
    add_ptys(64);
    struct guardian *guardian = guardian_open(0);
    hold_all(guardian);
    beats(guardian, 0.3);
    int files = count_files(getpid());
    strike(guardian, SIGKILL, 0.5);
    strike(guardian, SIGKILL, 0.5);
    strike(guardian, SIGSTOP, 2.5);
    assert_int_equal(guardian_count(guardian).starts, 4);
    assert_int_equal(count_files(getpid()), files);
    assert_int_not_equal(guardian_trouble(guardian)->code, ERROR_NONE);
    assert_false(all_safe(1, 0)); /* none of this trips */

    sleep_s(1.6); /* the new one holds everything */
    assert_true(all_safe(3, 1));
    assert_true(beats_until(guardian, GUARDIAN_TRIPPED, 1));
    guardian_close(guardian);
}

/* With `spare` descriptors left to open, no socketpair can be had. */
static struct rlimit be_short_of_files(int spare)
{
    struct rlimit usual, few;
    int next = dup(0);
    close(next);
    assert_int_equal(getrlimit(RLIMIT_NOFILE, &usual), 0);
    few = usual;
    few.rlim_cur = (rlim_t)(next + spare);
    assert_int_equal(setrlimit(RLIMIT_NOFILE, &few), 0);
    return usual;
}

static void test_lost_when_none_can_be_started(void **state)
{
    (void)state;
    add_pty();
    struct guardian *guardian = guardian_open(QUICK);
    struct rlimit usual = be_short_of_files(2); /* a duplicate, and half a pair */
    hold_all(guardian);
    assert_int_equal(setrlimit(RLIMIT_NOFILE, &usual), 0);
    assert_int_equal(guardian_state(guardian), GUARDIAN_LOST);
    assert_int_equal(guardian_count(guardian).holds, 1);
    assert_true(beats_until(guardian, GUARDIAN_WATCHING, 3));
    sleep_s(2 * QUICK);
    assert_true(all_safe(3, 1));
    guardian_close(guardian);
}

static void test_lost_when_no_other_can_be_started(void **state)
{
    (void)state;
    add_pty();
    struct guardian *guardian = guardian_open(QUICK);
    hold_all(guardian);
    beats(guardian, 0.1);
    struct rlimit usual = be_short_of_files(0);
    kill(guardian_count(guardian).pid, SIGKILL);
    bool lost = beats_until(guardian, GUARDIAN_LOST, 0.5);
    beats(guardian, 1);
    bool still = guardian_state(guardian) == GUARDIAN_LOST;
    assert_int_equal(setrlimit(RLIMIT_NOFILE, &usual), 0);
    assert_true(lost);
    assert_true(still);
    assert_non_null(strstr(guardian_trouble(guardian)->why, "started"));

    /* With room again, it comes back by itself and holds what it should. */
    assert_true(beats_until(guardian, GUARDIAN_WATCHING, 3));
    assert_int_equal(guardian_count(guardian).starts, 2);
    sleep_s(2 * QUICK);
    assert_true(all_safe(3, 1));
    guardian_close(guardian);
}

/* It lives and answers, but has no room for another instrument: as bad as none. */
static void test_guardian_that_cannot_hold_is_replaced(void **state)
{
    (void)state;
    struct rlimit few = {4 + 3 * 3, 4 + 3 * 3};
    add_ptys(4);
    struct guardian *guardian = guardian_open(QUICK);
    struct error error;
    assert_int_equal(guardian_hold(guardian, 3, lines[3].theirs, SAFE, strlen(SAFE), &error), 0);
    assert_int_equal(prlimit(guardian_count(guardian).pid, RLIMIT_NOFILE, &few, NULL), 0);
    hold_all(guardian);
    assert_true(beats_until(guardian, GUARDIAN_LOST, 0.5));
    assert_true(beats_until(guardian, GUARDIAN_WATCHING, 3));
    assert_int_equal(guardian_count(guardian).starts, 2);
    sleep_s(2 * QUICK);
    assert_true(all_safe(3, 1));
    guardian_close(guardian);
}

/* What ends a program from a terminal, or in passing, does not end this one. */
static void test_guardian_ignores_signals(void **state)
{
    (void)state;
    static const int signals[] = {SIGINT, SIGTERM, SIGHUP, SIGQUIT, SIGPIPE, SIGUSR1, SIGALRM};
    add_pty();
    struct guardian *guardian = guardian_open(QUICK);
    hold_all(guardian);
    pid_t pid = guardian_count(guardian).pid;
    assert_int_equal(getsid(pid), pid);
    for (size_t i = 0; i < sizeof signals / sizeof *signals; i++)
        kill(pid, signals[i]);
    beats(guardian, 0.5);
    assert_int_equal(guardian_count(guardian).starts, 1);
    guardian_close(guardian);
}

/* --- holding and letting go ------------------------------------------------------------------- */

static void test_released_line_gets_nothing(void **state)
{
    (void)state;
    add_ptys(2);
    struct guardian *guardian = guardian_open(QUICK);
    hold_all(guardian);
    guardian_release(guardian, 0);
    guardian_release(guardian, 0);
    guardian_release(guardian, 77);
    sleep_s(2 * QUICK);
    all_safe(3, 0.5);
    assert_int_equal(lines[0].length, 0);
    assert_int_equal(lines[1].rounds, 3);
    guardian_close(guardian);
}

static void test_held_again_is_replaced(void **state)
{
    (void)state;
    struct error error;
    add_ptys(2);
    struct guardian *guardian = guardian_open(QUICK);
    assert_int_equal(guardian_hold(guardian, 5, lines[0].theirs, "a\n", 2, &error), 0);
    assert_int_equal(guardian_hold(guardian, 5, lines[1].theirs, "\x01\x06\0\xff", 4, &error), 0);
    assert_int_equal(guardian_count(guardian).holds, 1);
    sleep_s(2 * QUICK);
    all_safe(1, 0.5);
    assert_int_equal(lines[0].length, 0);
    /* No terminator at its end, none before it; a NUL is a byte like others. */
    assert_int_equal(lines[1].length, 12);
    assert_memory_equal(lines[1].got, "\x01\x06\0\xff\x01\x06\0\xff\x01\x06\0\xff", 12);
    guardian_close(guardian);
}

static void test_two_byte_terminator(void **state)
{
    (void)state;
    struct error error;
    add_pty();
    struct guardian *guardian = guardian_open(QUICK);
    assert_int_equal(guardian_hold(guardian, 0, lines[0].theirs, "off\r\n", 5, &error), 0);
    sleep_s(2 * QUICK);
    all_safe(1, 0.5);
    assert_memory_equal(lines[0].got, "\r\noff\r\n", 7);
    guardian_close(guardian);
}

static void test_refused_holds(void **state)
{
    (void)state;
    static const char much[GUARDIAN_SAFE_MOST + 1];
    struct error error;
    add_pty();
    struct guardian *guardian = guardian_open(QUICK);
    assert_int_equal(guardian_hold(guardian, 0, lines[0].theirs, "", 0, &error), ERROR_BENCH);
    assert_int_equal(guardian_hold(guardian, 0, lines[0].theirs, much, sizeof much, &error),
                     ERROR_BENCH);
    assert_int_equal(guardian_hold(guardian, 0, -1, SAFE, strlen(SAFE), &error), ERROR_BENCH);
    assert_int_equal(guardian_count(guardian).holds, 0);
    assert_int_equal(guardian_hold(guardian, 0, lines[0].theirs, much, sizeof much - 1, &error), 0);
    beats(guardian, 0.2);
    assert_int_equal(guardian_state(guardian), GUARDIAN_WATCHING);
    guardian_close(guardian);
}

static void test_close_writes_nothing_and_leaves_nothing(void **state)
{
    (void)state;
    add_ptys(4);
    int files = count_files(getpid());
    struct guardian *guardian = guardian_open(QUICK);
    hold_all(guardian);
    pid_t pid = guardian_count(guardian).pid;
    beats(guardian, 0.8); /* its rehearsal is over */
    /* /dev/null three times, the socketpair, a line and a pipe an instrument: nothing of ours. */
    assert_int_equal(count_files(pid), 4 + 3 * line_count);
    double before = now_s();
    guardian_close(guardian);
    print_message("    closed in %.1f ms\n", (now_s() - before) * 1e3);
    assert_int_equal(kill(pid, 0), -1);
    assert_int_equal(waitpid(-1, NULL, WNOHANG), -1); /* no zombie */
    assert_int_equal(count_files(getpid()), files);
    all_safe(1, 0.1);
    for (int i = 0; i < line_count; i++)
        assert_int_equal(lines[i].length, 0);
    guardian_close(NULL);
}

static void hold_often(struct guardian *guardian, int times)
{
    for (int i = 0; i < times; i++) {
        hold_all(guardian); /* replaces */
        guardian_release(guardian, i % line_count);
        if (i % 8 == 7) {
            beats(guardian, 0.01);
            until_asleep(guardian_count(guardian).pid);
        }
    }
    beats(guardian, 0.6);
}

static void test_nothing_grows(void **state)
{
    (void)state;
    add_ptys(4);
    struct guardian *guardian = guardian_open(0);
    hold_all(guardian);
    pid_t pid = guardian_count(guardian).pid;
    hold_often(guardian, 200);
    long memory = status_of(pid, "VmRSS:");
    int files = count_files(pid);
    hold_often(guardian, 1000);
    print_message("    %ld kB resident after 800 holds, %ld kB after 4800; %ld threads\n", memory,
                  status_of(pid, "VmRSS:"), status_of(pid, "Threads:"));
    assert_int_equal(guardian_state(guardian), GUARDIAN_WATCHING);
    assert_int_equal(guardian_count(guardian).starts, 1);
    assert_int_equal(count_files(pid), files);
    assert_int_equal(status_of(pid, "Threads:"), 4);                /* its own and three keepers */
#if !defined(__SANITIZE_ADDRESS__) && !defined(__SANITIZE_THREAD__) /* these keep what was freed   \
                                                                     */
    assert_true(memory > 0);
    assert_true(status_of(pid, "VmRSS:") < memory + 512); /* a keeper is 700 bytes */
#endif
    guardian_close(guardian);
}

int main(void)
{
#define TEST(name) cmocka_unit_test_setup_teardown(name, rig_begin, rig_end)
    const struct CMUnitTest tests[] = {
        TEST(test_guardian_killed_and_killed_again),
        TEST(test_lost_when_none_can_be_started),
        TEST(test_lost_when_no_other_can_be_started),
        TEST(test_guardian_that_cannot_hold_is_replaced),
        TEST(test_guardian_ignores_signals),
        TEST(test_released_line_gets_nothing),
        TEST(test_held_again_is_replaced),
        TEST(test_two_byte_terminator),
        TEST(test_refused_holds),
        TEST(test_close_writes_nothing_and_leaves_nothing),
        TEST(test_nothing_grows),
    };
    return cmocka_run_group_tests_name("guardian_life", tests, NULL, NULL);
}
