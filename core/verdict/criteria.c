/* One value a cell by each criterion. */
#include "verdict/criteria.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "analysis/ranking.h"
#include "analysis/summary.h"
#include "analysis/wear.h"
#include "base/text.h"

const struct criterion_kind criterion_kinds[] = {
    {"capacity", "Capacity, of rating", true, false, "capacity", "%",
     "each cell's first capacity, of its rating", false},
    {"capacity_Ah", "Capacity", true, false, "capacity", "Ah", "each cell's first capacity", true},
    {"worn", "Capacity in service, of rating", true, false, "capacity", "%",
     "the last capacity of each cell in service, of its rating", false},
    {"remaining", "Left", true, true, "remaining", "%",
     "what was left after storage, of the cell's own capacity before", false},
    {"recovered", "Brought back by a charge", true, true, "recovered", "%",
     "what a charge after storage brought back, of the cell's own capacity before", false},
    {"resistance", "Resistance", false, false, "resistance", "ohm", "each cell's first resistance",
     false},
    {"resistance_worn", "Resistance in service", false, false, "resistance", "ohm",
     "the last resistance of each cell in service, by the protocol of its first", false},
    {"resistance_ac", "AC resistance", false, false, "resistance_ac", "ohm",
     "each cell's first resistance by alternating current", false},
    {"resistance_ac_worn", "AC resistance in service", false, false, "resistance_ac", "ohm",
     "the last resistance by alternating current of each cell in service, by the protocol of its "
     "first",
     false},
    {"delivered", "Delivered in all", true, false, "delivered", "Ah",
     "what a cell delivered in all runs that say so, added up", false},
    {"mean_voltage", "Mean voltage", true, false, "mean_voltage", "V",
     "each cell's first mean voltage of a discharge", true},
    {"cycles", "Cycles", true, false, "cycles", "", "each cell's last count of cycles", true},
    {"price", "Price of the energy of a discharge", false, false, "energy", "/Wh",
     "price of a cell by the energy of its first discharge on record", true},
    {"cost", "Price of all energy delivered", false, false, "capacity", "/Wh",
     "price of a cell by the energy that it delivers until a check finds 80 % of its rating", true},
    {NULL, NULL, false, false, NULL, NULL, NULL, false},
};

const struct criterion_kind *criterion_kind_of(const char *name)
{
    for (const struct criterion_kind *kind = criterion_kinds; kind->name; kind++)
        if (strcmp(kind->name, name) == 0)
            return kind;
    return NULL;
}

static bool is(const struct criterion_kind *kind, const char *name)
{
    return strcmp(kind->name, name) == 0;
}

/* --- single values ---------------------------------------------------------------------------- */

static struct taken none(void)
{
    return (struct taken){NAN, 0, NAN, NAN, NULL, false, false};
}

static struct taken as_it_is(const struct check *check, double factor)
{
    if (!check)
        return none();
    return (struct taken){.value = factor * check->value,
                          .correction = fabs(factor) * check->correction,
                          .cycles = check->cycles,
                          .days = check->days,
                          .check = check};
}

/* A result of another unit is something else that has the same name. */
static struct taken in_unit(const struct check *check, const char *unit)
{
    return check && strcmp(check->unit, unit) == 0 ? as_it_is(check, 1) : none();
}

static struct taken of_rating(const struct history *history, const struct subject *subject,
                              const struct check *check)
{
    if (!check || strcmp(check->unit, "Ah") != 0)
        return none();
    return as_it_is(check, 100 * 3600 / history->models[subject->model].rated);
}

/* What two biases taken off leave of a ratio: nothing of one channel's, which is in both. */
static double of_ratio(const struct check *left, const struct check *fresh, double value)
{
    if (strcmp(left->channel, fresh->channel) == 0)
        return 0;
    return fabs(value) * hypot(left->correction / left->value, fresh->correction / fresh->value);
}

static struct taken of_fresh(const struct history *history, const struct subject *subject,
                             const struct criterion_kind *kind, double age)
{
    const struct check *found = NULL;
    for (size_t i = 0; i < subject->count; i++)
        if (strcmp(subject->checks[i].name, kind->result) == 0 &&
            strcmp(subject->checks[i].unit, "Ah") == 0 &&
            history_same_age(subject->checks[i].days, age))
            found = &subject->checks[i];
    if (!found)
        return none();
    struct fresh fresh = history_fresh(history, subject, found);
    if (isnan(fresh.charge))
        return none();
    struct taken taken = as_it_is(found, 100 * 3600 / fresh.charge);
    taken.of_set = fresh.of_set;
    if (fresh.own)
        taken.correction = of_ratio(found, fresh.own, taken.value);
    return taken;
}

static struct taken added_up(const struct subject *subject, const struct criterion_kind *kind)
{
    struct taken taken = none();
    for (size_t i = 0; i < subject->count; i++) {
        if (strcmp(subject->checks[i].name, kind->result) != 0 ||
            strcmp(subject->checks[i].unit, kind->unit) != 0)
            continue;
        struct taken one = as_it_is(&subject->checks[i], 1);
        one.value += taken.check ? taken.value : 0;
        one.correction += taken.correction; /* of one channel: they add */
        taken = one;
    }
    return taken;
}

/* --- money ------------------------------------------------------------------------------------ */

/* The energy of one discharge, J; and the mean voltage of it, V. */
static double first_energy(const struct subject *subject, double *volts)
{
    const struct check *energy = history_first(subject, "energy"), *charge = NULL;
    *volts = NAN;
    if (!energy || strcmp(energy->unit, "Wh") != 0)
        return NAN;
    for (size_t i = 0; i < subject->count && !charge; i++)
        if (subject->checks[i].run == energy->run &&
            strcmp(subject->checks[i].name, "capacity") == 0)
            charge = &subject->checks[i];
    if (charge)
        *volts = energy->value / charge->value;
    return 3600 * energy->value;
}

static struct taken price_of(const struct history *history, const struct subject *subject)
{
    double volts;
    struct taken taken = as_it_is(history_first(subject, "energy"), 1);
    if (ranking_cost_per_wh(history->models[subject->model].price, first_energy(subject, &volts),
                            &taken.value) != ANALYSIS_OK)
        return none();
    taken.correction = 0;
    return taken;
}

/* A cycle is the rated charge drawn once, so that the charge of a life is cycles x rating. */
static struct taken cost_of(const struct history *history, const struct subject *subject)
{
    double *cycles = xcalloc(subject->count + 1, sizeof *cycles);
    double *values = xcalloc(subject->count + 1, sizeof *values), volts;
    double rated = history->models[subject->model].rated;
    struct wear_course course = {cycles, values, 0, rated};
    for (size_t i = history_next(subject, "capacity", 0); i < subject->count;
         i = history_next(subject, "capacity", i + 1)) {
        cycles[course.count] = subject->checks[i].cycles;
        values[course.count++] = 3600 * subject->checks[i].value;
    }
    struct wear_event event;
    struct taken taken = as_it_is(history_last(subject, "capacity"), 1);
    first_energy(subject, &volts);
    double price = history->models[subject->model].price;
    enum analysis_status status = wear_observed(&course, WEAR_WORN, &event);
    bool known =
        ranking_cost_per_wh(price, event.cycles * rated * volts, &taken.value) == ANALYSIS_OK;
    free(cycles);
    free(values);
    taken.correction = 0;
    taken.cycles = event.cycles;
    if (status == ANALYSIS_OK && known)
        return taken;
    taken = none();
    taken.still_going = status == ANALYSIS_NOT_REACHED && isfinite(price) &&
                        history_worn(subject, "capacity", NULL) != NULL;
    return taken;
}

/* --- all -------------------------------------------------------------------------------------- */

struct taken criterion_take(const struct history *history, const struct subject *subject,
                            const struct criterion_kind *kind, double age)
{
    if (is(kind, "capacity"))
        return of_rating(history, subject, history_first(subject, "capacity"));
    if (is(kind, "capacity_Ah"))
        return in_unit(history_first(subject, "capacity"), kind->unit);
    if (is(kind, "worn"))
        return of_rating(history, subject, history_worn(subject, "capacity", NULL));
    if (is(kind, "resistance_worn") || is(kind, "resistance_ac_worn"))
        return in_unit(history_worn(subject, kind->result, NULL), kind->unit);
    if (is(kind, "cycles"))
        return in_unit(history_last(subject, "cycles"), kind->unit);
    if (is(kind, "delivered"))
        return added_up(subject, kind);
    if (is(kind, "price"))
        return price_of(history, subject);
    if (is(kind, "cost"))
        return cost_of(history, subject);
    if (kind->of_age)
        return of_fresh(history, subject, kind, age);
    return in_unit(history_first(subject, kind->result), kind->unit);
}

/* --- ages ------------------------------------------------------------------------------------- */

struct opened {
    double days;
    size_t model;
};

static int by_age(const void *a, const void *b)
{
    double x = ((const struct opened *)a)->days, y = ((const struct opened *)b)->days;
    return (x < y) - (x > y); /* oldest first */
}

/* The median of the checks of the age of opened[from], where all models are among them. */
static double age_of_all(const struct opened *opened, size_t from, size_t count, size_t models,
                         size_t wanted)
{
    bool *seen = xcalloc(models + 1, sizeof *seen);
    size_t to = from, have = 0;
    for (; to < count && history_same_age(opened[to].days, opened[from].days); to++) {
        have += !seen[opened[to].model];
        seen[opened[to].model] = true;
    }
    free(seen);
    return have == wanted && have ? opened[from + (to - from) / 2].days : NAN;
}

double criterion_common_age(const struct history *history, const struct criterion_kind *kind,
                            const bool *wanted)
{
    size_t count = 0, most = 0, models = 0;
    for (size_t i = 0; i < history->count; i++)
        most += history->subjects[i].count;
    for (size_t m = 0; m < history->model_count; m++)
        models += !wanted || wanted[m];
    struct opened *opened = xcalloc(most + 1, sizeof *opened);
    for (size_t i = 0; i < history->count; i++) {
        const struct subject *subject = &history->subjects[i];
        for (size_t k = 0; k < subject->count && !subject->aside; k++)
            if (strcmp(subject->checks[k].name, kind->result) == 0 &&
                isfinite(subject->checks[k].days) && (!wanted || wanted[subject->model]))
                opened[count++] = (struct opened){subject->checks[k].days, subject->model};
    }
    qsort(opened, count, sizeof *opened, by_age);
    double age = NAN;
    for (size_t i = 0; i < count && isnan(age); i++)
        if (i == 0 || opened[i].days < opened[i - 1].days)
            age = age_of_all(opened, i, count, history->model_count, models);
    free(opened);
    return age;
}
