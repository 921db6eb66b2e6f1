/* perdure results: the named results on record. */
#include "cli/cli.h"
#include "logbook/facts.h"

static const struct column columns[] = {
    {"cell", "cell", 'l'},     {"model", "model", 'l'},   {"run", "run", 'r'},
    {"script", "script", 'l'}, {"name", "result", 'l'},   {"value", "value", 'r'},
    {"unit", "unit", 'l'},     {"uncertainty", "u", 'r'}, {"percent_of_rating", "% of rating", 'r'},
    {"at", "at", 't'},         {"how", "how", 'l'},       {"flags", "flags", 'l'},
    {NULL, NULL, 0},
};

static int run(const struct arguments *arguments, struct error *error)
{
    struct logbook *logbook = NULL;
    json_t *rows = NULL;
    struct listing_filter filter = {.label = argument(arguments, "cell"),
                                    .name = argument(arguments, "name")};
    const char *id = argument(arguments, "run");
    if (id && argument_run(id, &filter.run, error))
        return error->code;
    if (logbook_open(&logbook, arguments->logbook, LOGBOOK_READ, error))
        return error->code;
    if (!logbook_list(logbook, LIST_RESULTS, &filter, &rows, error))
        print_rows_in(arguments, rows, columns, logbook_zone(logbook));
    json_decref(rows);
    logbook_close(logbook);
    return error->code;
}

static const struct option_spec options[] = {
    {"cell", "LABEL", "only of this cell", false},
    {"name", "NAME", "only results of this name, such as capacity", false},
    {"run", "N", "only of this run", false},
    {NULL, NULL, NULL, false},
};

const struct verb verb_results = {"results", "", 0, 0, "named results", options, run};
