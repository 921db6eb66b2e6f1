/* What one cell gave, from the samples of a charge or discharge: charge, energy, voltages.
 *
 * Integrals are those of the step layer: the trapezoid of current, and of power, over the samples'
 * own times. A record that was thinned gives the charge of the thinned record; the figure that
 * counts is the step's own, taken at every control tick. */
#ifndef PERDURE_ANALYSIS_CURVE_H
#define PERDURE_ANALYSIS_CURVE_H

#include <stdbool.h>
#include <stddef.h>

#include "analysis/status.h"

/* Samples in order of time. SI: s, V, A. Current is positive into the cell. Not owned. */
struct curve {
    const double *time, *voltage, *current;
    size_t count;
};

/* At least `least` finite samples, in order of time. */
enum analysis_status curve_check(const struct curve *curve, size_t least);

struct curve_options {
    double rated;       /* rated charge, A.s; NAN when not wanted */
    double end_voltage; /* V: measure up to where the line between two samples crosses it (falling
                           in a discharge, rising in a charge); NAN for the whole curve */
    double gap; /* s: samples further apart are a gap, reported and never bridged; NAN: none */
};

struct curve_measures {
    double charge;        /* A.s, magnitude */
    double energy;        /* J, magnitude */
    double of_rating;     /* charge / rated; NAN without a rating */
    double duration;      /* s, gaps left out */
    double first_voltage; /* V */
    double last_voltage;  /* V */
    double mean_voltage;  /* V, mean over time */
    double mid_voltage;   /* V when half of the charge had passed */
    bool reached;         /* the end voltage was crossed */
    size_t gaps;
    double gap_time; /* s */
};

/* ANALYSIS_MIXED_DIRECTIONS when charge went both in and out (more than 1 % the lesser way). Where
 * no charge passed at all, as in a rest, the charge is 0 and mid_voltage NAN. */
enum analysis_status curve_measure(const struct curve *curve, const struct curve_options *options,
                                   struct curve_measures *out);

/* Charge efficiency: charge given back over charge put in, both between the same states. The same
 * for energies. May exceed 1 by what the measurement is unsure of, or when states differ. */
enum analysis_status curve_efficiency(double out_of_cell, double into_cell, double *efficiency);

#endif
