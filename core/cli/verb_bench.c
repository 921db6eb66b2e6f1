/* perdure bench: reads a bench file, reaches every instrument, shows one reading a channel. It
 * energises nothing. */
#include <math.h>
#include <stdio.h>

#include "base/quantity.h"
#include "cli/workplace.h"

static json_t *limit_text(double value, enum dimension dimension)
{
    char buffer[32];
    return isfinite(value) ? json_string(quantity_format(value, dimension, buffer, sizeof buffer))
                           : json_string("");
}

static json_t *row_of(struct channel *channel)
{
    struct error failure;
    struct reading reading;
    error_clear(&failure);
    json_t *row = json_pack(
        "{s:s, s:s, s:o, s:o, s:o, s:o}", "channel", channel->name, "kind", channel->ops->kind,
        "charge_most", limit_text(channel->limits.charge_current_most, DIM_CURRENT),
        "discharge_most", limit_text(channel->limits.discharge_current_most, DIM_CURRENT),
        "voltage_most", limit_text(channel->limits.voltage_most, DIM_VOLTAGE), "every",
        limit_text(channel->tick_least, DIM_TIME));
    if (channel->ops->read(channel, &reading, &failure) == CHANNEL_NOW) {
        json_object_set_new(row, "voltage_V", json_real(reading.voltage));
        if (isfinite(reading.temperature))
            json_object_set_new(row, "temperature_degC", json_real(reading.temperature));
    } else {
        json_object_set_new(row, "note", json_string(failure.why));
    }
    return row;
}

static const struct column columns[] = {
    {"channel", "channel", 'l'},
    {"kind", "kind", 'l'},
    {"every", "read every", 'r'},
    {"charge_most", "charge to", 'r'},
    {"discharge_most", "discharge to", 'r'},
    {"voltage_most", "volts to", 'r'},
    {"voltage_V", "V now", 'r'},
    {"temperature_degC", "degC now", 'r'},
    {"note", "note", 'l'},
    {NULL, NULL, 0},
};

static int run(const struct arguments *arguments, struct error *error)
{
    struct workplace workplace;
    if (workplace_rehearsal(&workplace, 0, 1, error))
        return error->code;
    if (!workplace_read_bench(&workplace, arguments->word[0], error)) {
        json_t *rows = json_array();
        for (int i = 0; i < workplace.bench.count; i++)
            json_array_append_new(rows, row_of(workplace.bench.channels[i]));
        if (!arguments->json && workplace.bench.title[0])
            printf("%s\n\n", workplace.bench.title);
        print_rows(arguments, rows, columns);
        json_decref(rows);
    }
    workplace_close(&workplace);
    return error->code;
}

const struct verb verb_bench = {
    "bench", "FILE", 1, 1, "reads a bench file, shows every channel; energises nothing", NULL, run};
