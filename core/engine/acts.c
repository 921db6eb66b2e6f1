/* Acts on the logbook, and on the engine's runs where one is at work. */
#include "engine/acts.h"

#include <ctype.h>
#include <string.h>

#include "engine/act_internal.h"
#include "engine/engine_internal.h"

int bad_request(struct error *error, const char *why)
{
    return error_set(error, ERROR_USAGE, "request", "use the perdure command of this version", "%s",
                     why);
}

int refuse_label_twice(const json_t *labels, struct error *error)
{
    json_t *seen = json_object(), *label;
    size_t i;
    int code = 0;
    json_array_foreach(labels, i, label)
    {
        char key[64]; /* no label is longer; what does not fit is refused for that */
        if (!json_is_string(label))
            continue;
        string_copy(key, sizeof key, json_string_value(label));
        for (char *at = key; *at; at++)
            *at = (char)tolower((unsigned char)*at);
        if (!code && json_object_get(seen, key))
            code = error_set(error, ERROR_USAGE, json_string_value(label), "name each cell once",
                             "this label is named twice: scanned twice?");
        json_object_set_new(seen, key, json_true());
    }
    json_decref(seen);
    return code;
}

/* What the engine's runs do once the change is committed. */
static int follow(struct act *a, const char *name, struct error *error)
{
    struct engine *engine = a->engine;
    if (strcmp(name, "start") == 0) {
        json_t *runs = json_object_get(a->reply, "runs"), *entry;
        size_t i;
        json_array_foreach(runs, i, entry)
        {
            if (engine_take(engine, json_integer_value(json_object_get(entry, "run")), error))
                return error->code;
        }
        return 0;
    }
    struct live_run *run =
        engine_find(engine, json_integer_value(json_object_get(a->reply, "run")));
    if (strcmp(name, "answer") == 0) {
        if (run && json_object_get(a->reply, "changes") && !json_object_get(a->reply, "same"))
            run_hear_again(run);
        for (run = engine->runs; run; run = run->next)
            if (run->phase == LIVE_ASKING)
                perform_answered(run);
        return 0;
    }
    if (!run)
        return 0;
    if (strcmp(name, "pause") == 0) {
        if (run->phase == LIVE_QUEUED)
            run->phase = LIVE_PARKED;
        run->record.state = RUN_PAUSED;
        run_park(run);
    } else if (strcmp(name, "stop") == 0) {
        char why[STOP_REASON_SIZE];
        run_end(run, RUN_STOPPED, stop_reason(a, why));
    } else if (strcmp(name, "resume") == 0 || strcmp(name, "adopt") == 0) {
        return engine_retake(engine, run, "paused", error);
    }
    return 0;
}

int act(struct logbook *logbook, struct engine *engine, const struct script_ops *scripts,
        utc_us now, const json_t *request, json_t **reply, struct error *error)
{
    static const struct {
        const char *name;
        int (*function)(struct act *a, struct error *error);
    } acts[] = {
        {"enrol", enrol_act}, {"start", start_act},   {"pause", pause_act}, {"resume", resume_act},
        {"stop", stop_act},   {"answer", answer_act}, {"adopt", adopt_act}, {"import", import_act},
    };
    struct act a = {logbook, engine, scripts, now, request, NULL};
    const char *name = json_string_value(json_object_get(request, "act"));
    for (size_t i = 0; name && i < sizeof acts / sizeof *acts; i++) {
        if (strcmp(name, acts[i].name) != 0)
            continue;
        if (engine && !engine_commit(engine)) {
            *error = engine->trouble;
            return error->code;
        }
        if (logbook_begin(logbook, error))
            return error->code;
        if (acts[i].function(&a, error) || logbook_commit(logbook, error)) {
            logbook_rollback(logbook);
            json_decref(a.reply);
            return error->code;
        }
        if (engine && follow(&a, name, error)) {
            json_decref(a.reply);
            return error->code;
        }
        *reply = a.reply;
        return 0;
    }
    return bad_request(error, "no such act");
}
