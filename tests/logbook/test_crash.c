/* A writer that dies at any point: nothing acknowledged is lost, nothing counts twice.
 *
 * The writer takes samples for a few steps, 1 of the first in each commit, 2 of the second and so
 * on, with their sums, so that they are moved at different times. It acknowledges each commit over
 * a pipe, and dies between two operations of SQLite's virtual machine, or is killed from outside.
 * Whoever comes next goes on where the file says. */
#include <signal.h>
#include <sys/wait.h>

#include "bench_day.h"

#define STEPS   6
#define CURRENT 0.4

struct bench {
    struct folder *folder;
    int64_t acknowledged; /* commits: step s has s samples of each */
};

static void make_steps(struct folder *folder)
{
    struct logbook *logbook = new_logbook(folder);
    int64_t run;

    must(logbook_begin(logbook, &error));
    run = add_run(logbook, 0);
    for (int i = 0; i < STEPS; i++)
        assert_int_equal(add_step(logbook, run, i + 1), i + 1);
    must(logbook_commit(logbook, &error));
    logbook_close(logbook);
}

/* --- the writer, in a process of its own ------------------------------------------------------ */

static int die_at, ticks;

static int tick(void *unused)
{
    (void)unused;
    if (++ticks == die_at)
        _exit(9);
    return 0;
}

/* One commit: returns nonzero when it was refused. */
static int commit_once(struct logbook *logbook, int64_t commit)
{
    if (logbook_begin(logbook, &error) != 0)
        return 1;
    for (int64_t step = 1; step <= STEPS; step++) {
        struct step_sums sums = no_sums;
        struct sample samples[STEPS];

        for (int64_t i = 0; i < step; i++)
            samples[i] = sample_at(step, commit * step + i);
        sums.charge = CURRENT * (double)((commit + 1) * step);
        if (logbook_add_samples(logbook, step, commit * step, samples, (int)step, &error) != 0 ||
            logbook_checkpoint_step(logbook, step, &sums, "at work", DAY_ONE, &error) != 0)
            return 1;
    }
    return logbook_commit(logbook, &error);
}

static void writer(const char *path, int acknowledge, int64_t from, int count)
{
    struct logbook *logbook;
    bool more;

    if (logbook_open(&logbook, path, LOGBOOK_WRITE, &error) != 0)
        _exit(1);
    sqlite3_progress_handler(logbook->db, 50, tick, NULL);
    for (int64_t commit = from; commit < from + count; commit++) {
        if (commit_once(logbook, commit) != 0 ||
            write(acknowledge, &commit, sizeof(commit)) != sizeof(commit) ||
            logbook_move_samples(logbook, &more, &error) != 0)
            _exit(1);
    }
    _exit(0); /* without a close, like a power cut that found nothing under way */
}

/* Lets a writer work and die; returns how it ended. */
static int let_one_die(struct bench *bench, int count, int kill_after_us)
{
    int pipe_ends[2], status;
    int64_t commit;
    pid_t child;

    assert_int_equal(pipe(pipe_ends), 0);
    child = fork();
    if (child == 0) {
        close(pipe_ends[0]);
        writer(bench->folder->logbook, pipe_ends[1], bench->acknowledged, count);
    }
    close(pipe_ends[1]);
    if (kill_after_us > 0) {
        usleep((unsigned)kill_after_us);
        kill(child, SIGKILL);
    }
    while (read(pipe_ends[0], &commit, sizeof(commit)) == sizeof(commit))
        bench->acknowledged = commit + 1;
    close(pipe_ends[0]);
    assert_int_equal(waitpid(child, &status, 0), child);
    return status;
}

/* --- what the file says then ------------------------------------------------------------------ */

struct count {
    int64_t step, next;
    bool wrong;
};

static int count_sample(void *context, int64_t k, const struct sample *sample)
{
    struct count *count = context;
    struct sample want = sample_at(count->step, k);

    count->wrong |= k != count->next || sample->t_us != want.t_us;
    count->next++;
    return 0;
}

/* All that was acknowledged is there, and at most one commit more (done, but not yet reported);
 * each step has just the samples of these commits, and the sums of just these samples. */
static void look(struct bench *bench, enum logbook_mode mode)
{
    struct logbook *logbook = open_logbook(bench->folder, mode);
    int64_t commits = ask(logbook, "SELECT coalesce(min(samples), 0) FROM outcome");

    assert_in_range(commits, bench->acknowledged, bench->acknowledged + 1);
    bench->acknowledged = commits;
    for (int64_t step = 1; step <= STEPS && commits > 0; step++) {
        struct count count = {.step = step};
        int64_t want = commits * step;
        char sql[200];

        must(logbook_samples(logbook, step, count_sample, &count, &error));
        assert_false(count.wrong);
        assert_int_equal(count.next, want);
        snprintf(sql, sizeof(sql),
                 "SELECT samples = %d AND abs(charge - %d * 0.4) < 1e-6 AND samples = "
                 "(SELECT count(*) FROM reading WHERE reading.step = outcome.step) "
                 "FROM outcome WHERE step = %d",
                 (int)want, (int)want, (int)step);
        assert_int_equal(ask(logbook, sql), 1);
    }
    close_sound(logbook);
}

static void test_dies_at_every_point(void **state)
{
    struct bench bench = {.folder = *state};
    int deaths = 0;

    make_steps(bench.folder);
    /* Some die before their first commit, some amid a move; a close by a reader moves nothing, one
     * by a writer moves all. */
    for (die_at = 1; die_at < 3000; die_at += 1 + die_at / 7) {
        int status = let_one_die(&bench, 300, 0);
        assert_true(WIFEXITED(status));
        assert_true(WEXITSTATUS(status) == 9 || WEXITSTATUS(status) == 0);
        deaths += WEXITSTATUS(status) == 9;
        look(&bench, deaths % 3 == 0 ? LOGBOOK_WRITE : LOGBOOK_READ);
    }
    assert_true(deaths > 20);
    assert_true(bench.acknowledged > 256);
}

static void test_is_killed_from_outside(void **state)
{
    struct bench bench = {.folder = *state};
    int killed = 0;

    make_steps(bench.folder);
    die_at = 0;
    /* On a machine so busy that none gets to a commit, more of them, with more time each. */
    int dead = 0;
    for (; dead < 25 || (bench.acknowledged == 0 && dead < 250); dead++) {
        int after_us = (1000 + 3700 * dead % 50000) * (1 + dead / 25);
        int status = let_one_die(&bench, 100000, after_us);
        killed += WIFSIGNALED(status);
        look(&bench, dead % 4 == 0 ? LOGBOOK_WRITE : LOGBOOK_READ);
    }
    assert_int_equal(killed, dead);
    assert_true(bench.acknowledged > 0);
}

/* A copy of the files taken at any moment between two commits is what a power cut would leave. */
static void test_files_as_they_lie_are_whole(void **state)
{
    struct bench bench = {.folder = *state};
    int status;

    make_steps(bench.folder);
    die_at = 0;
    status = let_one_die(&bench, 400, 0);
    assert_true(WIFEXITED(status));
    assert_int_equal(WEXITSTATUS(status), 0);
    assert_int_equal(bench.acknowledged, 400);
    /* The log was not moved into the file: it must be there to be read. */
    assert_true(folder_files(bench.folder, false) > 1);
    look(&bench, LOGBOOK_READ);
    look(&bench, LOGBOOK_WRITE);
    assert_int_equal(folder_files(bench.folder, false), 1);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(test_dies_at_every_point, folder_make, folder_remove),
        cmocka_unit_test_setup_teardown(test_is_killed_from_outside, folder_make, folder_remove),
        cmocka_unit_test_setup_teardown(test_files_as_they_lie_are_whole, folder_make,
                                        folder_remove),
    };

    return cmocka_run_group_tests_name("crash", tests, NULL, NULL);
}
