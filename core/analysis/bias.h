/* Do the channels agree? The bias of each channel from reference runs: the same cells measured on
 * several channels. Each run's value is taken as the cell's own plus the channel's bias plus
 * scatter (two-way additive model, least squares), so not every cell has to visit every channel, as
 * long as shared cells connect them all.
 *
 * Biases are against the mean of the channels. They show disagreement, not what all have in common:
 * for that see bias_from_standard. */
#ifndef PERDURE_ANALYSIS_BIAS_H
#define PERDURE_ANALYSIS_BIAS_H

#include <stddef.h>

#include "analysis/status.h"

enum bias_kind {
    BIAS_ADDITIVE, /* in the values' unit: an offset in volts */
    BIAS_RELATIVE  /* a fraction of the value: a gain, as in most charges; values must be above 0 */
};

struct bias_run {
    size_t cell, channel; /* 0 to count - 1 */
    double value;
};

struct channel_bias {
    double bias;           /* read too high by this */
    double standard_error; /* of it */
    size_t runs;
};

struct bias_summary {
    double residual_sd; /* of one run: repeatability, in the values' unit or as a fraction */
    double freedom;     /* of it, and of the standard errors */
    double f, p;        /* the channels agree: F test */
};

/* ANALYSIS_NOT_CONNECTED, ANALYSIS_TOO_FEW (no run beyond what the model needs), ANALYSIS_NO_SPREAD
 * (the runs fit without any scatter: biases are set, errors are not). `biases` has room for
 * `channels`. */
enum analysis_status bias_of_channels(const struct bias_run *runs, size_t count, size_t cells,
                                      size_t channels, enum bias_kind kind,
                                      struct channel_bias *biases, struct bias_summary *out);

/* The bias of one channel from repeated readings of a standard whose value is known to u_known. */
enum analysis_status bias_from_standard(const double *readings, size_t count, double known,
                                        double u_known, enum bias_kind kind,
                                        struct channel_bias *out);

/* Takes the bias off a value, and adds its uncertainty to the value's. */
enum analysis_status bias_correct(enum bias_kind kind, const struct channel_bias *bias,
                                  double value, double u_value, double *corrected,
                                  double *u_corrected);

#endif
