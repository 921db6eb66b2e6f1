/* The table of units: names, spellings, prefixes, factors to SI; and the nearest name to a wrong
 * one. UCUM names are those of "The Unified Code for Units of Measure", case-sensitive column. */
#include "base/unit.h"

#include <stdbool.h>
#include <string.h>
#include <strings.h>

#include "base/text.h"

#define MICRO_SIGN  "\xc2\xb5"
#define GREEK_MU    "\xce\xbc"
#define GREEK_OMEGA "\xce\xa9"
#define OHM_SIGN    "\xe2\x84\xa6"
#define DEGREE      "\xc2\xb0"
#define MIDDLE_DOT  "\xc2\xb7"

static const struct {
    const char *name;
    double factor;
} prefixes[] = {
    {"m", 1e-3}, {"k", 1e3},  {"u", 1e-6},      {MICRO_SIGN, 1e-6},
    {"M", 1e6},  {"n", 1e-9}, {GREEK_MU, 1e-6},
};

#define PREFIX_COUNT     (sizeof prefixes / sizeof prefixes[0])
#define PREFIXES_OFFERED 3 /* m, k and u: mega and nano at a bench for cells are slips */

struct unit {
    const char *name;
    enum dimension dimension;
    double factor; /* SI */
    bool metric;   /* takes a prefix */
};

/* The first unit of a dimension is the one that is offered when two are equally near. */
static const struct unit units[] = {
    {"", DIM_NUMBER, 1, false},
    {"%", DIM_RATIO, 0.01, false},
    {"A", DIM_CURRENT, 1, true},
    {"It", DIM_RATE, 1, false},
    {"C", DIM_RATE, 1, false}, /* trade: 0.2 C is 0.2 It; coulombs are written As */
    {"V", DIM_VOLTAGE, 1, true},
    {"s", DIM_TIME, 1, true},
    {"min", DIM_TIME, 60, false},
    {"h", DIM_TIME, 3600, false},
    {"d", DIM_TIME, 86400, false},
    {"wk", DIM_TIME, 604800, false}, /* UCUM */
    {"Ah", DIM_CHARGE, 3600, true},
    {"A.h", DIM_CHARGE, 3600, true},
    {"A" MIDDLE_DOT "h", DIM_CHARGE, 3600, true},
    {"As", DIM_CHARGE, 1, true},
    {"A.s", DIM_CHARGE, 1, true},
    {"A" MIDDLE_DOT "s", DIM_CHARGE, 1, true},
    {"Wh", DIM_ENERGY, 3600, true},
    {"W.h", DIM_ENERGY, 3600, true},
    {"W" MIDDLE_DOT "h", DIM_ENERGY, 3600, true},
    {"Ws", DIM_ENERGY, 1, true},
    {"W.s", DIM_ENERGY, 1, true},
    {"J", DIM_ENERGY, 1, true},
    {"W", DIM_POWER, 1, true},
    {"ohm", DIM_RESISTANCE, 1, true},
    {"Ohm", DIM_RESISTANCE, 1, true}, /* UCUM */
    {GREEK_OMEGA, DIM_RESISTANCE, 1, true},
    {OHM_SIGN, DIM_RESISTANCE, 1, true},
    {"degC", DIM_TEMPERATURE, 1, false},
    {DEGREE "C", DIM_TEMPERATURE, 1, false},
    {"Cel", DIM_TEMPERATURE, 1, false}, /* UCUM */
    {"K", DIM_TEMPERATURE_DIFFERENCE, 1, true},
    {"V/s", DIM_VOLTAGE_RATE, 1, true},
    {"V/min", DIM_VOLTAGE_RATE, 1.0 / 60, true},
    {"V/h", DIM_VOLTAGE_RATE, 1.0 / 3600, true},
    {"K/s", DIM_TEMPERATURE_RATE, 1, true},
    {"K/min", DIM_TEMPERATURE_RATE, 1.0 / 60, true},
    {"K/h", DIM_TEMPERATURE_RATE, 1.0 / 3600, true},
    {"degC/s", DIM_TEMPERATURE_RATE, 1, false},
    {"degC/min", DIM_TEMPERATURE_RATE, 1.0 / 60, false},
    {"degC/h", DIM_TEMPERATURE_RATE, 1.0 / 3600, false},
    {DEGREE "C/s", DIM_TEMPERATURE_RATE, 1, false},
    {DEGREE "C/min", DIM_TEMPERATURE_RATE, 1.0 / 60, false},
    {DEGREE "C/h", DIM_TEMPERATURE_RATE, 1.0 / 3600, false},
    {"Cel/s", DIM_TEMPERATURE_RATE, 1, false},
    {"Cel/min", DIM_TEMPERATURE_RATE, 1.0 / 60, false},
    {"Cel/h", DIM_TEMPERATURE_RATE, 1.0 / 3600, false},
};

#define UNIT_COUNT (sizeof units / sizeof units[0])

/* Words that people write where a symbol belongs; compared without regard to case. */
static const struct {
    const char *word;
    const char *unit;
} words[] = {
    {"sec", "s"},        {"secs", "s"},       {"second", "s"},   {"seconds", "s"},
    {"m", "min"},        {"mins", "min"},     {"minute", "min"}, {"minutes", "min"},
    {"hr", "h"},         {"hrs", "h"},        {"hour", "h"},     {"hours", "h"},
    {"day", "d"},        {"days", "d"},       {"week", "wk"},    {"weeks", "wk"},
    {"amp", "A"},        {"amps", "A"},       {"ampere", "A"},   {"amperes", "A"},
    {"milliamp", "mA"},  {"milliamps", "mA"}, {"volt", "V"},     {"volts", "V"},
    {"watt", "W"},       {"watts", "W"},      {"joule", "J"},    {"joules", "J"},
    {"ohms", "ohm"},     {"mohms", "mohm"},   {"percent", "%"},  {"pct", "%"},
    {"celsius", "degC"}, {"deg", "degC"},     {DEGREE, "degC"},  {"kelvin", "K"},
    {DEGREE "K", "K"},   {"C-rate", "It"},    {"c", "It"},       {"C", "degC"},
};

static const struct unit *find(const char *name)
{
    for (size_t i = 0; i < UNIT_COUNT; i++)
        if (strcmp(units[i].name, name) == 0)
            return &units[i];
    return NULL;
}

/* A whole name goes first: "min" is a minute and no milli-anything. */
int unit_find(const char *name, enum dimension *dimension, double *factor)
{
    double scale = 1;
    const struct unit *unit = find(name);
    for (size_t i = 0; unit == NULL && i < PREFIX_COUNT; i++) {
        size_t length = strlen(prefixes[i].name);
        if (strncmp(name, prefixes[i].name, length) != 0)
            continue;
        unit = find(name + length);
        if (unit != NULL && !unit->metric)
            unit = NULL;
        scale = prefixes[i].factor;
    }
    if (unit == NULL)
        return 1;
    *dimension = unit->dimension;
    *factor = scale * unit->factor;
    return 0;
}

static char lower(char letter)
{
    return letter >= 'A' && letter <= 'Z' ? (char)(letter + ('a' - 'A')) : letter;
}

#define NAME_MAX_BYTES 16
#define SLIP           3 /* weight of a wrong, missing or surplus letter; a wrong case weighs 1 */

/* Weighted edit distance between two names. */
static int distance(const char *a, const char *b)
{
    size_t length_a = strlen(a), length_b = strlen(b);
    int row[NAME_MAX_BYTES + 1];
    for (size_t j = 0; j <= length_b; j++)
        row[j] = SLIP * (int)j;
    for (size_t i = 1; i <= length_a; i++) {
        int diagonal = row[0];
        row[0] = SLIP * (int)i;
        for (size_t j = 1; j <= length_b; j++) {
            int change = a[i - 1] == b[j - 1] ? 0 : lower(a[i - 1]) == lower(b[j - 1]) ? 1 : SLIP;
            int best = diagonal + change;
            if (row[j] + SLIP < best)
                best = row[j] + SLIP;
            if (row[j - 1] + SLIP < best)
                best = row[j - 1] + SLIP;
            diagonal = row[j];
            row[j] = best;
        }
    }
    return row[length_b];
}

/* True when the unit can stand where `wanted` is: a current may be a multiple of It. */
static bool fits(const char *unit, enum dimension wanted)
{
    enum dimension dimension;
    double factor;
    if (wanted == DIMENSION_COUNT)
        return true;
    return unit_find(unit, &dimension, &factor) == 0 &&
           (dimension == wanted || (dimension == DIM_RATE && wanted == DIM_CURRENT));
}

const char *unit_nearest(const char *name, enum dimension wanted, char *buffer, size_t size)
{
    size_t length = strlen(name);
    if (length == 0 || length > NAME_MAX_BYTES)
        return NULL;
    for (size_t i = 0; i < sizeof words / sizeof words[0]; i++)
        if (strcasecmp(name, words[i].word) == 0 && fits(words[i].unit, wanted)) {
            string_copy(buffer, size, words[i].unit);
            return buffer;
        }

    /* In a short name a wrong letter leaves too little to tell which unit was meant. */
    bool letter_too = length > 2 || (length == 2 && wanted != DIMENSION_COUNT);
    int nearest = letter_too ? SLIP + 2 : SLIP;
    const char *found = NULL;
    for (size_t i = 0; i < UNIT_COUNT; i++) {
        if (units[i].name[0] == '\0' || !fits(units[i].name, wanted))
            continue;
        for (size_t p = 0; p <= (units[i].metric ? PREFIXES_OFFERED : 0); p++) {
            char candidate[NAME_MAX_BYTES + 1];
            string_copy(candidate, sizeof candidate, p == 0 ? "" : prefixes[p - 1].name);
            string_copy(candidate + strlen(candidate), sizeof candidate - strlen(candidate),
                        units[i].name);
            int away = distance(name, candidate);
            if (away < nearest) {
                nearest = away;
                string_copy(buffer, size, candidate);
                found = buffer;
            }
        }
    }
    return found;
}
