/* An instrument's tasks: queued, begun, resumed with what came, over. */
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "bench/instrument_internal.h"

/* Exchanges of one task: more is a driver that goes round in circles. */
#define CALLS_MOST 1000
/* Turning off is harmless to repeat, and is. */
#define OFF_TRIES 3

/* --- jobs ------------------------------------------------------------------------------------ */

static struct job *new_job(struct instrument *instrument, const struct driver_order *order,
                           instrument_done *done, void *owner)
{
    struct job *job = instrument->spare;
    instrument->spare = NULL;
    if (!job)
        job = xmalloc(sizeof *job);
    *job = (struct job){.order = *order, .done = done, .owner = owner};
    return job;
}

/* The last one is kept: a reading now and then is what an instrument is asked for all its life. */
static void drop_job(struct instrument *instrument, struct job *job)
{
    free(instrument->spare);
    instrument->spare = job;
}

static void push_front(struct instrument *instrument, struct job *job)
{
    job->next = instrument->first;
    instrument->first = job;
}

void instrument_queue(struct instrument *instrument, const struct driver_order *order,
                      instrument_done *done, void *owner)
{
    struct job **place = &instrument->first;
    while (*place)
        place = &(*place)->next;
    *place = new_job(instrument, order, done, owner);
}

void instrument_own_job(struct instrument *instrument, enum driver_task task, instrument_done *done)
{
    struct driver_order order = {.task = task};
    push_front(instrument, new_job(instrument, &order, done, instrument));
}

void instrument_end_job(struct instrument *instrument, struct job *job,
                        const struct driver_result *result, const struct error *failure)
{
    instrument_done *done = job->done;
    void *owner = job->owner;
    bench_us began = job->began;
    drop_job(instrument, job);
    if (done)
        done(owner, result, began, clock_bench(instrument->clock), failure);
}

/* The current task is over unfinished: its link's answer is not waited for, the driver forgets. */
struct job *instrument_give_up(struct instrument *instrument)
{
    struct job *job = instrument->current;
    instrument->current = NULL;
    link_forget(instrument->link, instrument);
    delay_stop(instrument->delay);
    instrument->driver->ops->forget(instrument->driver);
    instrument->unprepared = true;
    return job;
}

void instrument_fail_all(struct instrument *instrument, const struct error *why)
{
    struct job *job = instrument->current ? instrument_give_up(instrument) : NULL;
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
            instrument_end_job(instrument, job, NULL, why);
    }
}

/* --- working a job off ----------------------------------------------------------------------- */

static void go_on(struct instrument *instrument, enum driver_status status, struct error *error);

void instrument_send_safe(struct instrument *instrument, struct error *error)
{
    const char *safe = instrument->driver->safe;
    if (safe)
        link_send_now(instrument->link, safe, strlen(safe), instrument, error);
}

/* What failed, with the instrument's name in front. */
void instrument_blame(const struct instrument *instrument, struct error *error)
{
    if (!error->what[0]) {
        string_copy(error->what, sizeof error->what, instrument->name);
    } else if (strcmp(error->what, instrument->name) != 0) {
        struct error inner = *error;
        string_copy(error->what, sizeof error->what, instrument->name);
        snprintf(error->why, sizeof error->why, "%.200s: %.560s", inner.what, inner.why);
    }
    if (error->code != ERROR_LOST)
        error->code = ERROR_BENCH;
}

static bool try_again(struct instrument *instrument, struct job *job)
{
    if (job->order.task != DRIVER_OFF || ++job->tries >= OFF_TRIES ||
        instrument->state == INSTRUMENT_DOWN)
        return false;
    job->calls = 0;
    instrument_send_safe(instrument, NULL);
    push_front(instrument, job);
    return true;
}

/* A result is mostly identity, which one task alone gives. */
static void clear_result(struct driver_result *result, enum driver_task task)
{
    result->voltage = result->current = result->temperature = result->resistance = NAN;
    if (task == DRIVER_IDENTIFY)
        result->identity = (struct scpi_identity){"", "", "", ""};
}

static void copy_result(struct driver_result *to, const struct driver_result *from,
                        enum driver_task task)
{
    to->voltage = from->voltage;
    to->current = from->current;
    to->temperature = from->temperature;
    to->resistance = from->resistance;
    if (task == DRIVER_IDENTIFY)
        to->identity = from->identity;
}

static void finish(struct instrument *instrument, struct error *failure)
{
    struct job *job = instrument->current;
    struct driver_result result; /* the next may begin inside */
    copy_result(&result, &instrument->result, job->order.task);
    instrument->current = NULL;
    if (failure) {
        instrument->driver->ops->forget(instrument->driver);
        instrument->unprepared = true;
        instrument_blame(instrument, failure);
        if (try_again(instrument, job)) {
            instrument_work(instrument);
            return;
        }
    } else if (job->order.task == DRIVER_OFF) {
        instrument->off = true;
        instrument->maybe_on = false;
    }
    instrument_end_job(instrument, job, &result, failure);
    instrument_work(instrument);
}

static void on_reply(void *owner, const struct link_reply *reply)
{
    struct instrument *instrument = owner;
    struct driver *driver = instrument->driver;
    struct error error;
    if (!instrument->current)
        return;
    error_clear(&error);
    if (!instrument->sync_known && reply->status == LINK_OK && driver->sync &&
        instrument->call.want == DRIVER_ASK && instrument->call.length == strlen(driver->sync) &&
        memcmp(instrument->call.bytes, driver->sync, instrument->call.length) == 0)
        instrument->sync_known = xstrdup(reply->bytes);
    enum driver_status status =
        driver->ops->resume(driver, reply, &instrument->call, &instrument->result, &error);
    if (status == DRIVER_FAILED && reply->status != LINK_OK)
        error.code = ERROR_LOST; /* whatever its driver makes of it */
    else if (status == DRIVER_FAILED)
        link_resync(instrument->link); /* it may have been to another question */
    go_on(instrument, status, &error);
}

void instrument_on_delay(void *owner)
{
    struct instrument *instrument = owner;
    struct driver *driver = instrument->driver;
    struct error error;
    error_clear(&error);
    go_on(instrument,
          driver->ops->resume(driver, NULL, &instrument->call, &instrument->result, &error),
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
    struct error error;
    error_clear(&error);
    clear_result(&instrument->result, job->order.task);
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
    instrument_end_job(instrument, job, NULL, failure);
}

void instrument_work(struct instrument *instrument)
{
    if (instrument->working)
        return;
    instrument->working = true;
    while (!instrument->current && instrument->first) {
        struct job *job = instrument->first;
        if (instrument->state == INSTRUMENT_READY && instrument->unprepared &&
            job->order.task != DRIVER_OFF && job->owner != instrument) {
            instrument_own_job(instrument, DRIVER_PREPARE, prepared_again);
            continue;
        }
        if (instrument->state != INSTRUMENT_READY && job->owner != instrument)
            break; /* it waits until the instrument is ready */
        instrument->first = job->next;
        begin(instrument, job);
    }
    instrument->working = false;
}
