/* Writing comma-separated tables (RFC 4180): rows end with CR LF, a field with a comma, a quote or
 * a line break stands in quotes. */
#ifndef PERDURE_CLI_CSV_FILE_H
#define PERDURE_CLI_CSV_FILE_H

#include <jansson.h>
#include <stdio.h>

#include "base/error.h"

struct csv_file {
    FILE *file;
    char path[700];
    int fields; /* so far in this row */
};

int csv_file_open(struct csv_file *out, const char *path, struct error *error);
void csv_file_text(struct csv_file *csv, const char *text);
void csv_file_number(struct csv_file *csv, double number); /* what is no number: an empty field */
/* Text as it is, numbers so that they read back the same, objects and arrays as JSON, null
 * empty. */
void csv_file_value(struct csv_file *csv, const json_t *value);
void csv_file_end_row(struct csv_file *csv);
/* Closes, and only then tells whether all of it was written. */
int csv_file_close(struct csv_file *csv, struct error *error);

#endif
