/* The bare side of channels.c, and what both sides come to: the least C that asks the same
 * questions at the same times, reads the numbers, adds up charge and energy, and keeps the samples
 * and the sums: less would have to begin anew after a power cut. */
#ifndef PERDURE_TESTS_BENCH_CHANNELS_BARE_H
#define PERDURE_TESTS_BENCH_CHANNELS_BARE_H

#include <math.h>
#include <sqlite3.h>
#include <sys/timerfd.h>

#include "logbook/steps.h"
#include "ptys.h"

#define LATE_MOST 400000
#define MARGIN    0.25 /* s: what falls due so shortly before the end may be on its way */

/* What one side comes to; in memory that its process shares with this one. Times are in s on
 * CLOCK_BOOTTIME, as the engine's. */
struct side {
    double processor, began, ended;
    double origin[PTYS_MOST]; /* when each channel's first reading was taken */
    long readings, missed, late_count;
    double late[LATE_MOST];
};

struct trial {
    struct ptys *ptys;
    double every; /* s */
    double length;
    char folder[300];
    struct side *ours, *bare;
};

static double now(void)
{
    return seconds(CLOCK_BOOTTIME);
}

static void note(struct side *side, double due)
{
    if (side->late_count < LATE_MOST)
        side->late[side->late_count++] = now() - due;
}

/* --- what is on record ----------------------------------------------------------------------- */

/* Of the due times of one channel while it was measured, those without a sample: `t` in s. */
struct due {
    const struct side *side;
    double origin, every;
    long last; /* due time that has its sample */
    long missed;
};

static long due_after(const struct due *due, double time)
{
    return (long)ceil((time - due->origin) / due->every);
}

static void see_sample(struct due *due, double t)
{
    long k = lround(t / due->every);
    if (k > due->last + 1)
        due->missed += k - due->last - 1;
    if (k > due->last)
        due->last = k;
}

static struct due due_begin(const struct side *side, int channel, double every)
{
    struct due due = {.side = side, .origin = side->origin[channel], .every = every};
    due.last = due_after(&due, side->began) - 1;
    return due;
}

static long due_end(struct due *due)
{
    long end = due_after(due, due->side->ended - MARGIN) - 1;
    return due->missed + (end > due->last ? end - due->last : 0);
}

static int visit(void *context, int64_t k, const struct sample *sample)
{
    struct due *due = context;
    double t = (double)sample->t_us / 1e6;
    (void)k;
    if (due->origin + t > due->side->began - due->every / 2 &&
        due->origin + t < due->side->ended - MARGIN + due->every / 2)
        see_sample(due, t);
    return 0;
}

/* --- the bare loop --------------------------------------------------------------------------- */

static const char *const questions[] = {"MEAS:VOLT?\n", "MEAS:CURR?\n", "OUTP?\n"};

struct bare_channel {
    int index, fd;
    int asked; /* which question is out; 3: none */
    long k;    /* of the reading that is due next */
    double due, sent, voltage, current;
    double was_due; /* of the reading on its way */
};

/* What has flowed: A.s, J, s. */
struct bare_sums {
    double charge, energy, duration;
    double t, voltage, current; /* of the reading before; t is 0 before the first */
    bool unsaved;
};

struct bare_row {
    int channel;
    double t, voltage, current;
};

struct bare {
    struct trial *trial;
    struct side *side;
    struct bare_channel channels[PTYS_MOST]; /* in order of what is due first */
    int count, first, waiting;
    struct bare_row *rows;
    int64_t next_row[PTYS_MOST];
    struct bare_sums sums[PTYS_MOST];
    int row_count;
    double committed;
    sqlite3 *db;
    sqlite3_stmt *insert, *update;
};

static void sql(sqlite3 *db, const char *text)
{
    if (sqlite3_exec(db, text, NULL, NULL, NULL)) {
        fprintf(stderr, "%s\n", sqlite3_errmsg(db));
        exit(1);
    }
}

static void bare_commit(struct bare *bare)
{
    sql(bare->db, "BEGIN");
    for (int i = 0; i < bare->row_count; i++) {
        const struct bare_row *row = &bare->rows[i];
        sqlite3_bind_int(bare->insert, 1, row->channel + 1);
        sqlite3_bind_int64(bare->insert, 2, bare->next_row[row->channel]++);
        sqlite3_bind_int64(bare->insert, 3, llround(row->t * 1e6));
        sqlite3_bind_int64(bare->insert, 4, llround(row->voltage * 1e6));
        sqlite3_bind_int64(bare->insert, 5, llround(row->current * 1e6));
        sqlite3_step(bare->insert);
        sqlite3_reset(bare->insert);
    }
    for (int i = 0; i < bare->count; i++) {
        struct bare_sums *sums = &bare->sums[i];
        if (!sums->unsaved)
            continue;
        sqlite3_bind_double(bare->update, 1, sums->charge);
        sqlite3_bind_double(bare->update, 2, sums->energy);
        sqlite3_bind_double(bare->update, 3, sums->duration);
        sqlite3_bind_double(bare->update, 4, sums->t);
        sqlite3_bind_double(bare->update, 5, sums->voltage);
        sqlite3_bind_double(bare->update, 6, sums->current);
        sqlite3_bind_int(bare->update, 7, i + 1);
        sqlite3_step(bare->update);
        sqlite3_reset(bare->update);
        sums->unsaved = false;
    }
    sql(bare->db, "COMMIT");
    bare->row_count = 0;
    bare->committed = now();
}

static void bare_ask(struct bare_channel *channel)
{
    size_t length = strlen(questions[channel->asked]);
    if (write(channel->fd, questions[channel->asked], length) != (ssize_t)length)
        fail("a question could not be put");
}

static void bare_add(struct bare_sums *sums, double t, double voltage, double current)
{
    if (sums->t > 0) {
        double span = t - sums->t;
        sums->charge += span * (current + sums->current) / 2;
        sums->energy += span * (voltage * current + sums->voltage * sums->current) / 2;
        sums->duration += span;
    }
    sums->t = t;
    sums->voltage = voltage;
    sums->current = current;
    sums->unsaved = true;
}

static void bare_answer(struct bare *bare, struct bare_channel *channel)
{
    char bytes[256], *end = bytes;
    ssize_t length = read(channel->fd, bytes, sizeof bytes - 1);
    if (length <= 0 || bytes[length - 1] != '\n')
        fail("half an answer came");
    bytes[length] = '\0';
    double value = strtod(bytes, &end);
    if (*end != '\n')
        fail("an answer is no number");
    if (channel->asked == 0)
        channel->voltage = value;
    else if (channel->asked == 1)
        channel->current = value;
    else if (value != 1)
        fail("an output is off");
    if (++channel->asked < 3) {
        bare_ask(channel);
        return;
    }
    double t = (channel->sent + now()) / 2 - bare->side->origin[channel->index];
    bare->rows[bare->row_count++] =
        (struct bare_row){channel->index, t, channel->voltage, channel->current};
    bare_add(&bare->sums[channel->index], t, channel->voltage, channel->current);
    bare->waiting--;
    bare->side->readings++;
    note(bare->side, channel->was_due);
}

/* All that is due is asked; one that has not answered yet is missed. */
static void bare_due(struct bare *bare, int timer)
{
    double time = now();
    for (;;) {
        struct bare_channel *channel = &bare->channels[bare->first];
        double due = channel->due;
        if (due > time) {
            struct itimerspec spec = {.it_value = {(time_t)due, (long)((due - floor(due)) * 1e9)}};
            timerfd_settime(timer, TFD_TIMER_ABSTIME, &spec, NULL);
            return;
        }
        if (channel->asked == 3) {
            channel->asked = 0;
            channel->was_due = due;
            channel->sent = now();
            bare->waiting++;
            bare_ask(channel);
        }
        channel->due =
            bare->side->origin[channel->index] + (double)++channel->k * bare->trial->every;
        bare->first = (bare->first + 1) % bare->count; /* all have one period: the order holds */
    }
}

static int sooner(const void *a, const void *b)
{
    const struct bare_channel *x = a, *y = b;
    return (x->due > y->due) - (x->due < y->due);
}

static void bare_open(struct bare *bare, int epoll)
{
    char path[400];
    double begin = bare->side->began;
    snprintf(path, sizeof path, "%s/bare.db", bare->trial->folder);
    sqlite3_open(path, &bare->db);
    sql(bare->db, "PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL;"
                  "CREATE TABLE sample (step INTEGER NOT NULL, k INTEGER NOT NULL, t INTEGER NOT "
                  "NULL, v INTEGER NOT NULL, a INTEGER NOT NULL, PRIMARY KEY (step, k))"
                  "STRICT, WITHOUT ROWID;"
                  "CREATE TABLE sum (step INTEGER PRIMARY KEY, charge REAL, energy REAL, duration "
                  "REAL, t REAL, v REAL, a REAL) STRICT");
    sqlite3_prepare_v2(bare->db,
                       "UPDATE sum SET charge = ?, energy = ?, duration = ?, t = ?, v = ?, a = ? "
                       "WHERE step = ?",
                       -1, &bare->update, NULL);
    sqlite3_prepare_v2(bare->db, "INSERT INTO sample VALUES (?, ?, ?, ?, ?)", -1, &bare->insert,
                       NULL);
    bare->rows = calloc((size_t)(bare->count * (2 / bare->trial->every + 2)), sizeof *bare->rows);
    char sums[200];
    snprintf(
        sums, sizeof sums,
        "INSERT INTO sum (step) WITH RECURSIVE n (i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n "
        "WHERE i < %d) SELECT i FROM n",
        bare->count);
    sql(bare->db, sums);
    for (int i = 0; i < bare->count; i++) {
        struct bare_channel *channel = &bare->channels[i];
        double origin = bare->side->origin[i], every = bare->trial->every;
        long k = (long)ceil((begin - origin) / every);
        *channel = (struct bare_channel){.index = i,
                                         .fd = bare->trial->ptys->held[i],
                                         .asked = 3,
                                         .k = k,
                                         .due = origin + (double)k * every};
        fcntl(channel->fd, F_SETFL, O_NONBLOCK);
        if (write(channel->fd, "OUTP ON\n", 8) != 8) /* the engine left it off */
            fail("an output could not be turned on");
    }
    qsort(bare->channels, (size_t)bare->count, sizeof *bare->channels, sooner);
    for (int i = 0; i < bare->count; i++) {
        struct epoll_event event = {.events = EPOLLIN, .data = {.ptr = &bare->channels[i]}};
        epoll_ctl(epoll, EPOLL_CTL_ADD, bare->channels[i].fd, &event);
    }
}

static void look_at_bare_record(struct bare *bare)
{
    sqlite3_stmt *rows;
    sqlite3_prepare_v2(bare->db, "SELECT t FROM sample WHERE step = ? ORDER BY k", -1, &rows, NULL);
    for (int i = 0; i < bare->count; i++) {
        struct due due = due_begin(bare->side, i, bare->trial->every);
        sqlite3_bind_int(rows, 1, i + 1);
        while (sqlite3_step(rows) == SQLITE_ROW) {
            struct sample sample = {.t_us = sqlite3_column_int64(rows, 0)};
            visit(&due, 0, &sample);
        }
        sqlite3_reset(rows);
        bare->side->missed += due_end(&due);
    }
    sqlite3_finalize(rows);
}

/* Commits when a second is over and nothing is on its way: the best moment there is. A tenth early
 * counts as over, as with the engine: where readings come once a second, the next moment of the
 * kind is a whole second later. */
static void bare_side(struct trial *trial)
{
    static struct bare bare;
    struct epoll_event events[PTYS_MOST + 1];
    int epoll = epoll_create1(0), timer = timerfd_create(CLOCK_BOOTTIME, TFD_NONBLOCK);
    bare.trial = trial;
    bare.side = trial->bare;
    bare.count = trial->ptys->count;
    memcpy(bare.side->origin, trial->ours->origin, sizeof bare.side->origin);
    bare.side->began = bare.committed = now() + 0.1;
    bare_open(&bare, epoll);
    struct epoll_event event = {.events = EPOLLIN, .data = {.ptr = NULL}};
    epoll_ctl(epoll, EPOLL_CTL_ADD, timer, &event);
    double end = bare.side->began + trial->length, began = seconds(CLOCK_PROCESS_CPUTIME_ID);
    bare_due(&bare, timer);
    while (now() < end) {
        int ready = epoll_wait(epoll, events, PTYS_MOST + 1, -1);
        for (int i = 0; i < ready; i++) {
            uint64_t expired;
            if (events[i].data.ptr)
                bare_answer(&bare, events[i].data.ptr);
            else if (read(timer, &expired, sizeof expired) == sizeof expired)
                bare_due(&bare, timer);
        }
        if (bare.waiting == 0 && now() - bare.committed >= 0.9)
            bare_commit(&bare);
    }
    bare.side->processor = seconds(CLOCK_PROCESS_CPUTIME_ID) - began;
    bare.side->ended = now();
    bare_commit(&bare);
    look_at_bare_record(&bare);
    sqlite3_finalize(bare.insert);
    sqlite3_finalize(bare.update);
    sqlite3_close(bare.db);
}

#endif
