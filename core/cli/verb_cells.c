/* perdure cells: lists cells; for one, its whole history. */
#include <inttypes.h>
#include <stdio.h>

#include "base/quantity.h"
#include "cli/cli.h"
#include "logbook/cells.h"
#include "logbook/facts.h"

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
    {"at", "since", 't'}, {"run", "study", 'r'}, {"kind", "put", 'l'},
    {"arm", "arm", 'l'},  {NULL, NULL, 0},
};

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

static int run(const struct arguments *arguments, struct error *error)
{
    struct logbook *logbook = NULL;
    json_t *rows = NULL;
    struct listing_filter filter = {.label = arguments->words ? arguments->word[0] : NULL};
    struct cell_record cell;
    if (logbook_open(&logbook, arguments->logbook, LOGBOOK_READ, error))
        return error->code;
    if (!(filter.label && (logbook_cell(logbook, filter.label, &cell, error) ||
                           show_cell(arguments, logbook, &cell, error))) &&
        !logbook_list(logbook, filter.label ? LIST_CELL_STEPS : LIST_CELLS, &filter, &rows, error))
        show(arguments, logbook, rows, filter.label ? history : list);
    json_decref(rows);
    logbook_close(logbook);
    return error->code;
}

const struct verb verb_cells = {"cells", "[LABEL]", 0, 1, "lists cells; for one, its whole history",
                                NULL,    run};
