/* Checks: the results of cells, each with what its cell had been through by then. */
#ifndef PERDURE_LOGBOOK_CHECKS_H
#define PERDURE_LOGBOOK_CHECKS_H

#include "logbook/logbook.h"

struct check_record {
    int64_t run;
    const char *cell; /* its label */
    const char *script, *channel, *name, *unit, *flags;
    double value, uncertainty; /* in `unit`; NAN when not known */
    utc_us at;
    utc_us began_at;   /* when the step that gave it began; 0: no step gave it */
    utc_us charged_at; /* when the cell's last charge by then ended; 0: none did */
    double drawn;      /* A.s, by all discharges of the cell that had ended by then */
};

/* Cell by cell, oldest first; texts are valid until the visit returns. */
typedef void check_visit(void *context, const struct check_record *check);
int logbook_checks(struct logbook *logbook, check_visit *visit, void *context, struct error *error);

#endif
