/* Power cuts: an engine at work on a disk that loses its power, over and over.
 *
 *     cut_power FOLDER CUTS SEED [normal | lies]
 *
 * Each cut: a child works in process, tells every acknowledged fact over a pipe, and dies at a
 * drawn write, truncation, sync or change of a name, leaving what a machine would find. Then, on a
 * copy and on the usual disk: the file is sound, every fact ever acknowledged is there, its audit
 * is clean, and an engine finishes all runs. The next child goes on from what was found; so cuts
 * hit recoveries too.
 *
 * `normal` and `lies` are controls that must find harm, or the harness is blind: SQLite without a
 * sync at each commit loses facts, and a disk that lies about its syncs damages the file. */
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#include "base/random.h"
#include "cut_day.h"
#include "cut_facts.h"
#include "vfs_disk.h"

enum control { CONTROL_NONE, CONTROL_NORMAL, CONTROL_LIES };

struct tally {
    long cuts, days, ends, commits;
    long facts, lost, cuts_with_loss;
    long damaged, unclean, unfinished, unmarked; /* cuts after which this was found */
    long by_style[CUT_STYLES], by_pace[3];
};

struct trial {
    char folder[200], copy[230];
    enum control control;
    struct random random;
    struct day day;
    struct facts facts; /* acknowledged since the day began */
    struct tally tally;
};

static int64_t draw(struct trial *trial, int64_t low, int64_t high)
{
    return random_range(&trial->random, low, high);
}

/* --- the child -------------------------------------------------------------------------------- */

struct orders {
    struct disk_power power;
    struct day_work work;
};

static struct orders draw_orders(struct trial *trial)
{
    static const int frames[] = {0, 20, 60, 200};
    struct orders orders = {.power = {.style = (enum cut_style)draw(trial, 0, CUT_STYLES - 1),
                                      .sector = draw(trial, 0, 1) ? 4096 : 512,
                                      .seed = random_bits(&trial->random),
                                      .lies = trial->control == CONTROL_LIES}};
    int64_t dice = draw(trial, 0, 9);
    orders.work.pace = dice == 0 ? PACE_SCALED : dice == 1 ? PACE_VIRTUAL : PACE_STEPPED;
    orders.work.commit_passes = (int)draw(trial, 1, 5);
    orders.work.checkpoint_frames = frames[draw(trial, 0, 3)];
    orders.work.outage = draw(trial, 0, 600) * US_PER_S;
    /* A change amid recovery, a step, or far on. */
    orders.power.at = (uint64_t)draw(trial, 1, draw(trial, 0, 2) == 0 ? 60 : 2500);
    if (trial->control == CONTROL_NORMAL)
        orders.work.pragma = "PRAGMA synchronous = NORMAL";
    return orders;
}

static _Noreturn void be_child(const struct day *day, const struct orders *orders, int fd)
{
    struct error error;
    alarm(300); /* one that never ends is a failure too */
    disk_register();
    disk_power(&orders->power);
    facts_tell(fd);
    if (day_work(day, &orders->work, &error)) {
        error_print(stderr, &error);
        _exit(1);
    }
    _exit(0);
}

/* Lets one child work; returns its exit status. */
static int let_one_work(struct trial *trial, const struct orders *orders)
{
    int ends[2], status;
    fflush(stdout);
    if (pipe(ends) != 0)
        exit(2);
    pid_t child = fork();
    if (child == 0) {
        close(ends[0]);
        be_child(&trial->day, orders, ends[1]);
    }
    close(ends[1]);
    size_t before = trial->facts.count;
    trial->tally.commits += facts_hear(&trial->facts, ends[0]);
    trial->tally.facts += (long)(trial->facts.count - before);
    close(ends[0]);
    if (child < 0 || waitpid(child, &status, 0) != child || !WIFEXITED(status)) {
        printf("the child ended badly\n");
        exit(2);
    }
    return WEXITSTATUS(status);
}

/* --- after the cut ---------------------------------------------------------------------------- */

static void say(const struct trial *trial, const struct orders *orders, const char *what,
                const char *why)
{
    static const char *const styles[] = {"drops", "keeps", "mixes", "garbles"};
    if (trial->control == CONTROL_NONE)
        printf("cut %ld (change %llu, %s, sectors of %zu): %s: %s\n", trial->tally.cuts,
               (unsigned long long)orders->power.at, styles[orders->power.style],
               orders->power.sector, what, why);
}

/* Looks at what was left, and whether an engine can finish it. False: this day is over. */
static bool look(struct trial *trial, const struct orders *orders)
{
    struct day copy, finished;
    struct error error;
    char why[512];
    struct tally *tally = &trial->tally;
    struct day_work rest = {.pace = PACE_VIRTUAL, .outage = 1800 * US_PER_S};

    day_switch_off(&trial->day);
    snprintf(why, sizeof why, "%s/finished", trial->folder);
    day_copy(&trial->day, &finished, why);
    day_copy(&trial->day, &copy, trial->copy);

    enum day_finding finding = day_look(&copy, false, why, sizeof why);
    if (finding != DAY_SOUND) {
        *(finding == DAY_DAMAGED ? &tally->damaged : &tally->unclean) += 1;
        say(trial, orders, finding == DAY_DAMAGED ? "damaged" : "not clean", why);
        return false;
    }
    long missing = facts_missing(&trial->facts, copy.logbook, why, sizeof why);
    if (missing != 0) {
        tally->lost += missing > 0 ? missing : 0;
        tally->damaged += missing < 0;
        tally->cuts_with_loss += missing > 0;
        say(trial, orders, "acknowledged and lost", why);
        return false;
    }
    if (day_work(&finished, &rest, &error)) {
        tally->unfinished++;
        say(trial, orders, "cannot go on", error.why);
        return false;
    }
    finding = day_look(&finished, true, why, sizeof why);
    if (finding != DAY_SOUND) {
        tally->unfinished++;
        say(trial, orders, "not finished cleanly", why);
        return false;
    }
    /* Each step that was open at the cut has its gap on record. */
    if (facts_open_steps_without_gap(copy.logbook, finished.logbook) != 0) {
        tally->unmarked++;
        say(trial, orders, "a gap is not on record", "see the copy");
    }
    return true;
}

/* --- all -------------------------------------------------------------------------------------- */

static void new_day(struct trial *trial)
{
    trial->tally.days++;
    trial->facts.count = 0;
    day_make(&trial->day, trial->folder, DAY_LONG, random_bits(&trial->random));
}

static void one_cut(struct trial *trial)
{
    struct orders orders = draw_orders(trial);
    int status = let_one_work(trial, &orders);
    bool goes_on = false;
    if (status == DISK_CUT_STATUS) {
        trial->tally.cuts++;
        trial->tally.by_style[orders.power.style]++;
        trial->tally.by_pace[orders.work.pace]++;
        goes_on = look(trial, &orders);
    } else if (status == 0) {
        trial->tally.ends++; /* all was done before the cut came */
    } else {
        printf("the engine ended with status %d, and no power was cut\n", status);
        trial->tally.unfinished++;
    }
    if (!goes_on)
        new_day(trial);
}

static int judge(const struct trial *trial)
{
    const struct tally *t = &trial->tally;
    long other = t->unclean + t->unfinished + t->unmarked;
    switch (trial->control) {
    case CONTROL_NONE: return t->lost + t->damaged + other > 0;
    case CONTROL_NORMAL: return !(t->lost > 0 && t->damaged + other == 0);
    case CONTROL_LIES: break;
    }
    return !(t->damaged > 0);
}

int main(int count, char **values)
{
    struct trial trial = {.control = CONTROL_NONE};
    struct timespec begin, end;
    if (count < 4) {
        fprintf(stderr, "usage: cut_power FOLDER CUTS SEED [normal | lies]\n");
        return 2;
    }
    if (count > 4)
        trial.control = strcmp(values[4], "normal") == 0 ? CONTROL_NORMAL : CONTROL_LIES;
    snprintf(trial.folder, sizeof trial.folder, "%s/bench", values[1]);
    snprintf(trial.copy, sizeof trial.copy, "%s/copy", trial.folder);
    random_seed(&trial.random, strtoull(values[3], NULL, 10));

    clock_gettime(CLOCK_MONOTONIC, &begin);
    new_day(&trial);
    while (trial.tally.cuts < atol(values[2]))
        one_cut(&trial);
    clock_gettime(CLOCK_MONOTONIC, &end);

    const struct tally *t = &trial.tally;
    printf(
        "%ld cuts in %ld days at the bench (%ld ended uncut) in %.1f s\n"
        "  styles: %ld dropped, %ld kept, %ld mixed, %ld garbled; paces: %ld virtual, %ld scaled, "
        "%ld stepped\n"
        "  %ld commits acknowledged %ld facts: %ld lost (after %ld cuts)\n"
        "  %ld damaged, %ld not clean, %ld not finished, %ld gaps not on record\n",
        t->cuts, t->days, t->ends,
        (double)(end.tv_sec - begin.tv_sec) + (double)(end.tv_nsec - begin.tv_nsec) / 1e9,
        t->by_style[CUT_DROPS], t->by_style[CUT_KEEPS], t->by_style[CUT_MIXES],
        t->by_style[CUT_GARBLES], t->by_pace[PACE_VIRTUAL], t->by_pace[PACE_SCALED],
        t->by_pace[PACE_STEPPED], t->commits, t->facts, t->lost, t->cuts_with_loss, t->damaged,
        t->unclean, t->unfinished, t->unmarked);
    facts_free(&trial.facts);
    return judge(&trial);
}
