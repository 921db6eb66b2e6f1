/* Models and cells: what was bought, and each physical cell with its label that never changes. */
#ifndef PERDURE_LOGBOOK_CELLS_H
#define PERDURE_LOGBOOK_CELLS_H

#include <jansson.h>

#include "base/name.h"
#include "logbook/logbook.h"

struct model_record {
    int64_t id;
    char name[NAME_ROOM];
    char maker[NAME_ROOM]; /* "" when not told */
    char size[32];         /* "AA" */
    char chemistry[32];    /* "NiMH" */
    double rated_charge;   /* A.s */
    double price;          /* a cell; NAN when not told */
    char currency[8];
};

struct cell_record {
    int64_t id;
    char label[64];
    struct model_record model;
    utc_us enrolled_at;
    int64_t busy_run; /* an open run that has this cell; 0 for none */
};

/* Adds a model, or finds the one of this name; refuses one that differs from what is on record. */
int logbook_add_model(struct logbook *logbook, struct model_record *model, struct error *error);

/* Refuses a label that is already on record. Labels: 1 to 63 letters, digits, '-', '_', '.'. */
int logbook_add_cell(struct logbook *logbook, const char *label, int64_t model, utc_us at,
                     int64_t *id, struct error *error);

/* It tests channels (the same cell on each), and is in no ranking. */
int logbook_mark_reference(struct logbook *logbook, int64_t cell, struct error *error);

/* ERROR_FAILED when there is none of this label; the message offers the nearest label. */
int logbook_cell(struct logbook *logbook, const char *label, struct cell_record *out,
                 struct error *error);

#endif
