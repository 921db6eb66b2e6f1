/* perdure results: the named results on record. */
#include <stdio.h>

#include "cli/cli.h"
#include "cli/measured.h"
#include "logbook/facts.h"

static const struct column columns[] = {
    {"cell", "cell", 'l'},
    {"model", "model", 'l'},
    {"run", "run", 'r'},
    {"script", "script", 'l'},
    {"name", "result", 'l'},
    {"value_text", "value", 'r'},
    {"expanded_text", "\xc2\xb1 U", 'r'},
    {"unit", "unit", 'l'},
    {"coverage_text", "k", 'r'},
    {"percent_text", "% of rating", 'r'},
    {"at", "at", 't'},
    {"how", "how", 'l'},
    {"flags", "flags", 'l'},
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
    if (!logbook_list(logbook, LIST_RESULTS, &filter, &rows, error)) {
        if (arguments->json)
            measured_expand(rows);
        else
            measured_say(rows);
        print_rows_in(arguments, rows, columns, logbook_zone(logbook));
        if (!arguments->json && measured_any(rows))
            puts(measured_note);
    }
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
