/* A wired channel as the engine sees it: its table of functions, and safety before all. */
#include "bench/wired.h"

#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "bench/wired_internal.h"

/* s after which a relay opens though an output is not seen to be off: a contact that breaks some
 * amperes at a cell's voltage wears, and a cell that nobody watches may burn. */
#define PART_AFTER 0.5

static struct wired *of(struct channel *channel)
{
    return (struct wired *)channel;
}

/* --- answers --------------------------------------------------------------------------------- */

void wired_fail(struct wired *wired, const struct error *failure)
{
    if (!wired->failure.code)
        wired->failure = *failure;
}

static void begin(struct wired *wired, enum wired_op op)
{
    wired->op = op;
    if (wired->failure.code) /* mostly clear already, and its texts lie far apart in memory */
        error_clear(&wired->failure);
    if (op == OP_DRIVE)
        wired_drive(wired);
    else if (op == OP_READ)
        wired_read(wired);
    else
        wired_safe(wired);
}

void wired_answer(struct wired *wired, const struct reading *reading, const struct error *failure)
{
    enum wired_op next = wired->next;
    bool was_safe = wired->op == OP_SAFE;
    wired->op = wired->next = OP_NONE;
    if (was_safe && next != OP_NONE && !failure) {
        begin(wired, next);
    } else if (wired->inside) {
        wired->answered = true;
        if (failure)
            wired->failure = *failure;
        else
            error_clear(&wired->failure);
    } else if (wired->channel.notify) {
        struct error told;
        if (failure)
            told = *failure; /* it may be the channel's own, and another op begins inside */
        wired->channel.notify(wired->channel.owner, reading, failure ? &told : NULL);
    }
}

/* --- safe ------------------------------------------------------------------------------------ */

static void forget(struct wired *wired, const struct wired_end *end)
{
    if (end->instrument)
        instrument_forget(end->instrument, wired);
}

void wired_hush(struct wired *wired)
{
    if (wired->scan)
        scan_end(wired->scan);
    if (wired->ohmmeter_scan)
        scan_end(wired->ohmmeter_scan);
    forget(wired, &wired->spec.source);
    forget(wired, &wired->spec.sink);
    forget(wired, &wired->spec.meter);
    forget(wired, &wired->spec.thermometer);
    forget(wired, &wired->spec.relay);
    forget(wired, &wired->spec.ohmmeter);
    wired->pending = 0;
}

static void finish_safe(struct wired *wired)
{
    if (wired->delay)
        delay_stop(wired->delay);
    wired_answer(wired, NULL, wired->failure.code ? &wired->failure : NULL);
}

/* If outputs have not answered yet, it is tried once more when they have. */
static void part_failed(struct wired *wired, const struct error *failure)
{
    wired_fail(wired, failure);
    wired->parting = false;
    if (wired->pending == 0)
        finish_safe(wired);
}

/* The cell is cut off: whatever its output does now, it does to nothing. */
static void parted(void *owner, const struct driver_result *result, bench_us began, bench_us ended,
                   const struct error *failure)
{
    struct wired *wired = owner;
    (void)result, (void)began, (void)ended;
    if (failure) {
        part_failed(wired, failure);
        return;
    }
    wired->joined = false;
    if ((wired->failure.code || wired->pending) && wired->channel.warn) {
        char text[1200];
        snprintf(text, sizeof text,
                 "an output was not turned off in time, its relay was opened%s%s%s%s",
                 wired->failure.code ? ": " : "", wired->failure.what,
                 wired->failure.code ? ": " : "", wired->failure.why);
        wired->channel.warn(wired->channel.owner, text);
    }
    if (wired->pending)
        wired_hush(wired);
    error_clear(&wired->failure);
    finish_safe(wired);
}

static void part(struct wired *wired)
{
    const struct wired_end *relay = &wired->spec.relay;
    struct driver_order order = {.task = DRIVER_DISCONNECT, .point = relay->point};
    struct error failure;
    wired->parting = true;
    if (instrument_ask(relay->instrument, &order, parted, wired, &failure))
        part_failed(wired, &failure);
}

/* All outputs have answered, one way or the other. */
static void all_off(struct wired *wired)
{
    bool needed = wired->spec.relay.instrument && (wired->joined || wired->failure.code);
    if (!needed)
        finish_safe(wired);
    else if (!wired->parting)
        part(wired);
    /* else the relay is on its way, and ends it */
}

static void is_off(void *owner, const struct driver_result *result, bench_us began, bench_us ended,
                   const struct error *failure)
{
    struct wired *wired = owner;
    (void)result, (void)began, (void)ended;
    if (failure)
        wired_fail(wired, failure);
    if (--wired->pending == 0)
        all_off(wired);
}

static void too_long(void *owner)
{
    struct wired *wired = owner;
    if (wired->op == OP_SAFE && wired->pending && wired->joined && !wired->parting)
        part(wired);
}

static void turn_off(struct wired *wired, struct instrument *instrument)
{
    struct error failure;
    if (!instrument ||
        (instrument_state(instrument) == INSTRUMENT_DOWN && instrument_is_off(instrument)))
        return;
    wired->pending++;
    if (instrument_make_safe(instrument, is_off, wired, &failure)) {
        wired_fail(wired, &failure);
        wired->pending--;
    }
}

void wired_safe(struct wired *wired)
{
    struct instrument *source = wired->spec.source.instrument;
    struct instrument *sink = wired->spec.sink.instrument;
    wired_hush(wired);
    wired->active = NULL;
    wired->parting = false;
    if (wired->delay && wired->joined)
        delay_start(wired->delay, PART_AFTER);
    wired->pending = 1; /* this function's own: none may end it before all are told */
    turn_off(wired, source);
    if (sink != source)
        turn_off(wired, sink);
    if (--wired->pending == 0)
        all_off(wired);
}

/* --- the table ------------------------------------------------------------------------------- */

static enum channel_reply refuse(struct channel *channel, const char *why, struct error *error)
{
    error_set(error, ERROR_BENCH, channel->name, "put a cell in, and ask one thing at a time", "%s",
              why);
    return CHANNEL_FAILED;
}

static enum channel_reply call(struct wired *wired, enum wired_op op, struct reading *out,
                               struct error *error)
{
    wired->inside = true;
    wired->answered = false;
    begin(wired, op);
    wired->inside = false;
    if (!wired->answered)
        return CHANNEL_LATER;
    if (wired->failure.code) {
        if (error)
            *error = wired->failure;
        return CHANNEL_FAILED;
    }
    if (out)
        *out = wired->taken;
    return CHANNEL_NOW;
}

/* After make_safe, if that is still on its way. */
static bool comes_next(struct wired *wired, enum wired_op op)
{
    if (wired->op == OP_SAFE)
        wired->next = op;
    return wired->op == OP_SAFE;
}

static int insert(struct channel *channel, const struct cell_facts *cell, struct error *error)
{
    struct wired *wired = of(channel);
    if (wired->occupied)
        return error_set(error, ERROR_BENCH, channel->name, "take the other cell out first",
                         "the channel already holds a cell");
    wired->occupied = true;
    wired->limits = channel->limits;
    if (cell->profile) {
        struct limits of_cell = profile_limits(cell->profile, cell->rated_charge);
        wired->limits = limits_meet(&channel->limits, &of_cell);
    }
    return 0;
}

static enum channel_reply drive(struct channel *channel, const struct drive *wanted,
                                struct error *error)
{
    struct wired *wired = of(channel);
    if (!wired->occupied)
        return refuse(channel, "the channel is empty", error);
    if (wired->op != OP_NONE && wired->op != OP_SAFE)
        return refuse(channel, "it was told to drive while it was still busy", error);
    if (wanted->mode == DRIVE_OFF)
        return channel->ops->make_safe(channel, error);
    wired->wanted = *wanted;
    return comes_next(wired, OP_DRIVE) ? CHANNEL_LATER : call(wired, OP_DRIVE, NULL, error);
}

/* Also of an empty channel: `perdure bench` looks at what it measures. */
static enum channel_reply read_cell(struct channel *channel, struct reading *out,
                                    struct error *error)
{
    struct wired *wired = of(channel);
    if (wired->op != OP_NONE && wired->op != OP_SAFE)
        return refuse(channel, "it was asked to read while it was still busy", error);
    return comes_next(wired, OP_READ) ? CHANNEL_LATER : call(wired, OP_READ, out, error);
}

static enum channel_reply make_safe(struct channel *channel, struct error *error)
{
    struct wired *wired = of(channel);
    wired->next = OP_NONE;
    return call(wired, OP_SAFE, NULL, error);
}

static void remove_cell(struct channel *channel)
{
    of(channel)->occupied = false;
}

static void close_channel(struct channel *channel)
{
    struct wired *wired = of(channel);
    channel->notify = NULL;
    channel->warn = NULL;
    wired_hush(wired);
    if (wired->scan)
        scan_close(wired->scan);
    if (wired->ohmmeter_scan)
        scan_close(wired->ohmmeter_scan);
    if (wired->delay)
        delay_close(wired->delay);
    free(wired);
}

static const struct channel_ops ops_real = {
    .kind = "instruments",
    .insert = insert,
    .drive = drive,
    .read = read_cell,
    .make_safe = make_safe,
    .remove = remove_cell,
    .close = close_channel,
};

static const struct channel_ops ops_emulated = {
    .kind = "emulated",
    .insert = insert,
    .drive = drive,
    .read = read_cell,
    .make_safe = make_safe,
    .remove = remove_cell,
    .close = close_channel,
};

/* NULL where nothing lies between the shared instrument and the cell. */
static struct scan *scan_of(struct wired *wired, const struct wired_end *scanner,
                            const struct wired_end *shared)
{
    if (!scanner->instrument)
        return NULL;
    struct scan *scan = xcalloc(1, sizeof *scan);
    scan->scanner = scanner->instrument;
    scan->point = scanner->point;
    scan->turn = instrument_turn(shared->instrument);
    scan->owner = wired;
    return scan;
}

struct channel *wired_channel(const struct wired_spec *spec)
{
    struct wired *wired = xcalloc(1, sizeof *wired);
    wired->spec = *spec;
    wired->spec.name = NULL; /* copied below */
    wired->channel = (struct channel){
        .ops = spec->emulated ? &ops_emulated : &ops_real,
        .limits = spec->limits,
        .tick_least = 1,
        .tick_most = 5,
        .rest_most = 60,
        .physical = true,
        .measures_resistance = spec->ohmmeter.instrument != NULL,
        .void_after = NAN,
        .accuracy = STATES_NOTHING,
    };
    string_copy(wired->channel.name, sizeof wired->channel.name, spec->name);
    if (spec->source.instrument)
        wired->channel.limits =
            limits_meet(&wired->channel.limits, instrument_limits(spec->source.instrument));
    if (spec->sink.instrument)
        wired->channel.limits =
            limits_meet(&wired->channel.limits, instrument_limits(spec->sink.instrument));
    wired->limits = wired->channel.limits;
    if (spec->relay.instrument)
        wired->delay = delay_new(spec->uv_loop, too_long, wired);
    wired->scan = scan_of(wired, &spec->scanner, &spec->meter);
    wired->ohmmeter_scan = scan_of(wired, &spec->ohmmeter_scanner, &spec->ohmmeter);
    return &wired->channel;
}

struct instrument *wired_instrument(const struct channel *channel, int i)
{
    if (channel->ops != &ops_real && channel->ops != &ops_emulated)
        return NULL;
    const struct wired_spec *spec = &((const struct wired *)channel)->spec;
    struct instrument *const all[] = {spec->source.instrument,   spec->sink.instrument,
                                      spec->meter.instrument,    spec->thermometer.instrument,
                                      spec->relay.instrument,    spec->scanner.instrument,
                                      spec->ohmmeter.instrument, spec->ohmmeter_scanner.instrument};
    return i >= 0 && i < WIRED_INSTRUMENTS ? all[i] : NULL;
}

/* `shared` lies behind the scan: it may be in use by another channel. */
static bool awaits(const struct wired *wired, const struct instrument *instrument,
                   const struct scan *scan, const struct instrument *shared)
{
    return instrument_owes(instrument, wired) ||
           (scan && scan->place == SCAN_JOINING && instrument == scan->scanner) ||
           (scan && scan->place == SCAN_WAITING && instrument == shared);
}

const struct instrument *wired_awaited(const struct channel *channel)
{
    for (int i = 0; i < WIRED_INSTRUMENTS; i++) {
        const struct instrument *instrument = wired_instrument(channel, i);
        if (!instrument)
            continue;
        const struct wired *wired = (const struct wired *)channel;
        const struct wired_spec *spec = &wired->spec;
        if (awaits(wired, instrument, wired->scan, spec->meter.instrument) ||
            awaits(wired, instrument, wired->ohmmeter_scan, spec->ohmmeter.instrument))
            return instrument;
    }
    return NULL;
}

const char *wired_instrument_role(int i)
{
    static const char *const roles[WIRED_INSTRUMENTS] = {
        "source", "sink",    "meter",    "thermometer",
        "relay",  "scanner", "ohmmeter", "ohmmeter_scanner"};
    return roles[i];
}
