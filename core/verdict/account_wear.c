/* Wear in tables: capacity and resistance over cycles, the forms that fit, cycles to a level. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "verdict/account.h"
#include "verdict/service.h"

static const struct column capacity_columns[] = {
    {"group", "model", 'n'},
    {"cells", "cells", 'r'},
    {"cycles", "cycles", 'l'},
    {"first", "first / Ah", 'r'},
    {"last", "last / Ah", 'r'},
    {"of_rating", "last / % of rating", 'r'},
    {"change", "change / %", 'r'},
    {"change_interval", "95 %", 'l'},
    {"p", "p (paired)", 'r'},
    {"fade", "mAh per 100 cycles", 'r'},
    {"fade_interval", "95 %", 'l'},
    {"note", "to note", 'l'},
    {NULL, NULL, 0},
};

static const struct column level_columns[] = {
    {"group", "model", 'n'},           {"level", "of rating", 'l'},
    {"reached", "seen in", 'l'},       {"seen", "half of the cells by", 'l'},
    {"form", "course", 'l'},           {"fitted", "cycles by fit", 'r'},
    {"interval", "95 % of mean", 'l'}, {"beyond", "beyond the data", 'l'},
    {"note", "to note", 'l'},          {NULL, NULL, 0},
};

static const struct column form_columns[] = {
    {"group", "model", 'n'},   {"form", "course", 'l'}, {"aicc", "AICc", 'r'},
    {"behind", "behind", 'r'}, {"best", "taken", 'l'},  {"note", "to note", 'l'},
    {NULL, NULL, 0},
};

static const struct column resistance_columns[] = {
    {"group", "model", 'n'},
    {"test", "compared", 'l'},
    {"cells", "cells", 'l'},
    {"before", "before / mohm", 'r'},
    {"after", "after / mohm", 'r'},
    {"change", "change / mohm", 'r'},
    {"interval", "95 %", 'l'},
    {"percent", "change / %", 'r'},
    {"p", "p", 'r'},
    {"rise", "mohm per 100 cycles", 'r'},
    {"rise_interval", "95 %", 'l'},
    {"note", "to note", 'l'},
    {NULL, NULL, 0},
};

/* The status of the comparison, else that of the slope. */
static void put_note(json_t *row, enum analysis_status compared, enum analysis_status slope)
{
    if (compared != ANALYSIS_OK)
        put_status(row, "note", compared);
    else if (slope != ANALYSIS_OK)
        put_text(row, "note", "no slope: %s: %s", analysis_status_text(slope),
                 analysis_status_todo(slope));
}

/* --- capacity --------------------------------------------------------------------------------- */

static json_t *tell_capacity(struct sheet *sheet, const struct service_group *group, double rated)
{
    const struct wear_pair *pair = &group->capacity;
    const struct summary *fade = &group->fade.a_cycle;
    json_t *row = sheet_row(sheet), *facts = json_object();
    put_text(row, "group", "%s", group->name.bytes);
    put_text(row, "cells", "%zu", group->count);
    if (!group->count) {
        put_text(row, "note", "not enough data: no capacity was checked before and after service");
        return facts;
    }
    put_range(row, "cycles", group->cycles_least, group->cycles_most, 0);
    put_text(row, "first", "%.4f", group->first.mean / 3600);
    put_text(row, "last", "%.4f", group->last.mean / 3600);
    put_text(row, "of_rating", "%.2f", 100 * group->last.mean / rated);
    if (isfinite(pair->change))
        put_text(row, "change", "%.2f", 100 * pair->change);
    put_range(row, "change_interval", 100 * pair->change_low, 100 * pair->change_high, 2);
    if (isfinite(pair->p))
        put_text(row, "p", "%.2g", pair->p);
    if (isfinite(fade->mean))
        put_text(row, "fade", "%.2f", 100 * fade->mean / 3.6);
    put_range(row, "fade_interval", 100 * fade->low / 3.6, 100 * fade->high / 3.6, 2);
    put_note(row, group->capacity_status, group->fade.status);
    json_object_set_new(facts, "cells", json_integer((json_int_t)group->count));
    put_number(facts, "cycles_least", group->cycles_least);
    put_number(facts, "cycles_most", group->cycles_most);
    put_number(facts, "first_Ah", group->first.mean / 3600);
    put_number(facts, "last_Ah", group->last.mean / 3600);
    put_number(facts, "last_percent_of_rating", 100 * group->last.mean / rated);
    put_number(facts, "change_percent", 100 * pair->change);
    put_number(facts, "change_low", 100 * pair->change_low);
    put_number(facts, "change_high", 100 * pair->change_high);
    put_number(facts, "p", pair->p);
    put_number(facts, "Ah_per_cycle", fade->mean / 3600);
    put_number(facts, "Ah_per_cycle_low", fade->low / 3600);
    put_number(facts, "Ah_per_cycle_high", fade->high / 3600);
    put_status(facts, "statement", group->capacity_status);
    put_status(facts, "fade_statement", group->fade.status);
    return facts;
}

static json_t *tell_forms(struct sheet *sheet, const struct service_group *group)
{
    json_t *list = json_array();
    for (int form = 0; form < FIT_CHOICES && group->count; form++) {
        bool shown = group->chosen || form == group->form; /* else one line stands for all */
        json_t *row = shown ? sheet_row(sheet) : json_object();
        json_t *facts = json_pack("{s:s, s:s, s:b}", "form", service_forms[form]->name, "formula",
                                  service_forms[form]->formula, "taken", form == group->form);
        put_text(row, "group", "%s", group->name.bytes);
        put_text(row, "form", "%s: %s", service_forms[form]->name, service_forms[form]->formula);
        put_number(facts, "aicc", group->aicc[form]);
        if (isfinite(group->aicc[form])) {
            put_text(row, "aicc", "%.2f", group->aicc[form]);
            put_text(row, "behind", "%.2f", group->aicc[form] - group->aicc[group->form]);
        } else {
            put_status(row, "note", ANALYSIS_TOO_FEW);
            put_status(facts, "statement", ANALYSIS_TOO_FEW);
        }
        put_text(row, "best", "%s",
                 form != group->form ? ""
                 : group->chosen     ? "yes"
                                     : "for lack of data to choose by");
        json_array_append_new(list, facts);
        if (!shown)
            json_decref(row);
    }
    return list;
}

/* --- levels ----------------------------------------------------------------------------------- */

static json_t *cells_of(const struct service_group *group, const struct service_level *level)
{
    json_t *list = json_array();
    for (size_t c = 0; c < group->count; c++) {
        const struct fit_crossing *each = &level->each[c];
        json_t *one = json_pack("{s:s}", "cell", group->capacities[c].subject->label);
        bool known = each->level > 0; /* the analysis stops at the first cell that it cannot fit */
        put_number(one, "cycles", known ? each->x : NAN);
        put_number(one, "low", known ? each->low : NAN);
        put_number(one, "high", known ? each->high : NAN);
        json_object_set_new(one, "extrapolated", json_boolean(known && each->extrapolated));
        json_array_append_new(list, one);
    }
    return list;
}

static json_t *tell_level(struct sheet *sheet, const struct service_group *group,
                          const struct service_level *level)
{
    const struct summary *cycles = &level->fitted.cycles;
    /* One cell has no scatter between cells, but its own fit has an interval. */
    bool one = group->count == 1 && level->status == ANALYSIS_ONE_CELL;
    double low = one ? level->each[0].low : cycles->low;
    double high = one ? level->each[0].high : cycles->high;
    json_t *row = sheet_row(sheet), *facts = json_object();
    put_text(row, "group", "%s", group->name.bytes);
    put_text(row, "level", "%.0f %%", 100 * level->part);
    put_text(row, "reached", "%zu of %zu cells", level->reached, group->count);
    if (isfinite(level->seen.median)) {
        if (isfinite(level->seen.median_low) && isfinite(level->seen.median_high))
            put_text(row, "seen", "%.0f (%.0f to %.0f)", level->seen.median, level->seen.median_low,
                     level->seen.median_high);
        else
            put_text(row, "seen", "%.0f", level->seen.median);
    }
    put_text(row, "form", "%s", service_forms[group->form]->name);
    if (isfinite(cycles->mean)) {
        put_text(row, "fitted", "%.0f", cycles->mean);
        put_range(row, "interval", low, high, 0);
        if (level->fitted.cells_extrapolated)
            put_text(row, "beyond", "%zu of %zu cells", level->fitted.cells_extrapolated,
                     group->count);
    }
    if (one)
        put_text(row, "note", "one cell only: the interval is that of its own fit");
    else if (level->from_the_start)
        put_text(row, "note", "%zu below it at the first check", level->from_the_start);
    else
        put_status(row, "note", level->status);
    put_number(facts, "percent_of_rating", 100 * level->part);
    json_object_set_new(facts, "cells", json_integer((json_int_t)group->count));
    json_object_set_new(facts, "cells_reached", json_integer((json_int_t)level->reached));
    put_number(facts, "median_cycles", level->seen.median);
    put_number(facts, "median_low", level->seen.median_low);
    put_number(facts, "median_high", level->seen.median_high);
    put_text(facts, "form", "%s", service_forms[group->form]->name);
    put_number(facts, "fitted_cycles", cycles->mean);
    put_number(facts, "low", isfinite(cycles->mean) ? low : NAN);
    put_number(facts, "high", isfinite(cycles->mean) ? high : NAN);
    json_object_set_new(facts, "extrapolated",
                        json_integer((json_int_t)level->fitted.cells_extrapolated));
    put_status(facts, "statement", level->status);
    json_object_set_new(facts, "each", cells_of(group, level));
    return facts;
}

/* --- resistance ------------------------------------------------------------------------------- */

static json_t *tell_paired(struct sheet *sheet, const struct service_group *group)
{
    const struct wear_pair *pair = &group->resistance;
    const struct summary *rise = &group->rise.a_cycle;
    json_t *row = sheet_row(sheet), *facts = json_object();
    put_text(row, "group", "%s", group->name.bytes);
    put_text(row, "test", "same cells, first and last");
    put_text(row, "cells", "%zu", group->resistance_count);
    if (!group->resistance_count) {
        put_text(row, "note",
                 "not enough data: no cell's resistance was measured before and after "
                 "service by one protocol");
        put_text(facts, "statement", "not enough data");
        return facts;
    }
    put_text(row, "before", "%.2f", 1000 * group->before.mean);
    put_text(row, "after", "%.2f", 1000 * group->after.mean);
    put_text(row, "change", "%.2f", 1000 * pair->difference);
    put_range(row, "interval", 1000 * pair->low, 1000 * pair->high, 2);
    if (isfinite(pair->change))
        put_text(row, "percent", "%.1f", 100 * pair->change);
    if (isfinite(pair->p))
        put_text(row, "p", "%.2g", pair->p);
    if (isfinite(rise->mean))
        put_text(row, "rise", "%.2f", 1e5 * rise->mean);
    put_range(row, "rise_interval", 1e5 * rise->low, 1e5 * rise->high, 2);
    put_note(row, group->resistance_status, group->rise.status);
    json_object_set_new(facts, "cells", json_integer((json_int_t)group->resistance_count));
    put_text(facts, "script", "%s", group->resistances[0].script);
    put_number(facts, "before_ohm", group->before.mean);
    put_number(facts, "after_ohm", group->after.mean);
    put_number(facts, "change_ohm", pair->difference);
    put_number(facts, "low", pair->low);
    put_number(facts, "high", pair->high);
    put_number(facts, "change_percent", 100 * pair->change);
    put_number(facts, "p", pair->p);
    put_number(facts, "ohm_per_cycle", rise->mean);
    put_number(facts, "ohm_per_cycle_low", rise->low);
    put_number(facts, "ohm_per_cycle_high", rise->high);
    put_status(facts, "statement", group->resistance_status);
    return facts;
}

static json_t *tell_against(struct sheet *sheet, const struct service_group *group)
{
    const struct difference *d = &group->against;
    json_t *facts = json_object();
    put_status(facts, "statement", group->against_status);
    if (!group->unworn.count)
        return facts;
    json_t *row = sheet_row(sheet);
    put_text(row, "group", "%s", group->name.bytes);
    put_text(row, "test", "worn cells with others that were not in service");
    put_text(row, "cells", "%zu and %zu", group->resistance_count, group->unworn.count);
    put_text(row, "before", "%.2f", 1000 * group->unworn.mean);
    put_text(row, "after", "%.2f", 1000 * group->after.mean);
    if (isfinite(d->mean))
        put_text(row, "change", "%.2f", 1000 * d->mean);
    put_range(row, "interval", 1000 * d->low, 1000 * d->high, 2);
    if (isfinite(d->p))
        put_text(row, "p", "%.2g", d->p);
    put_status(row, "note", group->against_status);
    json_object_set_new(facts, "worn_cells", json_integer((json_int_t)group->resistance_count));
    json_object_set_new(facts, "unworn_cells", json_integer((json_int_t)group->unworn.count));
    put_number(facts, "unworn_ohm", group->unworn.mean);
    put_number(facts, "worn_ohm", group->after.mean);
    put_number(facts, "difference_ohm", d->mean);
    put_number(facts, "low", d->low);
    put_number(facts, "high", d->high);
    put_number(facts, "p", d->p);
    return facts;
}

/* --- all -------------------------------------------------------------------------------------- */

static bool some_elsewhere(const struct history *history)
{
    for (size_t i = 0; i < history->count; i++)
        if (history->subjects[i].elsewhere)
            return true;
    return false;
}

static json_t *courses_of(const struct service_course *courses, size_t count, const char *unit,
                          double factor)
{
    json_t *list = json_array();
    for (size_t c = 0; c < count; c++) {
        json_t *points = json_array();
        for (size_t k = 0; k < courses[c].count; k++) {
            json_t *point = json_object();
            put_number(point, "cycles", courses[c].cycles[k]);
            put_number(point, unit, factor * courses[c].values[k]);
            json_array_append_new(points, point);
        }
        json_array_append_new(
            list, json_pack("{s:s, s:o}", "cell", courses[c].subject->label, "checks", points));
    }
    return list;
}

int account_of_wear(struct account *out, const struct history *history, struct error *error)
{
    struct service service;
    if (service_of(&service, history, error))
        return error->code;
    account_begin(out);
    struct sheet *capacity = account_sheet(out, "Capacity over cycles", capacity_columns);
    struct sheet *levels = account_sheet(out, "Cycles to a level of capacity", level_columns);
    struct sheet *forms =
        account_sheet(out, "Courses that were fitted to the capacities", form_columns);
    struct sheet *resistance =
        account_sheet(out, "Resistance before and after", resistance_columns);
    size_t gaps = 0;
    for (size_t g = 0; g < service.count; g++) {
        const struct service_group *group = &service.groups[g];
        const struct kind_of_cell *model = &history->models[group->model];
        json_t *reached = json_array();
        for (size_t c = 0; c < group->count; c++)
            gaps += group->capacities[c].gaps;
        json_t *facts = json_pack("{s:s, s:s}", "model", model->name, "arm", group->arm);
        json_object_set_new(facts, "capacity", tell_capacity(capacity, group, model->rated));
        for (size_t l = 0; l < SERVICE_LEVELS && group->count; l++)
            json_array_append_new(reached, tell_level(levels, group, &group->level[l]));
        json_object_set_new(facts, "levels", reached);
        json_object_set_new(facts, "courses", tell_forms(forms, group));
        json_object_set_new(facts, "resistance", tell_paired(resistance, group));
        json_object_set_new(facts, "resistance_against_unworn", tell_against(resistance, group));
        json_object_set_new(facts, "capacities",
                            courses_of(group->capacities, group->count, "Ah", 1 / 3600.0));
        json_object_set_new(facts, "resistances",
                            courses_of(group->resistances, group->resistance_count, "ohm", 1));
        json_array_append_new(out->document, facts);
    }
    sheet_note(capacity,
               "A cycle: the rated charge drawn once. Cells with ten cycles or more between their "
               "first and last check%s. Change: of each cell against its own first (paired t).",
               some_elsewhere(history) ? "; cycles that a study says were made outside the bench "
                                         "are counted as it says"
                                       : "");
    note_gaps(capacity, gaps);
    if (service.not_in_service)
        sheet_note(capacity, "%zu cell%s not in service left out.", service.not_in_service,
                   service.not_in_service == 1 ? "" : "s");
    sheet_note(levels, "Seen: between checks by straight lines; half of the cells by the "
                       "product-limit estimate, which counts those still going. By fit: each "
                       "cell's own, Student's t over cells.");
    sheet_note(forms, "Taken: the least AICc (Akaike's criterion, corrected for few points) summed "
                      "over the cells' own fits. Less than 2 behind is no reason to prefer one.");
    sheet_note(resistance, "By one protocol each: figures of different methods do not compare. "
                           "Paired t test, or Welch's for different cells.");
    service_free(&service);
    return 0;
}
