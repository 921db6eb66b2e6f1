/* Steps and their samples.
 *
 * Samples are integers (microvolt, microampere, millidegree) at microseconds from the step's start.
 * They are appended to `recent` and moved in order into the clustered `sample`; a long batch of one
 * step goes there directly. The view `reading` shows both as one, in V, A and degC. */
#ifndef PERDURE_LOGBOOK_STEPS_H
#define PERDURE_LOGBOOK_STEPS_H

#include "logbook/logbook.h"

struct sample {
    int64_t t_us;                         /* from the step's start, gaps included */
    double voltage, current, temperature; /* V, A signed, degC or NAN */
};

struct step_record {
    int64_t id;
    int64_t run;
    int segment;
    int64_t n; /* the journal number it answers */
    int64_t cell;
    char channel[32];
    char kind[16];    /* "charge" */
    char how[16];     /* "simulated": how it was obtained */
    const char *plan; /* JSON, for people and for audit */
    utc_us started_at;
};

/* What a step has come to, at a checkpoint or at its end; SI, NAN for what has no meaning. */
struct step_sums {
    double charge, energy, duration;
    double first_voltage, last_voltage, mean_voltage, mid_voltage, peak_voltage;
    double max_temperature, resistance;
    int gaps;
    double gap_time;
    const char *ended_by; /* NULL at a checkpoint */
    const char *quality;
};

/* Fills record->id. */
int logbook_add_step(struct logbook *logbook, struct step_record *record, struct error *error);

/* A step that waited for a person before anything was driven or read begins when it goes on. */
int logbook_move_step(struct logbook *logbook, int64_t step, utc_us started_at,
                      struct error *error);

/* Rows k, k+1, ... of a step. */
int logbook_add_samples(struct logbook *logbook, int64_t step, int64_t k,
                        const struct sample *samples, int count, struct error *error);

/* `progress` is the text that takes the step up again (core/step/checkpoint.h). Belongs in the same
 * transaction as the samples that it counts. */
int logbook_checkpoint_step(struct logbook *logbook, int64_t step, const struct step_sums *sums,
                            const char *progress, utc_us at, struct error *error);
int logbook_end_step(struct logbook *logbook, int64_t step, const struct step_sums *sums, utc_us at,
                     struct error *error);

/* The open step of a run's journal number: its id (0 when there is none), start and progress
 * (owned by the caller, NULL before the first checkpoint), and when it was last checkpointed. */
int logbook_open_step(struct logbook *logbook, int64_t run, int segment, int64_t n, int64_t *step,
                      utc_us *started_at, char **progress, utc_us *checkpoint_at,
                      struct error *error);

/* Ends all steps of a run that are still open, as they were last checkpointed: "stopped". */
int logbook_stop_open_steps(struct logbook *logbook, int64_t run, utc_us at, struct error *error);

int logbook_add_gap(struct logbook *logbook, int64_t step, utc_us from, utc_us to, const char *why,
                    struct error *error);

/* Moves staged samples into the clustered table, a group at a time; *more tells that another call
 * is worth making. Own transaction: call outside begin and commit, a call lasts under 20 ms. */
int logbook_move_samples(struct logbook *logbook, bool *more, struct error *error);

/* Calls back the samples of a step in order. A nonzero return stops. */
typedef int sample_visit(void *context, int64_t k, const struct sample *sample);
int logbook_samples(struct logbook *logbook, int64_t step, sample_visit *visit, void *context,
                    struct error *error);

#endif
