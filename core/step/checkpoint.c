/* The progress of a step in one table of fields: what is saved is what is read.
 *
 * "step/2 +7VE #G01g.. = nan none +0 ." has the values in the table's order, arrays as far as they
 * are in use, and a point at the end. It is written for every channel every second, so it is short
 * and takes no printf. "step/1 NAME=VALUE ..." is what versions before wrote; it is still read.
 *
 * A field that is added, goes, or means something else needs a "step/3", and this table beside. */
#include "step/checkpoint.h"

#include <errno.h>
#include <inttypes.h>
#include <stdlib.h>
#include <string.h>

#define FORMAT       "step/2"
#define FORMAT_NAMED "step/1"
#define MILLIONTHS_MOST                                                                            \
    1000000000000000 /* so many are exact in a double, and rounded once by / 1e6 */

enum form { FORM_DOUBLE, FORM_INT, FORM_INT64, FORM_BOOL, FORM_END, FORM_GUARD };

/* How much of an array is in use. */
enum kept { KEPT_ALL, KEPT_PAST, KEPT_WINDOW };

struct field {
    const char *name;
    enum form form;
    size_t offset;
    int count; /* of an array */
    enum kept kept;
};

#define ONE(name, form)                                                                            \
    {                                                                                              \
#name, form, offsetof(struct step, name), 1, KEPT_ALL                                      \
    }
#define MANY(name, count, kept)                                                                    \
    {                                                                                              \
#name, FORM_DOUBLE, offsetof(struct step, name), count, kept                               \
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
    MANY(past_charge, STEP_PAST, KEPT_PAST),
    MANY(past_voltage, STEP_PAST, KEPT_PAST),
    ONE(stretch_start, FORM_DOUBLE),
    ONE(odd_currents, FORM_INT),
    ONE(tapering, FORM_BOOL),
    ROW(last),
    ROW(kept),
    ONE(row_due_us, FORM_INT64),
    ONE(level, FORM_INT),
    ONE(level_start, FORM_DOUBLE),
    MANY(level_voltage, PULSE_LEVELS, KEPT_ALL),
    MANY(level_current, PULSE_LEVELS, KEPT_ALL),
    ONE(window_count, FORM_INT),
    MANY(window_t, STEP_WINDOW, KEPT_WINDOW),
    MANY(window_v, STEP_WINDOW, KEPT_WINDOW),
    MANY(window_temperature, STEP_WINDOW, KEPT_WINDOW),
    ONE(gaps, FORM_INT),
    ONE(gap_time, FORM_DOUBLE),
    ONE(row_count, FORM_INT64),
    ONE(ended_by, FORM_END),
    ONE(guard, FORM_GUARD),
    ONE(interrupted, FORM_BOOL),
    ONE(tick, FORM_DOUBLE),
};

#define FIELD_COUNT (sizeof(fields) / sizeof(fields[0]))

/* How many of an array's elements hold anything. */
static int used(const struct step *step, const struct field *field)
{
    switch (field->kept) {
    case KEPT_PAST: return step->past_count;
    case KEPT_WINDOW: return step->window_count;
    case KEPT_ALL: break;
    }
    return field->count;
}

/* --- writing ---------------------------------------------------------------------------------- */

/* Digits of numbers to base 64. */
static const char digits[] = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz._";

/* A line being written, behind its version; every value after a space. */
struct line {
    char *at;
    uint64_t before; /* the bits of the last double written */
};

/* A value takes 12 bytes at most, or the longest name of an end or guard; and its space. */
#define VALUE_MOST 20
#define LINE_MOST                                                                                  \
    (sizeof FORMAT +                                                                               \
     VALUE_MOST * (FIELD_COUNT + 2 * STEP_PAST + 3 * STEP_WINDOW + 2 * PULSE_LEVELS))

static void put_digits(struct line *line, uint64_t number)
{
    int length = number ? (63 - __builtin_clzll(number)) / 6 + 1 : 1;
    for (int i = length - 1; i >= 0; i--, number >>= 6)
        line->at[i] = digits[number & 63];
    line->at += length;
}

static void put_whole(struct line *line, int64_t number)
{
    *line->at++ = number < 0 ? '-' : '+';
    put_digits(line, number < 0 ? 0 - (uint64_t)number : (uint64_t)number);
}

static void put_name(struct line *line, const char *name)
{
    size_t length = strlen(name);
    memcpy(line->at, name, length);
    line->at += length;
}

static double from_bits(uint64_t bits)
{
    double value;
    memcpy(&value, &bits, sizeof value);
    return value;
}

static uint64_t bits_of(double value)
{
    uint64_t bits;
    memcpy(&bits, &value, sizeof bits);
    return bits;
}

/* Bit for bit, and short: "=" as the one before, "nan"; a whole number of millionths as such, which
 * is what most instruments tell; any other by its bits. */
static void put_double(struct line *line, double value)
{
    uint64_t bits = bits_of(value), before = line->before;
    line->before = bits;
    if (bits == before) {
        *line->at++ = '=';
        return;
    }
    if (bits == bits_of(NAN)) {
        put_name(line, "nan");
        return;
    }
    if (fabs(value) < MILLIONTHS_MOST / 1e6) {
        double millionths = rint(value * 1e6);
        if (bits_of(millionths / 1e6) == bits && bits != bits_of(-0.0)) {
            put_whole(line, (int64_t)millionths);
            return;
        }
    }
    *line->at++ = '#';
    put_digits(line, bits);
}

static void put_doubles(struct line *line, const double *values, int count)
{
    for (int k = 0; k < count; k++) {
        *line->at++ = ' ';
        put_double(line, values[k]);
    }
}

static void put_field(struct line *line, const struct step *step, const struct field *field)
{
    const void *at = (const char *)step + field->offset;
    if (field->form == FORM_DOUBLE) {
        put_doubles(line, at, used(step, field));
        return;
    }
    *line->at++ = ' ';
    switch (field->form) {
    case FORM_DOUBLE: break;
    case FORM_INT: put_whole(line, *(const int *)at); break;
    case FORM_INT64: put_whole(line, *(const int64_t *)at); break;
    case FORM_BOOL: put_whole(line, *(const bool *)at); break;
    case FORM_END: put_name(line, step_end_name(*(const enum step_end *)at)); break;
    case FORM_GUARD: put_name(line, step_guard_name(*(const enum step_guard *)at)); break;
    }
}

void step_save(const struct step *step, struct text *out)
{
    char bytes[LINE_MOST];
    struct line line = {bytes, bits_of(0)};
    put_name(&line, FORMAT);
    for (size_t i = 0; i < FIELD_COUNT; i++)
        put_field(&line, step, &fields[i]);
    put_name(&line, " .");
    text_add_bytes(out, bytes, (size_t)(line.at - bytes));
}

/* --- reading ---------------------------------------------------------------------------------- */

static int digit_of(char byte)
{
    const char *at = byte ? strchr(digits, byte) : NULL;
    return at ? (int)(at - digits) : -1;
}

/* The end of the digits, or NULL when they are none or too many. */
static const char *take_digits(const char *text, uint64_t *number)
{
    const char *at = text;
    *number = 0;
    for (int digit; (digit = digit_of(*at)) >= 0; at++) {
        if (*number >> 58) /* the next six bits would push some out */
            return NULL;
        *number = *number << 6 | (uint64_t)digit;
    }
    return at == text ? NULL : at;
}

static const char *take_whole(const char *text, int64_t *to)
{
    uint64_t size;
    if (*text != '+' && *text != '-')
        return NULL;
    const char *end = take_digits(text + 1, &size);
    if (!end || size > INT64_MAX)
        return NULL;
    *to = *text == '-' ? -(int64_t)size : (int64_t)size;
    return end;
}

static const char *take_double(const char *text, uint64_t *before, double *to)
{
    int64_t millionths;
    const char *end;
    if (*text == '=') {
        end = text + 1;
    } else if (*text == '#') {
        end = take_digits(text + 1, before);
    } else if (strncmp(text, "nan", 3) == 0) {
        *before = bits_of(NAN);
        end = text + 3;
    } else {
        end = take_whole(text, &millionths);
        if (end)
            *before = bits_of((double)millionths / 1e6);
    }
    *to = from_bits(*before);
    return end;
}

static const char *take_name(const char *text, const char *(*name)(int), int count, int *to)
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

/* The same in both formats. */
static const char *take_end_or_guard(struct step *step, const struct field *field, const char *text)
{
    void *at = (char *)step + field->offset;
    int chosen;
    if (field->form == FORM_END) {
        text = take_name(text, end_name, STEP_END_COUNT, &chosen);
        *(enum step_end *)at = (enum step_end)chosen;
    } else {
        text = take_name(text, guard_name, STEP_GUARD_COUNT, &chosen);
        *(enum step_guard *)at = (enum step_guard)chosen;
    }
    return text;
}

static bool is_whole(const struct field *field)
{
    return field->form == FORM_INT || field->form == FORM_INT64 || field->form == FORM_BOOL;
}

static bool set_whole(struct step *step, const struct field *field, int64_t whole)
{
    void *at = (char *)step + field->offset;
    if (field->form == FORM_INT64) {
        *(int64_t *)at = whole;
        return true;
    }
    if (whole < 0 || whole > (field->form == FORM_BOOL ? 1 : 1000000))
        return false;
    if (field->form == FORM_BOOL)
        *(bool *)at = whole;
    else
        *(int *)at = (int)whole;
    return true;
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

/* Reads a field's values at `text`, each behind a space; the end of them, or NULL. */
static const char *take_field(struct step *step, const struct field *field, uint64_t *before,
                              const char *text)
{
    double *doubles = (void *)((char *)step + field->offset);
    int count = used(step, field);
    int64_t whole;
    if (count > field->count)
        return NULL;
    for (int k = 0; k < count && text; k++) {
        if (*text++ != ' ')
            return NULL;
        if (field->form == FORM_DOUBLE) {
            text = take_double(text, before, &doubles[k]);
        } else if (is_whole(field)) {
            text = take_whole(text, &whole);
            if (text && !set_whole(step, field, whole))
                return NULL;
        } else {
            text = take_end_or_guard(step, field, text);
        }
    }
    return text;
}

static int load_line(struct step *step, const char *saved, struct error *error)
{
    const char *at = saved + strlen(FORMAT);
    uint64_t before = bits_of(0);
    for (size_t i = 0; i < FIELD_COUNT; i++) {
        const char *end = take_field(step, &fields[i], &before, at);
        if (end == NULL)
            return refuse(error, "a value cannot be read, or is missing,", at);
        at = end;
    }
    return strcmp(at, " .") == 0 ? 0 : refuse(error, "it goes on with what is not known", at);
}

/* --- "step/1": names and decimals ------------------------------------------------------------- */

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

static const char *read_field(struct step *step, const struct field *field, const char *text)
{
    char *end;
    if (field->form == FORM_DOUBLE)
        return read_doubles(text, (void *)((char *)step + field->offset), field->count);
    if (!is_whole(field))
        return take_end_or_guard(step, field, text);
    errno = 0;
    int64_t whole = strtoll(text, &end, 10);
    return end == text || errno != 0 || !set_whole(step, field, whole) ? NULL : end;
}

static int load_named(struct step *step, const char *saved, struct error *error)
{
    bool seen[FIELD_COUNT] = {false};
    const char *at = saved + strlen(FORMAT_NAMED);
    while (*at == ' ') {
        const char *name = ++at;
        size_t length = strcspn(name, "= ");
        const struct field *field = find(name, length);
        if (field == NULL || name[length] != '=')
            return refuse(error, "a name is not known", name);
        if (seen[field - fields])
            return refuse(error, "a name comes twice", name);
        seen[field - fields] = true;
        at = read_field(step, field, name + length + 1);
        if (at == NULL)
            return refuse(error, "a value cannot be read", name);
    }
    if (*at != '\0')
        return refuse(error, "a value cannot be read", at);
    for (size_t i = 0; i < FIELD_COUNT; i++)
        if (!seen[i] && used(step, &fields[i]) > 0 && !came_later(&fields[i]))
            return refuse(error, "a name is missing", fields[i].name);
    return 0;
}

/* --- both ------------------------------------------------------------------------------------- */

static bool begins(const char *saved, const char *format)
{
    return strncmp(saved, format, strlen(format)) == 0;
}

int step_load(struct step *step, const char *saved, struct error *error)
{
    struct step loaded = *step;
    if (!begins(saved, FORMAT) && !begins(saved, FORMAT_NAMED))
        return refuse(error, "the format is not known", saved);
    if (begins(saved, FORMAT) ? load_line(&loaded, saved, error)
                              : load_named(&loaded, saved, error))
        return ERROR_LOGBOOK;
    if (loaded.past_count > STEP_PAST || loaded.window_count > STEP_WINDOW ||
        loaded.level > PULSE_LEVELS)
        return refuse(error, "a count is too large", saved);
    loaded.origin = BENCH_NEVER;
    loaded.rows = 0;
    *step = loaded;
    return 0;
}
