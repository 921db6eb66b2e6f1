/* perdure results: the named results on record, one by one, or what they come to. */
#include <stdio.h>

#include "cli/show_account.h"
#include "logbook/cells.h"
#include "logbook/facts.h"
#include "logbook/runs.h"
#include "verdict/channels.h"
#include "verdict/measured.h"

static const struct column columns[] = {
    {"cell", "cell", 'l'},
    {"model", "model", 'n'},
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

static int correct(struct logbook *logbook, json_t *rows, struct text *said, struct error *error)
{
    struct history history;
    if (!history_open(&history, logbook, NULL, error)) {
        rows_correct(&history, rows, said, error);
        history_close(&history);
    }
    return error->code;
}

/* A label or a number that was mistyped is not a cell or a run without results. */
static bool are_on_record(struct logbook *logbook, const struct listing_filter *filter,
                          struct error *error)
{
    struct cell_record cell;
    struct run_record run = {0};
    bool are = (!filter->label || !logbook_cell(logbook, filter->label, &cell, error)) &&
               (!filter->run || !logbook_run(logbook, filter->run, &run, error));
    run_record_free(&run);
    return are;
}

static int run(const struct arguments *arguments, struct error *error)
{
    struct logbook *logbook = NULL;
    json_t *rows = NULL;
    bool account = false;
    struct text said = TEXT_EMPTY;
    struct listing_filter filter = {.label = argument(arguments, "cell"),
                                    .name = argument(arguments, "name")};
    const char *id = argument(arguments, "run");
    if ((id && argument_run(id, &filter.run, error)) ||
        account_options(arguments, &account, error) ||
        logbook_open(&logbook, arguments->logbook, LOGBOOK_READ, error))
        return error->code;
    if (account) {
        account_show(arguments, logbook, error);
    } else if (are_on_record(logbook, &filter, error) &&
               !logbook_list(logbook, LIST_RESULTS, &filter, &rows, error) &&
               !(argument(arguments, "correct") && correct(logbook, rows, &said, error))) {
        if (arguments->json)
            measured_expand(rows);
        else
            measured_say(rows);
        print_rows_in(arguments, rows, columns, logbook_zone(logbook));
        if (!arguments->json && measured_any(rows))
            puts(measured_note);
        if (!arguments->json && measured_any_corrected(rows))
            puts(corrected_note);
        if (!arguments->json && said.length)
            puts(said.bytes);
    }
    text_free(&said);
    json_decref(rows);
    logbook_close(logbook);
    return error->code;
}

static const struct option_spec options[] = {
    {"cell", "LABEL", "only of this cell", false},
    {"name", "NAME", "only results of this name, such as capacity", false},
    {"run", "N", "only of this run", false},
    {"by", "model|size|chemistry|maker", "how the cells of each lie about their mean", false},
    {"retention", NULL, "what storage left, the course of it, a forecast", false},
    {"wear", NULL, "capacity and resistance over cycles, cycles to 80 % and 60 %", false},
    {"channels", NULL, "the biases of the channels, by reference cells", false},
    {"correct", NULL, "with the channels' biases taken off", false},
    {"arm", "NAME", "only the cells of this arm of a study", false},
    {"warming", "FACTOR@TEMPERATURE",
     "days brought to this temperature: so many times as fast for every 10 K more, as 2@20degC",
     false},
    {NULL, NULL, NULL, false},
};

const struct verb verb_results = {"results", "", 0, 0, "named results, and what they come to",
                                  options,   run};
