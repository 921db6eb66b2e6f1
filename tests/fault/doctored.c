/* Controls: damage done to copies, one kind at a time. A check that cannot fail proves nothing, so
 * each must be found, and by the check that is there for it. */
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/text.h"
#include "round.h"
#include "shape.h"

/* --- a log that ends too early ---------------------------------------------------------------- */

#define WAL_HEADER                                                                                 \
    32 /* format of SQLite's write-ahead log: sqlite.org/fileformat2.html, section 4 */
#define FRAME_HEADER 24
#define COMMITS_CUT  3

static uint32_t big_endian(const unsigned char *bytes)
{
    return (uint32_t)bytes[0] << 24 | (uint32_t)bytes[1] << 16 | (uint32_t)bytes[2] << 8 | bytes[3];
}

/* Where the log ends when its last commits are cut off; 0 when it has too few. */
static size_t end_of_log(const unsigned char *log, size_t length)
{
    size_t ends[COMMITS_CUT + 1] = {0};
    int commits = 0;
    if (length < WAL_HEADER)
        return 0;
    size_t frame = FRAME_HEADER + big_endian(log + 8);
    for (size_t at = WAL_HEADER; at + frame <= length; at += frame) {
        if (memcmp(log + at + 8, log + 16, 8) != 0)
            break; /* left over from an earlier log */
        if (big_endian(log + at + 4) == 0)
            continue; /* not the last frame of a commit */
        memmove(ends + 1, ends, sizeof(ends) - sizeof(ends[0]));
        ends[0] = at + frame;
        commits++;
    }
    return commits > COMMITS_CUT ? ends[COMMITS_CUT] : 0;
}

bool control_cut_log(struct round *round)
{
    char copy[300], wal[310], *log = NULL;
    size_t length = 0, end = 0;
    struct findings findings = {.quiet = true};
    snprintf(copy, sizeof(copy), "%s/cut.perdure", round->scene.folder);
    snprintf(wal, sizeof(wal), "%s-wal", copy);
    copy_logbook(round->scene.logbook, copy);
    if (file_read(wal, 64 << 20, &log, &length, NULL) == 0)
        end = end_of_log((const unsigned char *)log, length);
    free(log);
    round->log_cuts++;
    if (end == 0 || truncate(wal, (off_t)end) != 0)
        return false;
    ledger_compare(round->ledger, copy, &findings);
    return findings.count > 0;
}

/* --- damage to a finished logbook ------------------------------------------------------------- */

enum judge { BY_LEDGER, BY_SHAPE, BY_SAMPLES, BY_GAPS, BY_TRUTH, BY_TWIN, BY_FILE, BY_PROMISE };

/* Steps of a constant current that were interrupted, by kind. */
#define INTERRUPTED(kind)                                                                          \
    "(SELECT step.id FROM step JOIN outcome ON outcome.step = step.id WHERE kind = '" kind         \
    "' AND gaps > 0 AND charge > 0 AND plan ->> '$.current' IS NOT NULL "                          \
    "AND plan ->> '$.ceiling' IS NULL AND ended_by <> 'stopped' ORDER BY duration DESC LIMIT 1)"

#define LAST_OUTCOME                                                                               \
    "(run, segment, n) = (SELECT run, segment, n FROM journal WHERE outcome IS NOT NULL "          \
    "ORDER BY outcome_at DESC LIMIT 1)"

/* The longest record of samples; all of it lies in `sample` when an engine ended cleanly. */
#define LONGEST "(SELECT step FROM sample GROUP BY step ORDER BY count(*) DESC LIMIT 1)"

static const struct control {
    const char *about, *check;
    enum judge judge;
    const char *sql;
} controls[] = {
    {"a committed outcome is lost", "lost", BY_LEDGER,
     "UPDATE journal SET outcome = NULL, outcome_at = NULL WHERE " LAST_OUTCOME},
    {"one digit of an outcome is another", "lost", BY_LEDGER,
     "UPDATE journal SET outcome = replace(outcome, '\"duration\":', '\"duration\":1') WHERE name "
     "= 'rest' AND n = (SELECT max(n) FROM journal AS j WHERE j.name = 'rest')"},
    {"the last sample is lost", "lost", BY_LEDGER,
     "DELETE FROM sample WHERE step = " LONGEST
     " AND k = (SELECT max(k) FROM sample WHERE step = " LONGEST ")"},
    {"an event is lost", "lost", BY_LEDGER,
     "DELETE FROM event WHERE id = (SELECT max(id) FROM event)"},
    {"a result is lost", "lost", BY_LEDGER,
     "DELETE FROM result WHERE at = (SELECT max(at) FROM result)"},
    {"a run is lost", "promise", BY_PROMISE,
     "DELETE FROM run WHERE id = (SELECT min(id) FROM run WHERE script_name <> 'glance.lua')"},
    {"the journal has a hole", "journal", BY_SHAPE, "DELETE FROM journal WHERE n = 2"},
    {"the samples have a hole", "samples", BY_SHAPE,
     "DELETE FROM sample WHERE step = " LONGEST " AND k = 1"},
    {"a step is done twice", "steps", BY_SHAPE,
     "INSERT INTO step SELECT id + 100000, run, segment, n, cell, channel, kind, how, plan, "
     "started_at FROM step WHERE id = " INTERRUPTED("discharge")},
    {"a stretch counts twice: charge and time", "time", BY_SHAPE,
     "UPDATE outcome SET charge = charge + 0.4, duration = duration + 1 "
     "WHERE step = " INTERRUPTED("discharge")},
    {"a stretch counts twice: charge alone", "charge", BY_SHAPE,
     "UPDATE outcome SET charge = charge * 1.001 WHERE step = " INTERRUPTED(
         "charge") ";"
                   "UPDATE journal SET outcome = json_set(outcome, '$.charge', (SELECT charge / "
                   "3600 FROM step "
                   "JOIN outcome AS o ON o.step = step.id WHERE (step.run, step.segment, step.n) = "
                   "(journal.run, "
                   "journal.segment, journal.n))) WHERE (run, segment, n) = (SELECT run, segment, "
                   "n FROM step "
                   "WHERE id = " INTERRUPTED("charge") ")"},
    {"a stretch counts twice: the samples know better", "sums", BY_SAMPLES,
     "UPDATE outcome SET charge = charge + 0.05 WHERE step = " INTERRUPTED("discharge")},
    {"more charge on record than ever moved", "truth", BY_TRUTH,
     "UPDATE outcome SET charge = 10 * charge WHERE step IN (SELECT id FROM step WHERE kind = "
     "'discharge' AND cell = (SELECT cell FROM step WHERE id = " INTERRUPTED("discharge") "))"},
    {"a cell is driven without a step", "truth", BY_TRUTH, NULL},
    {"a step is not on record", "truth", BY_TRUTH,
     "UPDATE step SET cell = NULL WHERE cell = (SELECT id FROM cell WHERE label = 'X-02')"},
    {"a gap is bridged in silence", "gaps", BY_GAPS,
     "DELETE FROM gap WHERE step = " INTERRUPTED("charge")},
    {"a gap that nothing explains", "gaps", BY_GAPS,
     "INSERT INTO gap SELECT step.id, started_at - 99000000000, started_at - 98000000000, 'no "
     "engine "
     "at work' FROM step WHERE id = 1"},
    {"an interrupted step says good", "gaps", BY_SHAPE,
     "UPDATE outcome SET quality = 'good' WHERE step = " INTERRUPTED("charge")},
    {"a step by time has another time", "ends", BY_SHAPE,
     "UPDATE step SET plan = json_set(plan, '$.time', (plan ->> '$.time') + 0.001) WHERE id = "
     "(SELECT step FROM outcome JOIN step ON step.id = step WHERE ended_by = 'time' "
     "AND kind = 'charge' LIMIT 1)"},
    {"a result is not what was recorded", "results", BY_SHAPE,
     "UPDATE result SET value = value * 1.000001 WHERE value <> 0"},
    {"another draw after a restart", "twin", BY_TWIN,
     "UPDATE journal SET args = json_set(args, '$.value', (args ->> '$.value') + 0.01) "
     "WHERE name = 'record' AND args ->> '$.name' = 'draw' AND n = 1"},
    {"one turn of a loop is left out", "twin", BY_TWIN,
     "DELETE FROM journal WHERE n > 2 AND run = (SELECT max(id) FROM run WHERE state = 'done' "
     "AND script_name <> 'glance.lua')"},
    {"a charge is not what lies between its voltages", "twin", BY_TWIN,
     "UPDATE outcome SET charge = charge + 1e4 WHERE step IN (SELECT step.id FROM step JOIN run "
     "ON run.id = run WHERE script_name = 'cycles.lua') AND ended_by = 'voltage'"},
    {"a page is torn", "file", BY_FILE, NULL},
};

/* Half of a page of a table's tree is overwritten. */
static void tear_page(const char *file)
{
    unsigned char garbage[2048];
    int fd = open(file, O_RDWR | O_CLOEXEC);
    memset(garbage, 0xa5, sizeof(garbage));
    if (fd < 0 || pwrite(fd, garbage, sizeof(garbage), 4096 * 4) != (ssize_t)sizeof(garbage))
        broken("cannot write %s", file);
    close(fd);
}

static void judge(struct round *round, enum judge by, const char *file, const char *world,
                  sqlite3 *twin, const int64_t *map, struct findings *findings)
{
    struct truth_report truth = {0};
    struct account_report account = {0};
    struct twin_report report = {0};
    sqlite3 *book = query_open(file);
    if (!book)
        broken("%s cannot be opened", file);
    switch (by) {
    case BY_LEDGER: ledger_compare(round->ledger, file, findings); break;
    case BY_SHAPE: shape_check(book, findings); break;
    case BY_SAMPLES: account_samples(book, findings, &account); break;
    case BY_GAPS:
        account_gaps(book, &round->interruptions, (utc_us)(2000 * round->scene.scale), findings);
        break;
    case BY_TRUTH: truth_check(book, world, findings, &truth); break;
    case BY_TWIN: twin_compare(book, twin, map, findings, &report); break;
    case BY_FILE: query_sound(book, findings, "integrity_check"); break;
    case BY_PROMISE: promises_check(&round->promises, book, world, findings); break;
    }
    sqlite3_close(book);
}

static void run_one(struct round *round, const struct control *control, sqlite3 *twin,
                    const int64_t *map, struct controls *counts)
{
    char file[300], world[300];
    struct findings findings = {.quiet = true, .awaited = control->check};
    snprintf(file, sizeof(file), "%s/doctored.perdure", round->scene.folder);
    snprintf(world, sizeof(world), "%s/doctored-world", round->scene.folder);
    copy_logbook(round->scene.check, file);
    copy_file(round->scene.check_world, world);
    counts->tried++;
    if (control->sql) {
        sqlite3 *db = query_open_to_write(file);
        query_run(db, "PRAGMA journal_mode = DELETE; PRAGMA foreign_keys = OFF; %s", control->sql);
        if (sqlite3_total_changes(db) == 0)
            found(round->findings, "control", "%s: there is nothing to doctor", control->about);
        sqlite3_close(db);
    } else if (control->judge == BY_TRUTH) {
        truth_doctor(world, "X-03", 0.1);
    } else {
        tear_page(file);
    }
    judge(round, control->judge, file, world, twin, map, &findings);
    if (findings.came)
        counts->reported++;
    else
        found(round->findings, "control", "%s: not found by \"%s\" (%s)", control->about,
              control->check, findings.count ? findings.first : "nothing was found");
}

void controls_run(struct round *round, sqlite3 *twin, const int64_t *map, struct controls *counts)
{
    for (size_t i = 0; i < sizeof(controls) / sizeof(controls[0]); i++)
        run_one(round, &controls[i], twin, map, counts);
    counts->tried++;
    counts->reported += round->log_cuts < 0;
    if (round->log_cuts >= 0)
        found(round->findings, "control", "of %d logs cut short, none was found out",
              round->log_cuts);
}
