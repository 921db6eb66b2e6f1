/* Leading studies onward by estimates, all on one set of channels. */
#include "engine/project.h"

#include <stdlib.h>

#include "engine/answer.h"
#include "engine/outcome.h"
#include "engine/project_internal.h"
#include "engine/study.h"
#include "logbook/facts.h"

/* A study that goes on for ever without waiting must not hold up the agenda. */
#define REQUESTS_MOST 100000

/* Of a bench that nobody knows yet. */
#define CHANNELS_USUAL 8

utc_us project_later(const struct walk *w, utc_us from, const struct duration *duration)
{
    return zone_after(logbook_zone(w->p->logbook), from, duration);
}

/* --- what a study asks for -------------------------------------------------------------------- */

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

/* --- one study -------------------------------------------------------------------------------- */

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
    if (!w->over && w->time > w->p->horizon) {
        w->over = true;
        if (w->p->beyond)
            w->p->beyond(w->p->context, w->record.id);
    }
    keep_looked_at(w);
    advance(w, w->outcome.bytes);
}

/* Does what is asked for next; a protocol is only queued. */
static void lead(struct plan *plan, struct walk *w)
{
    struct error why;
    text_clear(&w->outcome);
    if (!w->open && window_check(&w->request, &why)) {
        outcome_error(&why, &w->outcome);
        go_on(w);
        return;
    }
    switch (w->request.kind) {
    case REQUEST_WAIT: {
        utc_us until = w->request.until ? w->request.until
                                        : project_later(w, w->journal.cursor, &w->request.wait);
        w->time = until > w->time ? until : w->time;
        text_add(&w->outcome, "true");
        break;
    }
    case REQUEST_PERFORM:
        if (project_perform(plan, w) && w->runs)
            return;
        if (w->cells)
            project_performed(w);
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

/* --- all of them ------------------------------------------------------------------------------ */

static utc_us *first_free(const struct plan *plan)
{
    int best = 0;
    for (int i = 1; i < plan->channels; i++)
        if (plan->channel[i] < plan->channel[best])
            best = i;
    return &plan->channel[best];
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
        struct planned *run = project_next_run(plan, *free_at, &of);
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
            project_performed(of);
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
