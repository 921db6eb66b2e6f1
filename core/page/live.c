/* Writing what the engine shows as JSON, and keeping a thinned curve of each step. */
#include "page/live.h"

#include <inttypes.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

struct curve {
    int64_t step;
    int count;
    int every, skipped; /* looks for a point, and how many have gone by since the last */
    float t[LIVE_POINTS], v[LIVE_POINTS];
};

struct live {
    int channels;
    struct curve *curves;
};

struct live *live_new(int channels)
{
    struct live *live = xcalloc(1, sizeof *live);
    live->channels = channels;
    live->curves = xcalloc((size_t)channels + 1, sizeof *live->curves);
    return live;
}

void live_free(struct live *live)
{
    if (live)
        free(live->curves);
    free(live);
}

/* --- curves ----------------------------------------------------------------------------------- */

static void halve(struct curve *curve)
{
    for (int i = 0; 2 * i < curve->count; i++) {
        curve->t[i] = curve->t[2 * i];
        curve->v[i] = curve->v[2 * i];
    }
    curve->count = (curve->count + 1) / 2;
    curve->every *= 2;
}

static void sample(void *context, const struct channel_sight *sight)
{
    struct live *live = context;
    if (sight->index >= live->channels)
        return;
    struct curve *curve = &live->curves[sight->index];
    if (!sight->step) {
        curve->step = curve->count = 0;
        return;
    }
    if (curve->step != sight->step_id) {
        curve->step = sight->step_id;
        curve->count = curve->skipped = 0;
        curve->every = 1;
    }
    if (!isfinite(sight->voltage) || ++curve->skipped < curve->every)
        return;
    if (curve->count == LIVE_POINTS)
        halve(curve);
    curve->skipped = 0;
    curve->t[curve->count] = (float)sight->elapsed;
    curve->v[curve->count++] = (float)sight->voltage;
}

void live_sample(struct live *live, const struct engine *engine)
{
    engine_see_channels(engine, sample, live);
}

/* --- writing ---------------------------------------------------------------------------------- */

static void add_text(struct text *out, const char *key, const char *value)
{
    text_addf(out, "\"%s\":", key);
    if (value)
        text_add_json_string(out, value, strlen(value));
    else
        text_add(out, "null");
    text_add(out, ",");
}

static void add_number(struct text *out, const char *key, double value, int decimals)
{
    if (isfinite(value))
        text_addf(out, ",\"%s\":%.*f", key, decimals, value);
    else
        text_addf(out, ",\"%s\":null", key);
}

/* A comma between, none after the last. */
static void close_list(struct text *out, size_t begin)
{
    if (out->length > begin && out->bytes[out->length - 1] == ',')
        out->bytes[--out->length] = '\0';
    text_add(out, "]");
}

static void write_channel(void *context, const struct channel_sight *sight)
{
    struct text *out = context;
    text_add(out, "{");
    add_text(out, "channel", sight->name);
    add_text(out, "how", sight->how);
    add_text(out, "missing", sight->missing);
    add_text(out, "trouble", sight->trouble);
    add_text(out, "cell", sight->cell);
    add_text(out, "step", sight->step);
    text_addf(out, "\"run\":%" PRId64, sight->run);
    add_number(out, "elapsed_s", sight->elapsed, 1);
    add_number(out, "limit_s", sight->limit, 0);
    add_number(out, "voltage_V", sight->voltage, 4);
    add_number(out, "current_A", sight->current, 4);
    add_number(out, "temperature_degC", sight->temperature, 1);
    add_number(out, "charge_Ah", sight->charge / 3600, 4);
    add_number(out, "energy_Wh", sight->energy / 3600, 4);
    text_add(out, "},");
}

static void write_run(void *context, const struct run_sight *sight)
{
    struct text *out = context;
    char when[40];
    text_add(out, "{");
    add_text(out, "state", sight->state);
    add_text(out, "doing", sight->doing);
    add_text(out, "cell", sight->cell);
    add_text(out, "script", sight->script);
    add_text(out, "channel", sight->channel);
    add_text(out, "until",
             sight->until ? utc_format(sight->until - sight->until % US_PER_S, when, sizeof when)
                          : NULL);
    add_text(out, "why", sight->why);
    text_addf(out, "\"run\":%" PRId64 "},", sight->run);
}

static const char *truth(bool value)
{
    return value ? "true" : "false";
}

void live_write(const struct engine *engine, bool read_only, struct text *out)
{
    struct engine_sight sight = engine_see(engine);
    char now[40];
    text_add(out, "{");
    add_text(out, "now", utc_format(sight.now - sight.now % US_PER_S, now, sizeof now));
    add_text(out, "clock", sight.clock);
    text_addf(out,
              "\"held\":%s,\"unguarded\":%s,\"read_only\":%s,\"readings\":%" PRId64
              ",\"channels\":[",
              truth(sight.held), truth(sight.unguarded), truth(read_only), sight.counts.readings);
    engine_see_channels(engine, write_channel, out);
    close_list(out, 0);
    text_add(out, ",\"runs\":[");
    engine_see_runs(engine, write_run, out);
    close_list(out, 0);
    text_add(out, "}");
}

struct writing {
    const struct live *live;
    struct text *out;
};

static void write_curve(void *context, const struct channel_sight *sight)
{
    const struct writing *writing = context;
    struct text *out = writing->out;
    if (sight->index >= writing->live->channels)
        return;
    const struct curve *curve = &writing->live->curves[sight->index];
    if (curve->count == 0)
        return;
    text_add(out, "{");
    add_text(out, "channel", sight->name);
    text_add(out, "\"t\":[");
    for (int i = 0; i < curve->count; i++)
        text_addf(out, "%.0f,", (double)curve->t[i]);
    close_list(out, 0);
    text_add(out, ",\"v\":[");
    for (int i = 0; i < curve->count; i++)
        text_addf(out, "%.4f,", (double)curve->v[i]);
    close_list(out, 0);
    text_add(out, "},");
}

void live_write_curves(const struct live *live, const struct engine *engine, struct text *out)
{
    struct writing writing = {live, out};
    text_add(out, "{\"curves\":[");
    engine_see_channels(engine, write_curve, &writing);
    close_list(out, 0);
    text_add(out, "}");
}
