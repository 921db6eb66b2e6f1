/* Performing by estimates: how long each cell takes, when its window is, whose turn it is. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/rows.h"
#include "engine/acts.h"
#include "engine/outcome.h"
#include "engine/project_internal.h"
#include "logbook/cells.h"
#include "logbook/studies.h"

/* A window without an end is given one a century away (bindings/study.lua): there is none. */
#define NO_END (50 * 366 * 86400 * US_PER_S)

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

/* The protocol to perform, as it is pinned to the study; NULL when it is not. */
static char *protocol_text(struct walk *w, size_t *length)
{
    struct error unread;
    char module[160], *text = NULL;
    snprintf(module, sizeof module, "protocol/%s", w->request.text);
    return pinned_module(&w->pinned, module, &text, length, &unread) ? NULL : text;
}

/* What one protocol comes to on cells of one model: asked for once, however many cells there
 * are. */
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

/* The runs are queued; false when there are none to wait for. */
bool project_perform(struct plan *plan, struct walk *w)
{
    size_t i, length = 0;
    char *protocol = protocol_text(w, &length);
    json_t *label;
    if (!protocol) {
        struct error why;
        error_set(&why, ERROR_SCRIPT, w->request.text,
                  "put NAME.lua beside the study, then start the study anew",
                  "no protocol of this name was pinned to the study");
        outcome_error(&why, &w->outcome);
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
        utc_us due = project_later(w, run->charged, &w->age),
               latest = project_later(w, due, &w->late);
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
void project_performed(struct walk *w)
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

/* Of those that wait when a channel is free the one that was queued first; if none does, the first
 * to be ready. */
struct planned *project_next_run(const struct plan *plan, utc_us free_at, struct walk **of)
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
