/* By model and arm: how the cells lie about their mean, which are out of line, and a statement
 * where there is no number. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "analysis/numbers.h"
#include "analysis/summary.h"
#include "analysis/uncertainty.h"
#include "base/rows.h"
#include "base/text.h"
#include "report/rounded.h"
#include "verdict/account.h"
#include "verdict/pile.h"

#define CONFIDENCE   0.95
#define OUTLIER_RISK 0.05

static const struct column columns[] = {
    {"group", "group", 'n'},   {"arm", "arm", 'l'},
    {"result", "result", 'l'}, {"unit", "unit", 'l'},
    {"cells", "cells", 'r'},   {"mean", "mean", 'r'},
    {"sd", "sd", 'r'},         {"interval", "95 % of mean", 'l'},
    {"least", "least", 'r'},   {"median", "median", 'r'},
    {"most", "greatest", 'r'}, {"outliers", "out of line", 'l'},
    {"note", "to note", 'l'},  {NULL, NULL, 0},
};

/* --- numbers ---------------------------------------------------------------------------------- */

static void widen(struct summary *s, double shared, double freedom)
{
    struct uncertainty_input inputs[] = {{1, s->standard_error, (double)s->count - 1},
                                         {1, shared, freedom}};
    struct uncertainty all;
    if (shared > 0 && isfinite(s->standard_error) &&
        uncertainty_combine(inputs, 2, NULL, CONFIDENCE, &all) == ANALYSIS_OK) {
        s->low = s->mean - all.expanded;
        s->high = s->mean + all.expanded;
    }
}

/* Those out of line, one after the other by Grubbs' test on the rest; at most a fifth of them. */
static json_t *outliers_of(const struct pile *pile)
{
    json_t *found = json_array();
    double *values = xmalloc((pile->count + 1) * sizeof *values);
    size_t *which = xmalloc((pile->count + 1) * sizeof *which), count = pile->count;
    for (size_t i = 0; i < count; i++) {
        values[i] = pile->values[i];
        which[i] = i;
    }
    struct outlier worst;
    while (5 * (pile->count - count) < pile->count &&
           summary_outlier(values, count, OUTLIER_RISK, &worst) == ANALYSIS_OK && worst.found) {
        size_t i = which[worst.index];
        json_array_append_new(found, json_pack("{s:s, s:f}", "cell", pile->subjects[i]->label,
                                               "value", pile->values[i]));
        count--;
        values[worst.index] = values[count];
        which[worst.index] = which[count];
    }
    free(values);
    free(which);
    return found;
}

/* To the place of the second digit of `spread`, as far as that is known. */
static void put_value(json_t *row, const char *key, double value, double spread)
{
    char text[40];
    if (isfinite(value))
        put_text(row, key, "%s", rounded_value(value, spread, text, sizeof text));
}

static void put_outliers(json_t *row, const json_t *outliers, double factor)
{
    struct text text = TEXT_EMPTY;
    size_t i;
    json_t *one;
    json_array_foreach(outliers, i, one)
    {
        text_addf(&text, "%s%s (%.4g)", i ? ", " : "", row_text(one, "cell"),
                  factor * row_number(one, "value"));
    }
    if (text.length)
        put_text(row, "outliers", "%s", text.bytes);
    text_free(&text);
}

static json_t *values_of(const struct pile *pile)
{
    json_t *list = json_array();
    for (size_t i = 0; i < pile->count; i++) {
        json_t *one = json_pack("{s:s}", "cell", pile->subjects[i]->label);
        put_number(one, "value", pile->values[i]);
        put_number(one, "cycles", pile->checks[i]->cycles);
        json_object_set_new(one, "gap", json_boolean(pile->checks[i]->gap));
        json_array_append_new(list, one);
    }
    return list;
}

static void tell(struct account *out, struct sheet *sheet, struct pile *pile)
{
    pile_fill(pile);
    if (!pile->count)
        return;
    struct summary s;
    enum analysis_status status = summary_of(pile->values, pile->count, CONFIDENCE, &s);
    if (strcmp(pile->unit, "Ah") == 0 && summary_one_rating(pile->rated, pile->count)) {
        status = ANALYSIS_MIXED_RATINGS;
        summary_of(NULL, 0, CONFIDENCE, &s);
    }
    if (status == ANALYSIS_OK && are_alike(pile->values, pile->count)) {
        status = ANALYSIS_NO_SPREAD;
        s.sd = 0;
        s.low = s.high = s.standard_error = NAN;
    }
    if (pile->going) {
        status = ANALYSIS_CENSORED;
        summary_of(NULL, 0, CONFIDENCE, &s);
    }
    double shared = pile_shared_error(pile);
    widen(&s, shared, pile_shared_freedom(pile));
    bool small = strcmp(pile->unit, "ohm") == 0;
    double factor = small ? 1000 : 1;
    json_t *outliers = status == ANALYSIS_OK ? outliers_of(pile) : json_array();
    char called[96];
    string_copy(called, sizeof called, pile->result);
    if (isfinite(pile->age))
        snprintf(called, sizeof called, "%s@%.0fd", pile->result, pile->age);

    json_t *row = sheet_row(sheet);
    put_text(row, "group", "%s", pile->group);
    put_text(row, "arm", "%s", pile->arm ? pile->arm : "");
    put_text(row, "result", "%s", called);
    put_text(row, "unit", "%s", small ? "mohm" : pile->unit);
    put_text(row, "cells", "%zu", pile->count);
    double sd = factor * s.sd;
    put_value(row, "mean", factor * s.mean, sd);
    put_value(row, "sd", sd, sd);
    put_interval(row, "interval", factor * s.low, factor * s.high);
    put_value(row, "least", factor * s.minimum, sd);
    put_value(row, "median", factor * s.median, sd);
    put_value(row, "most", factor * s.maximum, sd);
    put_outliers(row, outliers, factor);
    put_status(row, "note", status);

    json_t *facts = json_pack("{s:s, s:s?, s:s, s:s, s:s, s:i}", pile->by, pile->group, "arm",
                              pile->arm, "result", called, "unit", pile->unit, "takes", pile->takes,
                              "cells", (int)pile->count);
    put_number(facts, "mean", s.mean);
    put_number(facts, "sd", s.sd);
    put_number(facts, "confidence", CONFIDENCE);
    put_number(facts, "low", s.low);
    put_number(facts, "high", s.high);
    put_number(facts, "least", s.minimum);
    put_number(facts, "lower_quartile", s.lower_quartile);
    put_number(facts, "median", s.median);
    put_number(facts, "upper_quartile", s.upper_quartile);
    put_number(facts, "greatest", s.maximum);
    put_number(facts, "correction_uncertainty", shared);
    put_number(facts, "correction_freedom", shared > 0 ? pile_shared_freedom(pile) : NAN);
    json_object_set_new(facts, "outliers", outliers);
    json_object_set_new(facts, "values", values_of(pile));
    put_status(facts, "statement", status);
    json_array_append_new(out->document, facts);
}

/* --- which results, groups and arms ----------------------------------------------------------- */

/* Adds the text where the list does not have it yet. */
static void add_once(json_t *list, const char *text)
{
    size_t i;
    json_t *known;
    json_array_foreach(list, i, known)
    {
        if (strcmp(json_string_value(known), text) == 0)
            return;
    }
    json_array_append_new(list, json_string(text));
}

/* By their names, so that they have one order in all groups and results. */
static void add_arm(json_t *arms, const char *arm)
{
    size_t i = 0;
    while (i < json_array_size(arms) && strcmp(json_string_value(json_array_get(arms, i)), arm) < 0)
        i++;
    const char *next = json_string_value(json_array_get(arms, i));
    if (!next || strcmp(next, arm) != 0)
        json_array_insert_new(arms, i, json_string(arm));
}

/* All cells of the group, and where they are in several arms, each arm by itself. */
static void tell_arms(struct account *out, struct sheet *sheet, struct pile *pile)
{
    json_t *arms = json_array(), *arm;
    size_t i;
    pile->arm = NULL;
    pile_fill(pile);
    for (i = 0; i < pile->count; i++)
        add_arm(arms, pile->subjects[i]->arm);
    const char *first = json_string_value(json_array_get(arms, 0));
    if (json_array_size(arms) == 1 && first[0])
        pile->arm = first;
    tell(out, sheet, pile);
    json_array_foreach(arms, i, arm)
    {
        pile->arm = json_string_value(arm);
        if (json_array_size(arms) > 1 && pile->arm[0])
            tell(out, sheet, pile);
    }
    json_decref(arms);
}

static int by_number(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* The ages at which any cell of any group was opened, those that count as one told once: a check
 * has one name in all groups. */
static void tell_ages(struct account *out, struct sheet *sheet, struct pile *pile)
{
    const struct history *history = pile->history;
    size_t most = 0, count = 0;
    for (size_t i = 0; i < history->count; i++)
        most += history->subjects[i].count;
    double *days = xmalloc((most + 1) * sizeof *days);
    for (size_t i = 0; i < history->count; i++) {
        const struct subject *s = &history->subjects[i];
        for (size_t k = history_next(s, pile->kind->result, 0); k < s->count && !s->aside;
             k = history_next(s, pile->kind->result, k + 1))
            if (isfinite(s->checks[k].days))
                days[count++] = s->checks[k].days;
    }
    qsort(days, count, sizeof *days, by_number);
    for (size_t from = 0, to; from < count; from = to) {
        for (to = from + 1; to < count && history_same_age(days[to], days[from]);)
            to++;
        pile->age = days[from + (to - from) / 2];
        while (to < count && history_same_age(days[to], pile->age)) /* taken with it: */
            to++;                                                   /* no age of their own */
        tell_arms(out, sheet, pile);
    }
    pile->age = NAN;
    free(days);
}

static void tell_kind(struct account *out, struct sheet *sheet, struct pile *pile,
                      const struct criterion_kind *kind, const char *unit)
{
    pile->kind = kind;
    pile->result = kind->name;
    pile->unit = unit;
    pile->takes = kind->takes;
    if (kind->of_age)
        tell_ages(out, sheet, pile);
    else
        tell_arms(out, sheet, pile);
}

/* "EUR/Wh"; NULL where the group's prices are in several currencies. */
static const char *unit_of_money(const struct pile *pile, char *unit, size_t size)
{
    const char *currency = NULL;
    for (size_t i = 0; i < pile->history->count; i++) {
        const struct subject *subject = &pile->history->subjects[i];
        const struct kind_of_cell *model = &pile->history->models[subject->model];
        if (strcmp(pile_key(pile->history, subject, pile->by), pile->group) != 0 ||
            isnan(model->price))
            continue;
        if (currency && strcmp(currency, model->currency) != 0)
            return NULL;
        currency = model->currency;
    }
    snprintf(unit, size, "%s/Wh", currency ? currency : "");
    return unit;
}

/* One kind of result in its units. */
static void tell_units(struct account *out, struct sheet *sheet, struct pile *pile,
                       const struct criterion_kind *kind)
{
    char money[32];
    const char *unit = kind->unit;
    if (unit[0] == '/')
        unit = unit_of_money(pile, money, sizeof money);
    if (!unit) {
        sheet_note(sheet, "%s: no %s, for its prices are in several currencies.", pile->group,
                   kind->name);
        return;
    }
    if (unit[0] == '%')
        tell_kind(out, sheet, pile, kind, "Ah");
    tell_kind(out, sheet, pile, kind, unit);
}

static bool is_kind(const struct check *check)
{
    for (const struct criterion_kind *kind = criterion_kinds; kind->name; kind++)
        if (strcmp(kind->result, check->name) == 0 && strcmp(kind->name, check->name) == 0 &&
            strcmp(kind->unit[0] == '%' ? "Ah" : kind->unit, check->unit) == 0)
            return true;
    return false;
}

/* Results that are no criterion: each cell's last, in each unit by itself. */
static void tell_others(struct account *out, struct sheet *sheet, struct pile *pile,
                        const char *name)
{
    const struct history *history = pile->history;
    json_t *names = json_object(), *units, *one;
    for (size_t i = 0; i < history->count; i++)
        for (size_t k = 0; k < history->subjects[i].count; k++) {
            const struct check *check = &history->subjects[i].checks[k];
            if (is_kind(check) || (name && strcmp(check->name, name) != 0))
                continue;
            if (!json_object_get(names, check->name))
                json_object_set_new(names, check->name, json_object());
            json_object_set_new(json_object_get(names, check->name), check->unit, json_true());
        }
    pile->kind = NULL;
    pile->takes = "each cell's last";
    json_object_foreach(names, pile->result, units)
    {
        json_object_foreach(units, pile->unit, one)
        {
            tell_arms(out, sheet, pile);
        }
    }
    json_decref(names);
}

/* Of the values shown, each row's by itself. */
static size_t count_gaps(const json_t *document)
{
    size_t i, k, count = 0;
    json_t *row, *one;
    json_array_foreach(document, i, row)
    {
        json_array_foreach(json_object_get(row, "values"), k, one)
        {
            count += json_is_true(json_object_get(one, "gap"));
        }
    }
    return count;
}

/* What the rows took, said once for each result that is shown. */
static void say_takes(struct sheet *sheet, const json_t *document, const struct history *history,
                      bool only)
{
    note_gaps(sheet, count_gaps(document));
    if (history->left_out)
        sheet_note(sheet, "%zu result%s of steps that must not be used (void) left out.",
                   history->left_out, history->left_out == 1 ? "" : "s");
    for (const struct criterion_kind *kind = criterion_kinds; kind->name; kind++) {
        bool shown = false;
        size_t i, length = strlen(kind->name);
        json_t *row;
        json_array_foreach(sheet->rows, i, row)
        {
            const char *result = row_text(row, "result");
            shown = shown || (strncmp(result, kind->name, length) == 0 &&
                              (!result[length] || result[length] == '@'));
        }
        if (shown)
            sheet_note(sheet, "%s: %s.", kind->name, kind->takes);
    }
    if (!only)
        sheet_note(sheet, "Other results: each cell's last.");
    sheet_note(sheet, "sd: standard deviation between cells. Interval: Student's t. Out of line: "
                      "by Grubbs' test, 5 %%; marked, never left out.");
}

int account_of_groups(struct account *out, const struct history *history, const char *by,
                      const char *name, bool verdict, struct error *error)
{
    if (strcmp(by, "model") != 0 && strcmp(by, "size") != 0 && strcmp(by, "chemistry") != 0 &&
        strcmp(by, "maker") != 0)
        return error_set(error, ERROR_USAGE, by, "say model, size, chemistry or maker",
                         "cells are not grouped by this");
    size_t i;
    struct pile pile;
    pile_open(&pile, history, by);
    json_t *groups = json_array(), *group;
    account_begin(out);
    struct sheet *sheet = account_sheet(out, "Cells about their mean", columns);
    for (i = 0; i < history->count; i++)
        if (!history->subjects[i].aside)
            add_once(groups, pile_key(history, &history->subjects[i], by));
    json_array_foreach(groups, i, group)
    {
        pile.group = json_string_value(group);
        for (const struct criterion_kind *kind = criterion_kinds; kind->name; kind++) {
            if ((name && strcmp(kind->name, name) != 0) || (verdict && kind->beside))
                continue;
            if (!name && strcmp(kind->name, "capacity_Ah") == 0)
                continue; /* "capacity" is told in Ah as well */
            tell_units(out, sheet, &pile, kind);
        }
        if (!verdict)
            tell_others(out, sheet, &pile, name);
    }
    json_decref(groups);
    pile_close(&pile);
    if (!json_array_size(sheet->rows)) {
        account_free(out);
        return error_set(error, ERROR_FAILED, name ? name : "results",
                         "perdure results lists what is on record",
                         "no such result of a cell is on record");
    }
    say_takes(sheet, out->document, history, name || verdict);
    return 0;
}
