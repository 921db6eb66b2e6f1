/* The life of an instrument, and its queue of tasks. */
#include "bench/instrument.h"

#include <stdarg.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "base/text.h"
#include "link/delay.h"

/* Exchanges of one task: more is a driver that goes round in circles. */
#define CALLS_MOST 1000
/* Turning off is harmless to repeat, and is. */
#define OFF_TRIES 3

struct job {
    struct job *next;
    struct driver_order order;
    instrument_done *done; /* NULL: nobody wants to know */
    void *owner;           /* the instrument itself for its own */
    bench_us began;
    int calls, tries;
};

struct instrument {
    char *name, *place;
    struct driver *driver;
    struct link *link;
    struct delay *delay;
    const struct clock *clock;
    struct scpi_identity expected, identity;
    struct limits limits;
    double resolution;
    void (*tell)(void *owner, const char *name, const char *level, const char *text);
    void (*trace)(void *owner, const char *name, char way, const char *bytes, size_t length,
                  int64_t at_us);
    void *owner;

    enum instrument_state state;
    struct error trouble;
    struct job *current, *first; /* one in progress, and the queue */
    struct driver_call call;     /* of `current`, as is the result */
    struct driver_result result;
    bool working;                /* the queue is being worked off, further up the stack */
    bool unprepared;
    bool off;        /* seen to be off */
    bool maybe_on;   /* told to drive since it was last seen to be off; outlives a hang-up */
    char *sync_known;
    struct turn turn;
};

static void work(struct instrument *instrument);

static bool has_output(const struct instrument *instrument)
{
    return instrument->driver->can & (CAN_SOURCE | CAN_SINK);
}

static void __attribute__((format(printf, 3, 4))) say(struct instrument *instrument,
                                                       const char *level, const char *format, ...)
{
    char text[1200];
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(text, sizeof text, format, arguments);
    va_end(arguments);
    if (instrument->tell)
        instrument->tell(instrument->owner, instrument->name, level, text);
}

/* --- jobs -------------------------------------------------------------------------------------- */

static struct job *new_job(const struct driver_order *order, instrument_done *done, void *owner)
{
    struct job *job = xcalloc(1, sizeof *job);
    job->order = *order;
    job->done = done;
    job->owner = owner;
    return job;
}

static void push_front(struct instrument *instrument, struct job *job)
{
    job->next = instrument->first;
    instrument->first = job;
}

static void push_back(struct instrument *instrument, struct job *job)
{
    struct job **place = &instrument->first;
    while (*place)
        place = &(*place)->next;
    *place = job;
}

static void own_job(struct instrument *instrument, enum driver_task task, instrument_done *done)
{
    struct driver_order order = {.task = task};
    push_front(instrument, new_job(&order, done, instrument));
}

static void end_job(struct instrument *instrument, struct job *job,
                    const struct driver_result *result, const struct error *failure)
{
    instrument_done *done = job->done;
    void *owner = job->owner;
    bench_us began = job->began;
    free(job);
    if (done)
        done(owner, result, began, clock_bench(instrument->clock), failure);
}

/* The current task is over unfinished: its link's answer is not waited for, the driver forgets. */
static struct job *give_up(struct instrument *instrument)
{
    struct job *job = instrument->current;
    instrument->current = NULL;
    link_forget(instrument->link, instrument);
    delay_stop(instrument->delay);
    instrument->driver->ops->forget(instrument->driver);
    instrument->unprepared = true;
    return job;
}

static void fail_all(struct instrument *instrument, const struct error *why)
{
    struct job *job = instrument->current ? give_up(instrument) : NULL;
    struct job *rest = instrument->first;
    instrument->first = NULL;
    if (job) {
        job->next = rest;
        rest = job;
    }
    while (rest) {
        job = rest;
        rest = job->next;
        bool own = job->owner == instrument;
        if (own)
            free(job);
        else
            end_job(instrument, job, NULL, why);
    }
}

/* --- working a job off ------------------------------------------------------------------------- */

static void go_on(struct instrument *instrument, enum driver_status status, struct error *error);

static void send_safe(struct instrument *instrument, struct error *error)
{
    const char *safe = instrument->driver->safe;
    if (safe)
        link_send_now(instrument->link, safe, strlen(safe), instrument, error);
}

/* What failed, with the instrument's name in front. */
static void blame(const struct instrument *instrument, struct error *error)
{
    if (!error->what[0]) {
        string_copy(error->what, sizeof error->what, instrument->name);
    } else if (strcmp(error->what, instrument->name) != 0) {
        struct error inner = *error;
        string_copy(error->what, sizeof error->what, instrument->name);
        snprintf(error->why, sizeof error->why, "%.200s: %.560s", inner.what, inner.why);
    }
    error->code = ERROR_BENCH;
}

static bool try_again(struct instrument *instrument, struct job *job)
{
    if (job->order.task != DRIVER_OFF || ++job->tries >= OFF_TRIES ||
        instrument->state == INSTRUMENT_DOWN)
        return false;
    job->calls = 0;
    send_safe(instrument, NULL);
    push_front(instrument, job);
    return true;
}

static void finish(struct instrument *instrument, struct error *failure)
{
    const struct driver_result result = instrument->result; /* the next may begin inside */
    struct job *job = instrument->current;
    instrument->current = NULL;
    if (failure) {
        instrument->driver->ops->forget(instrument->driver);
        instrument->unprepared = true;
        blame(instrument, failure);
        if (try_again(instrument, job)) {
            work(instrument);
            return;
        }
    } else if (job->order.task == DRIVER_OFF) {
        instrument->off = true;
        instrument->maybe_on = false;
    }
    end_job(instrument, job, &result, failure);
    work(instrument);
}

static void on_reply(void *owner, const struct link_reply *reply)
{
    struct instrument *instrument = owner;
    struct driver *driver = instrument->driver;
    struct error error = {.code = ERROR_NONE};
    if (!instrument->current)
        return;
    if (reply->status == LINK_OK && driver->sync && !instrument->sync_known &&
        instrument->call.want == DRIVER_ASK && instrument->call.length == strlen(driver->sync) &&
        memcmp(instrument->call.bytes, driver->sync, instrument->call.length) == 0)
        instrument->sync_known = xstrdup(reply->bytes);
    go_on(instrument, driver->ops->resume(driver, reply, &instrument->call, &instrument->result,
                                            &error),
          &error);
}

static void on_delay(void *owner)
{
    struct instrument *instrument = owner;
    struct driver *driver = instrument->driver;
    struct error error = {.code = ERROR_NONE};
    go_on(instrument, driver->ops->resume(driver, NULL, &instrument->call, &instrument->result,
                                            &error),
          &error);
}

static int place_call(struct instrument *instrument, struct error *error)
{
    const struct driver_call *call = &instrument->call;
    if (++instrument->current->calls > CALLS_MOST)
        return error_set(error, ERROR_BENCH, "", "mend its driver",
                         "its driver asked %d times in one task", CALLS_MOST);
    if (call->want == DRIVER_WAIT) {
        delay_start(instrument->delay, call->seconds);
        return 0;
    }
    if (instrument->current->order.task == DRIVER_IDENTIFY) {
        if (call->want != DRIVER_ASK)
            return error_set(error, ERROR_BENCH, "", "let its driver only ask there",
                             "its driver gives orders before it knows who answers");
        return link_verify(instrument->link, call->bytes, call->length, call->seconds, on_reply,
                           instrument, error);
    }
    enum link_answer answer = call->want == DRIVER_ASK         ? LINK_LINE
                              : call->want == DRIVER_ASK_BLOCK ? LINK_BLOCK
                                                               : LINK_NONE;
    return link_ask(instrument->link, call->bytes, call->length, answer, call->seconds, on_reply,
                    instrument, error);
}

static void go_on(struct instrument *instrument, enum driver_status status, struct error *error)
{
    if (status == DRIVER_AWAITS && !place_call(instrument, error))
        return;
    finish(instrument, status == DRIVER_DONE ? NULL : error);
}

static void begin(struct instrument *instrument, struct job *job)
{
    struct driver *driver = instrument->driver;
    struct error error = {.code = ERROR_NONE};
    instrument->result = (struct driver_result){NAN, NAN, NAN, {"", "", "", ""}};
    instrument->current = job;
    job->next = NULL;
    job->began = clock_bench(instrument->clock);
    if (job->order.task == DRIVER_DRIVE) {
        instrument->off = false;
        instrument->maybe_on = true;
    }
    enum driver_status status =
        driver->ops->begin(driver, &job->order, &instrument->call, &instrument->result, &error);
    go_on(instrument, status, &error);
}

static void prepared_again(void *owner, const struct driver_result *result, bench_us began,
                           bench_us ended, const struct error *failure)
{
    struct instrument *instrument = owner;
    (void)result, (void)began, (void)ended;
    struct job *job = instrument->first;
    instrument->unprepared = failure != NULL;
    if (!failure || !job)
        return;
    instrument->first = job->next; /* the one it was for */
    end_job(instrument, job, NULL, failure);
}

static void work(struct instrument *instrument)
{
    if (instrument->working)
        return;
    instrument->working = true;
    while (!instrument->current && instrument->first) {
        struct job *job = instrument->first;
        if (instrument->state == INSTRUMENT_READY && instrument->unprepared &&
            job->order.task != DRIVER_OFF && job->owner != instrument) {
            own_job(instrument, DRIVER_PREPARE, prepared_again);
            continue;
        }
        if (instrument->state != INSTRUMENT_READY && job->owner != instrument)
            break; /* it waits until the instrument is ready */
        instrument->first = job->next;
        begin(instrument, job);
    }
    instrument->working = false;
}

/* --- up and down ------------------------------------------------------------------------------- */

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
        own_job(instrument, DRIVER_PREPARE, prepared);
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
    send_safe(instrument, NULL);
    if (has_output(instrument))
        own_job(instrument, DRIVER_OFF, turned_off);
    else
        own_job(instrument, DRIVER_PREPARE, prepared);
}

static void on_up(struct link *link, void *owner)
{
    struct instrument *instrument = owner;
    (void)link;
    instrument->state = INSTRUMENT_VERIFYING;
    if (instrument->maybe_on)
        send_safe(instrument, NULL);
    own_job(instrument, DRIVER_IDENTIFY, identified);
    work(instrument);
}

static void on_down(struct link *link, void *owner, const struct error *why)
{
    struct instrument *instrument = owner;
    (void)link;
    bool was_ready = instrument->state == INSTRUMENT_READY;
    instrument->state = INSTRUMENT_DOWN;
    instrument->trouble = *why;
    blame(instrument, &instrument->trouble);
    free(instrument->sync_known);
    instrument->sync_known = NULL;
    const struct error trouble = instrument->trouble;
    if (was_ready)
        say(instrument, "warning", "%s%s", trouble.why,
            instrument->maybe_on ? ", and its output may still be on" : "");
    fail_all(instrument, &trouble);
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
    free(instrument->name);
    free(instrument->place);
    free(instrument);
}

/* --- the channels' side ------------------------------------------------------------------------ */

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
    instrument->delay = delay_new(uv_loop, on_delay, instrument);
    instrument->clock = spec->clock;
    instrument->expected = spec->expected;
    instrument->limits = spec->limits;
    instrument->resolution = spec->resolution;
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
    fail_all(instrument, &why);
    if (up && !instrument_is_off(instrument))
        send_safe(instrument, NULL);
    delay_close(instrument->delay);
    link_close(instrument->link);
}

static int refuse_down(const struct instrument *instrument, struct error *error)
{
    if (!error)
        return ERROR_BENCH;
    if (instrument->trouble.code)
        *error = instrument->trouble;
    else
        error_set(error, ERROR_BENCH, instrument->name, "wait a moment",
                  "it is not reached yet at %s", instrument->place);
    return ERROR_BENCH;
}

int instrument_ask(struct instrument *instrument, const struct driver_order *order,
                   instrument_done *done, void *owner, struct error *error)
{
    if (instrument->state == INSTRUMENT_DOWN)
        return refuse_down(instrument, error);
    push_back(instrument, new_job(order, done, owner));
    work(instrument);
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

static void fail_others(struct instrument *instrument, struct job *others)
{
    struct error why;
    error_set(&why, ERROR_BENCH, instrument->name, "see which channel failed",
              "it was turned off for safety in the middle of another task");
    while (others) {
        struct job *job = others;
        others = job->next;
        end_job(instrument, job, NULL, &why);
    }
}

int instrument_make_safe(struct instrument *instrument, instrument_done *done, void *owner,
                         struct error *error)
{
    struct driver_order order = {.task = DRIVER_OFF};
    if (!has_output(instrument)) {
        instrument_forget(instrument, owner);
        if (done)
            done(owner, NULL, 0, 0, NULL);
        return 0;
    }
    drop(instrument, owner, true);
    if (instrument->state == INSTRUMENT_DOWN)
        return refuse_down(instrument, error);
    if (instrument->state != INSTRUMENT_READY) { /* its output is off before anyone may use it */
        push_back(instrument, new_job(&order, done, owner));
        return 0;
    }
    struct job *was = instrument->current ? give_up(instrument) : NULL;
    struct error failure = {.code = ERROR_NONE};
    send_safe(instrument, &failure);
    struct job *others = instrument->first;
    instrument->first = NULL;
    if (was && was->owner != owner && was->owner != instrument) {
        was->next = others;
        others = was;
    } else {
        free(was);
    }
    if (!failure.code)
        push_back(instrument, new_job(&order, done, owner));
    fail_others(instrument, others);
    work(instrument);
    if (!failure.code)
        return 0;
    blame(instrument, &failure); /* it hung up just now: `down` is on its way */
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

/* --- asking about it --------------------------------------------------------------------------- */

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
    return instrument->off || !has_output(instrument);
}

const struct error *instrument_trouble(const struct instrument *instrument)
{
    return &instrument->trouble;
}

const char *instrument_place(const struct instrument *instrument)
{
    return instrument->place;
}

const struct link_counts *instrument_counts(const struct instrument *instrument)
{
    return link_counts(instrument->link);
}
