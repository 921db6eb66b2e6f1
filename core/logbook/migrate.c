/* Migrations, and how they are carried out. */
#include <string.h>

#include "base/text.h"
#include "from_1_sql.h"
#include "logbook/logbook_internal.h"

static const struct migration steps[] = {{1, from_1_sql}};

const struct migration_plan logbook_migrations = {LOGBOOK_VERSION, steps,
                                                  sizeof(steps) / sizeof(*steps)};

static const char *step_from(const struct migration_plan *plan, int from)
{
    for (int i = 0; i < plan->count; i++)
        if (plan->steps[i].from == from)
            return plan->steps[i].sql;
    return NULL;
}

static int check_references(sqlite3 *db, const char *path, int version, struct error *error)
{
    sqlite3_stmt *stmt;
    int failed = 0, code;

    if (sqlite3_prepare_v2(db, "PRAGMA foreign_key_check", -1, &stmt, NULL) != SQLITE_OK)
        return sql_error(db, path, error);
    code = sqlite3_step(stmt);
    if (code == SQLITE_ROW)
        failed = error_set(error, ERROR_LOGBOOK, path,
                           "it was left as it is: report this, with the version of Perdure",
                           "taken to version %d, its table %s would point to a row that is not "
                           "there",
                           version, column_string(stmt, 0));
    else if (code != SQLITE_DONE)
        failed = sql_error(db, path, error);
    sqlite3_finalize(stmt);
    return failed;
}

static int migrate_within(sqlite3 *db, const char *path, int have,
                          const struct migration_plan *plan, struct error *error)
{
    char set_version[64];
    int failed = 0;

    for (int from = have; from < plan->version && !failed; from++)
        failed = sql_script(db, path, step_from(plan, from), error);
    if (!failed)
        failed = check_references(db, path, plan->version, error);
    if (!failed) {
        snprintf(set_version, sizeof(set_version), "PRAGMA user_version = %d", plan->version);
        failed = sql_script(db, path, set_version, error);
    }
    return failed;
}

int db_migrate(sqlite3 *db, const char *path, int have, const struct migration_plan *plan,
               struct error *error)
{
    struct text copy = TEXT_EMPTY;
    int failed;

    for (int from = have; from < plan->version; from++)
        if (step_from(plan, from) == NULL)
            return error_set(error, ERROR_LOGBOOK, path, "use the version of Perdure that made it",
                             "it is of version %d, and there is no way from %d to %d", have, from,
                             plan->version);
    text_addf(&copy, "%s-version-%d", path, have);
    failed = db_copy(db, path, copy.bytes, error);
    text_free(&copy);
    /* References are checked at the end: a step may rebuild a table that others point to. */
    if (!failed)
        failed = sql_script(db, path, "PRAGMA foreign_keys = OFF; BEGIN EXCLUSIVE", error);
    if (failed)
        return failed;
    failed = migrate_within(db, path, have, plan, error);
    if (!failed)
        failed = sql_script(db, path, "COMMIT", error);
    if (failed && !sqlite3_get_autocommit(db))
        sqlite3_exec(db, "ROLLBACK", NULL, NULL, NULL);
    sqlite3_exec(db, "PRAGMA foreign_keys = ON", NULL, NULL, NULL);
    return failed;
}
