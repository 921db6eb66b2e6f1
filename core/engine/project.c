/* Leading studies onward by estimates, all on one set of channels. */
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
#include "logbook/facts.h"
#include "logbook/runs.h"
#include "logbook/studies.h"

/* A study that goes on for ever without waiting must not hold up the agenda. */
#define REQUESTS_MOST 100000

/* Of a bench that nobody knows yet. */
#define CHANNELS_USUAL 8

/* A window without an end is given one a century away (bindings/study.lua): there is none. */
#define NO_END (50 * 366 * 86400 * US_PER_S)

/* A run of a study's protocol on one cell. */
struct planned {
    const char *label;            /* of walk.cells */
    const struct estimate *known; /* NULL: nothing is known of it */
    utc_us charged;               /* its last charge before; 0: none */
    utc_us ready, latest;         /* its window; latest 0: no end */
    uint64_t order;               /* of queueing */
    utc_us start, end;            /* end 0: no channel yet */
};

/* A study on its way. */
struct walk {
    const struct projection *p;
    struct run_record record;
    struct pinned pinned;
    struct script *script;
    struct journal journal;
    struct script_request request; /* what comes next */
    int requests;
    bool open; /* it was begun on record */
    bool over;
    utc_us time;     /* where the projection stands; 0 while replaying */
    json_t *charged; /* LABEL -> seconds since 1970 of the last charge, on record or projected */
    bool has_window;
    json_t *looked_at; /* LABEL -> true since the wait: its window is for the first look alone */
    struct duration age, late;
    struct text outcome;
    struct error failure;

    json_t *cells; /* being performed on; NULL: nothing is */
    struct planned *run;
    int runs, placed;
};

struct plan {
    const struct projection *p;
    int channels;
    utc_us *channel; /* when each is free again */
    uint64_t order;
    struct walk *walk;
    int walks;
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

/* The runs are queued; false when there are none to wait for. */
static bool begin_performing(struct plan *plan, struct walk *w)
{
    size_t i, length = 0;
    char *protocol = protocol_text(w, &length);
    json_t *label;
    if (!protocol) {
        struct error why;
        error_set(&why, ERROR_SCRIPT, w->request.text,
                  "put NAME.lua beside the study, then start the study anew",
                  "no protocol of this name was pinned to the study");
        refuse(w, &why);
        return false;
    }
    struct by_model *models = NULL;
    w->cells = json_loads(w->request.cells, 0, NULL);
    w->runs = (int)json_array_size(w->cells);
    w->placed = 0;
    w->run = xcalloc((size_t)w->runs + 1, sizeof *w->run);
    json_array_foreach(w->cells, i, label)
    {
        struct planned *run = &w->run[i];
        run->label = json_string_value(label);
        run->known = estimate_on(w, protocol, length, run->label, &models);
        run->charged = charged_at(w, run->label);
        run->ready = w->time;
        run->order = plan->order++;
        if (!w->has_window || !run->charged || json_object_get(w->looked_at, run->label))
            continue;
        utc_us due = later(w, run->charged, &w->age), latest = later(w, due, &w->late);
        run->ready = due > w->time ? due : w->time;
        run->latest = latest - due < NO_END ? latest : 0;
    }
    forget_models(models);
    free(protocol);
    return true;
}

/* What became of them, in the order in which they end, as the engine gives it. */
static void tell_runs(struct walk *w)
{
    json_t *runs = json_array();
    for (int i = 0; i < w->runs; i++) {
        const struct planned *run = &w->run[i];
        const struct estimate *known = run->known;
        json_t *row = json_pack("{s:s, s:i, s:s, s:n, s:s, s:o, s:f, s:f}", "cell", run->label,
                                "run", 0, "state", "done", "why", "timing", "in time", "results",
                                known ? json_incref(known->results) : json_object(), "end",
                                (double)run->end / 1e6, "age",
                                run->charged ? (double)(run->start - run->charged) / 1e6 : 0.0);
        if (known && isfinite(known->charged_end))
            json_object_set_new(w->charged, run->label,
                                json_real((double)run->start / 1e6 + known->charged_end));
        json_object_set(row, "charged", json_object_get(w->charged, run->label));
        json_array_append_new(runs, row);
    }
    rows_sort(&runs, "end");
    json_t *outcome = json_pack("{s:o}", "runs", runs);
    char *text = json_dumps(outcome, JSON_COMPACT | JSON_REAL_PRECISION(17));
    text_add(&w->outcome, text);
    free(text);
    json_decref(outcome);
}

/* All have had their channel. */
static void end_performing(struct walk *w)
{
    struct due due = {.run = w->record.id,
                      .segment = w->record.segment,
                      .n = w->journal.n,
                      .script = w->record.script_name,
                      .what = w->request.text,
                      .cells = w->cells,
                      .from = INT64_MAX,
                      .going_on = w->open};
    for (int i = 0; i < w->runs; i++) {
        const struct planned *run = &w->run[i];
        due.from = run->start < due.from ? run->start : due.from;
        due.until = run->end > due.until ? run->end : due.until;
        due.channel_hours += (double)(run->end - run->start) / 3.6e9;
        due.late += run->latest && run->start > run->latest;
        if (run->latest)
            due.latest = due.latest && due.latest < run->latest ? due.latest : run->latest;
    }
    if (!w->runs)
        due.from = due.until = w->time;
    tell_runs(w);
    w->p->visit(w->p->context, &due);
    w->time = due.until > w->time ? due.until : w->time;
    free(w->run);
    json_decref(w->cells);
    w->run = NULL;
    w->cells = NULL;
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

/* --- one study
 * ---------------------------------------------------------------------------------------- */

/* Up to what it asks for next that is not on record. */
static void advance(struct walk *w, const char *outcome)
{
    while (!w->over) {
        w->over = ++w->requests > REQUESTS_MOST ||
                  w->p->scripts->resume(w->script, outcome, w->journal.cursor, &w->request,
                                        &w->failure) != SCRIPT_AWAITS;
        if (w->over)
            return;
        keep_window(w);
        enum journal_step where = journal_next(&w->journal, &w->request, &outcome, &w->failure);
        w->over = where == JOURNAL_DIVERGED;
        w->open = where == JOURNAL_OPEN;
        if (where != JOURNAL_REPLAYED)
            break;
        keep_looked_at(w);
    }
    if (!w->time)
        w->time = w->p->now;
}

/* What was asked for has its outcome. */
static void go_on(struct walk *w)
{
    w->journal.cursor = w->time;
    w->over = w->over || w->time > w->p->horizon;
    keep_looked_at(w);
    advance(w, w->outcome.bytes);
}

/* Does what is asked for next; a protocol is only queued. */
static void lead(struct plan *plan, struct walk *w)
{
    struct error why;
    text_clear(&w->outcome);
    if (!w->open && window_check(&w->request, &why)) {
        refuse(w, &why);
        go_on(w);
        return;
    }
    switch (w->request.kind) {
    case REQUEST_WAIT: {
        utc_us until =
            w->request.until ? w->request.until : later(w, w->journal.cursor, &w->request.wait);
        w->time = until > w->time ? until : w->time;
        text_add(&w->outcome, "true");
        break;
    }
    case REQUEST_PERFORM:
        if (begin_performing(plan, w) && w->runs)
            return;
        if (w->cells)
            end_performing(w);
        break;
    case REQUEST_ASK: answer(w); break;
    case REQUEST_RESTART:
        w->over = true; /* what comes after begins the text anew: not foreseen */
        return;
    default: text_add(&w->outcome, "true"); break;
    }
    go_on(w);
}

static int begin(struct walk *w, const struct projection *projection, int64_t run,
                 struct error *error)
{
    static const struct cell_facts none;
    w->p = projection;
    w->charged = json_object();
    w->looked_at = json_object();
    if (logbook_run(projection->logbook, run, &w->record, error)) {
        w->over = true;
        return error->code;
    }
    w->pinned = (struct pinned){.logbook = projection->logbook, .run = run};
    utc_us began = w->record.segment_at ? w->record.segment_at : projection->now;
    w->over =
        pinned_open(&w->pinned, projection->scripts, &w->record, &none, &w->script, &w->failure) ||
        journal_load(&w->journal, projection->logbook, run, w->record.segment, began, &w->failure);
    advance(w, NULL);
    return 0;
}

static void end(struct walk *w)
{
    if (w->script)
        w->p->scripts->close(w->script);
    journal_free(&w->journal);
    text_free(&w->outcome);
    json_decref(w->charged);
    json_decref(w->looked_at);
    json_decref(w->cells);
    free(w->run);
    run_record_free(&w->record);
}

/* --- all of them
 * -------------------------------------------------------------------------------------- */

static utc_us *first_free(const struct plan *plan)
{
    int best = 0;
    for (int i = 1; i < plan->channels; i++)
        if (plan->channel[i] < plan->channel[best])
            best = i;
    return &plan->channel[best];
}

/* Of those that wait when a channel is free the one that was queued first; if none does, the first
 * to be ready. */
static struct planned *next_run(const struct plan *plan, utc_us free_at, struct walk **of)
{
    struct planned *next = NULL;
    for (int i = 0; i < plan->walks; i++)
        for (int r = 0; plan->walk[i].cells && r < plan->walk[i].runs; r++) {
            struct planned *run = &plan->walk[i].run[r];
            if (run->end)
                continue;
            const bool waits = run->ready <= free_at, next_waits = next && next->ready <= free_at;
            if (!next || (waits && !next_waits) ||
                (waits == next_waits &&
                 (waits ? run->order < next->order : run->ready < next->ready))) {
                next = run;
                *of = &plan->walk[i];
            }
        }
    return next;
}

static struct walk *next_walk(const struct plan *plan)
{
    struct walk *next = NULL;
    for (int i = 0; i < plan->walks; i++) {
        struct walk *w = &plan->walk[i];
        if (!w->over && !w->cells && (!next || w->time < next->time))
            next = w;
    }
    return next;
}

static int channels_of(const struct projection *p, struct error *error)
{
    int64_t count = 0;
    if (p->channels > 0)
        return p->channels;
    logbook_channel_count(p->logbook, &count, error);
    return count > 0 ? (int)count : CHANNELS_USUAL;
}

/* In order of time: what a study asks for, and a run's turn at a channel. */
static void lead_all(struct plan *plan)
{
    for (;;) {
        utc_us *free_at = first_free(plan);
        struct walk *w = next_walk(plan), *of = NULL;
        struct planned *run = next_run(plan, *free_at, &of);
        if (!w && !run)
            return;
        const utc_us start = run && run->ready > *free_at ? run->ready : *free_at;
        if (w && (!run || w->time <= start)) {
            lead(plan, w);
            continue;
        }
        run->start = start;
        run->end = start + (utc_us)((run->known ? run->known->seconds : 0) * 1e6);
        *free_at = run->end;
        if (++of->placed == of->runs) {
            end_performing(of);
            go_on(of);
        }
    }
}

int project(const struct projection *projection, const int64_t *studies, int count,
            struct error *error)
{
    struct plan plan = {.p = projection, .walks = count};
    error_clear(error);
    plan.channels = channels_of(projection, error);
    plan.channel = xcalloc((size_t)plan.channels, sizeof *plan.channel);
    plan.walk = xcalloc((size_t)count + 1, sizeof *plan.walk);
    for (int i = 0; i < count && !error->code; i++)
        begin(&plan.walk[i], projection, studies[i], error);
    if (!error->code)
        lead_all(&plan);
    for (int i = 0; i < count; i++) {
        const struct error *failure = &plan.walk[i].failure;
        if (failure->code == ERROR_SCRIPT || failure->code == ERROR_FAILED)
            projection->failed(projection->context, studies[i], failure);
        else if (failure->code && !error->code)
            *error = *failure;
        if (plan.walk[i].p)
            end(&plan.walk[i]);
    }
    free(plan.walk);
    free(plan.channel);
    return error->code;
}
