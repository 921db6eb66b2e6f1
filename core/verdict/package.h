/* A tabular data package (Frictionless Data, v1): what the tables of an export are, field by field,
 * and the datapackage.json that says so to programs. */
#ifndef PERDURE_VERDICT_PACKAGE_H
#define PERDURE_VERDICT_PACKAGE_H

#include <jansson.h>
#include <stdbool.h>

struct package_field {
    const char *name; /* in the table, and in the logbook's listing */
    const char *type; /* "string", "number", "integer", "datetime", "object" */
    const char *unit; /* "V"; NULL for none */
    const char *about;
};

struct package_table {
    const char *name; /* NAME.csv */
    const char *about;
    const char *key[2]; /* primary key; NULL from where it ends */
    struct {
        const char *field, *table, *of; /* this field holds that table's field */
    } reference[3];
    const struct package_field *fields; /* ends with a NULL name */
};

enum package_name {
    PACKAGE_MODELS,
    PACKAGE_CELLS,
    PACKAGE_RUNS,
    PACKAGE_STEPS,
    PACKAGE_RESULTS,
    PACKAGE_CHANNELS,
    PACKAGE_READINGS,
    PACKAGE_FLAT, /* results again, with all that is known of the cell in each row */
    PACKAGE_TABLES
};
extern const struct package_table package_tables[PACKAGE_TABLES];

/* The descriptor. `licence`: a name such as "CC-BY-4.0" or an address; NULL leaves it to the user.
 */
json_t *package_describe(const char *title, const char *about, const char *licence);

#endif
