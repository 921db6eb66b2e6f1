/* perdure cells: lists cells; for one, its history. */
#include <inttypes.h>
#include <stdio.h>
#include <string.h>

#include "base/quantity.h"
#include "base/text.h"
#include "cli/cli.h"
#include "logbook/cells.h"
#include "logbook/facts.h"

/* Latest steps shown of a cell: a worn one has over a thousand. */
#define LAST_SHOWN 50

static const struct column list[] = {
    {"label", "cell", 'l'},      {"model", "model", 'n'},         {"chemistry", "chemistry", 'l'},
    {"size", "size", 'l'},       {"rated_Ah", "rated Ah", 'r'},   {"runs", "runs", 'r'},
    {"open_run", "in run", 'r'}, {"reference", "reference", 'l'}, {NULL, NULL, 0},
};

static const struct column history[] = {
    {"started_at", "started", 't'},
    {"run", "run", 'r'},
    {"script", "script", 'l'},
    {"kind", "step", 'l'},
    {"channel", "channel", 'l'},
    {"duration_h", "hours", 'r'},
    {"charge_Ah", "Ah", 'r'},
    {"energy_Wh", "Wh", 'r'},
    {"last_voltage_V", "end V", 'r'},
    {"resistance_ohm", "ohm", 'r'},
    {"ended_by", "ended by", 'l'},
    {"quality", "quality", 'l'},
    {NULL, NULL, 0},
};

static const struct column places[] = {
    {"at", "since", 't'},
    {"run", "study", 'r'},
    {"kind", "put", 'l'},
    {"arm", "arm", 'l'},
    {"how", "as the study says", 'l'},
    {NULL, NULL, 0},
};

/* "charge 100 %, temperature 20 degC"; of one withdrawn the reason alone. In the order of names. */
static void say_how(json_t *row)
{
    struct text how = TEXT_EMPTY;
    json_t *detail = json_object_get(row, "detail"), *value;
    const char *key;
    json_object_foreach(detail, key, value)
    {
        text_add(&how, how.length ? ", " : "");
        for (const char *at = key; strcmp(key, "reason") != 0 && *at; at++)
            text_addf(&how, "%c%s", *at == '_' ? ' ' : *at, at[1] ? "" : " ");
        if (json_is_string(value))
            text_add(&how, json_string_value(value));
        else if (json_is_number(value))
            text_addf(&how, "%.12g", json_number_value(value));
        else
            text_add(&how, json_is_true(value) ? "yes" : json_is_false(value) ? "no" : "...");
    }
    if (how.length)
        json_object_set_new(row, "how", json_string(how.bytes));
    text_free(&how);
}

/* What the cell is, and where studies have put it; for people, above its history. */
static int show_cell(const struct arguments *arguments, struct logbook *logbook,
                     const struct cell_record *cell, struct error *error)
{
    const struct listing_filter filter = {.label = cell->label};
    json_t *rows = NULL;
    char rated[32];
    if (arguments->json || logbook_list(logbook, LIST_PLACEMENTS, &filter, &rows, error))
        return error->code;
    printf("%s  %s, %s%s%s, %s", cell->label, cell->model.name, cell->model.chemistry,
           cell->model.size[0] ? " " : "", cell->model.size,
           quantity_format(cell->model.rated_charge, DIM_CHARGE, rated, sizeof rated));
    if (cell->busy_run)
        printf("; in run %" PRId64, cell->busy_run);
    puts("\n");
    size_t i;
    json_t *row;
    json_array_foreach(rows, i, row)
    {
        say_how(row);
    }
    if (json_array_size(rows)) {
        print_rows_in(arguments, rows, places, logbook_zone(logbook));
        puts("");
    }
    json_decref(rows);
    return 0;
}

/* A table has a column for what some of its rows have: no logbook without references shows it. */
static void show(const struct arguments *arguments, struct logbook *logbook, const json_t *rows,
                 const struct column *columns)
{
    size_t i;
    json_t *row;
    json_array_foreach(rows, i, row)
    {
        if (!arguments->json && json_is_false(json_object_get(row, "reference")))
            json_object_del(row, "reference");
    }
    print_rows_in(arguments, rows, columns, logbook_zone(logbook));
}

/* The latest steps of its history, and how many there are before them; as JSON always all. */
static int show_history(const struct arguments *arguments, struct logbook *logbook,
                        const char *label, size_t most, struct error *error)
{
    const struct listing_filter filter = {.label = label};
    json_t *rows = NULL;
    if (logbook_list(logbook, LIST_CELL_STEPS, &filter, &rows, error))
        return error->code;
    size_t count = json_array_size(rows), earlier = count > most ? count - most : 0;
    if (earlier && !arguments->json && !argument(arguments, "all")) {
        json_t *latest = json_array();
        for (size_t i = earlier; i < count; i++)
            json_array_append(latest, json_array_get(rows, i));
        json_decref(rows);
        rows = latest;
        printf("%zu earlier step%s left out: --all shows them too, --last N the latest N\n\n",
               earlier, earlier == 1 ? " is" : "s are");
    }
    print_rows_in(arguments, rows, history, logbook_zone(logbook));
    json_decref(rows);
    return 0;
}

static int run(const struct arguments *arguments, struct error *error)
{
    struct logbook *logbook = NULL;
    json_t *rows = NULL;
    const char *label = arguments->words ? arguments->word[0] : NULL;
    struct cell_record cell;
    int most = LAST_SHOWN;
    if (!label && (argument(arguments, "last") || argument(arguments, "all")))
        return error_set(error, ERROR_USAGE, argument(arguments, "last") ? "--last" : "--all",
                         "name the cell: perdure cells LABEL --all",
                         "it is about the history of one cell");
    if (argument_number(arguments, "last", LAST_SHOWN, &most, error) ||
        logbook_open(&logbook, arguments->logbook, LOGBOOK_READ, error))
        return error->code;
    if (label) {
        if (!logbook_cell(logbook, label, &cell, error) &&
            !show_cell(arguments, logbook, &cell, error))
            show_history(arguments, logbook, label, (size_t)most, error);
    } else if (!logbook_list(logbook, LIST_CELLS, NULL, &rows, error)) {
        show(arguments, logbook, rows, list);
    }
    json_decref(rows);
    logbook_close(logbook);
    return error->code;
}

static const struct option_spec options[] = {
    {"last", "N", "of a cell's history the latest N steps, 50 unless said; --json has always all",
     false},
    {"all", NULL, "all of them", false},
    {NULL, NULL, NULL, false},
};

const struct verb verb_cells = {"cells", "[LABEL]", 0, 1, "lists cells; for one, its history",
                                options, run};
