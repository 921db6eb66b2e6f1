/* perdure runs: lists runs; for one, everything about it; with --follow, as they go on. */
#include "cli/cli.h"
#include "cli/follow.h"
#include "cli/show_run.h"
#include "logbook/facts.h"

static const struct column columns[] = {
    {"run", "run", 'r'},
    {"kind", "kind", 'l'},
    {"script", "script", 'l'},
    {"cell", "cell", 'l'},
    {"channel", "channel", 'l'},
    {"state", "state", 'l'},
    {"queued_at", "queued", 't'},
    {"started_at", "started", 't'},
    {"ended_at", "ended", 't'},
    {"why", "why", 'l'},
    {NULL, NULL, 0},
};

static int run(const struct arguments *arguments, struct error *error)
{
    struct logbook *logbook = NULL;
    json_t *rows = NULL;
    int64_t id = 0;
    if (arguments->words && argument_run(arguments->word[0], &id, error))
        return error->code;
    if (argument(arguments, "follow"))
        return follow(arguments, id, error);
    if (logbook_open(&logbook, arguments->logbook, LOGBOOK_READ, error))
        return error->code;
    if (id)
        show_run(arguments, logbook, id, error);
    else if (!logbook_list(logbook, LIST_RUNS, &(struct listing_filter){0}, &rows, error))
        print_rows_in(arguments, rows, columns, logbook_zone(logbook));
    json_decref(rows);
    logbook_close(logbook);
    return error->code;
}

static const struct option_spec options[] = {
    {"follow", NULL, "goes on showing them: a screen at a terminal, else a line for each change",
     false},
    {NULL, NULL, NULL, false},
};

const struct verb verb_runs = {
    "runs",  "[ID]", 0, 1, "lists runs; for one, its steps, outcomes, questions, events",
    options, run};
