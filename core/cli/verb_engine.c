/* perdure engine and perdure run: doing the work that the logbook holds. */
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/quantity.h"
#include "bindings/script.h"
#include "cli/show_run.h"
#include "cli/source.h"
#include "cli/workplace.h"
#include "engine/acts.h"
#include "logbook/facts.h"
#include "logbook/runs.h"
#include "page/page.h"

struct teller {
    bool terminal;
    const struct zone *zone; /* of the logbook */
};

/* A line for each thing that happened, on a terminal; only warnings and errors elsewhere. */
static void tell(void *owner, utc_us at, int64_t run, const char *level, const char *text)
{
    const struct teller *teller = owner;
    char stamp[40], shown[48];
    if (!teller->terminal && strcmp(level, "error") != 0 && strcmp(level, "warning") != 0)
        return;
    utc_format(at - at % US_PER_S, stamp, sizeof stamp);
    const char *when = shown_time(stamp, teller->zone, shown, sizeof shown);
    if (run)
        fprintf(stderr, "%s  run %-4" PRId64 " %s\n", when, run, text);
    else
        fprintf(stderr, "%s  %s\n", when, text);
}

static int common(struct workplace *workplace, const struct arguments *arguments,
                  struct engine_options *options, struct teller *teller, struct error *error)
{
    const char *bench = argument(arguments, "bench"), *every = argument(arguments, "commit-every");
    if (!bench)
        return error_set(error, ERROR_USAGE, "--bench",
                         "name a bench file, such as --bench bench.lua",
                         "without a bench there is no channel to work on");
    options->placed = argument(arguments, "placed") != NULL;
    teller->terminal = isatty(STDERR_FILENO);
    options->tell = tell;
    options->owner = teller;
    if (every && quantity_read(every, DIM_TIME, 0, &options->commit_every, error))
        return error->code;
    if (options->commit_every > 1 || options->commit_every < 0)
        return error_set(error, ERROR_USAGE, "--commit-every", "give 1 s or less",
                         "what is measured is made durable at least once a second");
    if (workplace_open(workplace, arguments, error) ||
        workplace_read_bench(workplace, bench, error))
        return error->code;
    teller->zone = logbook_zone(workplace->logbook);
    return 0;
}

/* The page, where one is asked for: its address, and with it the token, is told once. */
static int open_page(struct page **page, const struct arguments *arguments,
                     struct engine_options *options, struct error *error)
{
    struct page_options wanted = {.address = argument(arguments, "page"),
                                  .open = argument(arguments, "page-unencrypted-network") != NULL,
                                  .read_only = argument(arguments, "page-read-only") != NULL,
                                  .program = "/proc/self/exe",
                                  .logbook = arguments->logbook};
    if (!wanted.address) {
        if (wanted.open || wanted.read_only)
            error_set(error, ERROR_USAGE, "--page", "say --page 127.0.0.1:0 as well",
                      "there is no page without an address");
        return error->code;
    }
    if (page_new(page, &wanted, error))
        return error->code;
    options->face = page_face(*page);
    if (page_is_exposed(*page))
        fprintf(stderr,
                "warning: the page is not encrypted: whoever can listen on this network "
                "can read it%s\n",
                wanted.read_only ? "" : ", and the token, and answer in your name");
    printf("page: %s\n", page_url(*page));
    fflush(stdout);
    return 0;
}

/* Idle may mean that everything waits for a person. */
static void tell_open_questions(struct logbook *logbook)
{
    json_t *rows = NULL;
    struct error ignored;
    if (!logbook_list(logbook, LIST_QUESTIONS, &(struct listing_filter){0}, &rows, &ignored) &&
        json_array_size(rows))
        fprintf(stderr,
                "%zu question%s open: perdure attend shows %s; without --until-idle the "
                "engine waits for the answers\n",
                json_array_size(rows), json_array_size(rows) == 1 ? " is" : "s are",
                json_array_size(rows) == 1 ? "it" : "them");
    json_decref(rows);
}

static int run_engine(const struct arguments *arguments, struct error *error)
{
    struct workplace workplace = {0};
    struct engine_options options = {.until_idle = argument(arguments, "until-idle") != NULL,
                                     .on_due = argument(arguments, "on-due")};
    const char *limit = argument(arguments, "on-due-limit");
    struct page *page = NULL;
    struct teller teller = {0};
    if (limit && quantity_read(limit, DIM_TIME, 0, &options.on_due_limit, error))
        return error->code;
    if (limit && !(options.on_due_limit >= 0.1 && options.on_due_limit <= 3600))
        return error_set(error, ERROR_USAGE, "--on-due-limit", "give 0.1 s to 1 h",
                         "a command that tells people is given some time, and not for ever");
    if (!common(&workplace, arguments, &options, &teller, error) &&
        !open_page(&page, arguments, &options, error) &&
        !workplace_work(&workplace, &options, error) && options.until_idle)
        tell_open_questions(workplace.logbook);
    workplace_close(&workplace);
    page_free(page);
    return error->code;
}

/* Queues one run on one cell; *id is its number. */
static int queue(struct workplace *workplace, const struct arguments *arguments, int64_t *id,
                 struct error *error)
{
    struct source source = {0};
    struct cell_facts facts;
    json_t *params = NULL, *reply = NULL, *request = NULL;
    json_t *cells = argument_list(argument(arguments, "cells"));
    if (json_array_size(cells) != 1)
        error_set(error, ERROR_USAGE, "--cells", "name one; start and engine take several",
                  "run treats one cell in the foreground");
    else if (!argument_params(arguments, &params, error) &&
             !facts_of_cell(workplace->logbook, json_string_value(json_array_get(cells, 0)), &facts,
                            error) &&
             !source_read(&source, arguments->word[0], &facts, params, error)) {
        request = source_request("start", &source);
        json_object_set(request, "params", params);
        json_object_set(request, "cells", cells);
        if (!act(workplace->logbook, NULL, lua_script_ops(), clock_utc(&workplace->clock), request,
                 &reply, error))
            *id = json_integer_value(
                json_object_get(json_array_get(json_object_get(reply, "runs"), 0), "run"));
    }
    source_free(&source);
    json_decref(cells);
    json_decref(params);
    json_decref(request);
    json_decref(reply);
    return error->code;
}

static int judge(struct logbook *logbook, int64_t id, struct error *error)
{
    struct run_record record = {0};
    if (logbook_run(logbook, id, &record, error))
        return error->code;
    if (record.state != RUN_DONE) {
        char what[32], todo[80];
        snprintf(what, sizeof what, "run %" PRId64, id);
        snprintf(todo, sizeof todo, "perdure runs %" PRId64 " shows what happened", id);
        error_set(error, ERROR_FAILED, what, todo, "%s%s%s", run_state_name(record.state),
                  record.why ? ", " : "", record.why ? record.why : "");
    }
    run_record_free(&record);
    return error->code;
}

/* The bench could not be reached, or the logbook is another's: the run waits, and keeps its
 * cell. */
static void tell_still_open(struct logbook *logbook, int64_t id)
{
    struct run_record record = {0};
    struct error ignored;
    if (!logbook_run(logbook, id, &record, &ignored) && !run_state_is_over(record.state))
        fprintf(stderr,
                "run %" PRId64
                " is %s and waits: perdure engine goes on with it, perdure stop %" PRId64
                " ends it\n",
                id, run_state_name(record.state), id);
    run_record_free(&record);
}

static int run_run(const struct arguments *arguments, struct error *error)
{
    struct workplace workplace = {0};
    struct engine_options options = {0};
    struct teller teller = {0};
    if (!common(&workplace, arguments, &options, &teller, error) &&
        !queue(&workplace, arguments, &options.until_run, error) &&
        !workplace_work(&workplace, &options, error) &&
        !show_run(arguments, workplace.logbook, options.until_run, error))
        judge(workplace.logbook, options.until_run, error);
    else if (options.until_run && error->code)
        tell_still_open(workplace.logbook, options.until_run);
    workplace_close(&workplace);
    return error->code;
}

static const struct option_spec engine_options[] = {
    {"bench", "FILE", "the bench to work on", false},
    {"clock", "CLOCK", "real, virtual or xN; a logbook keeps one", false},
    {"placed", NULL, "cells are put in ahead: nobody is asked for them", false},
    {"until-idle", NULL, "end when nothing is left to do, or all that is left waits for people",
     false},
    {"page", "ADDRESS", "show it all in a web browser; 127.0.0.1:0 takes any free port", false},
    {"page-read-only", NULL, "nothing can be answered in the page", false},
    {"page-unencrypted-network", NULL, "let the page be reached from other machines", false},
    {"on-due", "COMMAND", "started when something is due: docs/studies.md", false},
    {"on-due-limit", "TIME", "how long COMMAND may take; else 30 s", false},
    {"commit-every", "TIME", "how often what is measured is made durable; 1 s at most", false},
    {NULL, NULL, NULL, false},
};

static const struct option_spec run_options[] = {
    {"cells", "LABEL", "the cell", false},
    {"bench", "FILE", "the bench to work on", false},
    {"clock", "CLOCK", "real, virtual or xN; a logbook keeps one", false},
    {"placed", NULL, "cells are put in ahead: nobody is asked for them", false},
    {"set", "NAME=VALUE", "a parameter of the script", true},
    {"commit-every", "TIME", "how often what is measured is made durable; 1 s at most", false},
    {NULL, NULL, NULL, false},
};

const struct verb verb_engine = {
    "engine",       "--bench FILE", 0, 0, "does the work that the logbook holds",
    engine_options, run_engine};
const struct verb verb_run = {"run",
                              "SCRIPT --cells A --bench FILE",
                              1,
                              1,
                              "start + engine, in the foreground, until that run ends",
                              run_options,
                              run_run};
