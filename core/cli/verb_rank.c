/* perdure rank: the models by their average finish over the criteria, and how sure that is. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/rows.h"
#include "base/text.h"
#include "cli/cli.h"
#include "verdict/channels.h"
#include "verdict/standing.h"

/* --- showing it ------------------------------------------------------------------------------- */

static json_t *row_of(const struct standing *r, size_t m)
{
    const struct comparison *comparison = &r->comparison;
    char range[48], mean[120];
    json_t *row = json_pack("{s:s, s:f, s:f}", "model", comparison->model[m], "place",
                            r->finish[m].place, "mean_finish", r->finish[m].mean_finish);
    if (r->sure == ANALYSIS_OK) {
        if (r->range[m].low == r->range[m].high)
            snprintf(range, sizeof range, "%zu", r->range[m].low);
        else
            snprintf(range, sizeof range, "%zu to %zu", r->range[m].low, r->range[m].high);
        json_object_set_new(row, "range", json_string(range));
        json_object_set_new(row, "first",
                            json_real(round(1000 * r->probability[m * comparison->models]) / 10));
    }
    for (size_t c = 0; c < comparison->criteria; c++) {
        const struct summary *s = &r->summary[m * comparison->criteria + c];
        json_t *facts = json_pack("{s:f, s:i, s:s, s:s}", "mean", s->mean, "cells", (int)s->count,
                                  "unit", comparison->unit[c], "letters", r->letters[c][m]);
        if (isfinite(s->high)) {
            json_object_set_new(facts, "low", json_real(s->low));
            json_object_set_new(facts, "high", json_real(s->high));
            json_object_set_new(facts, "sd", json_real(s->sd));
        }
        char key[80];
        snprintf(key, sizeof key, "by_%s", comparison->name[c]);
        json_object_set_new(row, key, facts);
        json_object_set_new(row, comparison->name[c],
                            json_string(standing_mean(r, m, c, mean, sizeof mean)));
    }
    if (isfinite(comparison->price[m])) /* not "price": a criterion has that name */
        json_object_set_new(row, "price_of_cell", json_real(comparison->price[m]));
    return row;
}

static json_t *criteria_of(const struct comparison *comparison)
{
    json_t *criteria = json_array();
    for (size_t c = 0; c < comparison->criteria; c++)
        json_array_append_new(criteria,
                              json_pack("{s:s, s:f, s:s, s:s}", "name", comparison->name[c],
                                        "weight", comparison->criterion[c].weight, "better",
                                        comparison->criterion[c].higher_is_better ? "more" : "less",
                                        "takes", comparison->takes[c].bytes));
    return criteria;
}

/* All that print_words says, as facts. `rows` is taken over; `correction` is what was taken off. */
static json_t *document_of(const struct standing *r, json_t *rows, const struct text *correction)
{
    const struct comparison *comparison = &r->comparison;
    json_t *whole = json_pack("{s:o, s:o, s:b}", "models", rows, "criteria",
                              criteria_of(comparison), "settled", standing_settled(r));
    if (r->agree == ANALYSIS_OK && comparison->criteria > 1)
        json_object_set_new(whole, "agreement",
                            json_pack("{s:f, s:f, s:f, s:f}", "w", r->agreement.w, "chi2",
                                      r->agreement.chi2, "freedom", r->agreement.freedom, "p",
                                      r->agreement.p));
    if (r->sure == ANALYSIS_OK)
        json_object_set_new(whole, "draws", json_integer(STANDING_DRAWS));
    else
        json_object_set_new(whole, "not_sure_because", json_string(analysis_status_text(r->sure)));
    if (comparison->left_out.length)
        json_object_set_new(whole, "left_out", json_string(comparison->left_out.bytes));
    if (correction->length)
        json_object_set_new(whole, "correction", json_string(correction->bytes));
    return whole;
}

static void print_table(const struct arguments *arguments, const struct standing *r, json_t *rows)
{
    struct column columns[CRITERIA_MOST + 8] = {{"place", "place", 'r'},
                                                {"model", "model", 'n'},
                                                {"mean_finish", "mean finish", 'r'},
                                                {"range", "95 % sure", 'l'},
                                                {"first", "% first", 'r'}};
    char titles[CRITERIA_MOST][96];
    for (size_t c = 0; c < r->comparison.criteria; c++) {
        const char *unit = standing_unit(r, c);
        snprintf(titles[c], sizeof titles[c], "%s%s%s", r->comparison.name[c], unit[0] ? " / " : "",
                 unit);
        columns[5 + c] = (struct column){r->comparison.name[c], titles[c], 'l'};
    }
    print_rows(arguments, rows, columns);
}

/* For people, to the place that means something: 4,000 draws know a chance to about one in a
 * hundred. As JSON the numbers are as they are. */
static json_t *rounded(json_t *row)
{
    char text[40];
    snprintf(text, sizeof text, "%.2f", row_number(row, "mean_finish"));
    json_object_set_new(row, "mean_finish", json_string(text));
    if (isfinite(row_number(row, "first")))
        json_object_set_new(row, "first", json_integer(lround(row_number(row, "first"))));
    return row;
}

/* What may be said, in words. */
static void print_words(const struct standing *r)
{
    const struct comparison *comparison = &r->comparison;
    putchar('\n');
    for (size_t c = 0; c < comparison->criteria; c++)
        printf("%s (weight %g, %s is better): %s.\n", comparison->name[c],
               comparison->criterion[c].weight,
               comparison->criterion[c].higher_is_better ? "more" : "less",
               comparison->takes[c].bytes);
    if (comparison->left_out.length)
        puts(comparison->left_out.bytes);
    puts("\nmean \xc2\xb1 half of its 95 % interval, over cells (how many); models that share a "
         "letter "
         "cannot "
         "be\ntold apart by that criterion (Welch's test, Holm's correction, 5 %).");
    if (r->sure != ANALYSIS_OK)
        printf("How sure the places are cannot be said: %s; %s.\n", analysis_status_text(r->sure),
               analysis_status_todo(r->sure));
    else
        puts("The means were drawn anew from the scatter of the cells, 4,000 times: \"95 % sure\" "
             "holds "
             "the middle\n95 % of the places, \"% first\" is how often the model came first.");
    if (r->agree == ANALYSIS_OK && comparison->criteria > 1)
        printf("The criteria %s with one another (Kendall's W %.2f, p %.2g)%s.\n",
               r->agreement.w > 0.7   ? "agree well"
               : r->agreement.w > 0.4 ? "agree in part"
                                      : "hardly agree",
               r->agreement.w, r->agreement.p,
               r->agreement.p < 0.05 || r->agreement.w <= 0.4 ? "" : ", which may be chance");
    size_t first = r->order[0], second = comparison->models > 1 ? r->order[1] : first;
    if (r->sure == ANALYSIS_OK && comparison->models > 1 && !standing_settled(r))
        printf("Who comes first is not settled: %s and %s cannot be told apart by these cells.\n",
               comparison->model[first], comparison->model[second]);
}

static int run(const struct arguments *arguments, struct error *error)
{
    struct logbook *logbook = NULL;
    struct history history = {0};
    json_t *rows = json_array();
    struct standing *r = NULL;
    struct text said = TEXT_EMPTY;
    const char *arm = argument(arguments, "arm");
    if (!logbook_open(&logbook, arguments->logbook, LOGBOOK_READ, error) &&
        !history_open(&history, logbook, NULL, error) &&
        !(argument(arguments, "correct") && history_correct(&history, &said, error)) &&
        !(arm && history_keep_arm(&history, arm, error)) &&
        !standing_of(&history, NULL, argument(arguments, "by"), logbook_seed(logbook), &r, error)) {
        for (size_t i = 0; i < r->comparison.models; i++) {
            json_t *row = row_of(r, r->order[i]);
            json_array_append_new(rows, arguments->json ? row : rounded(row));
        }
        if (arguments->json) {
            rows = document_of(r, rows, &said);
            print_json(rows);
        } else {
            print_table(arguments, r, rows);
            print_words(r);
            if (said.length)
                printf("%s The intervals and letters are of the scatter between cells.\n",
                       said.bytes);
        }
    }
    text_free(&said);
    standing_free(r);
    json_decref(rows);
    history_close(&history);
    if (logbook)
        logbook_close(logbook);
    return error->code;
}

static const struct option_spec options[] = {
    {"by", "NAME=WEIGHT,...", "criteria and their weights, such as capacity=2,remaining@42d=1",
     false},
    {"arm", "NAME", "only the cells of this arm of a study", false},
    {"correct", NULL, "with the channels' biases taken off", false},
    {NULL, NULL, NULL, false},
};

const struct verb verb_rank = {"rank", "", 0, 0, "the ranking and how sure it is", options, run};
