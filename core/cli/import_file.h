/* Rows of a file that was logged elsewhere, read by its map (bindings/import_map.h). Strict: a row
 * is taken as it stands or is bad, with its line and the reason; nothing is guessed. */
#ifndef PERDURE_CLI_IMPORT_FILE_H
#define PERDURE_CLI_IMPORT_FILE_H

#include <jansson.h>

#include "base/text.h"
#include "base/zone.h"
#include "bindings/import_map.h"

/* What is stored of a reading is whole microvolts and so on, so that is what is kept from the
 * first: what is computed from these rows now is what an audit computes from the record. */
struct import_row {
    int64_t at_us; /* from the first row */
    int64_t microvolt;
    int64_t microampere; /* positive into the cell */
    int32_t millidegree; /* IMPORT_NO_TEMPERATURE */
    int line;
    int block; /* counts up when the step column changes */
    int gap;   /* 1 + place in `gaps` of why the stretch before it was not observed; 0: it was */
    double charge; /* A.s, of the file's own column, positive into the cell; NAN */
};
#define IMPORT_NO_TEMPERATURE INT32_MIN

struct import_file {
    struct import_row *rows; /* owned */
    size_t count, room;
    utc_us began;     /* when the first row was taken; 0 where the file does not tell */
    json_t *bad;      /* the first of them: [{"line", "why"}]; owned */
    size_t bad_count; /* all */
    json_t *gaps;     /* texts; owned */
    size_t bytes;
    char sha256[SHA256_HEX];
};

#define IMPORT_BAD_SHOWN 100

/* Bad rows are no failure here: see bad_count. A date-time without an offset is civil time in the
 * zone. */
int import_file_read(const char *path, const struct import_map *map, const struct zone *zone,
                     struct import_file *out, struct error *error);
void import_file_free(struct import_file *file);

#endif
