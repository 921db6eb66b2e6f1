/* Comma-separated tables (RFC 4180) as rows of named fields. */
#ifndef PERDURE_CLI_TABLE_FILE_H
#define PERDURE_CLI_TABLE_FILE_H

#include <jansson.h>

#include "base/error.h"

/* The file's rows as a JSON array of objects: the first line names the columns, empty fields are
 * left out, "line" is where the row begins. A row with too many fields, or a column named twice, is
 * an error with its line. *rows is owned by the caller. */
int table_file_read(const char *path, json_t **rows, struct error *error);

#endif
