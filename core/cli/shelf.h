/* What was left in cells after their time on the shelf, and the course of it by model: results
 * "remaining" by age, the age counted from the end of the cell's last charge to the start of the
 * discharge that found out. */
#ifndef PERDURE_CLI_SHELF_H
#define PERDURE_CLI_SHELF_H

#include <stddef.h>

#include "cli/evidence.h"

#define SHELF_CONFIDENCE 0.95
#define SHELF_FIT        60 /* points of a curve */

struct shelf_check {
    const char *cell;
    double days;
    double left, fresh; /* A.s */
    double temperature; /* degC; NAN */
};

struct shelf_point {
    double days, value, low, high; /* fractions of the fresh charge */
};

struct shelf_model {
    const struct evidence_model *model;
    struct shelf_check *checks;
    size_t count;
    struct shelf_point *fit; /* NULL where no curve fits */
    size_t fit_count;
    const char *form;       /* name of its form; NULL without */
    const char *why_no_fit; /* NULL with */
    double days_least, days_most;
};

struct shelf {
    struct shelf_model *models; /* those with checks */
    size_t count;
    size_t left_out; /* checks without a charge or a fresh capacity before them */
};

/* Curves go on to `ahead` times the last check's age. ERROR_FAILED when no check can be used. */
int shelf_of(struct shelf *out, const struct evidence *evidence, double ahead, struct error *error);
void shelf_free(struct shelf *shelf);

/* What the model's curve, or without one the checks of that age, say is left at an age; low and
 * high NAN where not known. False when nothing is known there. */
bool shelf_at(const struct shelf_model *model, double days, struct shelf_point *out);

#endif
