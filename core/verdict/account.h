/* What was worked out, as it is shown: sheets, each a table of texts with what must be said under
 * it, for a terminal and for the report's page; and one document of numbers for programs. */
#ifndef PERDURE_VERDICT_ACCOUNT_H
#define PERDURE_VERDICT_ACCOUNT_H

#include <jansson.h>

#include "analysis/status.h"
#include "base/error.h"
#include "base/rows.h"
#include "verdict/history.h"

struct sheet {
    const char *heading;
    const struct column *columns; /* ends with a NULL key */
    json_t *rows;                 /* of texts, by the columns' keys; owned */
    json_t *notes;                /* texts; owned */
};

#define SHEETS_MOST 6

struct account {
    struct sheet sheets[SHEETS_MOST];
    size_t count;
    json_t *document; /* owned */
};

void account_begin(struct account *account);
void account_free(struct account *account);

/* `heading` and `columns` outlive the account. */
struct sheet *account_sheet(struct account *account, const char *heading,
                            const struct column *columns);
json_t *sheet_row(struct sheet *sheet);
void sheet_note(struct sheet *sheet, const char *format, ...) __attribute__((format(printf, 2, 3)));

/* A text into a row. The number into a document: null where it is none. */
void put_text(json_t *row, const char *key, const char *format, ...)
    __attribute__((format(printf, 3, 4)));
void put_number(json_t *row, const char *key, double value);
/* "96.1 to 98.9" with so many digits after the point; nothing where an end is NAN. */
void put_range(json_t *row, const char *key, double low, double high, int digits);
/* The same to the place of the second digit of its half width. */
void put_interval(json_t *row, const char *key, double low, double high);
/* How many of the values that a sheet shows have a gap; nothing where none has. */
void note_gaps(struct sheet *sheet, size_t with_gap);
/* What the status says, where it is not OK: "not enough data: measure ...". */
void put_status(json_t *row, const char *key, enum analysis_status status);

/* --- the accounts ----------------------------------------------------------------------------- */

struct warming_rule;

/* By model, arm and result: how cells lie about their mean. `by`: model, size, chemistry, maker;
 * `name`: only this result, or NULL; `verdict`: only what a verdict on cells rests on, not what was
 * recorded beside it. */
int account_of_groups(struct account *out, const struct history *history, const char *by,
                      const char *name, bool verdict, struct error *error);
/* What was left by age, the courses that fit, a forecast. */
int account_of_retention(struct account *out, const struct history *history,
                         const struct warming_rule *rule, struct error *error);
/* Capacity and resistance over cycles, cycles to a level, before and after. */
int account_of_wear(struct account *out, const struct history *history, struct error *error);
/* The biases of the channels by the reference cells. */
int account_of_channels(struct account *out, const struct history *history, struct error *error);

#endif
