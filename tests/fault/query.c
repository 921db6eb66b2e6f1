/* SQLite, asked plainly. */
#include "query.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"

static sqlite3 *open_as(const char *path, int flags)
{
    sqlite3 *db = NULL;
    if (sqlite3_open_v2(path, &db, flags | SQLITE_OPEN_URI, NULL) != SQLITE_OK) {
        sqlite3_close(db);
        return NULL;
    }
    sqlite3_busy_timeout(db, 5000);
    return db;
}

sqlite3 *query_open(const char *path)
{
    return open_as(path, SQLITE_OPEN_READONLY);
}

sqlite3 *query_open_to_write(const char *path)
{
    sqlite3 *db = open_as(path, SQLITE_OPEN_READWRITE);
    if (!db)
        broken("%s cannot be opened to write", path);
    return db;
}

static sqlite3_stmt *prepare(sqlite3 *db, const char *format, va_list list)
{
    sqlite3_stmt *row = NULL;
    char *sql = sqlite3_vmprintf(format, list);
    if (sqlite3_prepare_v2(db, sql, -1, &row, NULL) != SQLITE_OK)
        broken("%s, in: %s", sqlite3_errmsg(db), sql);
    sqlite3_free(sql);
    return row;
}

static bool next(sqlite3 *db, sqlite3_stmt *row)
{
    int code = sqlite3_step(row);
    if (code != SQLITE_ROW && code != SQLITE_DONE)
        broken("%s, in: %s", sqlite3_errmsg(db), sqlite3_sql(row));
    return code == SQLITE_ROW;
}

void query_run(sqlite3 *db, const char *format, ...)
{
    va_list list;
    va_start(list, format);
    char *sql = sqlite3_vmprintf(format, list);
    va_end(list);
    if (sqlite3_exec(db, sql, NULL, NULL, NULL) != SQLITE_OK)
        broken("%s, in: %s", sqlite3_errmsg(db), sql);
    sqlite3_free(sql);
}

int64_t query_number(sqlite3 *db, const char *format, ...)
{
    va_list list;
    va_start(list, format);
    sqlite3_stmt *row = prepare(db, format, list);
    va_end(list);
    int64_t number = next(db, row) ? sqlite3_column_int64(row, 0) : 0;
    sqlite3_finalize(row);
    return number;
}

double query_real(sqlite3 *db, const char *format, ...)
{
    va_list list;
    va_start(list, format);
    sqlite3_stmt *row = prepare(db, format, list);
    va_end(list);
    double number = next(db, row) ? sqlite3_column_double(row, 0) : 0;
    sqlite3_finalize(row);
    return number;
}

char *query_text(sqlite3 *db, const char *format, ...)
{
    va_list list;
    va_start(list, format);
    sqlite3_stmt *row = prepare(db, format, list);
    va_end(list);
    char *text = NULL;
    if (next(db, row) && sqlite3_column_text(row, 0))
        text = xstrdup((const char *)sqlite3_column_text(row, 0));
    sqlite3_finalize(row);
    return text;
}

void query_each(sqlite3 *db, query_row *visit, void *context, const char *format, ...)
{
    va_list list;
    va_start(list, format);
    sqlite3_stmt *row = prepare(db, format, list);
    va_end(list);
    while (next(db, row))
        visit(context, row);
    sqlite3_finalize(row);
}

struct judge {
    struct findings *findings;
    const char *check;
};

static void judge_row(void *context, sqlite3_stmt *row)
{
    const struct judge *judge = context;
    struct text text = TEXT_EMPTY;
    for (int i = 0; i < sqlite3_column_count(row); i++) {
        const char *value = (const char *)sqlite3_column_text(row, i);
        text_addf(&text, "%s%s %s", i ? ", " : "", sqlite3_column_name(row, i),
                  value ? value : "NULL");
    }
    found(judge->findings, judge->check, "%.500s", text.bytes);
    text_free(&text);
}

void query_none(sqlite3 *db, struct findings *findings, const char *check, const char *sql)
{
    struct judge judge = {findings, check};
    query_each(db, judge_row, &judge, "%s", sql);
}

/* Damage may also show as an error of the question itself. */
void query_sound(sqlite3 *db, struct findings *findings, const char *pragma)
{
    char sql[60];
    sqlite3_stmt *row = NULL;
    snprintf(sql, sizeof(sql), "PRAGMA %s", pragma);
    int code = sqlite3_prepare_v2(db, sql, -1, &row, NULL);
    if (code == SQLITE_OK)
        code = sqlite3_step(row);
    if (code != SQLITE_ROW)
        found(findings, "file", "%s: %s", pragma, sqlite3_errmsg(db));
    else if (strcmp((const char *)sqlite3_column_text(row, 0), "ok") != 0)
        found(findings, "file", "%s: %s", pragma, (const char *)sqlite3_column_text(row, 0));
    sqlite3_finalize(row);
}
