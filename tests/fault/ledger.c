/* The ledger: an SQLite database in memory, to which a logbook is attached as `book`. */
#include "ledger.h"

#include <stdio.h>
#include <stdlib.h>

#include "base/text.h"
#include "query.h"

/* What never changes once it is there. A row that is completed later appears twice: as it was
 * begun, and as it was completed. */
static const struct fact {
    const char *name, *select;
} facts[] = {
    {"logbook", "SELECT * FROM book.logbook"},
    {"model", "SELECT * FROM book.model"},
    {"cell", "SELECT * FROM book.cell"},
    {"script", "SELECT * FROM book.script"},
    {"run_module", "SELECT * FROM book.run_module"},
    {"session_begun", "SELECT id, began_at, bench_name, bench_hash, version FROM book.session"},
    {"session_over", "SELECT id, ended_at, ended_why FROM book.session WHERE ended_at IS NOT NULL"},
    {"run_queued", "SELECT id, parent, kind, script_name, script_hash, params, cell, seed, "
                   "queued_at FROM book.run"},
    {"run_started", "SELECT id, channel, started_at FROM book.run WHERE started_at IS NOT NULL"},
    {"run_over", "SELECT id, state, segment, segment_state, segment_at, ended_at, why "
                 "FROM book.run WHERE ended_at IS NOT NULL"},
    {"intent", "SELECT run, segment, n, name, args, intent_at FROM book.journal"},
    {"journal_outcome", "SELECT run, segment, n, outcome, outcome_at FROM book.journal "
                        "WHERE outcome IS NOT NULL"},
    {"step", "SELECT * FROM book.step"},
    {"step_over", "SELECT * FROM book.outcome WHERE ended_at IS NOT NULL"},
    {"sample", "SELECT step, k, microsecond, microvolt, microampere, millidegree FROM book.sample "
               "UNION SELECT step, k, microsecond, microvolt, microampere, millidegree "
               "FROM book.recent"},
    {"gap", "SELECT * FROM book.gap"},
    {"result", "SELECT * FROM book.result"},
    {"event", "SELECT * FROM book.event"},
    {"question", "SELECT * FROM book.question"},
    {"answer", "SELECT * FROM book.answer"},
};

#define FACTS (sizeof(facts) / sizeof(facts[0]))

/* Of a step that goes on, what can only grow. */
#define GROWING "step, at, samples, charge, energy, duration, gaps, gap_time"

struct ledger {
    sqlite3 *db;
    bool made; /* its tables are, from the first logbook seen */
};

struct ledger *ledger_open(void)
{
    struct ledger *ledger = xcalloc(1, sizeof(*ledger));
    int flags = SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE | SQLITE_OPEN_URI;
    if (sqlite3_open_v2(":memory:", &ledger->db, flags, NULL) != SQLITE_OK)
        broken("no memory for the ledger");
    sqlite3_busy_timeout(ledger->db, 200);
    return ledger;
}

void ledger_close(struct ledger *ledger)
{
    sqlite3_close(ledger->db);
    free(ledger);
}

static bool attach(struct ledger *ledger, const char *logbook)
{
    char *sql = sqlite3_mprintf("ATTACH 'file:%q?mode=ro' AS book", logbook);
    int code = sqlite3_exec(ledger->db, sql, NULL, NULL, NULL);
    sqlite3_free(sql);
    return code == SQLITE_OK;
}

static void detach(struct ledger *ledger)
{
    query_run(ledger->db, "DETACH book");
}

bool ledger_pin(struct ledger *ledger, const char *logbook)
{
    if (!attach(ledger, logbook))
        return false;
    query_run(ledger->db, "BEGIN");
    if (sqlite3_exec(ledger->db, "SELECT 1 FROM book.run LIMIT 1", NULL, NULL, NULL) == SQLITE_OK)
        return true;
    query_run(ledger->db, "ROLLBACK");
    detach(ledger);
    return false;
}

static void make_tables(struct ledger *ledger)
{
    for (size_t i = 0; i < FACTS; i++)
        query_run(ledger->db, "CREATE TABLE main.[seen_%s] AS %s LIMIT 0", facts[i].name,
                  facts[i].select);
    query_run(ledger->db,
              "CREATE TABLE main.growing AS SELECT " GROWING " FROM book.outcome LIMIT 0;"
              "CREATE UNIQUE INDEX main.growing_step ON growing (step)");
    ledger->made = true;
}

void ledger_take(struct ledger *ledger)
{
    if (!ledger->made)
        make_tables(ledger);
    for (size_t i = 0; i < FACTS; i++)
        query_run(ledger->db,
                  "INSERT INTO main.[seen_%s] SELECT * FROM (%s) EXCEPT "
                  "SELECT * FROM main.[seen_%s]",
                  facts[i].name, facts[i].select, facts[i].name);
    query_run(ledger->db,
              "INSERT OR REPLACE INTO main.growing SELECT " GROWING " FROM book.outcome");
    query_run(ledger->db, "COMMIT");
    detach(ledger);
}

static void compare_growing(struct ledger *ledger, struct findings *findings)
{
    query_none(ledger->db, findings, "lost",
               "SELECT 'progress of a step went back' AS what, was.step AS step, "
               "was.samples AS samples_seen, now.samples AS samples, was.charge AS charge_seen, "
               "now.charge AS charge, was.duration AS duration_seen, now.duration AS duration, "
               "was.gaps AS gaps_seen, now.gaps AS gaps "
               "FROM main.growing AS was LEFT JOIN book.outcome AS now ON now.step = was.step "
               "WHERE now.step IS NULL OR now.at < was.at OR now.samples < was.samples "
               "OR now.charge < was.charge OR now.energy < was.energy "
               "OR now.duration < was.duration OR now.gaps < was.gaps "
               "OR now.gap_time < was.gap_time");
}

void ledger_compare(struct ledger *ledger, const char *logbook, struct findings *findings)
{
    char sql[1024];
    if (!ledger->made)
        return;
    if (!attach(ledger, logbook)) {
        found(findings, "file", "%s cannot be opened: %s", logbook, sqlite3_errmsg(ledger->db));
        return;
    }
    /* Damage may show as an error here; a query that fails counts as a finding. */
    for (size_t i = 0; i < FACTS; i++) {
        snprintf(sql, sizeof(sql),
                 "SELECT '%s' AS seen_and_gone, * FROM "
                 "(SELECT * FROM main.[seen_%s] EXCEPT SELECT * FROM (%s)) LIMIT 3",
                 facts[i].name, facts[i].name, facts[i].select);
        query_none(ledger->db, findings, "lost", sql);
    }
    compare_growing(ledger, findings);
    detach(ledger);
}

int64_t ledger_facts(struct ledger *ledger)
{
    int64_t count = 0;
    for (size_t i = 0; i < FACTS && ledger->made; i++)
        count += query_number(ledger->db, "SELECT count(*) FROM main.[seen_%s]", facts[i].name);
    return count;
}
