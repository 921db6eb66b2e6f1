/* What is on record of each cell, as numbers: its results in order of time, each with the cycles
 * drawn until then and the days since the cell's own last charge; its arm, its storage, its model.
 * Read once, in one walk, and shared by all that compares cells or follows them over time. */
#ifndef PERDURE_VERDICT_HISTORY_H
#define PERDURE_VERDICT_HISTORY_H

#include <jansson.h>
#include <stdbool.h>
#include <stddef.h>

#include "base/text.h"
#include "logbook/logbook.h"

/* Between a cell's first and last check: below it is no service. */
#define SERVICE_CYCLES 10.0

/* Texts are the history's. */
struct check {
    const char *name, *unit; /* "capacity", "Ah" */
    const char *script, *channel;
    int64_t run;
    bool gap;                  /* what flowed unseen is not in it */
    double value;              /* in `unit` */
    double uncertainty;        /* standard, same unit; NAN when not known */
    double correction;         /* standard uncertainty of a channel's bias taken off; 0 without */
    double correction_freedom; /* its degrees of freedom; INFINITY without */
    utc_us at;
    double days;         /* from the end of the cell's last charge to the start of the step that
                            gave it; what was recovered has those of what remained; NAN: no charge */
    double cycles;       /* rated charges drawn, and cycles that a study says were made elsewhere */
    double temperature;  /* of storage, degC, as the study says; NAN */
    const char *storage; /* all that the study says of it, as JSON; "" */
};

struct subject { /* one cell */
    const char *label;
    size_t model;
    const char *arm; /* of a study; "" */
    bool reference;  /* it tests the channels */
    bool aside;      /* it competes with none: a reference, or of an arm that was not asked for */
    bool elsewhere;  /* some of its cycles were made outside the bench, as a study says */
    struct check *checks;
    size_t count;
};

struct kind_of_cell { /* a model */
    const char *name, *size, *chemistry, *maker;
    double rated;         /* A.s */
    double price;         /* of one cell; NAN */
    const char *currency; /* "" */
};

struct history {
    struct kind_of_cell *models; /* in the order of their first cells */
    size_t model_count;
    struct subject *subjects; /* in the order given */
    size_t count;
    size_t left_out;                    /* results marked void: of a step that must not be used */
    json_t *cells, *texts, *placements; /* what the texts live in; owned */
};

/* `cells`: rows as listed, those wanted; NULL for all. Nothing to close after an error. */
int history_open(struct history *out, struct logbook *logbook, json_t *cells, struct error *error);
void history_close(struct history *history);

/* Puts all cells but those of one arm aside. ERROR_FAILED when there are none of it. */
int history_keep_arm(struct history *history, const char *arm, struct error *error);

/* Checks of one name: the next from `from` on, or `count` when there is none. */
size_t history_next(const struct subject *subject, const char *name, size_t from);

/* The first and the last check of a name; NULL where there is none. */
const struct check *history_first(const struct subject *subject, const char *name);
const struct check *history_last(const struct subject *subject, const char *name);

/* The last of a name, where the cell was in service between its first and that; else NULL. Of
 * resistances only those by the protocol of the last count, for other methods give other figures.
 * *before is the first (may be NULL). */
const struct check *history_worn(const struct subject *subject, const char *name,
                                 const struct check **before);

/* What a check after storage is compared with, A.s: the cell's own last capacity before it, or,
 * where it has none, the mean of the first capacities of its model's cells (`of_set`). NAN when
 * neither is on record. */
struct fresh {
    double charge;
    bool of_set, gap;
    const struct check *own; /* that it is of; NULL of a set */
    double relative; /* of a set: standard error of its mean, as a part of it; NAN for one cell */
    size_t cells;
};
struct fresh history_fresh(const struct history *history, const struct subject *subject,
                           const struct check *check);

/* Puts the arm to the name of a group, where its model is in several: "Heron 2000, shelf". */
void history_add_arm(struct text *name, const char *arm);

/* Ages that count as one: within a tenth, or half a day. */
bool history_same_age(double days, double other);

#endif
