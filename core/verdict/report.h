/* The parts of a report: each gathers its share of the page from what is on record. Strings and
 * arrays that the page points to are kept here until it is written. */
#ifndef PERDURE_VERDICT_REPORT_H
#define PERDURE_VERDICT_REPORT_H

#include "report/page.h"
#include "verdict/evidence.h"

struct report {
    const struct evidence *evidence;
    json_t *runs; /* rows of the runs of the chosen cells, and of studies */
    struct page page;
    void **kept; /* owned */
    size_t kept_count;
};

void *report_keep(struct report *report, void *block);
const char *report_text(struct report *report, const char *format, ...)
    __attribute__((format(printf, 2, 3)));
/* Takes over what the text holds. */
const char *report_take(struct report *report, struct text *text);

/* A unit, or a heading with one, as print writes it: "mohm" is "mΩ". */
const char *report_unit(struct report *report, const char *text);

/* A list that grows; its items are kept already. */
void report_add_item(struct report *report, struct page_list *list, const char *item);

/* Fills a table of `rows` rows: the array of its fields, all empty. */
const char **report_table(struct report *report, struct page_table *table,
                          const struct page_column *columns, size_t column_count, size_t rows);

int report_runs(struct report *report, struct error *error);
int report_ranking(struct report *report, struct error *error);
int report_method(struct report *report, struct error *error);
int report_troubles(struct report *report, struct error *error);
void report_results(struct report *report);
/* Charts; also adds their findings to the summary. A chart without data is named with the reason.
 */
int report_charts(struct report *report, struct error *error);
/* The tables that `results` shows: by model, over storage, over service, the channels. One that has
 * nothing to show is left out: the chart of it says why. */
int report_numbers(struct report *report, struct error *error);
void report_summary(struct report *report); /* first */

#endif
