/* One reading: everything that measures is asked at once, and put together when all have
 * answered. */
#include <math.h>

#include "base/text.h"
#include "bench/wired_internal.h"

/* --- putting together ------------------------------------------------------------------------ */

/* A meter whose value does not move by one digit while current flows has stopped measuring: no end
 * and no guard would ever see the cell again. */
static void watch_frozen(struct wired *wired)
{
    const struct reading *now = &wired->taken, *last = &wired->last;
    bool same = wired->active && now->voltage == last->voltage && now->current == last->current;
    wired->alike = same ? wired->alike + 1 : 0;
    wired->last = *now;
    if (wired->spec.frozen_after == 0 || wired->alike + 1 < wired->spec.frozen_after)
        return;
    const struct instrument *meter = wired->spec.meter.instrument;
    wired->alike = 0;
    wired->last.voltage = NAN; /* counted from one again */
    error_set(
        &wired->failure, ERROR_LOST, instrument_name(meter ? meter : wired->active),
        "see whether it still measures; frozen_after in the bench file sets how many are too many",
        "%d readings were the same to the last digit (%.9g V, %.9g A) while current flows",
        wired->spec.frozen_after, now->voltage, now->current);
}

static void finish(struct wired *wired)
{
    if (wired->scan)
        scan_end(wired->scan);
    if (wired->ohmmeter_scan)
        scan_end(wired->ohmmeter_scan);
    if (!wired->failure.code && !isfinite(wired->taken.voltage))
        error_set(&wired->failure, ERROR_BENCH, "voltage",
                  "name a meter in the bench file, or mend its driver",
                  "none of its instruments tells one: no `read` of their drivers gives it");
    if (!wired->failure.code && !isfinite(wired->taken.current))
        error_set(&wired->failure, ERROR_BENCH, "current",
                  "let `read` of the driver that drives the cell give it: docs/drivers.md",
                  "none of its instruments tells one: no `read` of their drivers gives it");
    if (!wired->failure.code)
        watch_frozen(wired);
    if (wired->failure.code) {
        const struct error failure = wired->failure;
        wired_answer(wired, NULL, &failure);
        return;
    }
    wired->taken.at = wired->began + (wired->ended - wired->began) / 2;
    const struct reading taken = wired->taken;
    wired_answer(wired, &taken, NULL);
}

static void part_over(struct wired *wired, const struct error *failure)
{
    if (failure)
        wired_fail(wired, failure);
    if (--wired->pending == 0)
        finish(wired);
}

static void note_time(struct wired *wired, bench_us began, bench_us ended)
{
    if (wired->ended == 0 || began < wired->began)
        wired->began = began;
    if (wired->ended == 0 || ended > wired->ended)
        wired->ended = ended;
}

/* --- parts ----------------------------------------------------------------------------------- */

static void ask(struct wired *wired, const struct wired_end *end, instrument_done *callback)
{
    struct driver_order order = {.task = DRIVER_READ, .point = end->point};
    struct error failure;
    wired->pending++;
    if (instrument_ask(end->instrument, &order, callback, wired, &failure))
        part_over(wired, &failure);
}

/* Is it one of a cell's? A value in ohm of a meter that tells milliohm would be. */
static void take_resistance(struct wired *wired, double ohms)
{
    const char *name = instrument_name(wired->spec.ohmmeter.instrument);
    struct error failure;
    wired->taken.resistance = ohms;
    if (ohms >= RESISTANCE_LEAST && ohms <= RESISTANCE_MOST)
        return;
    if (isnan(ohms))
        error_set(&failure, ERROR_BENCH, name, "mend its driver", "it told no resistance");
    else
        error_set(&failure, ERROR_BENCH, name,
                  "see the contacts of all four wires, its zero, and whether it tells ohm or mohm",
                  "%g ohm is no internal resistance of a cell, which is within %g and %g ohm", ohms,
                  RESISTANCE_LEAST, RESISTANCE_MOST);
    wired_fail(wired, &failure);
}

/* The meter is the ohmmeter too: one look tells both. */
static bool meter_is_ohmmeter(const struct wired_spec *spec)
{
    return spec->ohmmeter.instrument && spec->ohmmeter.instrument == spec->meter.instrument &&
           spec->ohmmeter.point == spec->meter.point;
}

static void resisted(void *owner, const struct driver_result *result, bench_us began,
                     bench_us ended, const struct error *failure)
{
    struct wired *wired = owner;
    (void)began, (void)ended;
    if (!failure)
        take_resistance(wired, result->resistance);
    part_over(wired, failure);
}

static void ohmmeter_there(void *owner, const struct error *failure)
{
    struct wired *wired = owner;
    if (!failure)
        ask(wired, &wired->spec.ohmmeter, resisted);
    part_over(wired, failure);
}

static void ask_resistance(struct wired *wired)
{
    if (wired->ohmmeter_scan) {
        wired->pending++;
        wired->ohmmeter_scan->there = ohmmeter_there;
        scan_begin(wired->ohmmeter_scan);
    } else {
        ask(wired, &wired->spec.ohmmeter, resisted);
    }
}

static void metered(void *owner, const struct driver_result *result, bench_us began, bench_us ended,
                    const struct error *failure)
{
    struct wired *wired = owner;
    if (!failure) {
        note_time(wired, began, ended);
        wired->metered_voltage = isfinite(result->voltage);
        wired->metered_current = isfinite(result->current);
        if (wired->metered_voltage)
            wired->taken.voltage = result->voltage;
        if (wired->metered_current)
            wired->taken.current = result->current;
        if (isfinite(result->temperature) && !wired->spec.thermometer.instrument)
            wired->taken.temperature = result->temperature;
        if (wired->resistance && meter_is_ohmmeter(&wired->spec))
            take_resistance(wired, result->resistance);
    }
    part_over(wired, failure);
}

static void there(void *owner, const struct error *failure)
{
    struct wired *wired = owner;
    if (!failure)
        ask(wired, &wired->spec.meter, metered);
    part_over(wired, failure);
}

/* Of the instrument that drives the cell; or, while none does and there is no meter, of one that
 * could. */
static void driven(void *owner, const struct driver_result *result, bench_us began, bench_us ended,
                   const struct error *failure)
{
    struct wired *wired = owner;
    if (!failure) {
        unsigned can = wired->active ? instrument_driver(wired->active)->can : 0;
        bool by_sign = (can & CAN_SOURCE) && (can & CAN_SINK);
        note_time(wired, began, ended);
        if (!wired->metered_voltage && isfinite(result->voltage))
            wired->taken.voltage = result->voltage;
        if (!wired->metered_current && wired->active)
            wired->taken.current = by_sign || wired->charging ? result->current : -result->current;
    }
    part_over(wired, failure);
}

static void warmed(void *owner, const struct driver_result *result, bench_us began, bench_us ended,
                   const struct error *failure)
{
    struct wired *wired = owner;
    (void)began, (void)ended;
    struct error missing;
    if (!failure && !isfinite(result->temperature)) {
        error_set(&missing, ERROR_BENCH, instrument_name(wired->spec.thermometer.instrument),
                  "mend its driver", "it told no temperature");
        failure = &missing;
    }
    if (!failure)
        wired->taken.temperature = result->temperature;
    part_over(wired, failure);
}

/* An output that went off by itself would look like a current that tapered off. */
static bool went_off(struct wired *wired)
{
    struct error failure;
    if (!wired->active || !instrument_is_off(wired->active))
        return false;
    error_set(&failure, ERROR_BENCH, instrument_name(wired->active),
              "see that its line is sound, then resume",
              "its line went while it drove the cell, and it was turned off when it came back");
    wired_fail(wired, &failure);
    return true;
}

void wired_read(struct wired *wired)
{
    const struct wired_spec *spec = &wired->spec;
    wired->taken = (struct reading){0, NAN, wired->active ? NAN : 0, NAN, NAN};
    wired->began = wired->ended = 0;
    wired->metered_voltage = wired->metered_current = false;
    wired->resistance =
        wired->channel.asks_resistance && spec->ohmmeter.instrument && !wired->active;
    wired->pending = 1; /* this function's own: no part may end the reading before all are asked */
    if (!went_off(wired)) {
        if (wired->scan) {
            wired->pending++;
            wired->scan->there = there;
            scan_begin(wired->scan);
        } else if (spec->meter.instrument) {
            ask(wired, &spec->meter, metered);
        }
        if (wired->active)
            ask(wired, wired->charging ? &spec->source : &spec->sink, driven);
        else if (!spec->meter.instrument && wired_has_output(wired))
            ask(wired, spec->sink.instrument ? &spec->sink : &spec->source, driven);
        if (spec->thermometer.instrument)
            ask(wired, &spec->thermometer, warmed);
        if (wired->resistance && !meter_is_ohmmeter(spec))
            ask_resistance(wired);
    }
    part_over(wired, NULL);
}
