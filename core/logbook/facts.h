/* What people read off a logbook: results, notes, questions, events; and the listings of all. */
#ifndef PERDURE_LOGBOOK_FACTS_H
#define PERDURE_LOGBOOK_FACTS_H

#include <jansson.h>

#include "base/quantity.h"
#include "logbook/logbook.h"

struct result_record {
    int64_t run;
    int segment;
    int64_t n; /* the journal number that recorded it */
    int64_t cell;
    int64_t step;       /* 0: the run's last step before journal number n, looked up here; its
                           quality, when not "good", joins the flags */
    const char *name;   /* "capacity" */
    double value;       /* in `unit` */
    const char *unit;   /* "Ah" */
    double uncertainty; /* standard, same unit; NAN when not known */
    double freedom;     /* its degrees of freedom; NAN, INFINITY or 0: well known */
    const char *how;    /* "simulated" */
    const char *flags;  /* "", "gap" */
    utc_us at;
};
int logbook_add_result(struct logbook *logbook, const struct result_record *result,
                       struct error *error);

/* What happened to a run or to the engine, in words. level: "info", "note", "warning", "error". */
int logbook_add_event(struct logbook *logbook, utc_us at, int64_t run, int64_t step,
                      const char *level, const char *text, struct error *error);

struct question_record {
    int64_t id;
    int64_t run;
    int segment;
    int64_t n;
    const char *text;
    const char
        *expects; /* JSON: kind ("number", "text", "choice", "done"), unit, least, most, choices */
    utc_us asked_at;
};
int logbook_add_question(struct logbook *logbook, struct question_record *question,
                         struct error *error);
/* What a question expects (JSON, owned by the caller), and how many answers it has. ERROR_FAILED
 * when there is no such question. */
int logbook_question_expects(struct logbook *logbook, int64_t question, char **expects,
                             int *answers, struct error *error);
/* `answer` is JSON. One more for the same question is a correction: a new entry beside the others,
 * never an overwrite; the latest holds. */
int logbook_answer(struct logbook *logbook, int64_t question, const char *answer, const char *who,
                   utc_us at, struct error *error);
/* *answer is NULL while open; owned by the caller. */
int logbook_question(struct logbook *logbook, int64_t run, int segment, int64_t n, int64_t *id,
                     char **answer, utc_us *at, struct error *error);

/* One engine's life on this logbook. */
int logbook_add_session(struct logbook *logbook, utc_us at, const char *bench_name,
                        const char *bench_hash, const char *version, int64_t *id,
                        struct error *error);
/* A channel of the bench as it is in that session; said again, it replaces what was said. */
struct session_channel {
    int64_t session;
    const char *channel;
    const char *how;         /* "simulated" */
    const char *accuracy;    /* JSON: {"voltage": {"relative": 0.0005, "absolute": 0.002}}; SI */
    const char *instruments; /* JSON: {"meter": {"name": .., "maker": .., "serial": ..}} */
};
int logbook_set_session_channel(struct logbook *logbook, const struct session_channel *channel,
                                struct error *error);
/* How many channels the latest engine had; 0 where none has worked yet. */
int logbook_channel_count(struct logbook *logbook, int64_t *count, struct error *error);
int logbook_end_session(struct logbook *logbook, int64_t id, utc_us at, const char *why,
                        struct error *error);

/* Listings, each a JSON array of objects, values in bench units, names with their unit
 * ("capacity_Ah", "charge_Ah", "at" as ISO 8601). The caller owns *rows. */
enum listing {
    LIST_MODELS,
    LIST_CELLS, /* with model, rating, runs so far, open run */
    LIST_RUNS,
    LIST_RESULTS,
    LIST_STEPS,       /* of run `id`, or step `step` */
    LIST_STEPS_NOW,   /* the step that each open run is in, with its latest sample */
    LIST_STEP_TOTALS, /* how many steps and samples, by cell, channel and how they were obtained */
    LIST_JOURNAL,     /* of run `id` */
    LIST_EVENTS,      /* of run `id`, or all; of level `name`, or any */
    LIST_QUESTIONS,   /* open ones, or all of run `id` */
    LIST_GAPS,        /* of step `step`: from_s and to_s, seconds from its start; why; of which
                          cell, run and kind of step */
    LIST_CELL_STEPS,  /* everything that happened to cell `label` */
    LIST_CHANNELS,    /* of each session, or only those that run `id` was measured by */
    LIST_PLACEMENTS   /* what studies did with cells outside of runs, oldest first */
};
struct listing_filter {
    int64_t run; /* 0: any */
    int64_t step;
    const char *label; /* a cell's label, or NULL */
    const char *name;  /* a result's name, or NULL */
    int64_t after;     /* runs, steps, events: only those with a greater id */
};
int logbook_list(struct logbook *logbook, enum listing listing, const struct listing_filter *filter,
                 json_t **rows, struct error *error);

/* The same, a row at a time, for a listing that is long: visit keeps what it needs, and may read
 * more of the logbook, as it was when the first row came. A nonzero return stops. */
typedef int listing_visit(void *context, json_t *row);
int logbook_each(struct logbook *logbook, enum listing listing, const struct listing_filter *filter,
                 listing_visit *visit, void *context, struct error *error);

/* The greatest ids so far: what is listed `after` them is new. */
struct logbook_marks {
    int64_t run, step, event;
};
int logbook_marks(struct logbook *logbook, struct logbook_marks *out, struct error *error);

#endif
