/* The biases of the channels, by reference cells that were run on several of them: what to take off
 * a value measured on a channel. */
#ifndef PERDURE_VERDICT_CHANNELS_H
#define PERDURE_VERDICT_CHANNELS_H

#include "analysis/bias.h"
#include "base/text.h"
#include "verdict/history.h"

struct channel_quantity {
    const char *result; /* "reference_capacity" */
    const char *about, *unit;
    enum bias_kind kind;
    enum analysis_status status;
    struct channel_bias *biases; /* by channel; owned; NAN where it has no run */
    bool *referred;              /* the channel has runs of this; owned */
    struct bias_summary summary;
    size_t runs, cells;
};

#define CHANNEL_QUANTITIES 2

struct channels {
    const char **names; /* the history's; owned list */
    size_t count;
    struct channel_quantity quantity[CHANNEL_QUANTITIES]; /* capacity, voltage */
};

/* ERROR_FAILED when no run of a reference cell is on record. */
int channels_of(struct channels *out, const struct history *history, struct error *error);
void channels_free(struct channels *channels);

/* A value from which a bias is taken off. Uncertainties are standard, each with its degrees of
 * freedom: a bias rests on few reference runs. */
struct unbiased {
    double value;
    double uncertainty, freedom;           /* of the value; NAN and INFINITY where it has none */
    double correction, correction_freedom; /* of the bias that was taken off */
};

/* Takes the bias of its channel off a value of this unit, and adds the bias's uncertainty to that
 * of the value. False, and nothing changed, where no bias is known for it: another unit, a channel
 * without references, biases without an uncertainty. */
bool channels_correct(const struct channels *channels, const char *channel, const char *unit,
                      struct unbiased *value);

/* Corrects every check of a competing cell; *said: what was done, in words. */
int history_correct(struct history *history, struct text *said, struct error *error);

/* The same for rows of a listing of results: "value", "uncertainty", "corrected": true, and
 * "unbiased" among the flags. */
int rows_correct(const struct history *history, json_t *rows, struct text *said,
                 struct error *error);

#endif
