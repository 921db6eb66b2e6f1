/* What an instrument's stated accuracy does to charge, energy and resistance.
 *
 * An accuracy entry "0.05 % + 2 mV" is a limit: the error lies within +-(0.05 % of the reading +
 * 2 mV), anywhere in it as likely (rectangular, JCGM 100:2008, 4.3.7). The error of one instrument
 * changes little in the hours of a run, so over a run it adds up and does not average out: an
 * offset of 1 mA over 10 h is 10 mAh. Scatter between cells is another matter: see summary.h. */
#ifndef PERDURE_ANALYSIS_ACCURACY_H
#define PERDURE_ANALYSIS_ACCURACY_H

#include "analysis/status.h"
#include "base/quantity.h"

struct accuracy {
    double relative; /* of the reading: 0.0005 for 0.05 % */
    double absolute; /* in the reading's SI unit */
    double
        resolution; /* smallest step of the display or of the digits; 0 when finer than matters */
};

/* Reads "0.05 % + 2 mV", "0.1 %", "3 mA + 0.2 %"; `dimension` is that of the reading. */
int accuracy_read(const char *text, enum dimension dimension, struct accuracy *out,
                  struct error *error);

/* The same of an error that is known, with its sign: "-0.3 %", "0.1 % + -2 mV". */
int accuracy_read_error(const char *text, enum dimension dimension, struct accuracy *out,
                        struct error *error);

/* Standard uncertainty of one reading. NAN when the accuracy or the value is none. */
double accuracy_standard(const struct accuracy *accuracy, double value);

/* The instruments that measured a run. */
struct meters {
    struct accuracy voltage, current;
    struct accuracy time; /* of a duration: clock rate, and seconds of start and stop */
    /* Correlation of the error in voltage with that in current: 0 for two instruments; for one that
     * measures both, 1 unless its maker knows better (the errors then add in an energy). NAN where
     * it is not known: whichever of 0 and 1 gives the greater uncertainty. */
    double shared;
    /* Correlation between two readings of one meter on one range: near 1 when moments apart (what
     * is off in both cancels in their difference), 0 when nothing is known, which is the cautious
     * choice for a resistance. */
    double steady;
};

/* What was measured; SI. */
struct delivered {
    double charge;       /* A.s */
    double energy;       /* J; energy only */
    double duration;     /* s */
    double mean_voltage; /* V; energy only */
    /* s, of the time's absolute limit: how far the voltage's error moves the end of a discharge. A
     * voltage that reads too high ends it too late and makes its energy too great on the way: the
     * two add. 0 where the end was not found by voltage. */
    double end_by_voltage;
};

/* Standard uncertainty of a charge, the integral of the current over a time:
 * |error| <= current's (relative Q + absolute T), time's (relative Q + absolute Q/T). An end by
 * voltage goes with the current's error as far as the voltage's does (`shared`). */
enum analysis_status accuracy_of_charge(const struct meters *meters, const struct delivered *run,
                                        double *standard);

/* Of an energy, the integral of voltage times current. */
enum analysis_status accuracy_of_energy(const struct meters *meters, const struct delivered *run,
                                        double *standard);

/* Of a resistance (U1 - U2) / (I2 - I1): two voltages and two currents, V and A, magnitudes. */
enum analysis_status accuracy_of_resistance(const struct meters *meters, double u1, double i1,
                                            double u2, double i2, double *standard);

#endif
