/* Comparing what is on record with what was seen before. A run's state is read before what it did:
 * when it is over, all of that is there. */
#include "cli/watch.h"

#include <inttypes.h>
#include <stdlib.h>
#include <string.h>

#include "base/rows.h"
#include "base/text.h"
#include "cli/changes.h"
#include "logbook/facts.h"
#include "logbook/runs.h"

#define GOES_ON "goes on"

struct watched {
    struct subject is;
    char script[128];
    enum run_state state;
    utc_us ended;
    size_t results;  /* that are known */
    json_t *answers; /* question -> how many answers are known */
    bool asking, touched;
};

struct watch {
    int64_t only;
    struct logbook_marks seen;
    struct watched *runs; /* open ones, and those that ended since the last look */
    int count;
    int64_t *steps; /* open ones */
    int step_count;
};

static struct watched *find(const struct watch *watch, int64_t id)
{
    for (int i = 0; i < watch->count; i++)
        if (watch->runs[i].is.run == id)
            return &watch->runs[i];
    return NULL;
}

/* --- runs ------------------------------------------------------------------------------------- */

static struct watched *take_up(struct watch *watch, const json_t *row)
{
    int64_t id = json_integer_value(json_object_get(row, "run"));
    int64_t parent = json_integer_value(json_object_get(row, "parent"));
    if (watch->only && id != watch->only && parent != watch->only)
        return NULL;
    watch->runs = xrealloc(watch->runs, (size_t)(watch->count + 1) * sizeof *watch->runs);
    struct watched *run = &watch->runs[watch->count++];
    *run = (struct watched){.is.run = id, .state = RUN_QUEUED, .answers = json_object()};
    string_copy(run->is.cell, sizeof run->is.cell, row_text(row, "cell"));
    string_copy(run->script, sizeof run->script, row_text(row, "script"));
    return run;
}

static int new_runs(struct watch *watch, struct logbook *logbook, json_t *changes,
                    struct error *error)
{
    json_t *rows = NULL, *row;
    size_t i;
    if (logbook_list(logbook, LIST_RUNS, &(struct listing_filter){.after = watch->seen.run}, &rows,
                     error))
        return error->code;
    json_array_foreach(rows, i, row)
    {
        watch->seen.run = json_integer_value(json_object_get(row, "run"));
        const struct watched *run = take_up(watch, row);
        struct text text = TEXT_EMPTY;
        if (run) {
            text_addf(&text, "queued: %s", run->script);
            change_add(changes, row_instant(row, "queued_at"), &run->is, "queued", &text);
        }
        text_free(&text);
    }
    json_decref(rows);
    return 0;
}

/* That a run has started is an event, and its end mostly too: the others are told by its state. */
static void told_by_state(json_t *changes, const struct watched *run, enum run_state before,
                          utc_us at, const char *why)
{
    struct text text = TEXT_EMPTY;
    if (run->state == RUN_RUNNING && before == RUN_QUEUED)
        return;
    text_add(&text, run->state == RUN_RUNNING ? GOES_ON : run_state_name(run->state));
    if (why)
        text_addf(&text, ": %s", why);
    change_add(changes, at, &run->is, "state", &text);
    text_free(&text);
}

static int states(struct watch *watch, struct logbook *logbook, utc_us now, json_t *changes,
                  struct error *error)
{
    for (int i = 0; i < watch->count; i++) {
        struct watched *run = &watch->runs[i];
        struct run_record record = {0};
        if (logbook_run(logbook, run->is.run, &record, error))
            return error->code;
        enum run_state before = run->state;
        run->state = record.state;
        run->ended = record.ended_at;
        run->touched = record.state != before || run->asking;
        if (record.state != before)
            told_by_state(changes, run, before, record.ended_at ? record.ended_at : now,
                          record.why);
        run_record_free(&record);
    }
    return 0;
}

/* Where an event says the same as the state, it is told once: of a run that is over by its state,
 * of one that was taken up again by the event, which knows when. */
static bool told(json_t *changes, const struct watched *run, const char *text)
{
    size_t i;
    json_t *row;
    json_array_foreach(changes, i, row)
    {
        if (json_integer_value(json_object_get(row, "run")) != run->is.run ||
            strcmp(row_text(row, "what"), "state") != 0)
            continue;
        if (strcmp(row_text(row, "text"), text) == 0)
            return true;
        if (strcmp(row_text(row, "text"), GOES_ON) == 0 && strncmp(text, "taken up", 8) == 0) {
            json_array_remove(changes, i);
            return false;
        }
    }
    return false;
}

/* One that was over before: all that still happens to it is that what was typed is corrected. */
static int late(struct logbook *logbook, int64_t id, struct subject *out, struct error *error)
{
    struct run_record record = {0};
    *out = (struct subject){.run = id};
    if (logbook_run(logbook, id, &record, error))
        return error->code;
    string_copy(out->cell, sizeof out->cell, record.cell_label);
    run_record_free(&record);
    return 0;
}

static int events(struct watch *watch, struct logbook *logbook, json_t *changes,
                  struct error *error)
{
    json_t *rows = NULL, *row;
    size_t i;
    if (logbook_list(logbook, LIST_EVENTS, &(struct listing_filter){.after = watch->seen.event},
                     &rows, error))
        return error->code;
    json_array_foreach(rows, i, row)
    {
        int64_t id = json_integer_value(json_object_get(row, "run"));
        struct watched *run = find(watch, id);
        struct subject over;
        const struct subject *of = run ? &run->is : NULL;
        struct text text = TEXT_EMPTY;
        const char *level = row_text(row, "level"), *words = row_text(row, "text");
        watch->seen.event = json_integer_value(json_object_get(row, "id"));
        if (run)
            run->touched = true;
        if ((run && told(changes, run, words)) || (!run && watch->only))
            continue;
        if (!run && id) {
            if (late(logbook, id, &over, error))
                break;
            of = &over;
        }
        text_addf(&text, "%s%s%s", strcmp(level, "info") == 0 ? "" : level,
                  strcmp(level, "info") == 0 ? "" : ": ", words);
        change_add(changes, row_instant(row, "at"), of, "event", &text);
        text_free(&text);
    }
    json_decref(rows);
    return error->code;
}

/* --- steps ------------------------------------------------------------------------------------ */

/* Says the end of a step that has one; else keeps it among the open ones. */
static void follow_step(struct watch *watch, struct watched *run, const json_t *row,
                        json_t *changes)
{
    if (!json_is_null(json_object_get(row, "ended_at"))) {
        run->touched = true;
        if (changes)
            change_step_ends(changes, &run->is, row);
        return;
    }
    watch->steps = xrealloc(watch->steps, (size_t)(watch->step_count + 1) * sizeof *watch->steps);
    watch->steps[watch->step_count++] = json_integer_value(json_object_get(row, "step"));
}

static int steps(struct watch *watch, struct logbook *logbook, json_t *changes, struct error *error)
{
    int64_t *before = watch->steps;
    int count = watch->step_count;
    json_t *rows = NULL, *row;
    size_t i;
    watch->steps = NULL;
    watch->step_count = 0;
    for (int k = 0; k < count && !error->code; k++) {
        if (logbook_list(logbook, LIST_STEPS, &(struct listing_filter){.step = before[k]}, &rows,
                         error))
            break;
        row = json_array_get(rows, 0);
        struct watched *run = find(watch, json_integer_value(json_object_get(row, "run")));
        if (run)
            follow_step(watch, run, row, changes);
        json_decref(rows);
    }
    free(before);
    if (error->code ||
        logbook_list(logbook, LIST_STEPS, &(struct listing_filter){.after = watch->seen.step},
                     &rows, error))
        return error->code;
    json_array_foreach(rows, i, row)
    {
        struct watched *run = find(watch, json_integer_value(json_object_get(row, "run")));
        watch->seen.step = json_integer_value(json_object_get(row, "step"));
        if (!run)
            continue;
        run->touched = true;
        change_step_begins(changes, &run->is, row);
        follow_step(watch, run, row, changes);
    }
    json_decref(rows);
    return 0;
}

/* --- results and answers ---------------------------------------------------------------------- */

static int results(struct watched *run, struct logbook *logbook, json_t *changes,
                   struct error *error)
{
    json_t *rows = NULL;
    if (logbook_list(logbook, LIST_RESULTS, &(struct listing_filter){.run = run->is.run}, &rows,
                     error))
        return error->code;
    for (; run->results < json_array_size(rows); run->results++) {
        if (changes)
            change_result(changes, &run->is, json_array_get(rows, run->results));
    }
    json_decref(rows);
    return 0;
}

static int answers(struct watched *run, struct logbook *logbook, json_t *changes,
                   struct error *error)
{
    json_t *rows = NULL, *row;
    size_t i;
    if (logbook_list(logbook, LIST_QUESTIONS, &(struct listing_filter){.run = run->is.run}, &rows,
                     error))
        return error->code;
    run->asking = false;
    json_array_foreach(rows, i, row)
    {
        char key[24];
        snprintf(key, sizeof key, "%" JSON_INTEGER_FORMAT,
                 json_integer_value(json_object_get(row, "question")));
        json_int_t count = json_integer_value(json_object_get(row, "answers"));
        json_int_t known = json_integer_value(json_object_get(run->answers, key));
        if (changes && count > known)
            change_answered(changes, &run->is, row, known > 0);
        run->asking |= count == 0;
        json_object_set_new(run->answers, key, json_integer(count));
    }
    json_decref(rows);
    return 0;
}

static int touched(const struct watch *watch, struct logbook *logbook, bool all, json_t *changes,
                   struct error *error)
{
    for (int i = 0; i < watch->count; i++) {
        struct watched *run = &watch->runs[i];
        if ((all || run->touched) &&
            (results(run, logbook, changes, error) || answers(run, logbook, changes, error)))
            return error->code;
    }
    return 0;
}

/* --- all of it -------------------------------------------------------------------------------- */

static void forget_those_over(struct watch *watch)
{
    int kept = 0;
    for (int i = 0; i < watch->count; i++) {
        if (run_state_is_over(watch->runs[i].state))
            json_decref(watch->runs[i].answers);
        else
            watch->runs[kept++] = watch->runs[i];
    }
    watch->count = kept;
}

int watch_look(struct watch *watch, struct logbook *logbook, utc_us now, json_t **changes,
               struct error *error)
{
    json_t *found = json_array();
    error_clear(error);
    if (new_runs(watch, logbook, found, error) || states(watch, logbook, now, found, error) ||
        events(watch, logbook, found, error) || steps(watch, logbook, found, error) ||
        touched(watch, logbook, false, found, error)) {
        json_decref(found);
        return error->code;
    }
    changes_sort(found);
    forget_those_over(watch);
    *changes = found;
    return 0;
}

int watch_new(struct watch **out, struct logbook *logbook, int64_t only, struct error *error)
{
    struct watch *watch = xcalloc(1, sizeof *watch);
    json_t *rows = NULL, *row;
    size_t i;
    error_clear(error);
    watch->only = only;
    if (logbook_marks(logbook, &watch->seen, error) ||
        logbook_list(logbook, LIST_RUNS, NULL, &rows, error))
        goto failed;
    json_array_foreach(rows, i, row)
    {
        int64_t id = json_integer_value(json_object_get(row, "run"));
        if (id > watch->seen.run || !json_is_null(json_object_get(row, "ended_at")))
            continue;
        struct watched *run = take_up(watch, row);
        for (enum run_state state = RUN_QUEUED; run && state <= RUN_STOPPED; state++)
            if (strcmp(run_state_name(state), row_text(row, "state")) == 0)
                run->state = state;
    }
    json_decref(rows);
    rows = NULL;
    if (logbook_list(logbook, LIST_STEPS_NOW, NULL, &rows, error))
        goto failed;
    json_array_foreach(rows, i, row)
    {
        struct watched *run = find(watch, json_integer_value(json_object_get(row, "run")));
        if (run && json_integer_value(json_object_get(row, "step")) <= watch->seen.step)
            follow_step(watch, run, row, NULL);
    }
    json_decref(rows);
    if (touched(watch, logbook, true, NULL, error))
        goto failed;
    *out = watch;
    return 0;
failed:
    watch_free(watch);
    return error->code;
}

void watch_free(struct watch *watch)
{
    for (int i = 0; watch && i < watch->count; i++)
        json_decref(watch->runs[i].answers);
    if (watch) {
        free(watch->runs);
        free(watch->steps);
    }
    free(watch);
}

int watch_open(const struct watch *watch)
{
    return watch->count;
}

bool watch_has(const struct watch *watch, int64_t run)
{
    return find(watch, run) != NULL;
}
