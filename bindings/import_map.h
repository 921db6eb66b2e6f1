/* The map of a file that was logged elsewhere: which column is what, in which unit, and how numbers
 * and times are written in it. A small Lua text that ends with `return import { ... }`; it is
 * pinned to the run that the file becomes, as a script is. */
#ifndef PERDURE_BINDINGS_IMPORT_MAP_H
#define PERDURE_BINDINGS_IMPORT_MAP_H

#include <stdbool.h>
#include <stddef.h>

#include "base/error.h"
#include "bench/channel.h"

#define IMPORT_RESULTS_MOST 16

/* How the time of a row is written. */
enum import_time {
    IMPORT_NUMBER, /* in a unit of time, counted from anywhere */
    IMPORT_HMS,    /* hours:minutes:seconds, hours without an upper bound */
    IMPORT_DATE    /* ISO 8601 date-time */
};

struct import_column {
    bool there;
    int number;    /* from 1; 0: found by name */
    char name[96]; /* as in the header */
    double factor; /* to SI */
};

struct import_result {
    char name[32];  /* "capacity" */
    char step[24];  /* "discharge": the last of its kind; or a step's number, "3" */
    char field[24]; /* of its outcome: "charge" */
};

struct import_map {
    struct import_column time, voltage, current; /* always there */
    struct import_column temperature, charge, step;
    enum import_time time_form;
    bool discharge_positive; /* of current and charge; else positive into the cell, as inside */
    char delimiter, decimal;
    bool header;       /* the first line after `skip` names the columns */
    int skip;          /* lines before it */
    double rest_below; /* A: a current of this magnitude or less is a rest; NAN: 0.001 It */
    double gap_after;  /* s between two rows, beyond which nobody observed; NAN: never */
    struct channel_accuracy accuracy; /* of the other logger, where it is known */
    int results;
    struct import_result result[IMPORT_RESULTS_MOST];
};

/* `name` is the file's, for messages. */
int import_map_read(const char *name, const char *text, size_t length, struct import_map *out,
                    struct error *error);

#endif
