/* The life of an instrument: up, verified, off, prepared, ready; and what channels ask of it. */
#include "bench/instrument.h"

#include <stdarg.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "base/text.h"
#include "bench/guardian.h"
#include "bench/instrument_internal.h"

static void __attribute__((format(printf, 3, 4)))
say(struct instrument *instrument, const char *level, const char *format, ...)
{
    char text[1200];
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(text, sizeof text, format, arguments);
    va_end(arguments);
    if (instrument->tell)
        instrument->tell(instrument->owner, instrument->name, level, text);
}

/* --- up and down ----------------------------------------------------------------------------- */

static void refuse(struct instrument *instrument, const struct error *why)
{
    instrument->trouble = *why;
    link_refuse(instrument->link, why);
}

static void prepared(void *owner, const struct driver_result *result, bench_us began,
                     bench_us ended, const struct error *failure)
{
    struct instrument *instrument = owner;
    (void)result, (void)began, (void)ended;
    if (failure) {
        refuse(instrument, failure);
        return;
    }
    const struct scpi_identity *is = &instrument->identity;
    instrument->unprepared = false;
    instrument->state = INSTRUMENT_READY;
    error_clear(&instrument->trouble);
    say(instrument, "info", "ready: %s, %s, %s", is->maker, is->model, is->serial);
}

static void turned_off(void *owner, const struct driver_result *result, bench_us began,
                       bench_us ended, const struct error *failure)
{
    struct instrument *instrument = owner;
    (void)result, (void)began, (void)ended;
    if (failure)
        refuse(instrument, failure);
    else
        instrument_own_job(instrument, DRIVER_PREPARE, prepared);
}

static bool same(const char *expected, const char *is)
{
    return !expected[0] || strcasecmp(expected, is) == 0;
}

static void identified(void *owner, const struct driver_result *result, bench_us began,
                       bench_us ended, const struct error *failure)
{
    struct instrument *instrument = owner;
    const struct scpi_identity *expected = &instrument->expected;
    struct error why;
    (void)began, (void)ended;
    if (failure) {
        refuse(instrument, failure);
        return;
    }
    instrument->identity = result->identity;
    const struct scpi_identity *is = &instrument->identity;
    if (!same(expected->maker, is->maker) || !same(expected->model, is->model) ||
        !same(expected->serial, is->serial)) {
        error_set(&why, ERROR_BENCH, instrument->name,
                  "connect the right one, or mend its identity in the bench file",
                  "another instrument answers at %s: it is \"%s, %s, %s\" and should be \"%s, %s, "
                  "%s\"",
                  instrument->place, is->maker, is->model, is->serial,
                  expected->maker[0] ? expected->maker : "any",
                  expected->model[0] ? expected->model : "any",
                  expected->serial[0] ? expected->serial : "any");
        refuse(instrument, &why);
        return;
    }
    if (instrument->driver->sync && !instrument->driver->sync_known && !instrument->sync_known) {
        error_set(&why, ERROR_BENCH, instrument->name,
                  "ask it in identify, or name its answer beside it",
                  "its driver never asked its own synchronisation question");
        refuse(instrument, &why);
        return;
    }
    link_trust(instrument->link);
    instrument->state = INSTRUMENT_PREPARING;
    instrument_send_safe(instrument, NULL);
    if (instrument_has_output(instrument))
        instrument_own_job(instrument, DRIVER_OFF, turned_off);
    else
        instrument_own_job(instrument, DRIVER_PREPARE, prepared);
}

/* What the engine can no longer do if it dies: the guardian gets the line, and the safe bytes. */
static void hold(struct instrument *instrument)
{
    const char *safe = instrument->driver->safe;
    struct error error;
    if (instrument->guardian && safe &&
        guardian_hold(instrument->guardian, instrument->guardian_id, link_fd(instrument->link),
                      safe, strlen(safe), &error))
        say(instrument, "warning", "the guardian does not hold its line: %s", error.why);
}

static void release(struct instrument *instrument)
{
    if (instrument->guardian && instrument->driver->safe)
        guardian_release(instrument->guardian, instrument->guardian_id);
}

static void on_up(struct link *link, void *owner)
{
    struct instrument *instrument = owner;
    (void)link;
    hold(instrument);
    instrument->state = INSTRUMENT_VERIFYING;
    if (instrument->maybe_on)
        instrument_send_safe(instrument, NULL);
    instrument_own_job(instrument, DRIVER_IDENTIFY, identified);
    instrument_work(instrument);
}

static void on_down(struct link *link, void *owner, const struct error *why)
{
    struct instrument *instrument = owner;
    (void)link;
    bool was_ready = instrument->state == INSTRUMENT_READY;
    release(instrument);
    instrument->state = INSTRUMENT_DOWN;
    instrument->trouble = *why;
    instrument->trouble.code = ERROR_LOST;
    instrument_blame(instrument, &instrument->trouble);
    free(instrument->sync_known);
    instrument->sync_known = NULL;
    const struct error trouble = instrument->trouble;
    if (was_ready)
        say(instrument, "warning", "%s%s", trouble.why,
            instrument->maybe_on ? ", and its output may still be on" : "");
    instrument_fail_all(instrument, &trouble);
}

static bool on_sync(void *owner, const char *answer, size_t length)
{
    const struct instrument *instrument = owner;
    const char *known = instrument->driver->sync_known;
    if (!known)
        known = instrument->sync_known;
    return !known || (strlen(known) == length && memcmp(known, answer, length) == 0);
}

static void on_trace(void *owner, char way, const char *bytes, size_t length, int64_t at_us)
{
    struct instrument *instrument = owner;
    instrument->trace(instrument->owner, instrument->name, way, bytes, length, at_us);
}

static void on_closed(void *owner)
{
    struct instrument *instrument = owner;
    instrument->driver->ops->close(instrument->driver);
    free(instrument->sync_known);
    free(instrument->spare);
    free(instrument->name);
    free(instrument->place);
    free(instrument);
}

/* --- the channels' side ---------------------------------------------------------------------- */

static char *describe(const struct link_spec *link)
{
    static const char *const kinds[] = {
        [LINK_SERIAL] = "serial", [LINK_TCP] = "tcp", [LINK_USBTMC] = "usbtmc", [LINK_PTY] = "pty"};
    struct text text = TEXT_EMPTY;
    text_addf(&text, "%s %s", kinds[link->kind], link->path);
    if (link->kind == LINK_TCP)
        text_addf(&text, " %d", link->port ? link->port : 5025);
    return text.bytes;
}

int instrument_open(void *uv_loop, const struct instrument_spec *spec, struct instrument **out,
                    struct error *error)
{
    struct instrument *instrument = xcalloc(1, sizeof *instrument);
    struct link_hooks hooks = {
        .up = on_up,
        .down = on_down,
        .closed = on_closed,
        .trace = spec->trace ? on_trace : NULL,
        .sync = {spec->driver->sync, on_sync},
        .owner = instrument,
    };
    if (link_open(uv_loop, spec->link, &hooks, &instrument->link, error)) {
        spec->driver->ops->close(spec->driver);
        free(instrument);
        return ERROR_BENCH;
    }
    instrument->name = xstrdup(spec->name);
    instrument->place = describe(spec->link);
    instrument->driver = spec->driver;
    instrument->delay = delay_new(uv_loop, instrument_on_delay, instrument);
    instrument->clock = spec->clock;
    instrument->expected = spec->expected;
    instrument->limits = spec->limits;
    instrument->resolution = spec->resolution;
    instrument->guardian = spec->guardian;
    instrument->guardian_id = spec->guardian_id;
    instrument->tell = spec->tell;
    instrument->trace = spec->trace;
    instrument->owner = spec->owner;
    instrument->unprepared = true;
    *out = instrument;
    return 0;
}

void instrument_close(struct instrument *instrument)
{
    struct error why;
    error_set(&why, ERROR_BENCH, instrument->name, "", "the bench is being closed");
    bool up = instrument->state != INSTRUMENT_DOWN;
    instrument->state = INSTRUMENT_DOWN;
    instrument_fail_all(instrument, &why);
    if (up && !instrument_is_off(instrument))
        instrument_send_safe(instrument, NULL);
    release(instrument);
    delay_close(instrument->delay);
    link_close(instrument->link);
}

static int refuse_down(const struct instrument *instrument, struct error *error)
{
    if (!error)
        return ERROR_LOST;
    if (instrument->trouble.code)
        *error = instrument->trouble;
    else
        error_set(error, ERROR_LOST, instrument->name, "wait a moment",
                  "it is not reached yet at %s", instrument->place);
    return ERROR_LOST;
}

int instrument_ask(struct instrument *instrument, const struct driver_order *order,
                   instrument_done *done, void *owner, struct error *error)
{
    if (instrument->state == INSTRUMENT_DOWN)
        return refuse_down(instrument, error);
    instrument_queue(instrument, order, done, owner);
    instrument_work(instrument);
    return 0;
}

static bool is_parting(const struct job *job)
{
    return job->order.task == DRIVER_OFF || job->order.task == DRIVER_DISCONNECT;
}

/* Takes `owner`'s jobs out of the queue. */
static void drop(struct instrument *instrument, const void *owner, bool all)
{
    struct job **place = &instrument->first;
    while (*place) {
        struct job *job = *place;
        if (job->owner != owner) {
            place = &job->next;
        } else if (!all && is_parting(job)) {
            job->done = NULL;
            place = &job->next;
        } else {
            *place = job->next;
            free(job);
        }
    }
}

void instrument_forget(struct instrument *instrument, void *owner)
{
    drop(instrument, owner, false);
    if (instrument->current && instrument->current->owner == owner)
        instrument->current->done = NULL; /* let it end: giving up would cost a synchronisation */
}

static bool owed(const struct job *job, const void *owner)
{
    return job->owner == owner && job->done;
}

bool instrument_owes(const struct instrument *instrument, const void *owner)
{
    bool owes = instrument->current && owed(instrument->current, owner);
    for (const struct job *job = instrument->first; job && !owes; job = job->next)
        owes = owed(job, owner);
    return owes;
}

static void fail_others(struct instrument *instrument, struct job *others)
{
    struct error why;
    error_set(&why, ERROR_LOST, instrument->name, "see which channel failed",
              "it was turned off for safety in the middle of another task");
    while (others) {
        struct job *job = others;
        others = job->next;
        instrument_end_job(instrument, job, NULL, &why);
    }
}

int instrument_make_safe(struct instrument *instrument, instrument_done *done, void *owner,
                         struct error *error)
{
    struct driver_order order = {.task = DRIVER_OFF};
    if (!instrument_has_output(instrument)) {
        instrument_forget(instrument, owner);
        if (done)
            done(owner, NULL, 0, 0, NULL);
        return 0;
    }
    drop(instrument, owner, true);
    if (instrument->state == INSTRUMENT_DOWN)
        return refuse_down(instrument, error);
    if (instrument->state != INSTRUMENT_READY) { /* its output is off before anyone may use it */
        instrument_queue(instrument, &order, done, owner);
        return 0;
    }
    struct job *was = instrument->current ? instrument_give_up(instrument) : NULL;
    struct error failure = {.code = ERROR_NONE};
    instrument_send_safe(instrument, &failure);
    struct job *others = instrument->first;
    instrument->first = NULL;
    if (was && was->owner != owner && was->owner != instrument) {
        was->next = others;
        others = was;
    } else {
        free(was);
    }
    if (!failure.code)
        instrument_queue(instrument, &order, done, owner);
    fail_others(instrument, others);
    instrument_work(instrument);
    if (!failure.code)
        return 0;
    instrument_blame(instrument, &failure); /* it hung up just now: `down` is on its way */
    if (error)
        *error = failure;
    return ERROR_BENCH;
}

void instrument_restart(struct instrument *instrument, const struct error *why)
{
    if (instrument->state != INSTRUMENT_DOWN)
        refuse(instrument, why);
}

struct turn *instrument_turn(struct instrument *instrument)
{
    return &instrument->turn;
}

/* --- asking about it ------------------------------------------------------------------------- */

enum instrument_state instrument_state(const struct instrument *instrument)
{
    return instrument->state;
}

const char *instrument_state_name(enum instrument_state state)
{
    static const char *const names[] = {"not reached", "being verified", "being prepared", "ready"};
    return names[state];
}

const char *instrument_name(const struct instrument *instrument)
{
    return instrument->name;
}

const struct driver *instrument_driver(const struct instrument *instrument)
{
    return instrument->driver;
}

const struct scpi_identity *instrument_identity(const struct instrument *instrument)
{
    return &instrument->identity;
}

const struct limits *instrument_limits(const struct instrument *instrument)
{
    return &instrument->limits;
}

double instrument_resolution(const struct instrument *instrument)
{
    return instrument->resolution;
}

bool instrument_is_off(const struct instrument *instrument)
{
    return instrument->off || !instrument_has_output(instrument);
}

const struct error *instrument_trouble(const struct instrument *instrument)
{
    return &instrument->trouble;
}

const char *instrument_place(const struct instrument *instrument)
{
    return instrument->place;
}
