/* perdure bench: reads a bench file, reaches every instrument, shows its identity and one reading a
 * channel. It energises nothing. */
#include <ctype.h>
#include <inttypes.h>
#include <math.h>
#include <stdio.h>

#include "base/quantity.h"
#include "bench/by_hand.h"
#include "bench/instrument.h"
#include "cli/workplace.h"
#include "link/loop.h"

/* s for all instruments to come up, and for one channel to be read. */
#define REACH_PATIENCE 10.0
#define READ_PATIENCE  5.0

/* --- bytes ----------------------------------------------------------------------------------- */

/* Every byte on standard error: time, instrument, > sent, < came, x came and was thrown away. */
static void trace(void *owner, const char *name, char way, const char *bytes, size_t length,
                  int64_t at_us)
{
    int64_t *began = owner;
    if (*began == 0)
        *began = at_us;
    fprintf(stderr, "%10.6f  %-16s %c ", (double)(at_us - *began) / 1e6, name,
            way == 'o'   ? '>'
            : way == 'i' ? '<'
                         : 'x');
    for (size_t i = 0; i < length; i++) {
        unsigned char byte = (unsigned char)bytes[i];
        if (byte == '\n')
            fputs("\\n", stderr);
        else if (byte == '\r')
            fputs("\\r", stderr);
        else if (isprint(byte))
            fputc(byte, stderr);
        else
            fprintf(stderr, "\\x%02x", byte);
    }
    fputc('\n', stderr);
}

/* --- instruments ----------------------------------------------------------------------------- */

static json_t *instrument_row(const struct instrument *instrument)
{
    const struct scpi_identity *is = instrument_identity(instrument);
    const struct error *trouble = instrument_trouble(instrument);
    json_t *row =
        json_pack("{s:s, s:s, s:s, s:s}", "instrument", instrument_name(instrument), "at",
                  instrument_place(instrument), "driver", instrument_driver(instrument)->name,
                  "state", instrument_state_name(instrument_state(instrument)));
    if (is->model[0]) {
        json_object_set_new(row, "maker", json_string(is->maker));
        json_object_set_new(row, "model", json_string(is->model));
        json_object_set_new(row, "serial", json_string(is->serial));
        json_object_set_new(row, "firmware", json_string(is->firmware));
    }
    if (instrument_state(instrument) != INSTRUMENT_READY && trouble->code) {
        char note[1100];
        snprintf(note, sizeof note, "%s; %s", trouble->why, trouble->todo);
        json_object_set_new(row, "note", json_string(note));
    }
    return row;
}

static const struct column instrument_columns[] = {
    {"instrument", "instrument", 'l'},
    {"at", "at", 'l'},
    {"driver", "driver", 'l'},
    {"state", "state", 'l'},
    {"maker", "maker", 'l'},
    {"model", "model", 'l'},
    {"serial", "serial", 'l'},
    {"firmware", "firmware", 'l'},
    {"note", "note", 'l'},
    {NULL, NULL, 0},
};

/* --- channels -------------------------------------------------------------------------------- */

struct look {
    bool over;
    struct reading reading;
    struct error failure;
};

static void looked(void *owner, const struct reading *reading, const struct error *failure)
{
    struct look *look = owner;
    look->over = true;
    if (reading)
        look->reading = *reading;
    if (failure)
        look->failure = *failure;
}

/* True when *out has a reading; else the look's failure tells why. */
static bool read_channel(struct channel *channel, void *uv_loop, struct look *look)
{
    *look = (struct look){.over = false};
    channel->owner = look;
    channel->notify = looked;
    enum channel_reply reply = channel->ops->read(channel, &look->reading, &look->failure);
    if (reply == CHANNEL_LATER)
        loop_run(uv_loop, READ_PATIENCE, &look->over);
    channel->notify = NULL;
    channel->owner = NULL;
    if (reply == CHANNEL_LATER && !look->over)
        error_set(&look->failure, ERROR_BENCH, channel->name, "", "no answer within %g s",
                  READ_PATIENCE);
    return look->failure.code == ERROR_NONE;
}

static json_t *limit_text(double value, enum dimension dimension)
{
    char buffer[32];
    return isfinite(value) ? json_string(quantity_format(value, dimension, buffer, sizeof buffer))
                           : json_string("");
}

static json_t *channel_row(struct channel *channel, void *uv_loop)
{
    struct look look;
    json_t *row = json_pack(
        "{s:s, s:s, s:o, s:o, s:o, s:o}", "channel", channel->name, "kind", channel->ops->kind,
        "charge_most", limit_text(channel->limits.charge_current_most, DIM_CURRENT),
        "discharge_most", limit_text(channel->limits.discharge_current_most, DIM_CURRENT),
        "voltage_most", limit_text(channel->limits.voltage_most, DIM_VOLTAGE), "every",
        limit_text(channel->tick_least, DIM_TIME));
    if (channel_is_by_hand(channel)) {
        json_object_set_new(row, "every", json_string("")); /* a person reads it */
        json_object_set_new(row, "note", json_string(channel_title(channel)));
    } else if (read_channel(channel, uv_loop, &look)) {
        json_object_set_new(row, "voltage_V", json_real(look.reading.voltage));
        if (isfinite(look.reading.temperature))
            json_object_set_new(row, "temperature_degC", json_real(look.reading.temperature));
    } else {
        json_object_set_new(row, "note", json_string(look.failure.why));
    }
    return row;
}

static const struct column channel_columns[] = {
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

/* --- the verb -------------------------------------------------------------------------------- */

static void show(const struct arguments *arguments, const struct bench *bench, json_t *instruments,
                 json_t *channels)
{
    if (arguments->json && bench->instrument_count) {
        json_t *document =
            json_pack("{s:O, s:O}", "instruments", instruments, "channels", channels);
        print_json(document);
        json_decref(document);
        return;
    }
    if (!arguments->json && bench->title[0])
        printf("%s\n\n", bench->title);
    if (bench->instrument_count) {
        print_rows(arguments, instruments, instrument_columns);
        putchar('\n');
    }
    print_rows(arguments, channels, channel_columns);
}

static void look_at(const struct arguments *arguments, struct workplace *workplace,
                    struct error *error)
{
    struct bench *bench = &workplace->bench;
    json_t *instruments = json_array(), *channels = json_array();
    int unready = bench_reach(bench, REACH_PATIENCE);
    for (int i = 0; i < bench->count; i++)
        json_array_append_new(channels, channel_row(bench->channels[i], workplace->uv_loop));
    for (int i = 0; i < bench->instrument_count; i++)
        json_array_append_new(instruments, instrument_row(bench->instruments[i]));
    show(arguments, bench, instruments, channels);
    json_decref(instruments);
    json_decref(channels);
    if (unready)
        error_set(error, ERROR_BENCH, arguments->word[0], "see the notes beside them",
                  "%d of %d instruments cannot be used", unready, bench->instrument_count);
}

static int run(const struct arguments *arguments, struct error *error)
{
    struct workplace workplace;
    int64_t began = 0;
    if (workplace_rehearsal(&workplace, 0, NULL, 1, error))
        return error->code;
    workplace.uv_loop = loop_new();
    clock_open_real(&workplace.clock);
    if (argument(arguments, "trace")) {
        workplace.access.trace = trace;
        workplace.access.owner = &began;
    }
    if (!workplace_read_bench(&workplace, arguments->word[0], error))
        look_at(arguments, &workplace, error);
    workplace_close(&workplace);
    return error->code;
}

static const struct option_spec options[] = {
    {"trace", NULL, "shows every byte to and from the instruments", false},
    {NULL, NULL, NULL, false},
};

const struct verb verb_bench = {
    "bench",
    "FILE",
    1,
    1,
    "reads a bench file, reaches every instrument, shows every channel; energises nothing",
    options,
    run};
