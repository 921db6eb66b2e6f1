/* The reader's side: collects acknowledged facts, and holds them against a file. It asks SQLite
 * itself, so that nothing is taken on the logbook layer's word. */
#include "cut_facts.h"

#include <sqlite3.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <unistd.h>

#include "base/text.h"
#include "cut_hash.h"

long facts_hear(struct facts *facts, int fd)
{
    size_t acknowledged = facts->count, bytes = 0;
    long commits = 0;
    for (;;) {
        if (facts->count + 1 >= facts->room) {
            facts->room = facts->room == 0 ? 4096 : 2 * facts->room;
            facts->fact = xrealloc(facts->fact, facts->room * sizeof *facts->fact);
        }
        ssize_t count =
            read(fd, (char *)&facts->fact[facts->count] + bytes, sizeof(struct fact) - bytes);
        if (count <= 0)
            break;
        bytes += (size_t)count;
        if (bytes < sizeof(struct fact))
            continue;
        bytes = 0;
        if (facts->fact[facts->count].kind == FACT_COMMIT) {
            acknowledged = facts->count;
            commits++;
        } else {
            facts->count++;
        }
    }
    facts->count = acknowledged;
    return commits;
}

void facts_free(struct facts *facts)
{
    free(facts->fact);
    *facts = (struct facts){0};
}

/* --- looking ---------------------------------------------------------------------------------- */

/* A row at the place ?1, ?2, ?3, and what of it is hashed: i integer, t text, r real. */
static const struct {
    const char *name, *sql, *columns;
} places[] = {
    [FACT_SAMPLE] = {"sample",
                     "SELECT microsecond, microvolt, microampere FROM seen "
                     "WHERE step = ?1 AND k = ?2 AND ?3 = 0",
                     "iii"},
    [FACT_INTENT] = {"journal intent",
                     "SELECT name, args FROM journal WHERE run = ?1 AND segment = ?2 AND n = ?3",
                     "tt"},
    [FACT_OUTCOME] = {"journal outcome",
                      "SELECT outcome, outcome_at FROM journal "
                      "WHERE run = ?1 AND segment = ?2 AND n = ?3",
                      "ti"},
    [FACT_RESULT] = {"result",
                     "SELECT name, value FROM result WHERE run = ?1 AND segment = ?2 AND n = ?3",
                     "tr"},
    [FACT_STEP] = {"step", "SELECT kind, run FROM step WHERE id = ?1 AND ?2 = ?3", "ti"},
    [FACT_CHECKPOINT] = {"checkpoint",
                         "SELECT CASE WHEN at = ?2 AND ended_at IS NULL THEN charge END, "
                         "at > ?2 OR ended_at IS NOT NULL FROM outcome "
                         "WHERE step = ?1 AND at >= ?2 AND ?3 = 0",
                         "r?"},
    [FACT_END] = {"end of step",
                  "SELECT ended_at, ended_by, charge FROM outcome "
                  "WHERE step = ?1 AND ended_at IS NOT NULL AND ?2 = ?3",
                  "itr"},
    [FACT_GAP] = {"gap", "SELECT why, to_at FROM gap WHERE step = ?1 AND from_at = ?2 AND ?3 = 0",
                  "ti"},
    [FACT_EVENT] = {"event",
                    "SELECT text FROM event WHERE at = ?1 AND coalesce(run, 0) = ?2 AND ?3 = 0",
                    "t"},
    [FACT_OVER] = {"end of run", "SELECT state FROM run WHERE id = ?1 AND ?2 = ?3", "t"},
    [FACT_SEGMENT] = {"segment",
                      "SELECT segment_state, segment > ?2 FROM run "
                      "WHERE id = ?1 AND segment >= ?2 AND ?3 = 0",
                      "t?"},
};

#define PLACES (sizeof places / sizeof *places)

static uint64_t hash_column(uint64_t hash, sqlite3_stmt *stmt, int column, char type)
{
    switch (type) {
    case 'i': return hash_integer(hash, sqlite3_column_int64(stmt, column));
    case 'r':
        return hash_real(hash, sqlite3_column_type(stmt, column) == SQLITE_NULL
                                   ? NAN
                                   : sqlite3_column_double(stmt, column));
    default: return hash_text(hash, (const char *)sqlite3_column_text(stmt, column));
    }
}

/* A '?' column that is true: another row has rightly taken its place. */
static bool holds(sqlite3_stmt *stmt, const struct fact *fact)
{
    uint64_t hash = HASH_BASIS;
    const char *columns = places[fact->kind].columns;
    for (int i = 0; columns[i] != '\0'; i++) {
        if (columns[i] == '?') {
            if (sqlite3_column_int(stmt, i))
                return true;
            continue;
        }
        hash = hash_column(hash, stmt, i, columns[i]);
    }
    return hash == fact->hash;
}

static bool is_there(sqlite3_stmt *stmt, const struct fact *fact)
{
    bool found = false;
    sqlite3_bind_int64(stmt, 1, fact->a);
    sqlite3_bind_int64(stmt, 2, fact->b);
    sqlite3_bind_int64(stmt, 3, fact->c);
    while (!found && sqlite3_step(stmt) == SQLITE_ROW)
        found = holds(stmt, fact);
    sqlite3_reset(stmt);
    return found;
}

/* All samples in one table of this connection's own: `recent` has no index by step. */
static const char seen[] = "PRAGMA temp_store = MEMORY;"
                           "CREATE TEMP TABLE seen AS "
                           "SELECT step, k, microsecond, microvolt, microampere FROM sample UNION "
                           "SELECT step, k, microsecond, microvolt, microampere FROM recent;"
                           "CREATE INDEX seen_at ON seen (step, k)";

long facts_missing(const struct facts *facts, const char *logbook, char *first, size_t size)
{
    sqlite3 *db = NULL;
    sqlite3_stmt *stmt[PLACES] = {0};
    long missing = 0;
    int code = sqlite3_open_v2(logbook, &db, SQLITE_OPEN_READONLY, NULL);
    first[0] = '\0';
    if (code == SQLITE_OK)
        code = sqlite3_exec(db, seen, NULL, NULL, NULL);
    for (size_t i = 0; i < PLACES && code == SQLITE_OK; i++)
        code = sqlite3_prepare_v2(db, places[i].sql, -1, &stmt[i], NULL);
    for (size_t i = 0; i < facts->count && code == SQLITE_OK; i++) {
        const struct fact *fact = &facts->fact[i];
        if (is_there(stmt[fact->kind], fact))
            continue;
        if (missing++ == 0)
            snprintf(first, size, "%s at %lld, %lld, %lld", places[fact->kind].name,
                     (long long)fact->a, (long long)fact->b, (long long)fact->c);
    }
    if (code != SQLITE_OK)
        snprintf(first, size, "%s", sqlite3_errmsg(db));
    for (size_t i = 0; i < PLACES; i++)
        sqlite3_finalize(stmt[i]);
    sqlite3_close(db);
    return code == SQLITE_OK ? missing : -1;
}

long facts_open_steps_without_gap(const char *found, const char *finished)
{
    sqlite3 *db = NULL;
    sqlite3_stmt *stmt = NULL;
    long without = -1;
    char *attach = sqlite3_mprintf("ATTACH %Q AS finished", finished);
    if (sqlite3_open_v2(found, &db, SQLITE_OPEN_READONLY, NULL) == SQLITE_OK &&
        sqlite3_exec(db, attach, NULL, NULL, NULL) == SQLITE_OK &&
        sqlite3_prepare_v2(
            db,
            "SELECT count(*) FROM outcome AS o JOIN finished.outcome AS f USING (step) "
            "WHERE o.ended_at IS NULL AND (f.gaps = 0 OR NOT EXISTS "
            "(SELECT 1 FROM finished.gap AS g WHERE g.step = o.step "
            "AND g.from_at >= o.at))",
            -1, &stmt, NULL) == SQLITE_OK &&
        sqlite3_step(stmt) == SQLITE_ROW)
        without = sqlite3_column_int(stmt, 0);
    sqlite3_finalize(stmt);
    sqlite3_free(attach);
    sqlite3_close(db);
    return without;
}
