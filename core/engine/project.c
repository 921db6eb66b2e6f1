/* Leading a study onward by estimates. */
#include "engine/project.h"
#include "engine/study.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/rows.h"
#include "engine/acts.h"
#include "engine/answer.h"
#include "engine/journal.h"
#include "engine/live_run.h"
#include "engine/pinned.h"
#include "logbook/cells.h"
#include "logbook/runs.h"
#include "logbook/studies.h"

/* A study that goes on for ever without waiting must not hold up the agenda. */
#define REQUESTS_MOST 100000

/* A window without an end is given one a century away (bindings/study.lua): there is none. */
#define NO_END (50 * 366 * 86400 * US_PER_S)

struct walk {
    const struct projection *p;
    struct run_record record;
    struct pinned pinned;
    struct script *script;
    struct journal journal;
    struct script_request request;
    utc_us time;     /* where the projection stands; 0 while replaying */
    utc_us *channel; /* when each is free again */
    json_t *charged; /* LABEL -> seconds since 1970 of the last charge, on record or projected */
    bool has_window;
    json_t *looked_at; /* LABEL -> true since the wait: its window is for the first look alone */
    struct duration age, late;
    struct text outcome;
};

/* --- performing by estimate
 * -------------------------------------------------------------------------- */

static utc_us charged_at(struct walk *w, const char *label)
{
    const json_t *projected = json_object_get(w->charged, label);
    struct cell_record cell;
    struct error unread;
    utc_us at = 0;
    if (projected)
        return (utc_us)(json_real_value(projected) * 1e6);
    if (!logbook_cell(w->p->logbook, label, &cell, &unread))
        logbook_last_charge(w->p->logbook, cell.id, INT64_MAX, &at, &unread);
    if (at) /* looked up once: a cell with thousands of cycles has many charges to look through */
        json_object_set_new(w->charged, label, json_real((double)at / 1e6));
    return at;
}

static utc_us later(const struct walk *w, utc_us from, const struct duration *duration)
{
    return zone_after(logbook_zone(w->p->logbook), from, duration);
}

/* The channel that is free first. */
static utc_us *first_free(struct walk *w)
{
    int best = 0;
    for (int i = 1; i < w->p->channels; i++)
        if (w->channel[i] < w->channel[best])
            best = i;
    return &w->channel[best];
}

/* The protocol to perform, as it is pinned to the study; NULL when it is not. */
static char *protocol_text(struct walk *w, size_t *length)
{
    struct error unread;
    char module[160], *text = NULL;
    snprintf(module, sizeof module, "protocol/%s", w->request.text);
    return pinned_module(&w->pinned, module, &text, length, &unread) ? NULL : text;
}

/* What one protocol comes to on cells of one model: asked for once, however many cells there are.
 */
struct by_model {
    struct by_model *next;
    char model[sizeof((struct cell_facts *)0)->model];
    const struct estimate *known;
};

static const struct estimate *estimate_on(struct walk *w, const char *text, size_t length,
                                          const char *label, struct by_model **models)
{
    struct error unread;
    struct cell_facts facts;
    if (!text || facts_of_cell(w->p->logbook, label, &facts, &unread))
        return NULL;
    for (const struct by_model *model = *models; model; model = model->next)
        if (strcmp(model->model, facts.model) == 0)
            return model->known;
    struct script_context context = {.name = w->request.text,
                                     .text = text,
                                     .length = length,
                                     .params = w->request.params,
                                     .seed = 1,
                                     .cell = facts,
                                     .module = pinned_module,
                                     .owner = &w->pinned};
    struct by_model *model = xcalloc(1, sizeof *model);
    *model = (struct by_model){*models, "", estimate(w->p->estimates, &context)};
    string_copy(model->model, sizeof model->model, facts.model);
    *models = model;
    return model->known;
}

static void forget_models(struct by_model *models)
{
    while (models) {
        struct by_model *next = models->next;
        free(models);
        models = next;
    }
}

/* As the engine refuses it: raised in the script. */
static void refuse(struct walk *w, const struct error *why)
{
    struct text message = TEXT_EMPTY;
    text_addf(&message, "%s: %s; %s", why->what, why->why, why->todo);
    text_add(&w->outcome, "{\"error\":");
    text_add_json_string(&w->outcome, message.bytes, message.length);
    text_add(&w->outcome, "}");
    text_free(&message);
}

static void perform_by_estimate(struct walk *w, bool going_on)
{
    size_t i, length = 0;
    char *protocol = protocol_text(w, &length);
    if (!protocol) {
        struct error why;
        error_set(&why, ERROR_SCRIPT, w->request.text,
                  "put NAME.lua beside the study, then start the study anew",
                  "no protocol of this name was pinned to the study");
        refuse(w, &why);
        return;
    }
    json_t *cells = json_loads(w->request.cells, 0, NULL), *label, *runs = json_array();
    struct due due = {.run = w->record.id,
                      .segment = w->record.segment,
                      .n = w->journal.n,
                      .script = w->record.script_name,
                      .what = w->request.text,
                      .cells = cells,
                      .from = INT64_MAX,
                      .going_on = going_on};
    struct by_model *models = NULL;
    for (int c = 0; c < w->p->channels; c++)
        if (w->channel[c] < w->time)
            w->channel[c] = w->time;
    json_array_foreach(cells, i, label)
    {
        const char *name = json_string_value(label);
        const struct estimate *known = estimate_on(w, protocol, length, name, &models);
        utc_us charged = charged_at(w, name), *free_at = first_free(w), start = *free_at;
        bool in_window = w->has_window && charged && !json_object_get(w->looked_at, name);
        utc_us ready = in_window ? later(w, charged, &w->age) : 0;
        double seconds = known ? known->seconds : 0;
        if (ready > start)
            start = ready;
        utc_us end = start + (utc_us)(seconds * 1e6);
        *free_at = end;
        due.from = start < due.from ? start : due.from;
        due.until = end > due.until ? end : due.until;
        due.channel_hours += seconds / 3600;
        if (in_window) {
            utc_us latest = later(w, later(w, charged, &w->age), &w->late);
            if (latest - ready < NO_END)
                due.latest = due.latest && due.latest < latest ? due.latest : latest;
        }
        json_t *run =
            json_pack("{s:s, s:i, s:s, s:n, s:s, s:o, s:f, s:f}", "cell", name, "run", 0, "state",
                      "done", "why", "timing", "in time", "results",
                      known ? json_incref(known->results) : json_object(), "end", (double)end / 1e6,
                      "age", charged ? (double)(start - charged) / 1e6 : 0.0);
        if (known && isfinite(known->charged_end))
            json_object_set_new(w->charged, name,
                                json_real((double)start / 1e6 + known->charged_end));
        json_object_set(run, "charged", json_object_get(w->charged, name));
        json_array_append_new(runs, run);
    }
    w->time = due.until > w->time ? due.until : w->time;
    rows_sort(&runs, "end"); /* in the order in which they end, as the engine gives them */
    json_t *outcome = json_pack("{s:o}", "runs", runs);
    char *text = json_dumps(outcome, JSON_COMPACT | JSON_REAL_PRECISION(17));
    text_add(&w->outcome, text);
    free(text);
    json_decref(outcome);
    w->p->visit(w->p->context, &due);
    json_decref(cells);
    forget_models(models);
    free(protocol);
}

/* --- the other requests
 * ------------------------------------------------------------------------------- */

static void answer(struct walk *w)
{
    char *text = answer_assumed(w->request.expects);
    text_add(&w->outcome, text);
    free(text);
    struct due due = {.run = w->record.id,
                      .segment = w->record.segment,
                      .n = w->journal.n,
                      .script = w->record.script_name,
                      .what = w->request.text,
                      .from = w->time,
                      .until = w->time,
                      .person = true};
    w->p->visit(w->p->context, &due);
}

static void keep_window(struct walk *w)
{
    if (w->request.kind != REQUEST_WAIT)
        return;
    w->has_window = w->request.has_window;
    w->age = w->request.wait;
    w->late = w->request.late;
    json_object_clear(w->looked_at);
}

static void keep_looked_at(struct walk *w)
{
    json_t *cells, *label;
    size_t i;
    if (w->request.kind != REQUEST_PERFORM)
        return;
    cells = json_loads(w->request.cells, 0, NULL);
    json_array_foreach(cells, i, label)
    {
        json_object_set_new(w->looked_at, json_string_value(label), json_true());
    }
    json_decref(cells);
}

/* False when the projection has come to its end. */
static bool lead(struct walk *w, bool open)
{
    if (!w->time)
        w->time = w->p->now;
    text_clear(&w->outcome);
    struct error why;
    if (!open && window_check(&w->request, &why)) {
        refuse(w, &why);
        return true;
    }
    switch (w->request.kind) {
    case REQUEST_WAIT: {
        utc_us until =
            w->request.until ? w->request.until : later(w, w->journal.cursor, &w->request.wait);
        w->time = until > w->time ? until : w->time;
        text_add(&w->outcome, "true");
        break;
    }
    case REQUEST_PERFORM: perform_by_estimate(w, open); break;
    case REQUEST_ASK: answer(w); break;
    case REQUEST_RESTART: return false; /* what comes after begins the text anew: not foreseen */
    default: text_add(&w->outcome, "true"); break;
    }
    w->journal.cursor = w->time;
    return w->time <= w->p->horizon;
}

static int walk(struct walk *w, struct error *error)
{
    const char *outcome = NULL;
    for (int i = 0; i < REQUESTS_MOST; i++) {
        enum script_status status =
            w->p->scripts->resume(w->script, outcome, w->journal.cursor, &w->request, error);
        if (status == SCRIPT_FAILED)
            return error->code;
        if (status == SCRIPT_DONE)
            return 0;
        keep_window(w);
        enum journal_step where = journal_next(&w->journal, &w->request, &outcome, error);
        if (where == JOURNAL_DIVERGED)
            return error->code;
        if (where != JOURNAL_REPLAYED && !lead(w, where == JOURNAL_OPEN))
            return 0;
        keep_looked_at(w);
        if (where == JOURNAL_REPLAYED)
            continue;
        outcome = w->outcome.bytes;
    }
    return 0;
}

int project(const struct projection *projection, int64_t run, struct error *error)
{
    struct walk w = {.p = projection, .charged = json_object(), .looked_at = json_object()};
    static const struct cell_facts none;
    error_clear(error);
    w.channel = xcalloc((size_t)projection->channels, sizeof *w.channel);
    if (logbook_run(projection->logbook, run, &w.record, error))
        goto out;
    w.pinned = (struct pinned){.logbook = projection->logbook, .run = run};
    utc_us began = w.record.segment_at ? w.record.segment_at : projection->now;
    if (!pinned_open(&w.pinned, projection->scripts, &w.record, &none, &w.script, error) &&
        !journal_load(&w.journal, projection->logbook, run, w.record.segment, began, error))
        walk(&w, error);
out:
    if (w.script)
        projection->scripts->close(w.script);
    journal_free(&w.journal);
    text_free(&w.outcome);
    json_decref(w.charged);
    json_decref(w.looked_at);
    free(w.channel);
    run_record_free(&w.record);
    return error->code;
}
