/* The words of a bench file, as docs/bench.md describes them. */
#include "bench_words.h"

#include <errno.h>
#include <math.h>
#include <string.h>

/* kind, driver, the channel's words for it */
static const struct {
    const struct kind *kind;
    const char *driver, *settings;
    const char *parts[3];
} table[] = {
    {&kind_supply, "supply", NULL, {"source"}},
    {&kind_load, "load", NULL, {"sink"}},
    {&kind_quadrant, "two_quadrant", "floor = \"VOLT:LIM:LOW\"", {"source", "sink"}},
    {&kind_meter, "meter", NULL, {"meter"}},
    {&kind_thermometer, "plain_thermometer", NULL, {"thermometer"}},
    {&kind_relay, "relay", NULL, {"relay"}},
    {&kind_scanner, "relay", NULL, {"scanner"}},
    {&kind_ohmmeter, "ohmmeter", NULL, {"ohmmeter"}},
};

static int row_of(const struct instrument *instrument)
{
    int row = 0;
    while (table[row].kind != instrument->kind)
        row++;
    return row;
}

/* A name for a Lua local: supply_1. */
static const char *local_name(const struct instrument *instrument, char *buffer, size_t size)
{
    snprintf(buffer, size, "%s", instrument->name);
    for (char *at = buffer; *at != '\0'; at++)
        if (*at == '-')
            *at = '_';
    return buffer;
}

static void add_instrument(struct text *text, const struct house *house, int i)
{
    const struct port *port = ports_at(house->ports, i);
    const struct instrument *instrument = &house->instruments[i];
    int row = row_of(instrument);
    char name[32];
    text_addf(text, "instruments.%s = instrument {\n", local_name(instrument, name, sizeof name));
    text_addf(text, "  name = \"%s\",\n  driver = \"%s\",\n  link = ", instrument->name,
              table[row].driver);
    if (port_reach(port) == REACH_TCP) {
        text_addf(text, "tcp(\"127.0.0.1\", %d),\n", port_number(port));
    } else {
        text_add(text, "pty(");
        text_add_json_string(text, port_place(port), strlen(port_place(port)));
        text_add(text, "),\n");
    }
    text_addf(text, "  identity = { maker = \"%s\", model = \"%s\", serial = \"%s\" },\n", MAKER,
              instrument->kind->model, instrument->serial);
    if (table[row].settings != NULL)
        text_addf(text, "  settings = { %s },\n", table[row].settings);
    text_add(text, "}\n");
}

static bool is_in_set(const struct instrument *instrument, int set)
{
    return instrument->set_count > 1 || instrument->sets[0]->number == set;
}

static bool has_both(const struct house *house)
{
    bool supply = false, load = false;
    for (int i = 0; i < house->instrument_count; i++) {
        supply = supply || house->instruments[i].kind == &kind_supply;
        load = load || house->instruments[i].kind == &kind_load;
    }
    return supply && load;
}

/* How far off the last word on a quantity may be: half a step, and three deviations of noise. */
static double error_of(const struct house *house, int set, enum measured what)
{
    double most = NAN;
    for (int i = 0; i < house->instrument_count; i++) {
        const struct instrument *instrument = &house->instruments[i];
        bool meter = instrument->kind == &kind_meter;
        bool thermometer = instrument->kind == &kind_thermometer;
        bool ohmmeter = instrument->kind == &kind_ohmmeter;
        bool asked = what == CELSIUS ? thermometer
                     : what == OHMS  ? ohmmeter
                                     : !ohmmeter && (what == VOLTS || !meter);
        double off = instrument->resolution[what] / 2 + 3 * instrument->noise[what];
        if (!is_in_set(instrument, set) || !asked || off <= 0 || (thermometer && what != CELSIUS))
            continue;
        if (meter)
            return off; /* its volts go before those of sources and sinks */
        most = isnan(most) || off > most ? off : most;
    }
    return most;
}

static void add_accuracy(struct text *text, const struct house *house, int set)
{
    static const struct {
        enum measured what;
        const char *word, *unit;
        double scale;
    } rows[] = {{VOLTS, "voltage", "mV", 1e3},
                {AMPS, "current", "mA", 1e3},
                {CELSIUS, "temperature", "K", 1},
                {OHMS, "resistance", "mohm", 1e3}};
    text_add(text, "      accuracy = { ");
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        double off = error_of(house, set, rows[i].what);
        if (off > 0)
            text_addf(text, "%s = \"%.4g %s\", ", rows[i].word, off * rows[i].scale, rows[i].unit);
    }
    text_add(text, "},\n");
}

/* Times here are cell time: a reading may be 5 s of real time old, and a channel is looked at 50
 * times a second at most, however fast its cell lives. */
static double tick(const struct house *house)
{
    return fmax(1, house->plan->speed / 50);
}

static void add_channel(struct text *text, const struct house *house, int set, bool both)
{
    char name[32];
    text_addf(text, "    E%d = channel {\n", set);
    for (int i = 0; i < house->instrument_count; i++) {
        const struct instrument *instrument = &house->instruments[i];
        bool board = instrument->kind == &kind_relay || instrument->kind == &kind_scanner;
        if (!is_in_set(instrument, set) || (both && instrument->kind == &kind_quadrant))
            continue;
        int point = instrument->set_count > 1 ? set : 1;
        local_name(instrument, name, sizeof name);
        for (int p = 0; p < 3 && table[row_of(instrument)].parts[p] != NULL; p++) {
            text_addf(text, "      %s = ", table[row_of(instrument)].parts[p]);
            if (board)
                text_addf(text, "route(instruments.%s, %d),\n", name, point);
            else
                text_addf(text, "instruments.%s,\n", name);
        }
    }
    add_accuracy(text, house, set);
    /* Its cell is soldered in, as it were: nobody is asked to put it there. */
    text_addf(text, "      tick = \"%g s\",\n      placed = true,\n    },\n", tick(house));
}

int bench_words_write(const struct house *house, const char *path, struct error *error)
{
    struct text text = TEXT_EMPTY;
    bool both = has_both(house);
    text_addf(&text, "-- Written by the emulator for what it serves.\nlocal instruments = {}\n");
    for (int i = 0; i < house->instrument_count; i++)
        add_instrument(&text, house, i);
    text_addf(&text,
              "\nreturn bench {\n  title = \"%d emulated channel%s\",\n  emulated = true,\n  "
              "channels = {\n",
              house->plan->sets, house->plan->sets > 1 ? "s" : "");
    for (int set = 1; set <= house->plan->sets; set++)
        add_channel(&text, house, set, both);
    text_add(&text, "  },\n}\n");
    FILE *file = fopen(path, "we");
    bool written = file != NULL && fwrite(text.bytes, 1, text.length, file) == text.length;
    if (file != NULL && fclose(file) != 0)
        written = false;
    text_free(&text);
    if (written)
        return 0;
    return error_set(error, ERROR_USAGE, path, "check the path and its permissions",
                     "the bench file cannot be written: %s", strerror(errno));
}
