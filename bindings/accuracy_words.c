/* Accuracy entries of a bench file. */
#include "bindings/accuracy_words.h"

#include <lauxlib.h>
#include <math.h>

#include "analysis/accuracy.h"
#include "bindings/fields.h"
#include "bindings/keys.h"
#include "bindings/sandbox.h"

struct entry {
    const char *name; /* NULL ends a table of them */
    enum dimension dimension;
    size_t offset; /* of a struct stated_accuracy */
};

#define ACCURACY(field) offsetof(struct channel_accuracy, field)

static const struct entry measured[] = {
    {"voltage", DIM_VOLTAGE, ACCURACY(voltage)},
    {"current", DIM_CURRENT, ACCURACY(current)},
    {"temperature", DIM_TEMPERATURE_DIFFERENCE, ACCURACY(temperature)},
    {"time", DIM_TIME, ACCURACY(time)},
    {"resistance", DIM_RESISTANCE, ACCURACY(resistance)},
    {NULL, DIM_NUMBER, 0},
};

static const struct entry displayed[] = {
    {"charge", DIM_CHARGE, ACCURACY(charge)},
    {"energy", DIM_ENERGY, ACCURACY(energy)},
    {"time", DIM_TIME, ACCURACY(time)},
    {"voltage", DIM_VOLTAGE, ACCURACY(voltage)},
    {"resistance", DIM_RESISTANCE, ACCURACY(resistance)},
    {"temperature", DIM_TEMPERATURE_DIFFERENCE, ACCURACY(temperature)},
    {NULL, DIM_NUMBER, 0},
};

static const struct entry misread[] = {
    {"voltage", DIM_VOLTAGE, offsetof(struct misreading, voltage)},
    {"current", DIM_CURRENT, offsetof(struct misreading, current)},
    {"resistance", DIM_RESISTANCE, offsetof(struct misreading, resistance)},
    {NULL, DIM_NUMBER, 0},
};

static const struct key correlations[] = {
    {"shared", FORM_FRACTION, DIM_RATIO, ACCURACY(shared)},
    {"steady", FORM_FRACTION, DIM_RATIO, ACCURACY(steady)},
    {NULL, FORM_PLAIN, DIM_NUMBER, 0},
};

typedef int read_entry(const char *text, enum dimension dimension, struct accuracy *out,
                       struct error *error);

/* Reads the table at the top. */
static void read_entries(lua_State *L, const char *what, const struct entry *entries,
                         read_entry *read, void *into)
{
    for (; entries->name; entries++) {
        const char *text = field_text(L, -1, what, entries->name);
        struct accuracy accuracy;
        struct error error;
        if (!text)
            continue;
        if (read(text, entries->dimension, &accuracy, &error))
            guest_raise(L, &error);
        *(struct stated_accuracy *)(void *)((char *)into + entries->offset) =
            (struct stated_accuracy){accuracy.relative, accuracy.absolute};
    }
}

/* Pushes the table under `name`, whose keys are known; false when there is none. */
static bool push_table(lua_State *L, int table, const char *name, const struct entry *entries,
                       const struct key *keys, const char *todo)
{
    const char *names[KEYS_MOST];
    const char **end = names;
    if (!field_push(L, table, name))
        return false;
    for (; entries->name; entries++)
        *end++ = entries->name;
    keys_add_names(end, keys);
    if (!lua_istable(L, -1))
        guest_fail(L, todo, "%s is a %s", name, luaL_typename(L, -1));
    fields_check(L, -1, name, names);
    return true;
}

void accuracy_words_read(lua_State *L, int table, struct channel_accuracy *out)
{
    *out = STATES_NOTHING;
    if (!push_table(L, table, "accuracy", measured, correlations,
                    "write accuracy = { voltage = \"0.05 % + 2 mV\" }"))
        return;
    read_entries(L, "accuracy", measured, accuracy_read, out);
    keys_read(L, lua_gettop(L), correlations, out, "accuracy");
    if (out->shared < 0 || out->shared > 1 || out->steady < 0 || out->steady > 1)
        guest_fail(L, "give 0 for errors of their own, 1 for one that is the same in both",
                   "accuracy: shared and steady are from 0 to 1");
    lua_pop(L, 1);
}

void accuracy_words_of_display(lua_State *L, int table, struct channel_accuracy *out)
{
    *out = STATES_NOTHING;
    if (!push_table(L, table, "accuracy", displayed, correlations + 2,
                    "write accuracy = { charge = \"2 %\" }"))
        return;
    read_entries(L, "accuracy", displayed, accuracy_read, out);
    lua_pop(L, 1);
}

void misreads_words_read(lua_State *L, int table, struct misreading *out)
{
    *out = (struct misreading){{0, 0}, {0, 0}, {0, 0}};
    if (!push_table(L, table, "misreads", misread, correlations + 2,
                    "write misreads = { current = \"-0.3 %\" }"))
        return;
    read_entries(L, "misreads", misread, accuracy_read_error, out);
    lua_pop(L, 1);
}
