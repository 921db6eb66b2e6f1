/* Requests from outside and their replies, whoever brings them (the control socket, a face). A
 * reply goes out once its change is committed and, for a pause or a stop, once the outputs of that
 * run are safe. */
#include <stdlib.h>
#include <string.h>

#include "engine/acts.h"
#include "engine/engine_internal.h"

struct ask {
    struct ask *next;
    char *reply;
    int64_t run; /* its outputs are to be safe first; 0: need not wait */
    void (*done)(void *owner, const char *reply);
    void *owner;
};

static char *error_reply(const struct error *error)
{
    return json_line(json_pack("{s:{s:i, s:s, s:s, s:s}}", "error", "code", (int)error->code,
                               "what", error->what, "why", error->why, "todo", error->todo));
}

char *json_line(json_t *document)
{
    char *json = json_dumps(document, JSON_COMPACT);
    size_t length = strlen(json);
    json = xrealloc(json, length + 2);
    memcpy(json + length, "\n", 2);
    json_decref(document);
    return json;
}

void engine_ask(struct engine *engine, const char *request, size_t length,
                void (*done)(void *owner, const char *reply), void *owner)
{
    struct error error;
    json_error_t problem;
    json_t *reply = NULL, *document = json_loadb(request, length, JSON_REJECT_DUPLICATES, &problem);
    struct ask *ask = xcalloc(1, sizeof *ask), **end = &engine->asks;
    error_clear(&error);
    if (!document)
        error_set(&error, ERROR_USAGE, "request", "use the perdure command of this version",
                  "it is not JSON: %s", problem.text);
    else
        act(engine->options.logbook, engine, engine->options.scripts,
            clock_utc(engine->options.clock), document, &reply, &error);
    ask->done = done;
    ask->owner = owner;
    if (error.code) {
        ask->reply = error_reply(&error);
    } else {
        const char *name = json_string_value(json_object_get(document, "act"));
        if (strcmp(name, "pause") == 0 || strcmp(name, "stop") == 0)
            ask->run = json_integer_value(json_object_get(document, "run"));
        ask->reply = json_line(json_pack("{s:o}", "reply", reply));
    }
    json_decref(document);
    engine->changes++;
    while (*end)
        end = &(*end)->next;
    *end = ask;
    loop_wake(engine); /* a pass follows, then the replies */
}

static bool is_safe(struct engine *engine, int64_t id)
{
    const struct live_run *run = id ? engine_find(engine, id) : NULL;
    return !run || run->phase == LIVE_PARKED || run->phase == LIVE_OVER ||
           run->phase == LIVE_QUEUED;
}

static void ask_free(struct ask *ask)
{
    free(ask->reply);
    free(ask);
}

void ask_reply_all(struct engine *engine)
{
    bool committed = false;
    struct ask **place = &engine->asks;
    while (*place) {
        struct ask *ask = *place;
        if (!is_safe(engine, ask->run)) {
            place = &ask->next;
            continue;
        }
        if (!committed && !engine_commit(engine))
            return;
        committed = true;
        *place = ask->next;
        ask->done(ask->owner, ask->reply);
        ask_free(ask);
    }
}

void engine_forget(struct engine *engine, const void *owner)
{
    struct ask **place = &engine->asks;
    while (*place) {
        struct ask *ask = *place;
        if (ask->owner != owner) {
            place = &ask->next;
            continue;
        }
        *place = ask->next;
        ask_free(ask);
    }
}

void ask_drop_all(struct engine *engine)
{
    while (engine->asks)
        engine_forget(engine, engine->asks->owner);
}
