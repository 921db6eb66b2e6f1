/* perdure evaluate: a tester's own evaluation of what is on record. It changes nothing. */
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "base/text.h"
#include "bindings/evaluation.h"
#include "cli/cli.h"
#include "cli/csv_file.h"

#define EVALUATION_TEXT_MOST (1024 * 1024)
#define TABLE_COLUMNS_MOST   23 /* and an end: see print_rows */

struct show {
    const struct arguments *arguments;
    const char *folder; /* of -o; NULL */
    json_t *all;        /* with --json: put out at the end, in one document */
};

/* A row of an array becomes one by name, as tables are printed. */
static void show_table(const struct arguments *arguments, const json_t *table)
{
    const char *title = json_string_value(json_object_get(table, "title"));
    json_t *names = json_object_get(table, "columns"), *line, *rows = json_array();
    struct column columns[TABLE_COLUMNS_MOST + 1] = {{NULL, NULL, 0}};
    char keys[TABLE_COLUMNS_MOST][8];
    size_t i, width = json_array_size(names);
    if (width > TABLE_COLUMNS_MOST)
        width = TABLE_COLUMNS_MOST;
    for (size_t c = 0; c < width; c++) {
        snprintf(keys[c], sizeof keys[c], "%zu", c);
        columns[c] = (struct column){keys[c], json_string_value(json_array_get(names, c)), 'l'};
    }
    json_array_foreach(json_object_get(table, "rows"), i, line)
    {
        json_t *row = json_object();
        for (size_t c = 0; c < width; c++) {
            json_t *value = json_array_get(line, c);
            json_object_set(row, keys[c], value);
            if (json_is_number(value))
                columns[c].align = 'r';
        }
        json_array_append_new(rows, row);
    }
    if (title)
        printf("%s\n", title);
    print_rows(arguments, rows, columns);
    json_decref(rows);
}

static int write_csv(const struct show *show, const json_t *table, struct error *error)
{
    const char *name = json_string_value(json_object_get(table, "name"));
    struct csv_file csv;
    char path[700];
    size_t i, c;
    json_t *line, *value;
    if (!show->folder)
        return error_set(error, ERROR_USAGE, name, "say where to: -o FOLDER",
                         "the evaluation writes a file");
    if (mkdir(show->folder, 0777) && errno != EEXIST)
        return error_set(error, ERROR_FAILED, show->folder, "name another folder",
                         "it cannot be made: %s", strerror(errno));
    snprintf(path, sizeof path, "%s/%s", show->folder, name);
    if (csv_file_open(&csv, path, error))
        return error->code;
    json_array_foreach(json_object_get(table, "columns"), i, value)
    {
        csv_file_value(&csv, value);
    }
    csv_file_end_row(&csv);
    json_array_foreach(json_object_get(table, "rows"), i, line)
    {
        json_array_foreach(line, c, value)
        {
            csv_file_value(&csv, value);
        }
        csv_file_end_row(&csv);
    }
    return csv_file_close(&csv, error);
}

static int put(void *owner, const json_t *item, struct error *error)
{
    struct show *show = owner;
    const json_t *table = json_object_get(item, "table"), *csv = json_object_get(item, "csv");
    if (csv && write_csv(show, csv, error))
        return error->code;
    if (show->all)
        json_array_append_new(show->all, json_deep_copy(item));
    else if (table)
        show_table(show->arguments, table);
    else if (csv)
        printf("wrote %s/%s\n", show->folder, json_string_value(json_object_get(csv, "name")));
    else
        puts(json_string_value(json_object_get(item, "say")));
    return 0;
}

static int run(const struct arguments *arguments, struct error *error)
{
    const char *path = arguments->word[0], *slash = strrchr(path, '/');
    struct show show = {.arguments = arguments,
                        .folder = argument(arguments, "o"),
                        .all = arguments->json ? json_array() : NULL};
    struct evaluation_host host = {.put = put, .owner = &show};
    json_t *params = NULL;
    char *text = NULL, title[128];
    size_t length = 0;
    if (!argument_params(arguments, &params, error) &&
        !file_read(path, EVALUATION_TEXT_MOST, &text, &length, error) &&
        !logbook_open(&host.logbook, arguments->logbook, LOGBOOK_READ, error) &&
        !logbook_snapshot(host.logbook, error)) {
        host.params = params;
        if (!evaluation_run(slash ? slash + 1 : path, text, length, &host, title, error) &&
            show.all) {
            json_t *whole = json_pack("{s:s, s:O}", "title", title, "output", show.all);
            print_json(whole);
            json_decref(whole);
        }
    }
    if (host.logbook)
        logbook_close(host.logbook);
    free(text);
    json_decref(params);
    json_decref(show.all);
    return error->code;
}

static const struct option_spec options[] = {
    {"set", "NAME=VALUE", "what the evaluation finds in its second argument", true},
    {"o", "FOLDER", "where write_csv puts its files", false},
    {NULL, NULL, NULL, false},
};

const struct verb verb_evaluate = {
    "evaluate", "FILE.lua", 1, 1, "runs your own evaluation of what is on record", options, run};
