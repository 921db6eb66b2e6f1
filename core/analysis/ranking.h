/* A ranking of models by several criteria, and how sure it is.
 *
 * Each criterion ranks the models (1 is best, ties share the mean of their ranks); the mean finish
 * is the weighted mean of a model's ranks. Two questions then: do the criteria agree with one
 * another (Kendall's W), and would other cells of the same models have come out alike (bootstrap).
 */
#ifndef PERDURE_ANALYSIS_RANKING_H
#define PERDURE_ANALYSIS_RANKING_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "analysis/compare.h"

struct criterion {
    const char *name;
    bool higher_is_better;
    double weight; /* 0 or more */
    size_t arm;    /* criteria with one number were measured on the same cells: see below */
};

struct finish {
    double mean_finish;
    double place; /* 1 is best; ties share */
};

/* values[model * criteria + criterion]. Every model needs every criterion: ANALYSIS_NOT_FINITE
 * where one is missing. `ranks` is laid out as `values`; `finishes` has room for `models`. */
enum analysis_status ranking_of(const struct criterion *criteria, size_t criterion_count,
                                const double *values, size_t models, double *ranks,
                                struct finish *finishes);

/* Do `judges` order the `items` alike? Kendall's coefficient of concordance, and Friedman's test,
 * both corrected for ties (M. G. Kendall, B. Babington Smith, Ann. Math. Stat. 10, 1939; M.
 * Friedman, J. Am. Stat. Assoc. 32, 1937). chi2 = judges (items - 1) W; p by chi-square, rough for
 * few judges. values[judge * items + item]: of any kind, only their order within a judge counts. */
struct agreement {
    double w; /* 0: none, 1: all alike */
    double chi2, freedom, p;
};
enum analysis_status ranking_agreement(const double *values, size_t judges, size_t items,
                                       struct agreement *out);

/* How often each model takes each place when the means are drawn anew: a bootstrap over cells with
 * random weights (C. F. J. Wu, Ann. Stat. 14, 1986) in place of draws with replacement, which of
 * two or three cells have few outcomes. Each cell's distance from its mean gets a normal weight
 * such that the mean scatters by s / sqrt(n); the whole is widened by sqrt(v / chi2), v = n - 1, so
 * that a mean scatters as Student's t has it: few cells do not look surer than they are. Cells of
 * one arm get one weight each, so that criteria that hang together go on doing so. Same seed, same
 * answer. */
struct place_range {
    double mean_place;
    size_t low, high; /* the places that hold the middle `confidence` of the draws */
};
/* cells[model * criteria + criterion]: that criterion's value for each cell of the model; groups of
 * one arm list the same cells in the same order. `probability` has models x models, model by model:
 * probability[model * models + place - 1]; models in a tie share the places. ANALYSIS_NO_SPREAD
 * where the cells of a model do not differ at all: how they scatter is then not known, not nought.
 */
enum analysis_status ranking_bootstrap(const struct criterion *criteria, size_t criterion_count,
                                       const struct group *cells, size_t models, size_t draws,
                                       uint64_t seed, double confidence, double *probability,
                                       struct place_range *ranges);

/* What 1 Wh costs over a cell's life: price of a cell over the energy that it delivers, J. */
enum analysis_status ranking_cost_per_wh(double price, double energy, double *cost);

#endif
