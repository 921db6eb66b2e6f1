/* What all kinds do alike. */
#include "instrument.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define SAID_OVERLOAD 9.9e37 /* SCPI-1999 volume 1, 7.2.1.4 */

const struct kind *const kinds[] = {
    &kind_supply, &kind_load,    &kind_meter,    &kind_quadrant, &kind_thermometer,
    &kind_relay,  &kind_scanner, &kind_ohmmeter, NULL,
};

static const char *const measured_words[] = {"volts", "amps", "watts", "degC", "ohms"};

void instrument_init(struct instrument *instrument, const struct kind *kind, int number,
                     struct cell_set **sets, int set_count, struct record *record, uint64_t seed)
{
    memset(instrument, 0, sizeof *instrument);
    instrument->kind = kind;
    snprintf(instrument->name, sizeof instrument->name, "%s-%d", kind->word, number);
    snprintf(instrument->serial, sizeof instrument->serial, "%04d", number);
    instrument->sets = xcalloc((size_t)set_count, sizeof(struct cell_set *));
    memcpy(instrument->sets, sets, (size_t)set_count * sizeof(struct cell_set *));
    instrument->set_count = set_count;
    instrument->record = record;
    random_seed(&instrument->random, seed_for(seed, instrument->name));
    status_power_on(&instrument->status);
    const double resolution[] = {kind->volts, kind->amps, kind->watts, kind->kelvin, kind->ohms};
    for (int i = 0; i < MEASURED_COUNT; i++) {
        instrument->resolution[i] = resolution[i];
        instrument->said[i] = NAN;
    }
    kind->reset(instrument);
}

void instrument_free(struct instrument *instrument)
{
    if (instrument->kind == &kind_meter)
        text_free(&instrument->own.meter.readings);
    free(instrument->sets);
}

const struct cell_set *instrument_set(const struct instrument *instrument)
{
    if (!instrument->through_scanner)
        return instrument->sets[0];
    for (int i = 0; i < instrument->set_count; i++)
        if (instrument->sets[i]->scanned)
            return instrument->sets[i];
    return NULL;
}

static void trip_over_voltage(struct instrument *instrument)
{
    struct cell_set *set = instrument->sets[0];
    if (set->supply.on && set_at_supply(set).volts > instrument->own.supply.volts_protection)
        instrument_trip(instrument, "over-voltage", QUESTIONABLE_VOLTAGE);
}

void instrument_advance(struct instrument *instrument, utc_us now)
{
    for (int i = 0; i < instrument->set_count; i++)
        set_advance(instrument->sets[i], now);
    if (instrument->kind == &kind_supply)
        trip_over_voltage(instrument);
}

/* By division, so that 1.2345 V in steps of 0.1 mV is the double nearest to 1.2345. */
static double in_steps(double value, double step)
{
    if (step <= 0)
        return value;
    if (step < 1)
        return round(value / step) / round(1 / step);
    return round(value / step) * step;
}

static double noise_of(struct instrument *instrument, enum measured what)
{
    double noise = instrument->noise[what];
    if (noise <= 0)
        return 0;
    if (instrument->kind == &kind_meter) /* a longer look averages */
        noise /= sqrt(instrument->own.meter.cycles);
    return noise * random_noise(&instrument->random);
}

static double say(struct instrument *instrument, enum measured what, double said, double truth)
{
    if (!isnan(instrument->said[what]) && fault_strikes(&instrument->faults, FAULT_FROZEN, NULL)) {
        said = instrument->said[what];
        record_add(instrument->record, instrument->name, "fault frozen");
    }
    instrument->said[what] = said;
    record_add(instrument->record, instrument->name, "reading %s said %.9g true %.9g",
               measured_words[what], said, truth);
    return said;
}

double instrument_says(struct instrument *instrument, enum measured what, double truth)
{
    double noisy = truth + noise_of(instrument, what);
    return say(instrument, what, in_steps(noisy, instrument->resolution[what]), truth);
}

double instrument_says_overload(struct instrument *instrument, enum measured what, double truth)
{
    return say(instrument, what, SAID_OVERLOAD, truth);
}

void instrument_reset(struct instrument *instrument)
{
    instrument->kind->reset(instrument);
}

void instrument_trip(struct instrument *instrument, const char *why, uint16_t bit)
{
    if (instrument->kind->trip == NULL)
        return;
    instrument->tripped = why;
    instrument->kind->trip(instrument);
    condition_set(&instrument->status.questionable, bit, true);
    char detail[48];
    snprintf(detail, sizeof detail, "%s, output off", why);
    instrument_trouble(instrument, -310, detail);
}

void instrument_clear_trip(struct instrument *instrument)
{
    if (instrument->hot) {
        instrument_trouble(instrument, -221, "still too hot");
        return;
    }
    instrument->tripped = NULL;
    condition_set(&instrument->status.questionable, QUESTIONABLE_VOLTAGE | QUESTIONABLE_TEMPERATURE,
                  false);
}

void instrument_heat(struct instrument *instrument, bool lasting)
{
    instrument->hot = lasting;
    record_add(instrument->record, instrument->name, "fault over-temperature");
    instrument_trip(instrument, "over-temperature", QUESTIONABLE_TEMPERATURE);
}

void instrument_cool(struct instrument *instrument)
{
    instrument->hot = false;
}

void instrument_trouble(struct instrument *instrument, int code, const char *detail)
{
    status_trouble(&instrument->status, code, detail);
}
