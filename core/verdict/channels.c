/* Reference runs to biases, and values without them. */
#include "verdict/channels.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "analysis/uncertainty.h"
#include "base/rows.h"

static const struct {
    const char *result, *about, *unit;
    enum bias_kind kind;
} quantities[CHANNEL_QUANTITIES] = {
    {"reference_capacity", "charge", "Ah", BIAS_RELATIVE},
    {"reference_voltage", "voltage", "V", BIAS_ADDITIVE},
};

/* --- biases ----------------------------------------------------------------------------------- */

static size_t channel_of(struct channels *channels, const char *name, bool add)
{
    size_t c = 0;
    while (c < channels->count && strcmp(channels->names[c], name) != 0)
        c++;
    if (c < channels->count || !add)
        return c;
    channels->names = xrealloc(channels->names, (c + 1) * sizeof *channels->names);
    channels->names[channels->count++] = name;
    return c;
}

static bool refers(const struct check *check, const struct channel_quantity *quantity)
{
    return strcmp(check->name, quantity->result) == 0 && strcmp(check->unit, quantity->unit) == 0 &&
           check->channel[0];
}

/* The runs of one quantity; cells and channels numbered as they come. `which` has room for all
 * channels: the analysis' number to the number here. */
static size_t gather(struct channels *channels, struct channel_quantity *quantity,
                     const struct history *history, struct bias_run *runs, size_t *which,
                     size_t *used)
{
    size_t count = 0;
    *used = 0;
    for (size_t i = 0; i < history->count; i++) {
        const struct subject *subject = &history->subjects[i];
        bool counted = false;
        for (size_t k = 0; k < subject->count && subject->reference; k++) {
            if (!refers(&subject->checks[k], quantity))
                continue;
            size_t here = channel_of(channels, subject->checks[k].channel, false), c = 0;
            while (c < *used && which[c] != here)
                c++;
            if (c == *used)
                which[(*used)++] = here;
            quantity->cells += !counted;
            counted = true;
            runs[count++] = (struct bias_run){quantity->cells - 1, c, subject->checks[k].value};
        }
    }
    return count;
}

static void estimate(struct channels *channels, struct channel_quantity *quantity,
                     const struct history *history, struct bias_run *runs)
{
    size_t used, *which = xcalloc(channels->count + 1, sizeof *which);
    struct channel_bias *biases = xcalloc(channels->count + 1, sizeof *biases);
    quantity->biases = xcalloc(channels->count + 1, sizeof *quantity->biases);
    quantity->referred = xcalloc(channels->count + 1, sizeof *quantity->referred);
    quantity->runs = gather(channels, quantity, history, runs, which, &used);
    quantity->status = bias_of_channels(runs, quantity->runs, quantity->cells, used, quantity->kind,
                                        biases, &quantity->summary);
    for (size_t c = 0; c < channels->count; c++)
        quantity->biases[c] = (struct channel_bias){NAN, NAN, 0};
    for (size_t c = 0; c < used; c++) {
        quantity->biases[which[c]] = biases[c];
        quantity->biases[which[c]].runs = 0;
        quantity->referred[which[c]] = true;
    }
    for (size_t i = 0; i < quantity->runs; i++)
        quantity->biases[which[runs[i].channel]].runs++;
    free(which);
    free(biases);
}

int channels_of(struct channels *out, const struct history *history, struct error *error)
{
    size_t most = 0, references = 0;
    *out = (struct channels){0};
    for (size_t q = 0; q < CHANNEL_QUANTITIES; q++)
        out->quantity[q] = (struct channel_quantity){.result = quantities[q].result,
                                                     .about = quantities[q].about,
                                                     .unit = quantities[q].unit,
                                                     .kind = quantities[q].kind};
    for (size_t i = 0; i < history->count; i++) {
        const struct subject *subject = &history->subjects[i];
        most += subject->count;
        for (size_t k = 0; k < subject->count && subject->reference; k++)
            for (size_t q = 0; q < CHANNEL_QUANTITIES; q++)
                if (refers(&subject->checks[k], &out->quantity[q])) {
                    channel_of(out, subject->checks[k].channel, true);
                    references++;
                }
    }
    if (!references) {
        channels_free(out);
        return error_set(error, ERROR_FAILED, "channels",
                         "run reference cells on every channel, each on several: results "
                         "reference_capacity (Ah) and reference_voltage (V)",
                         "no run of a reference cell is on record");
    }
    struct bias_run *runs = xcalloc(most + 1, sizeof *runs);
    for (size_t q = 0; q < CHANNEL_QUANTITIES; q++)
        estimate(out, &out->quantity[q], history, runs);
    free(runs);
    return 0;
}

void channels_free(struct channels *channels)
{
    for (size_t q = 0; q < CHANNEL_QUANTITIES; q++) {
        free(channels->quantity[q].biases);
        free(channels->quantity[q].referred);
    }
    free(channels->names);
    *channels = (struct channels){0};
}

/* --- correction ------------------------------------------------------------------------------- */

/* Value and bias are known apart from each other: Welch-Satterthwaite (JCGM 100:2008, G.4.1). */
static void add_bias(struct unbiased *value, double own, double bias, double bias_freedom)
{
    const struct uncertainty_input inputs[] = {{1, own, value->freedom}, {1, bias, bias_freedom}};
    struct uncertainty both;
    uncertainty_combine(inputs, 2, NULL, 0.95, &both);
    value->uncertainty = both.standard;
    value->freedom = both.freedom;
}

bool channels_correct(const struct channels *channels, const char *channel, const char *unit,
                      struct unbiased *value)
{
    for (size_t q = 0; q < CHANNEL_QUANTITIES; q++) {
        const struct channel_quantity *quantity = &channels->quantity[q];
        if (strcmp(quantity->unit, unit) != 0 || quantity->status != ANALYSIS_OK)
            continue;
        size_t c = 0;
        while (c < channels->count && strcmp(channels->names[c], channel) != 0)
            c++;
        double corrected, u, own = NAN;
        if (c == channels->count ||
            bias_correct(quantity->kind, &quantity->biases[c], value->value, 0, &corrected, &u))
            return false;
        if (isfinite(value->uncertainty)) {
            struct channel_bias exact = quantity->biases[c];
            exact.standard_error = 0;
            bias_correct(quantity->kind, &exact, value->value, value->uncertainty, &corrected,
                         &own);
            add_bias(value, own, u, quantity->summary.freedom);
        }
        value->value = corrected;
        value->correction = u;
        value->correction_freedom = quantity->summary.freedom;
        return true;
    }
    return false;
}

static void say(const struct channels *channels, size_t corrected, size_t left, struct text *said)
{
    text_addf(said,
              "Corrected: %zu value%s for the bias of %s channel, by the reference runs; the "
              "uncertainty of that is included. ",
              corrected, corrected == 1 ? "" : "s", corrected == 1 ? "its" : "their");
    if (left)
        text_addf(said,
                  "%zu value%s in Ah or V stay%s as measured: no bias of the channel is known. ",
                  left, left == 1 ? "" : "s", left == 1 ? "s" : "");
    text_add(said, "Energies and resistances are not corrected.");
    for (size_t q = 0; q < CHANNEL_QUANTITIES; q++)
        if (channels->quantity[q].status != ANALYSIS_OK)
            text_addf(said, " Nothing is taken off a %s: %s; %s.", channels->quantity[q].about,
                      analysis_status_text(channels->quantity[q].status),
                      analysis_status_todo(channels->quantity[q].status));
}

static bool may_be_corrected(const char *unit)
{
    return strcmp(unit, "Ah") == 0 || strcmp(unit, "V") == 0;
}

int history_correct(struct history *history, struct text *said, struct error *error)
{
    struct channels channels;
    size_t corrected = 0, left = 0;
    if (channels_of(&channels, history, error))
        return error->code;
    for (size_t i = 0; i < history->count; i++) {
        struct subject *subject = &history->subjects[i];
        for (size_t k = 0; k < subject->count && !subject->reference; k++) {
            struct check *check = &subject->checks[k];
            struct unbiased value = {check->value, check->uncertainty, INFINITY, 0, INFINITY};
            bool done = channels_correct(&channels, check->channel, check->unit, &value);
            check->value = value.value;
            check->uncertainty = value.uncertainty;
            check->correction = value.correction;
            check->correction_freedom = value.correction_freedom;
            corrected += done;
            left += !done && may_be_corrected(check->unit);
        }
    }
    say(&channels, corrected, left, said);
    channels_free(&channels);
    return 0;
}

/* The listing has no channel: the history has, by run. */
static json_t *channels_by_run(const struct history *history)
{
    json_t *by_run = json_object();
    char key[32];
    for (size_t i = 0; i < history->count; i++) {
        const struct subject *subject = &history->subjects[i];
        for (size_t k = 0; k < subject->count && !subject->reference; k++) {
            snprintf(key, sizeof key, "%lld", (long long)subject->checks[k].run);
            json_object_set_new(by_run, key, json_string(subject->checks[k].channel));
        }
    }
    return by_run;
}

int rows_correct(const struct history *history, json_t *rows, struct text *said,
                 struct error *error)
{
    struct channels channels;
    size_t corrected = 0, left = 0, i;
    json_t *row;
    if (channels_of(&channels, history, error))
        return error->code;
    json_t *by_run = channels_by_run(history);
    json_array_foreach(rows, i, row)
    {
        char key[32];
        double before = row_number(row, "value"), freedom = row_number(row, "freedom");
        struct unbiased value = {before, row_number(row, "uncertainty"),
                                 isnan(freedom) ? INFINITY : freedom, 0, INFINITY};
        snprintf(key, sizeof key, "%lld",
                 (long long)json_integer_value(json_object_get(row, "run")));
        const json_t *channel = json_object_get(by_run, key);
        if (!channel || !may_be_corrected(row_text(row, "unit")))
            continue;
        bool done =
            channels_correct(&channels, json_string_value(channel), row_text(row, "unit"), &value);
        corrected += done;
        left += !done;
        if (!done)
            continue;
        double percent = row_number(row, "percent_of_rating");
        json_object_set_new(row, "value", json_real(value.value));
        if (isfinite(value.uncertainty))
            json_object_set_new(row, "uncertainty", json_real(value.uncertainty));
        if (isfinite(value.uncertainty) && isfinite(value.freedom))
            json_object_set_new(row, "freedom", json_real(value.freedom));
        if (isfinite(percent) && before != 0)
            json_object_set_new(row, "percent_of_rating",
                                json_real(percent * value.value / before));
        json_object_set_new(row, "corrected", json_true());
        struct text flags = TEXT_EMPTY;
        text_addf(&flags, "%s%sunbiased", row_text(row, "flags"),
                  row_text(row, "flags")[0] ? " " : "");
        json_object_set_new(row, "flags", json_string(flags.bytes));
        text_free(&flags);
        json_object_set_new(row, "correction_uncertainty", json_real(value.correction));
        json_object_set_new(row, "correction_freedom", json_real(value.correction_freedom));
    }
    json_decref(by_run);
    say(&channels, corrected, left, said);
    channels_free(&channels);
    return 0;
}
