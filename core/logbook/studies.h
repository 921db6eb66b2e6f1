/* Studies: which cells a study has, the runs it started, and where its cells are put: into an arm,
 * on the shelf, into service, or withdrawn. */
#ifndef PERDURE_LOGBOOK_STUDIES_H
#define PERDURE_LOGBOOK_STUDIES_H

#include <jansson.h>
#include <stdbool.h>

#include "logbook/logbook.h"

int logbook_add_study_cell(struct logbook *logbook, int64_t run, int64_t cell, struct error *error);

/* A study that is going on and has the cell, unless it has withdrawn it; 0 when there is none. */
int logbook_study_of_cell(struct logbook *logbook, int64_t cell, int64_t *run, struct error *error);

/* In order of label: [{"label", "model", "size", "chemistry", "rated_Ah"}], owned by the caller. */
int logbook_study_cells(struct logbook *logbook, int64_t run, json_t **rows, struct error *error);

/* The runs that a study's journal entry started, those that ended first, first:
 * [{"run", "cell", "state", "why", "started_at_us", "ended_at_us"}]. */
int logbook_children(struct logbook *logbook, int64_t run, int segment, int64_t n, json_t **rows,
                     struct error *error);

/* Whether entries of the study's journal after `after` and before `before` started a run on the
 * cell. */
int logbook_has_child(struct logbook *logbook, int64_t run, int segment, int64_t after,
                      int64_t before, int64_t cell, bool *has, struct error *error);

/* The results of a run by name, the last of each name: {"capacity": 1.9}. */
int logbook_run_results(struct logbook *logbook, int64_t run, json_t **results,
                        struct error *error);

struct placement {
    int64_t run; /* the study's */
    int segment;
    int64_t n;
    int64_t cell;
    const char *kind;   /* "arm", "shelf", "service", "withdrawn" */
    const char *label;  /* the arm's name, or "" */
    const char *detail; /* JSON object: state of charge, temperature, cycles a day, the reason */
    utc_us at;
};
int logbook_add_placement(struct logbook *logbook, const struct placement *placement,
                          struct error *error);

/* When the cell's last charge before `before` ended; 0 when none is on record. */
int logbook_last_charge(struct logbook *logbook, int64_t cell, utc_us before, utc_us *ended_at,
                        struct error *error);

#endif
