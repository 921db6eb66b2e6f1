/* Reading comma-separated tables, by libcsv. */
#include "cli/table_file.h"

#include <csv.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"

#define TABLE_MOST (64 * 1024 * 1024)

struct table {
    json_t *names, *rows, *row;
    size_t column;
    int line;
    char problem[160];
};

static void on_field(void *bytes, size_t length, void *context)
{
    struct table *table = context;
    json_t *text = json_stringn(bytes, length);
    size_t column = table->column++;
    if (!text) {
        snprintf(table->problem, sizeof table->problem, "field %zu is not UTF-8 text", column + 1);
    } else if (table->line == 1) {
        json_array_append(table->names, text);
    } else if (column >= json_array_size(table->names)) {
        snprintf(table->problem, sizeof table->problem,
                 "there are more fields than the %zu columns of the first line",
                 json_array_size(table->names));
    } else if (length) {
        if (!table->row)
            table->row = json_pack("{s:i}", "line", table->line);
        json_object_set(table->row, json_string_value(json_array_get(table->names, column)), text);
    }
    json_decref(text);
}

static void on_row(int last, void *context)
{
    (void)last;
    struct table *table = context;
    if (table->row)
        json_array_append_new(table->rows, table->row);
    table->row = NULL;
    table->column = 0;
}

static bool named_twice(struct table *table)
{
    for (size_t i = 0; i < json_array_size(table->names); i++)
        for (size_t j = 0; j < i; j++)
            if (json_equal(json_array_get(table->names, i), json_array_get(table->names, j)))
                return true;
    return false;
}

int table_file_read(const char *path, json_t **rows, struct error *error)
{
    char *text = NULL;
    size_t length = 0;
    struct csv_parser parser;
    struct table table = {.names = json_array(), .rows = json_array(), .line = 1};
    if (file_read(path, TABLE_MOST, &text, &length, error))
        goto out;
    csv_init(&parser, CSV_APPEND_NULL);
    csv_set_space_func(&parser, NULL);

    /* Fed a line at a time, so that a problem is known by its line. */
    size_t at = length >= 3 && memcmp(text, "\xef\xbb\xbf", 3) == 0 ? 3 : 0; /* a byte order mark */
    while (at < length && !table.problem[0]) {
        const char *end = memchr(text + at, '\n', length - at);
        size_t part = end ? (size_t)(end - text) - at + 1 : length - at;
        csv_parse(&parser, text + at, part, on_field, on_row, &table);
        at += part;
        if (table.line == 1 && named_twice(&table))
            string_copy(table.problem, sizeof table.problem, "a column is named twice");
        if (!table.problem[0])
            table.line++;
    }
    csv_fini(&parser, on_field, on_row, &table);
    csv_free(&parser);
    if (table.problem[0]) {
        char what[600];
        snprintf(what, sizeof what, "%s:%d", path, table.line);
        error_set(error, ERROR_FAILED, what, "mend the line; nothing was taken from the file", "%s",
                  table.problem);
    }
out:
    free(text);
    json_decref(table.names);
    json_decref(table.row);
    if (error->code)
        json_decref(table.rows);
    else
        *rows = table.rows;
    return error->code;
}
