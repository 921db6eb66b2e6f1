/* Reading each cell's history. */
#include "verdict/history.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "analysis/summary.h"
#include "base/quantity.h"
#include "base/rows.h"
#include "base/text.h"
#include "logbook/checks.h"
#include "logbook/facts.h"

#define DAY (86400.0 * US_PER_S)

/* --- cells and models ------------------------------------------------------------------------- */

static void take_model(struct history *out, json_t *names, struct subject *subject,
                       const json_t *cell)
{
    const char *name = row_text(cell, "model");
    const json_t *known = json_object_get(names, name);
    subject->model = known ? (size_t)json_integer_value(known) : out->model_count;
    if (known)
        return;
    json_object_set_new(names, name, json_integer((json_int_t)out->model_count));
    out->models[out->model_count++] =
        (struct kind_of_cell){.name = name,
                              .size = row_text(cell, "size"),
                              .chemistry = row_text(cell, "chemistry"),
                              .maker = row_text(cell, "maker"),
                              .rated = 3600 * row_number(cell, "rated_Ah"),
                              .price = row_number(cell, "price"),
                              .currency = row_text(cell, "currency")};
}

/* *labels: label -> place among the subjects. */
static void take_cells(struct history *out, json_t **labels)
{
    json_t *names = json_object(), *cell;
    size_t count = json_array_size(out->cells), i;
    *labels = json_object();
    out->subjects = xcalloc(count + 1, sizeof *out->subjects);
    out->models = xcalloc(count + 1, sizeof *out->models);
    json_array_foreach(out->cells, i, cell)
    {
        struct subject *subject = &out->subjects[out->count];
        bool reference = json_is_true(json_object_get(cell, "reference"));
        *subject = (struct subject){.label = row_text(cell, "label"),
                                    .arm = "",
                                    .reference = reference,
                                    .aside = reference};
        take_model(out, names, subject, cell);
        json_object_set_new(*labels, subject->label, json_integer((json_int_t)out->count++));
    }
    json_decref(names);
}

static struct subject *subject_of(struct history *history, const json_t *labels, const char *label)
{
    const json_t *place = json_object_get(labels, label);
    return place ? &history->subjects[json_integer_value(place)] : NULL;
}

/* --- checks ----------------------------------------------------------------------------------- */

/* The same few texts come again and again: each is kept once. */
static const char *kept(struct history *history, const char *text)
{
    if (!json_object_get(history->texts, text) &&
        json_object_set_new(history->texts, text, json_true()))
        return "(not valid UTF-8)"; /* as listings say */
    return json_object_iter_key(json_object_iter_at(history->texts, text));
}

/* A protocol by its file's name. A study calls it without ".lua", and the two are one. */
static const char *protocol(struct history *history, const char *script)
{
    char name[256];
    size_t length = strlen(script);
    if (length <= 4 || length >= sizeof name || strcmp(script + length - 4, ".lua") != 0)
        return kept(history, script);
    string_copy(name, length - 4 + 1, script);
    return kept(history, name);
}

/* Protocols may declare mAh or mohm: what is compared is in one unit of its dimension. */
static double one_unit(const char *unit, const char **same)
{
    enum dimension dimension, own;
    double factor, bench;
    *same = unit;
    if (!unit[0] || unit_find(unit, &dimension, &factor) ||
        unit_find(dimension_unit(dimension), &own, &bench) || !(bench > 0))
        return 1;
    *same = dimension_unit(dimension);
    return strcmp(unit, *same) == 0 ? 1 : factor / bench;
}

static void take_check(struct history *history, struct subject *subject,
                       const struct check_record *row)
{
    const char *unit;
    double ratio = one_unit(row->unit, &unit);
    if (string_has_word(row->flags, "void")) {
        history->left_out++;
        return;
    }
    struct check check = {.name = kept(history, row->name),
                          .unit = kept(history, unit),
                          .script = protocol(history, row->script),
                          .channel = kept(history, row->channel),
                          .run = row->run,
                          .gap = string_has_word(row->flags, "gap"),
                          .value = ratio * row->value,
                          .uncertainty = ratio * row->uncertainty,
                          .correction_freedom = INFINITY,
                          .at = row->at,
                          .days = row->began_at && row->charged_at
                                      ? (double)(row->began_at - row->charged_at) / DAY
                                      : NAN,
                          .cycles = row->drawn / history->models[subject->model].rated,
                          .temperature = NAN,
                          .storage = ""};
    /* Recovered: charged again since, so the age is that at which it was opened. */
    if (strcmp(check.name, "recovered") == 0) {
        check.days = NAN;
        for (size_t i = subject->count; i-- > 0 && isnan(check.days);)
            if (subject->checks[i].run == check.run &&
                strcmp(subject->checks[i].name, "remaining") == 0)
                check.days = subject->checks[i].days;
    }
    if ((subject->count & (subject->count + 1)) == 0) /* room for 1, 3, 7 ... is used up */
        subject->checks =
            xrealloc(subject->checks, (2 * subject->count + 1) * sizeof *subject->checks);
    subject->checks[subject->count++] = check;
}

/* --- placements ------------------------------------------------------------------------------- */

static double temperature_of(const json_t *detail)
{
    const json_t *value = json_object_get(detail, "temperature");
    double degrees = NAN;
    struct error none = {0};
    if (json_is_number(value))
        degrees = json_number_value(value);
    else if (json_is_string(value) &&
             quantity_read(json_string_value(value), DIM_TEMPERATURE, 0, &degrees, &none))
        degrees = NAN;
    return degrees;
}

/* In use elsewhere from `from` to `to`: checks meanwhile and later count those cycles. */
static void add_cycles(struct subject *subject, double a_day, utc_us from, utc_us to)
{
    for (size_t i = 0; i < subject->count; i++) {
        utc_us until = subject->checks[i].at < to ? subject->checks[i].at : to;
        if (until <= from)
            continue;
        subject->checks[i].cycles += a_day * (double)(until - from) / DAY;
        subject->elsewhere = true;
    }
}

/* When the cell is next put anywhere else. */
static utc_us next_placement(const json_t *placements, size_t from, const char *cell)
{
    for (size_t i = from; i < json_array_size(placements); i++) {
        const json_t *row = json_array_get(placements, i);
        if (strcmp(row_text(row, "cell"), cell) == 0 && strcmp(row_text(row, "kind"), "arm") != 0)
            return row_instant(row, "at");
    }
    return INT64_MAX;
}

/* On the shelf from `at` on. */
static void take_storage(struct history *history, struct subject *subject, const json_t *detail,
                         utc_us at)
{
    char *dump = json_is_object(detail) ? json_dumps(detail, JSON_SORT_KEYS) : NULL;
    const char *storage = kept(history, dump ? dump : "");
    free(dump);
    for (size_t i = 0; i < subject->count; i++)
        if (subject->checks[i].at > at) {
            subject->checks[i].temperature = temperature_of(detail);
            subject->checks[i].storage = storage;
        }
}

static void take_placement(struct history *history, struct subject *subject, const json_t *row,
                           size_t place)
{
    const char *kind = row_text(row, "kind");
    const json_t *detail = json_object_get(row, "detail");
    utc_us at = row_instant(row, "at");
    if (strcmp(kind, "arm") == 0)
        subject->arm = row_text(row, "arm");
    if (strcmp(kind, "shelf") == 0)
        take_storage(history, subject, detail, at);
    double a_day = row_number(detail, "cycles_a_day");
    if (strcmp(kind, "service") == 0 && a_day > 0)
        add_cycles(subject, a_day, at,
                   next_placement(history->placements, place + 1, subject->label));
}

/* --- all of it -------------------------------------------------------------------------------- */

struct reading {
    struct history *history;
    json_t *labels;
};

static void visit_check(void *context, const struct check_record *row)
{
    struct reading *reading = context;
    struct subject *subject = subject_of(reading->history, reading->labels, row->cell);
    if (subject)
        take_check(reading->history, subject, row);
}

int history_open(struct history *out, struct logbook *logbook, json_t *cells, struct error *error)
{
    struct listing_filter all = {0};
    struct reading reading = {.history = out};
    json_t *row;
    size_t i;
    *out = (struct history){.cells = json_incref(cells), .texts = json_object()};
    if (!cells && logbook_list(logbook, LIST_CELLS, &all, &out->cells, error)) {
        history_close(out);
        return error->code;
    }
    take_cells(out, &reading.labels);
    logbook_read_ahead(logbook);
    if (logbook_checks(logbook, visit_check, &reading, error) ||
        logbook_list(logbook, LIST_PLACEMENTS, &all, &out->placements, error)) {
        json_decref(reading.labels);
        history_close(out);
        return error->code;
    }
    json_array_foreach(out->placements, i, row)
    {
        struct subject *subject = subject_of(out, reading.labels, row_text(row, "cell"));
        if (subject)
            take_placement(out, subject, row, i);
    }
    json_decref(reading.labels);
    return 0;
}

void history_close(struct history *history)
{
    for (size_t i = 0; i < history->count; i++)
        free(history->subjects[i].checks);
    free(history->subjects);
    free(history->models);
    json_decref(history->cells);
    json_decref(history->texts);
    json_decref(history->placements);
    *history = (struct history){0};
}

int history_keep_arm(struct history *history, const char *arm, struct error *error)
{
    size_t kept = 0;
    for (size_t i = 0; i < history->count; i++) {
        struct subject *subject = &history->subjects[i];
        subject->aside = subject->aside || strcmp(subject->arm, arm) != 0;
        kept += !subject->aside;
    }
    return kept ? 0
                : error_set(error, ERROR_FAILED, arm,
                            "perdure results --by model lists arms; a study makes them: s:split",
                            "no cell on record is in an arm of this name");
}

/* --- looking at it ---------------------------------------------------------------------------- */

size_t history_next(const struct subject *subject, const char *name, size_t from)
{
    while (from < subject->count && strcmp(subject->checks[from].name, name) != 0)
        from++;
    return from;
}

const struct check *history_first(const struct subject *subject, const char *name)
{
    size_t first = history_next(subject, name, 0);
    return first < subject->count ? &subject->checks[first] : NULL;
}

const struct check *history_last(const struct subject *subject, const char *name)
{
    for (size_t i = subject->count; i-- > 0;)
        if (strcmp(subject->checks[i].name, name) == 0)
            return &subject->checks[i];
    return NULL;
}

const struct check *history_worn(const struct subject *subject, const char *name,
                                 const struct check **before)
{
    const struct check *last = history_last(subject, name), *first = NULL;
    bool by_method = strncmp(name, "resistance", 10) == 0;
    for (size_t i = history_next(subject, name, 0); !first && i < subject->count;
         i = history_next(subject, name, i + 1))
        if (!by_method || strcmp(subject->checks[i].script, last->script) == 0)
            first = &subject->checks[i];
    if (before)
        *before = first;
    return first && last->cycles - first->cycles >= SERVICE_CYCLES ? last : NULL;
}

static struct fresh fresh_of_set(const struct history *history, size_t model)
{
    double *values = xcalloc(history->count + 1, sizeof *values);
    size_t count = 0;
    bool gap = false;
    for (size_t i = 0; i < history->count; i++) {
        const struct subject *subject = &history->subjects[i];
        const struct check *first = history_first(subject, "capacity");
        if (subject->model != model || subject->reference || !first ||
            strcmp(first->unit, "Ah") != 0)
            continue;
        values[count++] = 3600 * first->value;
        gap = gap || first->gap;
    }
    struct summary summary;
    summary_of(values, count, 0.95, &summary);
    free(values);
    return (struct fresh){.charge = summary.mean,
                          .of_set = true,
                          .gap = gap,
                          .relative = summary.standard_error / summary.mean,
                          .cells = count};
}

struct fresh history_fresh(const struct history *history, const struct subject *subject,
                           const struct check *check)
{
    struct fresh own = {.charge = NAN, .relative = NAN, .cells = 1};
    for (const struct check *c = subject->checks; c < check; c++)
        if (strcmp(c->name, "capacity") == 0 && strcmp(c->unit, "Ah") == 0) {
            own.charge = 3600 * c->value;
            own.gap = c->gap;
            own.own = c;
        }
    return isfinite(own.charge) ? own : fresh_of_set(history, subject->model);
}

bool history_same_age(double days, double other)
{
    return fabs(days - other) <= fmax(0.5, 0.1 * fmin(fabs(days), fabs(other)));
}

void history_add_arm(struct text *name, const char *arm)
{
    text_addf(name, ", %s", arm[0] ? arm : "no arm");
}
