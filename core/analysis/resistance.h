/* Internal resistance of one cell by direct current: from two steps, as the standards have it, and
 * from the shape of the voltage after a change of current, as ohmic and polarisation parts.
 *
 * Figures by different methods, timings or currents are different quantities: a Thevenin cell of
 * 20 mohm + 15 mohm (30 s) shows 21.5 mohm by 10 s and 3 s, 20.6 mohm by 10 s and 1 s. */
#ifndef PERDURE_ANALYSIS_RESISTANCE_H
#define PERDURE_ANALYSIS_RESISTANCE_H

#include <stddef.h>

#include "analysis/curve.h"

/* R = (U1 - U2) / (I2 - I1): after a step at I1 the voltage U1, after one at the larger current I2
 * of the same direction U2 (IEC 61951-2, IEC 61960-3; timings from your own copy). Currents are
 * magnitudes of a discharge. */
enum analysis_status resistance_two_step(double u1, double i1, double u2, double i2, double *ohm);

struct two_step {
    double u1, i1, u2, i2; /* V, A; currents as magnitudes */
    double ohm;
};
/* From the record of a pulse: U1 is the last voltage before the largest rise of the current, U2 the
 * voltage `second_time` seconds later. ANALYSIS_TOO_FEW when the first step is shorter than
 * `first_time` or the record ends early. */
enum analysis_status resistance_of_pulse(const struct curve *curve, double first_time,
                                         double second_time, struct two_step *out);

/* Ohmic resistance R0, polarisation resistance R1 and its time constant, from what follows a change
 * of current from I to I': V(t) = V_end + b exp(-t/tau), with R0 from the jump at once and
 * R1 = b / (I (1 - exp(-held/tau)) - I'). Least squares; standard errors by the delta method. The
 * open-circuit voltage is taken as steady meanwhile: keep pulses short. */
struct relaxation {
    double voltage_before;                /* V, the last before the change */
    double current_before, current_after; /* A, signed alike; discharge negative as in curve.h */
    double held; /* s for which current_before flowed, out of rest; INFINITY for long enough */
    const double *time, *voltage; /* s since the change, V; samples after it */
    size_t count;
};
struct resistance_parts {
    double r0, r0_error; /* ohm, standard error */
    double r1, r1_error;
    double tau, tau_error; /* s */
    double end_voltage;    /* V that the course tends to */
    double residual_sd;    /* V */
    double freedom;
};
/* ANALYSIS_NO_FIT where the record is too short, or too coarse, to bend. */
enum analysis_status resistance_of_relaxation(const struct relaxation *relaxation,
                                              struct resistance_parts *out);

/* The same from a record that has the change in it: the largest between two samples. The course is
 * what follows, up to the next change of half its size or more. `held` as above; NAN for as long as
 * the record shows the current before the change, which must come out of rest or begin the record:
 * ANALYSIS_TOO_FEW where another current flowed before that. */
enum analysis_status resistance_of_change(const struct curve *curve, double held,
                                          struct resistance_parts *out);

#endif
