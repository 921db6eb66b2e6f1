/* Orders: commands of the program, given while an engine lives or while none does. */
#include <jansson.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "round.h"
#include "shape.h"

#define ORDER_SECONDS 30.0

static const char *const exact_scripts[] = {"ends",      "cycles",  "drawn",  "segments",
                                            "pulses",    "drives",  "cycles", "question",
                                            "predicate", "calendar"};

#define EXACT_SCRIPTS ((int)(sizeof(exact_scripts) / sizeof(exact_scripts[0])))

static int64_t draw(struct round *round, int64_t low, int64_t high)
{
    return random_range(&round->random, low, high);
}

/* --- choosing --------------------------------------------------------------------------------- */

static bool choose_run(struct round *round, struct order *order, bool paused)
{
    int chosen = -1, seen = 0;
    for (int i = 0; i < round->open_count; i++)
        if (round->open[i].paused == paused && draw(round, 0, seen++) == 0)
            chosen = i;
    if (chosen < 0)
        return false;
    order->id = round->open[chosen].id;
    order->cell = round->open[chosen].cell;
    return true;
}

static bool choose_cell(struct round *round, struct order *order)
{
    int chosen = -1, seen = 0;
    for (int i = 0; i < CELLS; i++)
        if (!round->busy[i] && draw(round, 0, seen++) == 0)
            chosen = i;
    order->cell = chosen;
    return chosen >= 0;
}

/* An open question without an answer; as of the last death. */
static bool choose_question(struct round *round, struct order *order)
{
    sqlite3 *book = query_open(round->scene.check);
    order->id =
        book ? query_number(book, "SELECT question.id FROM question JOIN run ON run.id = run "
                                  "WHERE run.ended_at IS NULL AND NOT EXISTS "
                                  "(SELECT 1 FROM answer WHERE question = question.id) "
                                  "ORDER BY random() LIMIT 1")
             : 0;
    sqlite3_close(book);
    snprintf(order->text, sizeof(order->text), "%d", (int)draw(round, 1, 12));
    return order->id > 0;
}

/* --- beginning -------------------------------------------------------------------------------- */

static void begin_start(struct round *round, struct order *order)
{
    char path[400], span[40], channel[8];
    const char *script =
        order->cell < EXACT_CELLS ? exact_scripts[draw(round, 0, EXACT_SCRIPTS - 1)] : "full";
    bool pinned = draw(round, 0, 3) == 0;
    if (round->started < EXACT_SCRIPTS && order->cell < EXACT_CELLS)
        script = exact_scripts[round->started++]; /* each at least once */
    promise_cell_in_use(&round->promises, scene_label(order->cell));
    snprintf(path, sizeof(path), "%s/%s.lua", round->scene.protocols, script);
    snprintf(span, sizeof(span), "span=%g s", round->scene.span);
    snprintf(channel, sizeof(channel), "E%d", (int)draw(round, 1, EXACT_CHANNELS));
    scene_begin(&round->scene, &order->process,
                (const char *const[]){"--json", "start", path, "--cells", scene_label(order->cell),
                                      "--set", span, pinned ? "--channel" : NULL, channel, NULL});
}

static void begin_enrol(struct round *round, struct order *order)
{
    char model[40];
    int n = ++round->enrolled;
    snprintf(model, sizeof(model), "Late %d", n);
    snprintf(order->text, sizeof(order->text), "L-%d-1,L-%d-2,L-%d-3", n, n, n);
    scene_begin(&round->scene, &order->process,
                (const char *const[]){"enrol", "--model", model, "--chemistry", "NiMH", "--rated",
                                      "1 Ah", "--labels", order->text, NULL});
}

static void begin_look(struct round *round, struct order *order)
{
    static const char *const verbs[] = {"runs", "results", "cells", "audit"};
    scene_begin(&round->scene, &order->process,
                (const char *const[]){verbs[draw(round, 0, 3)], NULL});
}

static void begin_on_run(struct round *round, struct order *order, const char *verb)
{
    char id[24];
    snprintf(id, sizeof(id), "%lld", (long long)order->id);
    promise_withdraw(&round->promises, order->id);
    scene_begin(&round->scene, &order->process, (const char *const[]){verb, id, NULL});
}

static void begin_answer(struct round *round, struct order *order)
{
    char id[24];
    snprintf(id, sizeof(id), "%lld", (long long)order->id);
    scene_begin(&round->scene, &order->process,
                (const char *const[]){"answer", id, order->text, "--who", "a person", NULL});
}

static void begin_backup(struct round *round, struct order *order)
{
    snprintf(order->text, sizeof(order->text), "%.90s/backup-%d.perdure", round->scene.folder,
             ++round->backups);
    scene_begin(&round->scene, &order->process, (const char *const[]){"backup", order->text, NULL});
}

bool order_begin(struct round *round, struct order *order, enum order_kind kind)
{
    *order = (struct order){.kind = kind, .begun = scene_now(&round->scene)};
    round->commands++;
    switch (kind) {
    case ORDER_PAUSE:
        if (!choose_run(round, order, false))
            return false;
        begin_on_run(round, order, "pause");
        return true;
    case ORDER_RESUME:
        if (!choose_run(round, order, true))
            return false;
        begin_on_run(round, order, "resume");
        return true;
    case ORDER_STOP:
        if (!choose_run(round, order, draw(round, 0, 1)))
            return false;
        begin_on_run(round, order, "stop");
        return true;
    case ORDER_START:
        if (!round->supply || !choose_cell(round, order))
            return false;
        begin_start(round, order);
        return true;
    case ORDER_ENROL: begin_enrol(round, order); return true;
    case ORDER_ANSWER:
        if (!choose_question(round, order))
            return false;
        begin_answer(round, order);
        return true;
    case ORDER_BACKUP: begin_backup(round, order); return true;
    case ORDER_LOOK: begin_look(round, order); return true;
    case ORDER_COUNT: break;
    }
    return false;
}

/* --- ending ----------------------------------------------------------------------------------- */

static void add_promise(struct round *round, const struct order *order, enum promise_kind kind,
                        int64_t id, const char *text)
{
    struct promise promise = {
        .kind = kind, .id = id, .at = scene_now(&round->scene), .by_engine = order->by_engine};
    string_copy(promise.text, sizeof(promise.text), text);
    promise_add(&round->promises, &promise);
}

static void promise_enrolled(struct round *round, const struct order *order)
{
    char copy[120], *rest = copy;
    string_copy(copy, sizeof(copy), order->text);
    for (char *label = strsep(&rest, ","); label; label = strsep(&rest, ","))
        add_promise(round, order, PROMISE_ENROLLED, 0, label);
}

static void promise_started(struct round *round, const struct order *order, const char *said)
{
    json_t *reply = json_loads(said, 0, NULL);
    int64_t id = json_integer_value(json_object_get(json_array_get(reply, 0), "run"));
    json_decref(reply);
    if (!id) {
        found(round->findings, "program", "start said: %s", said);
        return;
    }
    round->busy[order->cell] = true;
    add_promise(round, order, PROMISE_STARTED, id, scene_label(order->cell));
}

/* A copy that was acknowledged holds all that was seen before it was begun. */
static void check_backup(struct round *round, const char *file)
{
    sqlite3 *copy = query_open(file);
    if (!copy) {
        found(round->findings, "backup", "%s cannot be opened", file);
        return;
    }
    int before = round->findings->count;
    query_sound(copy, round->findings, "integrity_check");
    if (round->findings->count == before) {
        shape_check(copy, round->findings);
        ledger_compare(round->ledger, file, round->findings);
    }
    sqlite3_close(copy);
    remove(file);
}

static void keep_promise(struct round *round, const struct order *order, const char *said)
{
    const char *label = scene_label(order->cell >= 0 ? order->cell : 0);
    switch (order->kind) {
    case ORDER_PAUSE: add_promise(round, order, PROMISE_PAUSED, order->id, label); break;
    case ORDER_RESUME: add_promise(round, order, PROMISE_RESUMED, order->id, label); break;
    case ORDER_STOP: add_promise(round, order, PROMISE_STOPPED, order->id, label); break;
    case ORDER_START: promise_started(round, order, said); break;
    case ORDER_ENROL: promise_enrolled(round, order); break;
    case ORDER_ANSWER: add_promise(round, order, PROMISE_ANSWERED, order->id, order->text); break;
    case ORDER_BACKUP: check_backup(round, order->text); break;
    case ORDER_LOOK:
    case ORDER_COUNT: break;
    }
}

/* Outputs are safe before the command returns. The file may be looked at while an engine writes it:
 * its numbers are stored whole, and a copy that is not possible is left aside. */
static void check_safe(struct round *round, const struct order *order)
{
    char copy[256];
    snprintf(copy, sizeof(copy), "%.200s/now-world", round->scene.folder);
    copy_file(round->scene.world, copy);
    if (truth_driven(copy, scene_label(order->cell)) == 1)
        found(round->findings, "promise",
              "run %lld was paused or stopped by the engine, and its cell %s is driven",
              (long long)order->id, scene_label(order->cell));
}

bool order_end(struct round *round, struct order *order, bool disturbed)
{
    static const char *const names[] = {"pause", "resume", "stop",   "start",
                                        "enrol", "answer", "backup", "a listing"};
    char *said = process_output(&order->process);
    bool done = order->process.status == 0;
    /* Stopped or paused already, over by now, an engine that is just coming or going: it may say
     * so. To read or to copy is always possible. */
    bool may_refuse = order->kind != ORDER_LOOK && order->kind != ORDER_BACKUP;
    if (!disturbed || order->process.signal != SIGKILL)
        scene_judge(&round->scene, &order->process, names[order->kind], may_refuse);
    if (done)
        keep_promise(round, order, said);
    if (done && order->by_engine && (order->kind == ORDER_PAUSE || order->kind == ORDER_STOP))
        check_safe(round, order);
    round->refused += !done;
    if (order->kind == ORDER_PAUSE)
        interruption_add(&round->interruptions,
                         &(struct interruption){.from = order->begun,
                                                .to = scene_now(&round->scene),
                                                .run = order->id,
                                                .sure = done});
    free(said);
    return done;
}

bool order_do(struct round *round, enum order_kind kind, bool by_engine)
{
    struct order order;
    if (!order_begin(round, &order, kind))
        return false;
    if (!process_wait(&order.process, ORDER_SECONDS)) {
        found(round->findings, "program", "a command does not come to an end");
        process_kill(&order.process);
    }
    order.by_engine = by_engine;
    return order_end(round, &order, false);
}
