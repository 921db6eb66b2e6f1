/* What is on record about the cells that something is to be shown of: listings of the logbook,
 * sorted by cell and by model, read once. Shared by labels, plot, report and export. */
#ifndef PERDURE_VERDICT_EVIDENCE_H
#define PERDURE_VERDICT_EVIDENCE_H

#include <jansson.h>
#include <stdbool.h>

#include "base/rows.h"
#include "base/text.h"
#include "logbook/logbook.h"
#include "verdict/history.h"

struct evidence_model {
    const char *name, *size, *chemistry;
    char *said;    /* its name for sentences and tables, a long one shortened so that the models can
                      still be told apart; one written from right to left turns round no more than
                      itself; owned */
    int style;     /* its place in the logbook: one colour in every chart, whatever is left out */
    double rated;  /* A.s */
    json_t *cells; /* rows of its chosen cells, those of reference left out; owned */
};

struct evidence {
    struct logbook *logbook; /* owned; opened to read */
    json_t *cells;           /* rows of the chosen cells, in the logbook's order */
    json_t *results;         /* rows of their results, run by run */
    struct history history;  /* the same cells' results as numbers, cell by cell */
    json_t *totals;          /* rows of how many steps and samples they have, where and how */
    struct evidence_model *models;
    size_t model_count;
    utc_us latest;           /* the last instant on record */
    json_t *results_by_cell; /* label -> rows of its results, oldest first */
};

/* Opens the logbook and reads; `labels`: an array of those wanted, or NULL for all. ERROR_FAILED
 * for a cell that is not on record, or when there are no cells. */
int evidence_open(struct evidence *out, const char *path, const json_t *labels,
                  struct error *error);
void evidence_close(struct evidence *evidence);

/* A model's name, also with an arm (history_add_arm), for sentences; any other text as it is. */
void evidence_say(struct text *out, const struct evidence *evidence, const char *name);
/* The same of a model's name alone. */
const char *evidence_said(const struct evidence *evidence, const char *name);

/* Whether the cell is one of those chosen. */
bool evidence_has(const struct evidence *evidence, const char *label);

/* How many of the results were obtained so: "simulated", "by hand", "imported". */
size_t evidence_count(const struct evidence *evidence, const char *how);

/* "Simulated cells. Logbook x.perdure, as of 2026-03-02." How the results were obtained comes
 * first, and nothing simulated is shown without saying so. */
void evidence_source(const struct evidence *evidence, struct text *out);

#endif
