/* The progress of a step in one table of names: what is saved is what is read. */
#include "step/checkpoint.h"

#include <errno.h>
#include <inttypes.h>
#include <stdlib.h>
#include <string.h>

#define FORMAT "step/1"

enum form { FORM_DOUBLE, FORM_INT, FORM_INT64, FORM_BOOL, FORM_END, FORM_GUARD };

struct field {
    const char *name;
    enum form form;
    size_t offset;
    int count; /* of an array */
};

#define ONE(name, form)                                                                            \
    {                                                                                              \
#name, form, offsetof(struct step, name), 1                                                \
    }
#define MANY(name, count)                                                                          \
    {                                                                                              \
#name, FORM_DOUBLE, offsetof(struct step, name), count                                     \
    }
#define ROW(row)                                                                                   \
    ONE(row.t_us, FORM_INT64), ONE(row.voltage, FORM_DOUBLE), ONE(row.current, FORM_DOUBLE),       \
        ONE(row.temperature, FORM_DOUBLE)

static const struct field fields[] = {
    ONE(elapsed_us, FORM_INT64),
    ONE(active, FORM_DOUBLE),
    ONE(charge, FORM_DOUBLE),
    ONE(energy, FORM_DOUBLE),
    ONE(voltage_time, FORM_DOUBLE),
    ONE(first_voltage, FORM_DOUBLE),
    ONE(peak_voltage, FORM_DOUBLE),
    ONE(low_voltage, FORM_DOUBLE),
    ONE(max_temperature, FORM_DOUBLE),
    ONE(min_temperature, FORM_DOUBLE),
    ONE(smooth_voltage, FORM_DOUBLE),
    ONE(smooth_peak, FORM_DOUBLE),
    ONE(past_count, FORM_INT),
    ONE(past_spacing, FORM_DOUBLE),
    MANY(past_charge, STEP_PAST),
    MANY(past_voltage, STEP_PAST),
    ONE(stretch_start, FORM_DOUBLE),
    ONE(odd_currents, FORM_INT),
    ONE(tapering, FORM_BOOL),
    ROW(last),
    ROW(kept),
    ONE(row_due_us, FORM_INT64),
    ONE(level, FORM_INT),
    ONE(level_start, FORM_DOUBLE),
    MANY(level_voltage, PULSE_LEVELS),
    MANY(level_current, PULSE_LEVELS),
    ONE(window_count, FORM_INT),
    MANY(window_t, STEP_WINDOW),
    MANY(window_v, STEP_WINDOW),
    MANY(window_temperature, STEP_WINDOW),
    ONE(gaps, FORM_INT),
    ONE(gap_time, FORM_DOUBLE),
    ONE(row_count, FORM_INT64),
    ONE(ended_by, FORM_END),
    ONE(guard, FORM_GUARD),
    ONE(interrupted, FORM_BOOL),
    ONE(tick, FORM_DOUBLE),
};

#define FIELD_COUNT (sizeof(fields) / sizeof(fields[0]))

/* Bit for bit as C reads it (0x1.8p+3), ten times as quickly as in decimal: this is written for
 * every channel every second. Subnormal numbers, which nothing measures, as printf has them. */
static void add_hexadecimal(struct text *out, double value)
{
    static const char digits[] = "0123456789abcdef";
    char written[40] = "-0x1.";
    uint64_t bits;
    memcpy(&bits, &value, sizeof bits);
    int exponent = (int)(bits >> 52 & 0x7ff) - 1023;
    if (exponent == -1023) {
        text_addf(out, "%a", value);
        return;
    }
    char *at = written + 5;
    for (uint64_t left = bits << 12; left; left <<= 4)
        *at++ = digits[left >> 60];
    *at++ = 'p';
    *at++ = exponent < 0 ? '-' : '+';
    exponent = abs(exponent);
    if (exponent >= 100)
        *at++ = (char)('0' + exponent / 100);
    if (exponent >= 10)
        *at++ = (char)('0' + exponent / 10 % 10);
    *at++ = (char)('0' + exponent % 10);
    bool negative = bits >> 63;
    text_add_bytes(out, written + !negative, (size_t)(at - written) - !negative);
}

static void add_double(struct text *out, double value)
{
    if (isnan(value))
        text_add(out, "nan");
    else if (isinf(value))
        text_add(out, value > 0 ? "inf" : "-inf");
    else if (value == 0 && signbit(value))
        text_add(out, "-0"); /* bit for bit */
    else if (value == 0)
        text_add(out, "0");
    else if (value == round(value * 1e6) / 1e6)
        text_add_number(out, value); /* short, and quickly written */
    else
        add_hexadecimal(out, value);
}

/* How many of an array's elements hold anything. */
static int used(const struct step *step, const struct field *field)
{
    if (strncmp(field->name, "past_", 5) == 0 && field->count > 1)
        return step->past_count;
    if (strncmp(field->name, "window_", 7) == 0 && field->count > 1)
        return step->window_count;
    return field->count;
}

void step_save(const struct step *step, struct text *out)
{
    text_add(out, FORMAT);
    for (size_t i = 0; i < FIELD_COUNT; i++) {
        const struct field *field = &fields[i];
        const void *at = (const char *)step + field->offset;
        int count = used(step, field);
        if (count == 0)
            continue;
        text_add(out, " ");
        text_add(out, field->name);
        text_add(out, "=");
        switch (field->form) {
        case FORM_DOUBLE:
            for (int k = 0; k < count; k++) {
                if (k > 0)
                    text_add(out, ",");
                add_double(out, ((const double *)at)[k]);
            }
            break;
        case FORM_INT: text_add_whole(out, *(const int *)at); break;
        case FORM_INT64: text_add_whole(out, *(const int64_t *)at); break;
        case FORM_BOOL: text_add(out, *(const bool *)at ? "1" : "0"); break;
        case FORM_END: text_add(out, step_end_name(*(const enum step_end *)at)); break;
        case FORM_GUARD: text_add(out, step_guard_name(*(const enum step_guard *)at)); break;
        }
    }
}

static const struct field *find(const char *name, size_t length)
{
    for (size_t i = 0; i < FIELD_COUNT; i++)
        if (strlen(fields[i].name) == length && memcmp(fields[i].name, name, length) == 0)
            return &fields[i];
    return NULL;
}

/* Reads one value at `text`; the end of it, or NULL when it is none. */
static const char *read_doubles(const char *text, double *to, int count)
{
    for (int k = 0; k < count; k++) {
        char *end;
        if (k > 0 && *text == ',')
            text++;
        else if (k > 0)
            return *text == ' ' || *text == '\0' ? text : NULL;
        to[k] = strtod(text, &end);
        if (end == text)
            return NULL;
        text = end;
    }
    return text;
}

static const char *read_whole(const char *text, int64_t least, int64_t most, int64_t *to)
{
    char *end;
    errno = 0;
    *to = strtoll(text, &end, 10);
    return end == text || errno != 0 || *to < least || *to > most ? NULL : end;
}

static const char *read_name(const char *text, const char *(*name)(int), int count, int *to)
{
    size_t length = strcspn(text, " ");
    for (*to = 0; *to < count; ++*to)
        if (strlen(name(*to)) == length && memcmp(name(*to), text, length) == 0)
            return text + length;
    return NULL;
}

static const char *end_name(int i)
{
    return step_end_name((enum step_end)i);
}

static const char *guard_name(int i)
{
    return step_guard_name((enum step_guard)i);
}

static const char *read_field(struct step *step, const struct field *field, const char *text)
{
    void *at = (char *)step + field->offset;
    int64_t whole = 0;
    int chosen = 0;
    const char *end = NULL;
    switch (field->form) {
    case FORM_DOUBLE: return read_doubles(text, at, field->count);
    case FORM_INT64: return read_whole(text, INT64_MIN, INT64_MAX, at);
    case FORM_INT:
        end = read_whole(text, 0, 1000000, &whole);
        *(int *)at = (int)whole;
        return end;
    case FORM_BOOL:
        end = read_whole(text, 0, 1, &whole);
        *(bool *)at = whole != 0;
        return end;
    case FORM_END:
        end = read_name(text, end_name, STEP_END_COUNT, &chosen);
        *(enum step_end *)at = (enum step_end)chosen;
        return end;
    case FORM_GUARD:
        end = read_name(text, guard_name, STEP_GUARD_COUNT, &chosen);
        *(enum step_guard *)at = (enum step_guard)chosen;
        return end;
    }
    return NULL;
}

/* Saved since 0.1; a step of before begins its count of rows anew at its next reading. */
static bool came_later(const struct field *field)
{
    return field->offset == offsetof(struct step, row_due_us);
}

static int refuse(struct error *error, const char *why, const char *at)
{
    return error_set(error, ERROR_LOGBOOK, "a step's saved progress",
                     "use the version that wrote it, or restore the logbook from a copy",
                     "%s at \"%.40s\"", why, at);
}

int step_load(struct step *step, const char *saved, struct error *error)
{
    struct step loaded = *step;
    bool seen[FIELD_COUNT] = {false};
    const char *at = saved;
    if (strncmp(at, FORMAT, strlen(FORMAT)) != 0)
        return refuse(error, "the format is not known", saved);
    for (at += strlen(FORMAT); *at == ' ';) {
        const char *name = ++at;
        size_t length = strcspn(name, "= ");
        const struct field *field = find(name, length);
        if (field == NULL || name[length] != '=')
            return refuse(error, "a name is not known", name);
        if (seen[field - fields])
            return refuse(error, "a name comes twice", name);
        seen[field - fields] = true;
        at = read_field(&loaded, field, name + length + 1);
        if (at == NULL)
            return refuse(error, "a value cannot be read", name);
    }
    if (*at != '\0')
        return refuse(error, "a value cannot be read", at);
    for (size_t i = 0; i < FIELD_COUNT; i++)
        if (!seen[i] && used(&loaded, &fields[i]) > 0 && !came_later(&fields[i]))
            return refuse(error, "a name is missing", fields[i].name);
    if (loaded.past_count > STEP_PAST || loaded.window_count > STEP_WINDOW ||
        loaded.level > PULSE_LEVELS)
        return refuse(error, "a count is too large", saved);
    loaded.origin = BENCH_NEVER;
    loaded.rows = 0;
    *step = loaded;
    return 0;
}
