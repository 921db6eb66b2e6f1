/* Discharge curves: of each cell the discharge that its first capacity was read from, so that what
 * a shelf or service did to some of them does not mix in. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "logbook/facts.h"
#include "logbook/steps.h"
#include "report/chart_discharge.h"
#include "verdict/drawing.h"

struct points {
    double *charge, *voltage;
    size_t count, room;
    int64_t last_us;
    double last_current, sum;
    const json_t *gaps; /* rows with from_s and to_s */
};

struct span {
    double low, high;
};

struct gathered {
    struct discharge_model *models;
    double *median; /* A.s, of each model */
    size_t count, curves, with_gaps, left_out;
    struct span rate, stop, temperature;
};

static void widen(struct span *span, double value)
{
    if (!isfinite(value))
        return;
    span->low = isfinite(span->low) ? fmin(span->low, value) : value;
    span->high = isfinite(span->high) ? fmax(span->high, value) : value;
}

/* --- one curve -------------------------------------------------------------------------------- */

static void add_point(struct points *p, double charge, double voltage)
{
    if (p->count == p->room) {
        p->room = p->room ? 2 * p->room : 256;
        p->charge = xrealloc(p->charge, p->room * sizeof *p->charge);
        p->voltage = xrealloc(p->voltage, p->room * sizeof *p->voltage);
    }
    p->charge[p->count] = charge;
    p->voltage[p->count++] = voltage;
}

static bool unobserved(const struct points *p, int64_t from_us, int64_t to_us)
{
    size_t i;
    json_t *gap;
    json_array_foreach(p->gaps, i, gap)
    {
        if (1e6 * row_number(gap, "from_s") < (double)to_us &&
            1e6 * row_number(gap, "to_s") > (double)from_us)
            return true;
    }
    return false;
}

/* Trapezoids, as the current is drawn. */
static int take_sample(void *context, int64_t k, const struct sample *sample)
{
    struct points *p = context;
    if (k > 0) {
        double seconds = (double)(sample->t_us - p->last_us) / 1e6;
        if (unobserved(p, p->last_us, sample->t_us))
            add_point(p, NAN, NAN); /* nor is what flowed meanwhile in the result */
        else
            p->sum += fmax(0, -(sample->current + p->last_current) / 2 * seconds);
    }
    p->last_us = sample->t_us;
    p->last_current = sample->current;
    add_point(p, p->sum, sample->voltage);
    return 0;
}

/* A check whose curve may be drawn. */
struct checked {
    const char *label; /* of the cell */
    json_t *step;      /* owned: the discharge that its capacity was read from */
    double charge;     /* Ah, on record */
};

static void curve_free(struct discharge_curve *curve)
{
    free((double *)curve->charge);
    free((double *)curve->voltage);
    *curve = (struct discharge_curve){0};
}

static int read_curve(const struct drawing *drawing, const struct checked *checked,
                      struct discharge_curve *out, struct error *error)
{
    struct logbook *logbook = drawing->evidence->logbook;
    struct listing_filter of_step = {
        .step = json_integer_value(json_object_get(checked->step, "step"))};
    struct points points = {0};
    json_t *gaps = NULL;
    if (!json_integer_value(json_object_get(checked->step, "gaps")) ||
        !logbook_list(logbook, LIST_GAPS, &of_step, &gaps, error)) {
        points.gaps = gaps;
        logbook_samples(logbook, of_step.step, take_sample, &points, error);
    }
    *out = (struct discharge_curve){checked->label, points.charge, points.voltage, points.count};
    json_decref(gaps);
    return error->code;
}

/* The discharge that a result was read from; none where it has no readings. */
static int find_step(const struct drawing *drawing, const json_t *check, struct checked *out,
                     struct error *error)
{
    struct listing_filter filter = {.step = json_integer_value(json_object_get(check, "step"))};
    json_t *steps = NULL;
    if (!filter.step ||
        logbook_list(drawing->evidence->logbook, LIST_STEPS, &filter, &steps, error))
        return error->code;
    json_t *step = json_array_get(steps, 0);
    /* The step before a result need not be the one that gave it: break-in rests in between. */
    if (strcmp(row_text(step, "kind"), "discharge") == 0 &&
        json_integer_value(json_object_get(step, "samples"))) {
        out->step = json_incref(step);
        out->charge = row_number(step, "charge_Ah");
    }
    json_decref(steps);
    return error->code;
}

/* Of every check, drawn or not. */
static void note_conditions(struct gathered *all, const json_t *step, double rated)
{
    widen(&all->rate,
          row_number(step, "charge_Ah") / row_number(step, "duration_h") / (rated / 3600));
    widen(&all->stop, row_number(json_object_get(step, "plan"), "voltage"));
    widen(&all->temperature, row_number(step, "max_temperature_degC"));
    all->with_gaps += json_integer_value(json_object_get(step, "gaps")) > 0;
    all->curves++;
}

/* --- models ----------------------------------------------------------------------------------- */

/* Curves drawn of one model. More could not be told apart, and would make a page heavy. */
#define CURVES_MOST 17

static double charge_of(const struct discharge_curve *curve)
{
    return curve->charge[curve->count - 1];
}

static int by_drawn_charge(const void *a, const void *b)
{
    double x = charge_of(a), y = charge_of(b);
    return (x > y) - (x < y);
}

static int by_charge(const void *a, const void *b)
{
    const struct checked *x = a, *y = b;
    return (x->charge > y->charge) - (x->charge < y->charge);
}

/* Keeps those that are drawn, in order of their charge: all, or of many some evenly over their
 * order, the least, the greatest and the median among them. Gives back how many. By the charges on
 * record, so that of the others no reading is looked at. */
static size_t keep_some(struct checked *checks, size_t count)
{
    size_t kept = 0;
    qsort(checks, count, sizeof *checks, by_charge);
    for (size_t i = 0; i < count && count > CURVES_MOST; i++) {
        /* The middle of those kept is the lower of the middle two, as the chart takes the median.
         */
        size_t half = CURVES_MOST / 2, middle = (count - 1) / 2;
        size_t next = kept <= half ? kept * middle / half
                                   : middle + (kept - half) * (count - 1 - middle) / half;
        if (kept < CURVES_MOST && i == next)
            checks[kept++] = checks[i];
        else
            json_decref(checks[i].step);
    }
    return count > CURVES_MOST ? kept : count;
}

/* Each cell's first capacity with readings. `out` has room for all cells of the model. */
static size_t find_checks(struct gathered *all, const struct drawing *drawing,
                          const struct evidence_model *model, struct checked *out,
                          struct error *error)
{
    size_t count = 0, i, c;
    json_t *cell, *check;
    json_array_foreach(model->cells, i, cell)
    {
        struct checked first = {.label = row_text(cell, "label")};
        json_t *checks = results_of(drawing->evidence, first.label, "capacity");
        json_array_foreach(checks, c, check)
        {
            if (error->code || find_step(drawing, check, &first, error) || first.step)
                break;
        }
        json_decref(checks);
        if (!first.step)
            continue;
        note_conditions(all, first.step, model->rated);
        out[count++] = first;
    }
    return count;
}

static int gather_model(struct gathered *all, const struct drawing *drawing,
                        const struct evidence_model *model, struct error *error)
{
    struct checked *checks = xcalloc(json_array_size(model->cells) + 1, sizeof *checks);
    size_t found = find_checks(all, drawing, model, checks, error);
    size_t kept = keep_some(checks, found), count = 0;
    struct discharge_curve *curves = xcalloc(kept + 1, sizeof *curves);
    for (size_t i = 0; i < kept; i++) {
        struct discharge_curve *curve = &curves[count];
        if (!error->code && !read_curve(drawing, &checks[i], curve, error) && curve->count)
            count++;
        else
            curve_free(curve);
        json_decref(checks[i].step);
    }
    free(checks);
    all->left_out += found - kept;
    if (!count) {
        free(curves);
        return error->code;
    }
    qsort(curves, count, sizeof *curves, by_drawn_charge);
    all->median[all->count] = charge_of(&curves[(count - 1) / 2]);
    all->models[all->count++] = (struct discharge_model){model->name, model->style, curves, count};
    return error->code;
}

/* --- words ------------------------------------------------------------------------------------ */

static double rating_of(const struct evidence *evidence, const char *model)
{
    for (size_t m = 0; m < evidence->model_count; m++)
        if (evidence->models[m].name == model)
            return evidence->models[m].rated;
    return NAN;
}

static void say(const struct gathered *all, const struct evidence *evidence, struct text *title,
                struct text *conditions, struct text *note)
{
    size_t best = 0;
    for (size_t m = 1; m < all->count; m++)
        if (all->median[m] > all->median[best])
            best = m;
    double part = 100 * all->median[best] / rating_of(evidence, all->models[best].name);
    text_addf(title, "%s gives %s%.0f\xc2\xa0mAh%s, %.0f\xc2\xa0%% of its rating",
              evidence_said(evidence, all->models[best].name),
              all->count > 1 ? "the most charge: " : "", all->median[best] / 3.6,
              all->models[best].count > 1 ? " in its middle cell" : "", part);
    text_add(conditions, "Discharge at ");
    add_range(conditions, all->rate.low, all->rate.high, "It");
    if (isfinite(all->stop.low)) {
        text_add(conditions, " to ");
        add_range(conditions, all->stop.low, all->stop.high, "V");
    }
    text_addf(conditions, ", each cell's first capacity check; %zu cell%s", all->curves,
              all->curves == 1 ? "" : "s");
    if (isfinite(all->temperature.high))
        text_addf(conditions,
                  ", at most %.0f \xc2\xb0"
                  "C",
                  all->temperature.high);
    text_add(conditions, ".");
    if (all->with_gaps)
        text_addf(note, "%zu curve%s not observed throughout: what flowed meanwhile is missing. ",
                  all->with_gaps, all->with_gaps == 1 ? " was" : "s were");
    if (all->left_out)
        text_addf(note, "Of many cells of a model %d are drawn, evenly over their charges. ",
                  CURVES_MOST);
    evidence_source(evidence, note);
}

static void refuse(const struct evidence *evidence, struct error *error)
{
    if (evidence_count(evidence, "by hand"))
        error_set(error, ERROR_FAILED, "discharge",
                  "run capacity on channels of instruments, or import a curve",
                  "a display that is read by hand gives the charge and no curve");
    else
        error_set(error, ERROR_FAILED, "discharge", "run capacity on the cells first",
                  "no capacity check with readings is on record");
}

int draw_discharge(struct text *out, const struct drawing *drawing, struct error *error)
{
    const struct evidence *evidence = drawing->evidence;
    struct gathered all = {.models = xcalloc(evidence->model_count, sizeof *all.models),
                           .median = xcalloc(evidence->model_count, sizeof *all.median),
                           .rate = {NAN, NAN},
                           .stop = {NAN, NAN},
                           .temperature = {NAN, NAN}};
    for (size_t m = 0; m < evidence->model_count && !error->code; m++)
        gather_model(&all, drawing, &evidence->models[m], error);
    if (!error->code && !all.count)
        refuse(evidence, error);
    if (!error->code) {
        struct chart_words words = CHART_WORDS_NONE;
        say(&all, evidence, &words.title, &words.conditions, &words.note);
        struct discharge_chart chart = {.head = chart_words_head(drawing, "discharge", &words),
                                        .models = all.models,
                                        .count = all.count,
                                        .end_voltage =
                                            all.stop.low == all.stop.high ? all.stop.low : NAN};
        chart_discharge(out, &chart);
        chart_words_done(drawing, &words);
    }
    for (size_t m = 0; m < all.count; m++) {
        struct discharge_curve *curves = (struct discharge_curve *)all.models[m].cells;
        for (size_t i = 0; i < all.models[m].count; i++)
            curve_free(&curves[i]);
        free(curves);
    }
    free(all.models);
    free(all.median);
    return error->code;
}
