/* A report as one HTML file: what was found, how sure it is, how it was measured, what went wrong.
 *
 * Nothing outside the file is needed or asked for: styles and charts are in it, there is no script.
 * The text is well-formed XML too (HTML in its XML spelling), so any XML reader can check it. All
 * texts are taken as plain text and escaped; only the charts are taken in as they are, which this
 * layer wrote itself. The same page gives the same bytes. */
#ifndef PERDURE_REPORT_PAGE_H
#define PERDURE_REPORT_PAGE_H

#include <stdbool.h>
#include <stddef.h>

#include "base/text.h"

/* Everything is UTF-8, not owned. */
struct page_column {
    const char *title;
    bool number; /* to the right, in even figures */
    bool text;   /* prose that may be broken over lines; else a field stays on one */
};

/* A column that no row has a value for is left out. */
struct page_table {
    const struct page_column *columns;
    size_t column_count;
    const char *const *fields; /* [row * column_count + column]; NULL: empty */
    size_t row_count;
};

struct page_list {
    const char *const *items;
    size_t count;
};

/* `svg` as a chart of this layer wrote it, `narrow` the same for a telephone, or NULL. Without a
 * chart `why_not` says what is missing. */
struct page_chart {
    const char *heading;
    const char *svg, *narrow;
    const char *why_not;
};

/* A table with its heading, and what must be said under it. */
struct page_part {
    const char *heading;
    struct page_table table;
    struct page_list notes;
};

struct page_fact {
    const char *name, *value; /* several values: a line each */
};

struct page_listing {
    const char *name, *about, *text; /* lines are kept */
};

struct page {
    const char *title;
    const char *lead;    /* one sentence under it */
    const char *warning; /* in a box of its own, such as that nothing is real; NULL: none */
    struct page_list summary;
    struct page_table ranking; /* no rows: none, and the notes say why */
    struct page_list ranking_notes;
    const struct page_chart *charts;
    size_t chart_count;
    const struct page_part *parts; /* what the charts show, in numbers */
    size_t part_count;
    struct page_table results;
    const char *results_note;
    const struct page_fact *method;
    size_t method_count;
    const struct page_listing *listings;
    size_t listing_count;
    struct page_list troubles_summary; /* in words, also that there were none */
    struct page_table troubles;
    const char *foot;
};

void page_write(struct text *out, const struct page *page);

#endif
