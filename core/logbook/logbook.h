/* The logbook: the one SQLite file that holds everything that was done to every cell. No other
 * layer writes SQL. One process writes, whoever holds the lock beside the file; readers open
 * read-only and keep their transactions short.
 *
 * Every function that writes belongs between logbook_begin and logbook_commit. Only what was
 * committed is acknowledged: nothing acknowledged is ever lost (WAL, synchronous=FULL). Times are
 * integer microseconds UTC. Tables are STRICT and named in schema.sql, which is worth reading
 * first. */
#ifndef PERDURE_LOGBOOK_LOGBOOK_H
#define PERDURE_LOGBOOK_LOGBOOK_H

#include <stdbool.h>
#include <stdint.h>

#include "base/calendar.h"
#include "base/error.h"
#include "base/zone.h"

struct logbook;

enum logbook_mode {
    LOGBOOK_READ, /* never waits for the writer, never changes the file */
    LOGBOOK_WRITE /* takes the lock; ERROR_BUSY with the holder's process id and start if held */
};

struct logbook_birth {
    utc_us created;
    uint64_t seed;     /* every draw and every simulated truth follows from it */
    const char *clock; /* "real", "virtual", "x60": a logbook keeps one clock, so that simulated
                          days and real ones never mix; NULL: the first engine decides */
    const char *zone;  /* whose calendar days and hours count: "Europe/Berlin"; NULL: UTC */
};

/* Makes a new file and refuses an existing one. ":memory:" needs no create: opening it gives a new
 * logbook in memory, born now with seed 1. */
int logbook_create(const char *path, const struct logbook_birth *birth, struct error *error);

/* Refuses, untouched: a file that is missing, not SQLite, SQLite but not a logbook
 * (application_id), of a newer version (user_version), damaged. An older version is migrated, after
 * a backup, when opened to write; to read it is refused with advice. So is one of a zone that this
 * machine does not know: its dates could not be told. */
int logbook_open(struct logbook **out, const char *path, enum logbook_mode mode,
                 struct error *error);

/* A new logbook in memory: rehearsals and tests. */
int logbook_open_memory(struct logbook **out, const struct logbook_birth *birth,
                        struct error *error);

/* Rolls back what is not committed, moves staged samples, checkpoints, unlocks. */
void logbook_close(struct logbook *logbook);

/* For a logbook opened to read: from now until it is closed everything read is as of one moment,
 * whatever others write meanwhile. What they write cannot be tidied away so long: not for hours. */
int logbook_snapshot(struct logbook *logbook, struct error *error);

/* For whoever is about to read all over the file: begins to fetch it into memory, in order. Nothing
 * depends on it; nothing is done with a file that is larger than half of the memory. */
void logbook_read_ahead(struct logbook *logbook);

/* A commit that fails has been rolled back: whoever wants it does all of it again. ERROR_FULL is
 * worth another try. */
int logbook_begin(struct logbook *logbook, struct error *error);
int logbook_commit(struct logbook *logbook, struct error *error);
void logbook_rollback(struct logbook *logbook);

const char *logbook_path(const struct logbook *logbook);
uint64_t logbook_seed(const struct logbook *logbook);
utc_us logbook_created(const struct logbook *logbook);
/* Whose wall clock all dates go by; NULL is UTC. Lives as long as the logbook. */
const struct zone *logbook_zone(const struct logbook *logbook);

/* The clock it keeps, and the calendar pair that pins a scaled one (see clock_open_scaled). */
const char *logbook_clock(const struct logbook *logbook); /* "" while undecided */
int logbook_set_clock(struct logbook *logbook, const char *clock, utc_us utc_origin,
                      utc_us real_origin, struct error *error);
int logbook_clock_origin(struct logbook *logbook, utc_us *utc_origin, utc_us *real_origin,
                         struct error *error);

/* The latest instant on record: where a virtual clock goes on. */
int logbook_latest(struct logbook *logbook, utc_us *latest, struct error *error);

/* Who holds the lock of this logbook: 0 and the pid (and its start), or pid 0 when nobody does. */
int logbook_holder(const char *path, int *pid, utc_us *since, struct error *error);

/* SQLite's own integrity and foreign-key checks; an error names the first finding. */
int logbook_check(struct logbook *logbook, struct error *error);

/* A copy of all that is committed, while others write: made beside `to`, synced, then renamed. It
 * replaces an older logbook of that name, and nothing else. */
int logbook_backup(struct logbook *logbook, const char *to, struct error *error);

#endif
