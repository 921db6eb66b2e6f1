/* How a logbook of an earlier version becomes one of today: after a backup, in one transaction.
 *
 * To change the schema: change schema.sql and its user_version, LOGBOOK_VERSION, and add the step
 * from the version before, from_N.sql, to `steps` in migrate.c. Never change a step that was
 * released. */
#ifndef PERDURE_LOGBOOK_MIGRATE_H
#define PERDURE_LOGBOOK_MIGRATE_H

#include <sqlite3.h>

#include "base/error.h"

struct migration {
    int from;        /* brings version `from` to the next */
    const char *sql; /* statements; no transaction, no user_version */
};

struct migration_plan {
    int version; /* wanted */
    const struct migration *steps;
    int count;
};

extern const struct migration_plan logbook_migrations;

/* Keeps a copy as PATH-version-N, then migrates. On a failure nothing has changed. */
int db_migrate(sqlite3 *db, const char *path, int have, const struct migration_plan *plan,
               struct error *error);

#endif
