/* The logbook about itself: what it was born with, the clock it keeps, whether it is sound. */
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "logbook/logbook_internal.h"

const char *logbook_path(const struct logbook *logbook)
{
    return logbook->path;
}

uint64_t logbook_seed(const struct logbook *logbook)
{
    return logbook->seed;
}

utc_us logbook_created(const struct logbook *logbook)
{
    return logbook->created;
}

const struct zone *logbook_zone(const struct logbook *logbook)
{
    return logbook->zone;
}

const char *logbook_clock(const struct logbook *logbook)
{
    return logbook->clock;
}

int logbook_set_clock(struct logbook *logbook, const char *clock, utc_us utc_origin,
                      utc_us real_origin, struct error *error)
{
    int failed;

    if (clock[0] == '\0' || strlen(clock) >= sizeof(logbook->clock))
        return error_set(error, ERROR_INTERNAL, logbook->path, "report this as a fault of Perdure",
                         "\"%s\" cannot be the name of a clock", clock);
    if (logbook->clock[0] != '\0' && strcmp(logbook->clock, clock) != 0)
        return error_set(error, ERROR_FAILED, logbook->path,
                         "go on with that clock, or make another logbook for this one",
                         "it keeps the clock \"%s\" and cannot be taken on with \"%s\": simulated "
                         "days and real ones would mix",
                         logbook->clock, clock);
    failed = SQL(logbook, error,
                 "UPDATE logbook SET clock = ?1, utc_origin = ?2, real_origin = ?3 WHERE id = 1",
                 V_TEXT(clock), V_INT(utc_origin), V_INT(real_origin));
    if (!failed)
        string_copy(logbook->clock, sizeof(logbook->clock), clock);
    return failed;
}

int logbook_clock_origin(struct logbook *logbook, utc_us *utc_origin, utc_us *real_origin,
                         struct error *error)
{
    int failed = NUMBER(logbook, error, utc_origin, "SELECT utc_origin FROM logbook WHERE id = ?1",
                        V_INT(1));

    if (!failed)
        failed = NUMBER(logbook, error, real_origin,
                        "SELECT real_origin FROM logbook WHERE id = ?1", V_INT(1));
    return failed;
}

/* The steps and the journal of a run that is over lie before its end, of which an event tells: only
 * those of open runs are looked through, for these tables are nearly all of a large logbook. */
#define IN_OPEN_RUN "run IN (SELECT id FROM run WHERE ended_at IS NULL)"

int logbook_latest(struct logbook *logbook, utc_us *latest, struct error *error)
{
    return NUMBER(logbook, error, latest,
                  "SELECT max(at) FROM ("
                  "SELECT created_at AS at FROM logbook WHERE id = ?1 "
                  "UNION ALL SELECT max(enrolled_at) FROM cell "
                  "UNION ALL SELECT max(began_at) FROM session "
                  "UNION ALL SELECT max(ended_at) FROM session "
                  "UNION ALL SELECT max(max(queued_at, coalesce(started_at, queued_at), "
                  "                         coalesce(ended_at, queued_at))) FROM run "
                  "UNION ALL SELECT max(max(intent_at, coalesce(outcome_at, intent_at))) "
                  "            FROM journal WHERE " IN_OPEN_RUN
                  " UNION ALL SELECT max(started_at) FROM step WHERE " IN_OPEN_RUN
                  " UNION ALL SELECT max(at) FROM outcome "
                  "           WHERE step IN (SELECT id FROM step WHERE " IN_OPEN_RUN ") "
                  "UNION ALL SELECT max(to_at) FROM gap "
                  "UNION ALL SELECT max(at) FROM result "
                  "UNION ALL SELECT max(at) FROM event "
                  "UNION ALL SELECT max(asked_at) FROM question "
                  "UNION ALL SELECT max(at) FROM answer)",
                  V_INT(1));
}

int logbook_holder(const char *path, int *pid, utc_us *since, struct error *error)
{
    char *whole = realpath(path, NULL);
    int failed = lock_holder(whole == NULL ? path : whole, pid, since, error);

    free(whole);
    return failed;
}

/* --- is it sound? --------------------------------------------------------------------------- */

/* Each finds nothing in a sound logbook; the first column says what it found. */
static const char *const checks[] = {
    "SELECT * FROM pragma_integrity_check(1) WHERE integrity_check <> 'ok'",

    "SELECT 'table ' || \"table\" || ', row ' || coalesce(rowid, '?') || ', points to a missing "
    "row "
    "of ' || parent FROM pragma_foreign_key_check LIMIT 1",

    "SELECT 'step ' || step || ' has ' || count(*) || ' moved samples up to number ' || max(k) "
    "FROM sample GROUP BY step HAVING count(*) <> max(k) + 1 LIMIT 1",

    "SELECT 'a sample of step ' || step || ', which is not on record' FROM ("
    "SELECT DISTINCT step FROM sample UNION SELECT step FROM recent) "
    "WHERE step NOT IN (SELECT id FROM step) LIMIT 1",

    "SELECT 'step ' || step || ' has ' || count(DISTINCT k) || ' recent samples from ' || min(k) "
    "|| "
    "' to ' || max(k) || ', after ' || moved || ' moved ones' FROM ("
    "SELECT step, k, (SELECT coalesce(max(k) + 1, 0) FROM sample WHERE sample.step = recent.step) "
    "AS moved FROM recent) WHERE k >= moved GROUP BY step "
    "HAVING min(k) <> moved OR count(*) <> max(k) - min(k) + 1 LIMIT 1",
};

int logbook_check(struct logbook *logbook, struct error *error)
{
    int failed = 0;

    for (size_t i = 0; i < sizeof(checks) / sizeof(checks[0]) && !failed; i++) {
        sqlite3_stmt *stmt = NULL;
        bool row = false;

        failed = sql_prepare(logbook, error, checks[i], &stmt);
        if (!failed)
            failed = sql_row(logbook, error, stmt, &row);
        if (row)
            failed = error_set(error, ERROR_LOGBOOK, logbook->path,
                               "keep this file as it is and go on from the latest backup",
                               "the file is damaged: %s", column_string(stmt, 0));
        sqlite3_finalize(stmt);
    }
    return failed;
}
