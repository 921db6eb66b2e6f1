/* A channel as it was in a session, in words. */
#include "verdict/channel_words.h"

#include <math.h>

#include "base/quantity.h"
#include "base/rows.h"

static const struct {
    const char *name;
    enum dimension dimension;
} stated[] = {
    {"voltage", DIM_VOLTAGE},
    {"current", DIM_CURRENT},
    {"temperature", DIM_TEMPERATURE_DIFFERENCE},
    {"time", DIM_TIME},
    {"charge", DIM_CHARGE},
    {"energy", DIM_ENERGY},
    {"resistance", DIM_RESISTANCE},
};

static const char *comma(const struct text *out)
{
    return out->length ? ", " : "";
}

static void add_entry(const json_t *entry, const char *name, enum dimension dimension,
                      struct text *out)
{
    char text[48];
    double relative = row_number(entry, "relative"), absolute = row_number(entry, "absolute");
    text_addf(out, "%s%s ", comma(out), name);
    if (relative > 0 || !(absolute > 0))
        text_addf(out, "%s %%", number_format(100 * relative, text, sizeof text));
    if (absolute > 0)
        text_addf(out, "%s%s", relative > 0 ? " + " : "",
                  quantity_format(absolute, dimension, text, sizeof text));
}

void channel_accuracy_words(const json_t *row, struct text *out)
{
    const json_t *accuracy = json_object_get(row, "accuracy");
    for (size_t i = 0; i < sizeof stated / sizeof *stated; i++) {
        const json_t *entry = json_object_get(accuracy, stated[i].name);
        if (entry)
            add_entry(entry, stated[i].name, stated[i].dimension, out);
    }
    if (!out->length)
        return; /* how errors go together says nothing where none are stated */
    static const char *const correlations[] = {"shared", "steady"};
    for (size_t i = 0; i < 2; i++) {
        char text[40];
        double value = row_number(accuracy, correlations[i]);
        if (isfinite(value))
            text_addf(out, "%s%s %s", comma(out), correlations[i],
                      number_format(value, text, sizeof text));
    }
}

void channel_instrument_words(const json_t *row, struct text *out)
{
    const char *role;
    json_t *is;
    json_object_foreach(json_object_get(row, "instruments"), role, is)
    {
        text_addf(out, "%s%s %s", comma(out), role, row_text(is, "name"));
        if (row_text(is, "model")[0]) {
            static const char *const more[] = {"serial", "firmware"};
            text_addf(out, " (%s %s", row_text(is, "maker"), row_text(is, "model"));
            for (size_t i = 0; i < 2; i++)
                if (row_text(is, more[i])[0])
                    text_addf(out, ", %s %s", more[i], row_text(is, more[i]));
            text_add(out, ")");
        } else {
            text_addf(out, " (driver %s; did not say who it is)", row_text(is, "driver"));
        }
    }
}

void channels_say(json_t *rows)
{
    size_t i;
    json_t *row;
    json_array_foreach(rows, i, row)
    {
        struct text accuracy = TEXT_EMPTY, instruments = TEXT_EMPTY;
        channel_accuracy_words(row, &accuracy);
        channel_instrument_words(row, &instruments);
        json_object_set_new(row, "accuracy_text",
                            json_string(accuracy.length ? accuracy.bytes : "not stated"));
        json_object_set_new(row, "instruments_text",
                            json_string(instruments.length ? instruments.bytes : ""));
        text_free(&accuracy);
        text_free(&instruments);
    }
}
