/* Cycles to a level, observed and fitted; paired comparison. */
#include "analysis/wear.h"

#include <math.h>
#include <stdlib.h>

#include "analysis/numbers.h"
#include "base/text.h"

static enum analysis_status check_course(const struct wear_course *course, double part)
{
    if (course->count == 0)
        return ANALYSIS_NO_DATA;
    if (isnan(course->reference))
        return ANALYSIS_NO_REFERENCE;
    if (!isfinite(course->reference) || !isfinite(part) ||
        !all_finite(course->cycles, course->count) || !all_finite(course->values, course->count))
        return ANALYSIS_NOT_FINITE;
    if (course->reference <= 0 || part <= 0 || part == 1)
        return ANALYSIS_OUT_OF_RANGE;
    if (course->cycles[0] < 0)
        return ANALYSIS_NEGATIVE_TIME;
    for (size_t i = 1; i < course->count; i++) {
        if (course->cycles[i] <= course->cycles[i - 1])
            return ANALYSIS_TIME_ORDER;
    }
    return ANALYSIS_OK;
}

enum analysis_status wear_observed(const struct wear_course *course, double part,
                                   struct wear_event *out)
{
    *out = (struct wear_event){NAN, false};
    enum analysis_status status = check_course(course, part);
    if (status != ANALYSIS_OK)
        return status;
    double level = part * course->reference, way = part < 1 ? 1 : -1;
    const double *n = course->cycles, *v = course->values;
    for (size_t i = 0; i < course->count; i++) {
        double above = way * (v[i] - level);
        if (above > 0)
            continue;
        double before = i == 0 ? 0 : way * (v[i - 1] - level);
        out->reached = true;
        out->cycles = i == 0 ? n[0] : n[i - 1] + before / (before - above) * (n[i] - n[i - 1]);
        return ANALYSIS_OK;
    }
    out->cycles = n[course->count - 1];
    return ANALYSIS_NOT_REACHED;
}

enum analysis_status wear_fitted(const struct wear_course *course, const struct fit_form *form,
                                 double part, double confidence, struct fit_crossing *out)
{
    *out = (struct fit_crossing){NAN, NAN, NAN, NAN, NAN, false};
    enum analysis_status status = check_course(course, part);
    struct fit fit;
    if (status == ANALYSIS_OK)
        status = fit_points(form, course->cycles, course->values, course->count, &fit);
    if (status == ANALYSIS_OK)
        status = fit_reaches(&fit, part * course->reference, confidence, out);
    if (status != ANALYSIS_OK)
        return status;
    /* A curve that runs the other way has its crossing before the first cycle. */
    double after = fit.form->value(out->x + fmax(1, fabs(out->x)), fit.value);
    bool passes = part < 1 ? after < out->level : after > out->level;
    if (out->x < 0 || !passes) {
        *out = (struct fit_crossing){out->level, NAN, NAN, NAN, NAN, false};
        return ANALYSIS_NOT_REACHED;
    }
    out->low = fmax(out->low, 0);
    return ANALYSIS_OK;
}

enum analysis_status wear_of_arm(const struct wear_course *courses, size_t cells,
                                 const struct fit_form *form, double part, double confidence,
                                 struct fit_crossing *each, struct wear_summary *out)
{
    summary_of(NULL, 0, confidence, &out->cycles);
    out->cells_reached = out->cells_extrapolated = 0;
    if (cells == 0)
        return ANALYSIS_NO_DATA;
    double *cycles = xmalloc(cells * sizeof *cycles);
    enum analysis_status status = ANALYSIS_OK;
    for (size_t c = 0; c < cells && status == ANALYSIS_OK; c++) {
        status = wear_fitted(&courses[c], form, part, confidence, &each[c]);
        if (status == ANALYSIS_NOT_REACHED) {
            status = ANALYSIS_OK;
            continue;
        }
        cycles[out->cells_reached++] = each[c].x;
        out->cells_extrapolated += each[c].extrapolated;
    }
    if (status == ANALYSIS_OK && out->cells_reached < cells)
        status = out->cells_reached == 0 ? ANALYSIS_NOT_REACHED : ANALYSIS_CENSORED;
    if (status == ANALYSIS_OK)
        status = summary_of(cycles, cells, confidence, &out->cycles);
    if (out->cycles.low < 0) /* no cell gives less than none */
        out->cycles.low = 0;
    free(cycles);
    return status;
}

enum analysis_status wear_paired(const double *before, const double *after, size_t cells,
                                 double confidence, struct wear_pair *out)
{
    *out = (struct wear_pair){NAN, NAN, NAN, NAN, NAN, NAN, NAN, NAN, NAN, NAN};
    double *x = xmalloc(cells * sizeof *x + 1);
    bool above_0 = true;
    for (size_t c = 0; c < cells; c++) {
        x[c] = after[c] - before[c];
        above_0 = above_0 && before[c] > 0;
    }
    struct summary all;
    enum analysis_status status = summary_of(x, cells, confidence, &all);
    out->difference = all.mean;
    out->sd = all.sd;
    if (status == ANALYSIS_OK) {
        out->low = all.low;
        out->high = all.high;
        out->t = all.mean / all.standard_error;
        out->freedom = (double)(cells - 1);
        out->p = t_two_sided(out->t, out->freedom);
    }
    if (above_0 &&
        (status == ANALYSIS_OK || status == ANALYSIS_ONE_CELL || status == ANALYSIS_NO_SPREAD)) {
        for (size_t c = 0; c < cells; c++)
            x[c] /= before[c];
        summary_of(x, cells, confidence, &all);
        out->change = all.mean;
        out->change_low = all.low;
        out->change_high = all.high;
    }
    free(x);
    return status;
}
