/* Corrections: the one place where what follows from an answer is replaced on record, because what
 * was typed is corrected. What was typed stays (table answer), and whoever corrects puts the old
 * figures on record as events. Nothing here is about what was measured by the program itself. */
#ifndef PERDURE_LOGBOOK_CORRECTIONS_H
#define PERDURE_LOGBOOK_CORRECTIONS_H

#include "logbook/facts.h"
#include "logbook/steps.h"

/* A question that has been answered, and the journal entry that waited for it. */
struct answered {
    int64_t question, run;
    int segment;
    int64_t n;
    char name[32]; /* of the entry: "discharge", "ask" */
    char *answer;  /* the latest, JSON; NULL: none; owned */
    char *outcome; /* of the entry; NULL: the engine has not taken the answer; owned */
    utc_us asked_at;
    utc_us outcome_at; /* 0 while there is none */
    int64_t step;      /* of the entry; 0: it is no step */
    char kind[16];     /* of the step */
    char *accuracy;    /* what the session that took the answer states of the step's channel, JSON;
                          NULL: nothing; owned */
};
int logbook_answered(struct logbook *logbook, int64_t question, struct answered *out,
                     struct error *error);
void answered_free(struct answered *answered);

/* How an earlier segment of a run began: its state (JSON, owned by the caller; NULL for the first
 * one) and when. */
int logbook_segment_began(struct logbook *logbook, int64_t run, int segment, char **state,
                          utc_us *at, struct error *error);

/* Whether a journal entry has its outcome. */
int logbook_journal_is_done(struct logbook *logbook, int64_t run, int segment, int64_t n,
                            bool *done, struct error *error);

/* Of an entry that has its outcome; when it came stays. */
int logbook_correct_outcome(struct logbook *logbook, int64_t run, int segment, int64_t n,
                            const char *outcome, struct error *error);
int logbook_correct_args(struct logbook *logbook, int64_t run, int segment, int64_t n,
                         const char *args, struct error *error);
/* Of a step that has ended. */
int logbook_correct_step(struct logbook *logbook, int64_t step, const struct step_sums *sums,
                         struct error *error);
/* When a step that has ended was. */
int logbook_step_times(struct logbook *logbook, int64_t step, utc_us *started, utc_us *ended,
                       struct error *error);
int logbook_correct_times(struct logbook *logbook, int64_t step, utc_us started, utc_us ended,
                          struct error *error);
/* Value, unit, uncertainty and freedom of the result of this run, segment and n; with `flag`
 * (borrowed, may be NULL) among its flags. */
int logbook_correct_result(struct logbook *logbook, const struct result_record *result,
                           const char *flag, struct error *error);

#endif
