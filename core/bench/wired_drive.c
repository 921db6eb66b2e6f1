/* Driving a cell by instruments: off first where the way changes, then joined, then energised. */
#include <math.h>

#include "bench/wired_internal.h"

static void step(struct wired *wired);

static bool charges(const struct drive *drive)
{
    return drive->mode != DRIVE_RESISTANCE && drive->amount > 0;
}

static const struct wired_end *side_of(const struct wired *wired)
{
    return charges(&wired->wanted) ? &wired->spec.source : &wired->spec.sink;
}

/* All off at once, and nobody waits for it: whoever hears of the failure makes safe again, and is
 * answered. */
static void give_up(struct wired *wired, const struct error *failure)
{
    struct instrument *source = wired->spec.source.instrument;
    struct instrument *sink = wired->spec.sink.instrument;
    wired_hush(wired);
    wired->active = NULL;
    if (source)
        instrument_make_safe(source, NULL, wired, NULL);
    if (sink && sink != source)
        instrument_make_safe(sink, NULL, wired, NULL);
    wired_answer(wired, NULL, failure);
}

static void done(void *owner, const struct driver_result *result, bench_us began, bench_us ended,
                 const struct error *failure)
{
    struct wired *wired = owner;
    (void)result, (void)began, (void)ended;
    if (failure)
        give_up(wired, failure);
    else
        step(wired);
}

static void joined(void *owner, const struct driver_result *result, bench_us began, bench_us ended,
                   const struct error *failure)
{
    struct wired *wired = owner;
    wired->joined = !failure;
    done(owner, result, began, ended, failure);
}

static void energised(void *owner, const struct driver_result *result, bench_us began,
                      bench_us ended, const struct error *failure)
{
    struct wired *wired = owner;
    (void)result, (void)began, (void)ended;
    if (failure)
        give_up(wired, failure);
    else
        wired_answer(wired, NULL, NULL);
}

static void ask(struct wired *wired, struct instrument *instrument,
                const struct driver_order *order, instrument_done *callback)
{
    struct error failure;
    if (instrument_ask(instrument, order, callback, wired, &failure))
        give_up(wired, &failure);
}

/* The next output that must be off before the wanted one may be on; NULL when there is none. */
static struct instrument *in_the_way(const struct wired *wired)
{
    struct instrument *const outputs[] = {wired->spec.source.instrument,
                                          wired->spec.sink.instrument};
    const struct instrument *side = side_of(wired)->instrument;
    bool same_way = wired->active == side && wired->charging == charges(&wired->wanted);
    for (int i = 0; i < 2; i++)
        if (outputs[i] && !instrument_is_off(outputs[i]) && !(outputs[i] == side && same_way))
            return outputs[i];
    return NULL;
}

/* As often as there is something to do first. */
static void step(struct wired *wired)
{
    const struct wired_end *side = side_of(wired), *relay = &wired->spec.relay;
    const bool charge = charges(&wired->wanted);
    struct instrument *other = in_the_way(wired);
    struct driver_order order = {
        .point = side->point, .drive = wired->wanted, .voltage_most = NAN, .voltage_least = NAN};
    if (other) {
        order.task = DRIVER_OFF;
        if (wired->active == other)
            wired->active = NULL;
        ask(wired, other, &order, done);
        return;
    }
    if (relay->instrument && !wired->joined) {
        order.task = DRIVER_CONNECT;
        order.point = relay->point;
        ask(wired, relay->instrument, &order, joined);
        return;
    }
    order.task = DRIVER_DRIVE;
    order.voltage_least = wired->limits.voltage_least;
    order.voltage_most = wired->limits.voltage_most;
    if (charge && isfinite(wired->wanted.ceiling))
        order.voltage_most = wired->wanted.ceiling;
    else if (charge && isfinite(wired->spec.compliance))
        order.voltage_most = wired->spec.compliance;
    wired->active = side->instrument;
    wired->charging = charge;
    wired->alike = 0;
    ask(wired, side->instrument, &order, energised);
}

/* Whoever plans a step has checked this; here is the last place before the cell. */
static bool check(const struct wired *wired, struct error *error)
{
    const struct drive *drive = &wired->wanted;
    const struct limits *limits = &wired->limits;
    const bool charge = charges(drive);
    const char *name = wired->channel.name;
    double most = charge ? limits->charge_current_most : limits->discharge_current_most;
    if (!side_of(wired)->instrument)
        error_set(error, ERROR_BENCH, name,
                  charge ? "name a source in the bench file" : "name a sink in the bench file",
                  "the channel has nothing that %s", charge ? "charges" : "discharges");
    else if (!isfinite(drive->amount) || drive->amount == 0)
        error_set(error, ERROR_BENCH, name, "give a number", "nothing can be driven by %g",
                  drive->amount);
    else if (drive->mode == DRIVE_CURRENT && fabs(drive->amount) > most)
        error_set(error, ERROR_BENCH, name, "drive less", "%g A is above the limit of %g A",
                  fabs(drive->amount), most);
    else if (charge && drive->ceiling > limits->voltage_most)
        error_set(error, ERROR_BENCH, name, "lower the ceiling",
                  "a ceiling of %g V is above the limit of %g V", drive->ceiling,
                  limits->voltage_most);
    else if (charge && isnan(drive->ceiling) && isnan(wired->spec.compliance) &&
             isnan(limits->voltage_most))
        error_set(error, ERROR_BENCH, name, "give the channel limits { voltage_most = ... }",
                  "a source has to be set to a voltage, and none is known that is not too high");
    else
        return true;
    return false;
}

void wired_drive(struct wired *wired)
{
    struct error failure;
    if (!check(wired, &failure)) {
        give_up(wired, &failure);
        return;
    }
    /* A relay board that hung up has opened all. */
    const struct instrument *relay = wired->spec.relay.instrument;
    if (relay && (instrument_state(relay) != INSTRUMENT_READY || !wired->active))
        wired->joined = false;
    step(wired);
}
