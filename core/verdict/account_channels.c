/* The channels against one another: bias, its uncertainty, and whether they differ at all. */
#include <math.h>

#include "analysis/uncertainty.h"
#include "report/rounded.h"
#include "verdict/account.h"
#include "verdict/channels.h"

#define CONFIDENCE 0.95

static const struct column columns[] = {
    {"quantity", "quantity", 'l'},  {"channel", "channel", 'l'}, {"runs", "runs", 'r'},
    {"bias", "reads high by", 'r'}, {"unit", "unit", 'l'},       {"u", "u", 'r'},
    {"interval", "95 %", 'l'},      {"note", "to note", 'l'},    {NULL, NULL, 0},
};

/* Percent of a charge; mV. */
static void tell_channel(struct sheet *sheet, json_t *list, const struct channels *channels,
                         const struct channel_quantity *quantity, size_t c)
{
    const struct channel_bias *bias = &quantity->biases[c];
    bool relative = quantity->kind == BIAS_RELATIVE;
    double factor = relative ? 100 : 1000;
    double half =
        coverage_factor(CONFIDENCE, quantity->summary.freedom) * bias->standard_error * factor;
    json_t *row = sheet_row(sheet);
    json_t *facts = json_pack("{s:s, s:i}", "channel", channels->names[c], "runs", (int)bias->runs);
    put_text(row, "quantity", "%s", quantity->about);
    put_text(row, "channel", "%s", channels->names[c]);
    put_text(row, "runs", "%zu", bias->runs);
    double u = factor * bias->standard_error;
    char text[40];
    if (isfinite(bias->bias)) /* to the place of the uncertainty's second digit */
        put_text(row, "bias", "%s%s", bias->bias > 0 ? "+" : "",
                 rounded_value(factor * bias->bias, u, text, sizeof text));
    put_text(row, "unit", "%s", relative ? "% of it" : "mV");
    if (isfinite(u))
        put_text(row, "u", "%s", rounded_uncertainty(u, text, sizeof text));
    put_interval(row, "interval", factor * bias->bias - half, factor * bias->bias + half);
    if (!quantity->referred[c])
        put_text(row, "note", "not enough data: no reference run");
    else
        put_status(row, "note", quantity->status);
    put_number(facts, relative ? "bias_percent" : "bias_mV", factor * bias->bias);
    put_number(facts, "standard_uncertainty", factor * bias->standard_error);
    put_number(facts, "low", factor * bias->bias - half);
    put_number(facts, "high", factor * bias->bias + half);
    json_array_append_new(list, facts);
}

static void say(struct sheet *sheet, const struct channel_quantity *quantity)
{
    const struct bias_summary *s = &quantity->summary;
    double factor = quantity->kind == BIAS_RELATIVE ? 100 : 1000;
    const char *unit = quantity->kind == BIAS_RELATIVE ? "%" : "mV";
    if (!quantity->runs)
        sheet_note(sheet, "%s: no reference run is on record.", quantity->about);
    else if (quantity->status != ANALYSIS_OK)
        sheet_note(sheet, "%s: %s; %s.", quantity->about, analysis_status_text(quantity->status),
                   analysis_status_todo(quantity->status));
    else
        sheet_note(sheet,
                   "%s: %zu runs of %zu reference cells; one run repeats within %.3g %s (standard "
                   "deviation). The channels %s (F test, p %.2g).",
                   quantity->about, quantity->runs, quantity->cells, factor * s->residual_sd, unit,
                   s->p < 1 - CONFIDENCE ? "differ" : "cannot be told apart", s->p);
}

int account_of_channels(struct account *out, const struct history *history, struct error *error)
{
    struct channels channels;
    if (channels_of(&channels, history, error))
        return error->code;
    account_begin(out);
    struct sheet *sheet = account_sheet(out, "The channels against their mean", columns);
    for (size_t q = 0; q < CHANNEL_QUANTITIES; q++) {
        const struct channel_quantity *quantity = &channels.quantity[q];
        json_t *list = json_array(), *facts = json_object();
        for (size_t c = 0; c < channels.count && quantity->runs; c++)
            tell_channel(sheet, list, &channels, quantity, c);
        put_text(facts, "quantity", "%s", quantity->about);
        json_object_set_new(facts, "runs", json_integer((json_int_t)quantity->runs));
        json_object_set_new(facts, "cells", json_integer((json_int_t)quantity->cells));
        put_number(facts, "residual_sd", quantity->summary.residual_sd);
        put_number(facts, "freedom", quantity->summary.freedom);
        put_number(facts, "p", quantity->summary.p);
        put_status(facts, "statement", quantity->status);
        json_object_set_new(facts, "channels", list);
        json_array_append_new(out->document, facts);
        say(sheet, quantity);
    }
    sheet_note(sheet, "Biases are against the mean of the channels: what they have in common does "
                      "not show. --correct takes them off.");
    channels_free(&channels);
    return 0;
}
