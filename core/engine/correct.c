/* Corrected figures in words. */
#include "engine/correct.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/rows.h"

#define ALIKE       1e-12
#define UNCERTAINTY "_uncertainty"

/* --- comparing -------------------------------------------------------------------------------- */

static bool same_number(double was, double is)
{
    return (isnan(was) && isnan(is)) || fabs(was - is) <= ALIKE * fmax(fabs(was), fabs(is));
}

bool correct_same(const json_t *was, const json_t *is)
{
    const char *key;
    json_t *value;
    if (json_is_number(was) && json_is_number(is))
        return same_number(json_number_value(was), json_number_value(is));
    if (!json_is_object(was) || !json_is_object(is))
        return json_equal((json_t *)was, (json_t *)is);
    if (json_object_size(was) != json_object_size(is))
        return false;
    json_object_foreach((json_t *)is, key, value)
    {
        if (!correct_same(json_object_get(was, key), value))
            return false;
    }
    return true;
}

/* --- values ----------------------------------------------------------------------------------- */

struct pair {
    char was[64], is[64];
};

/* Significant digits that people read of a value, and of an uncertainty. */
#define DIGITS           6
#define DIGITS_UNCERTAIN 3

/* So many digits, or as many more as tell the two apart. */
static struct pair say_numbers(double was, double is, int digits, const char *unit)
{
    struct pair said = {"", ""};
    const char *space = unit[0] ? " " : "";
    do {
        snprintf(said.was, sizeof said.was, "%.*g%s%s", digits, was, space, unit);
        snprintf(said.is, sizeof said.is, "%.*g%s%s", digits, is, space, unit);
    } while (!same_number(was, is) && strcmp(said.was, said.is) == 0 && digits++ < 17);
    if (isnan(was))
        string_copy(said.was, sizeof said.was, "not known");
    if (isnan(is))
        string_copy(said.is, sizeof said.is, "not known");
    return said;
}

static void add_row(json_t *rows, const char *what, const char *was, const char *is)
{
    json_array_append_new(rows, json_pack("{s:s, s:s, s:s}", "what", what, "was", was, "is", is));
}

/* --- results ---------------------------------------------------------------------------------- */

static void add_result(const json_t *args, const char *value, const char *uncertainty,
                       struct text *out)
{
    double freedom = row_number(args, "freedom");
    text_add(out, value);
    if (isnan(row_number(args, "uncertainty")))
        return;
    text_addf(out, " (u %s", uncertainty);
    if (isfinite(freedom))
        text_addf(out, ", %g degrees of freedom", freedom);
    text_add(out, ")");
}

void correct_say_result(const json_t *was, const json_t *is, struct text *out, json_t *rows)
{
    const char *name = row_text(is, "name"), *unit = row_text(is, "unit");
    struct text before = TEXT_EMPTY, now = TEXT_EMPTY;
    struct pair value =
        say_numbers(row_number(was, "value"), row_number(is, "value"), DIGITS, unit);
    struct pair u = say_numbers(row_number(was, "uncertainty"), row_number(is, "uncertainty"),
                                DIGITS_UNCERTAIN, unit);
    add_result(was, value.was, u.was, &before);
    add_result(is, value.is, u.is, &now);
    text_addf(out, "%s was %s and is %s", name, before.bytes, now.bytes);
    add_row(rows, name, before.bytes, now.bytes);
    text_free(&before);
    text_free(&now);
}

/* --- outcomes --------------------------------------------------------------------------------- */

/* The bench unit of an outcome's value, which its name tells (outcome.c). */
static const char *unit_of(const char *name)
{
    static const struct {
        const char *part, *unit;
    } units[] = {{"voltage", "V"},       {"charge", "Ah"},      {"energy", "Wh"},
                 {"duration", "s"},      {"resistance", "ohm"}, {"temperature" UNCERTAINTY, "K"},
                 {"temperature", "degC"}};
    for (size_t i = 0; i < sizeof units / sizeof *units; i++)
        if (strstr(name, units[i].part))
            return units[i].unit;
    return "";
}

/* "max_temperature_uncertainty" -> "uncertainty of max temperature"; whether it is one. */
static bool field_name(const char *key, char *name, size_t size)
{
    size_t length = strlen(key), tail = strlen(UNCERTAINTY);
    bool uncertain = length > tail && strcmp(key + length - tail, UNCERTAINTY) == 0;
    snprintf(name, size, "%s%.*s", uncertain ? "uncertainty of " : "",
             (int)(uncertain ? length - tail : length), key);
    for (char *at = name; *at; at++)
        if (*at == '_')
            *at = ' ';
    return uncertain;
}

static void say_field(const char *entry, const char *key, double was, double is, struct text *out,
                      json_t *rows)
{
    char name[64];
    struct text what = TEXT_EMPTY;
    bool uncertain = field_name(key, name, sizeof name);
    if (same_number(was, is))
        return;
    struct pair value = say_numbers(was, is, uncertain ? DIGITS_UNCERTAIN : DIGITS, unit_of(key));
    if (out->length)
        text_addf(out, ", %s was %s and is %s", name, value.was, value.is);
    else
        text_addf(out, "%s: %s was %s and is %s", entry, name, value.was, value.is);
    text_addf(&what, "%s: %s", entry, name);
    if (!uncertain)
        add_row(rows, what.bytes, value.was, value.is);
    text_free(&what);
}

void correct_say_outcome(const char *entry, const json_t *was, const json_t *is, struct text *out,
                         json_t *rows)
{
    const char *key;
    json_t *value;
    json_object_foreach((json_t *)is, key, value)
    {
        if (json_is_number(value))
            say_field(entry, key, row_number(was, key), json_number_value(value), out, rows);
    }
    json_object_foreach((json_t *)was, key, value)
    {
        if (json_is_number(value) && !json_object_get(is, key))
            say_field(entry, key, json_number_value(value), NAN, out, rows);
    }
}

void correct_say_value(const char *what, const json_t *was, const json_t *is, struct text *out,
                       json_t *rows)
{
    const int flags = JSON_ENCODE_ANY | JSON_COMPACT | JSON_REAL_PRECISION(12);
    char *before = json_dumps(was, flags), *now = json_dumps(is, flags);
    text_addf(out, "%s was %s and is %s", what, before ? before : "?", now ? now : "?");
    add_row(rows, what, before ? before : "?", now ? now : "?");
    free(before);
    free(now);
}
