/* Charts from what is on record: each gathers its numbers from the evidence, says the finding in
 * its title and draws. Shared by plot and report. */
#ifndef PERDURE_VERDICT_DRAWING_H
#define PERDURE_VERDICT_DRAWING_H

#include "report/chart.h"
#include "verdict/evidence.h"

struct drawing {
    const struct evidence *evidence;
    enum chart_preset preset;
    const char *id;       /* unique in its page; NULL: the chart's name */
    const char *by;       /* of a ranking: the criterion; NULL: the usual one */
    struct text *finding; /* its title is added here too; NULL: nowhere */
};

/* ERROR_FAILED when the data for it are not on record, and then nothing is drawn. */
typedef int draw_chart(struct text *out, const struct drawing *drawing, struct error *error);
draw_chart draw_discharge, draw_retention, draw_resistance, draw_fade, draw_ranking;

struct drawing_kind {
    const char *name;
    const char *heading; /* for a page */
    draw_chart *draw;
};
extern const struct drawing_kind drawing_kinds[]; /* ends with a NULL name */

/* What a chart says in words. */
struct chart_words {
    struct text title, conditions, note;
};
#define CHART_WORDS_NONE ((struct chart_words){TEXT_EMPTY, TEXT_EMPTY, TEXT_EMPTY})
/* The head with these words, which live until they are done with. */
struct chart_head chart_words_head(const struct drawing *drawing, const char *name,
                                   const struct chart_words *words);
/* The chart is drawn: hands on its finding and frees the words. */
void chart_words_done(const struct drawing *drawing, struct chart_words *words);

/* Rows of one result name of one cell, oldest first; a new array. */
json_t *results_of(const struct evidence *evidence, const char *cell, const char *name);

/* "0.2 It", or "0.2 to 0.5 It" where the ends of the range differ. */
void add_range(struct text *out, double low, double high, const char *unit);

#endif
