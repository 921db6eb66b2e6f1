/* Would other cells have come out alike? The ranking of means that are drawn anew. */
#include <math.h>
#include <stdlib.h>

#include "analysis/numbers.h"
#include "analysis/ranking.h"
#include "base/random.h"
#include "base/text.h"

/* The first criterion that was measured on the same cells as criterion c. */
static size_t first_of_arm(const struct criterion *criteria, size_t c)
{
    size_t first = 0;
    while (criteria[first].arm != criteria[c].arm)
        first++;
    return first;
}

static enum analysis_status check_cells(const struct criterion *criteria, size_t criterion_count,
                                        const struct group *cells, size_t models)
{
    for (size_t m = 0; m < models; m++) {
        const struct group *row = cells + m * criterion_count;
        for (size_t c = 0; c < criterion_count; c++) {
            if (row[c].count == 0)
                return ANALYSIS_NO_DATA;
            if (row[c].count == 1)
                return ANALYSIS_ONE_CELL;
            if (!all_finite(row[c].values, row[c].count))
                return ANALYSIS_NOT_FINITE;
            if (are_alike(row[c].values, row[c].count))
                return ANALYSIS_NO_SPREAD;
            if (row[c].count != row[first_of_arm(criteria, c)].count)
                return ANALYSIS_OUT_OF_RANGE;
        }
    }
    return ANALYSIS_OK;
}

/* Cells from which on Student's t is near enough to normal. */
#define MANY 60

/* How much wider than normal: sqrt(v / chi2 of v), which makes a normal deviate one of Student's t.
 */
static double widening(struct random *random, size_t freedom)
{
    double chi2 = 0;
    if (freedom >= MANY)
        return 1;
    for (size_t i = 0; i < freedom; i++) {
        double deviate = random_normal(random);
        chi2 += deviate * deviate;
    }
    return sqrt((double)freedom / chi2);
}

/* One drawing of one model: a mean for each criterion. `weights` holds for each criterion that is
 * the first of its arm the weight of each cell. */
static void draw_model(struct random *random, const struct criterion *criteria,
                       size_t criterion_count, const struct group *row, size_t room,
                       double *weights, double *means)
{
    for (size_t c = 0; c < criterion_count; c++) {
        size_t first = first_of_arm(criteria, c), n = row[c].count;
        double *weight = weights + first * room, size = (double)n;
        if (first == c) {
            double wider = widening(random, n - 1) / sqrt(size * (size - 1));
            for (size_t i = 0; i < n; i++)
                weight[i] = wider * random_normal(random);
        }
        double measured = mean_of(row[c].values, n), moved = 0;
        for (size_t i = 0; i < n; i++)
            moved += weight[i] * (row[c].values[i] - measured);
        means[c] = measured + moved;
    }
}

/* Gives each model its place, or its share of the places that a tie takes up. */
static void count_places(const struct finish *finishes, size_t models, double *probability)
{
    for (size_t m = 0; m < models; m++) {
        size_t tied = 0;
        for (size_t other = 0; other < models; other++)
            tied += finishes[other].place == finishes[m].place;
        double first = finishes[m].place - ((double)tied - 1) / 2; /* of the places of the tie */
        for (size_t k = 0; k < tied; k++)
            probability[m * models + (size_t)lround(first) - 1 + k] += 1 / (double)tied;
    }
}

static struct place_range range_of(const double *probability, size_t models, double confidence)
{
    struct place_range range = {0, 0, 0};
    double up_to = 0, tail = (1 - confidence) / 2;
    for (size_t place = 1; place <= models; place++) {
        range.mean_place += (double)place * probability[place - 1];
        up_to += probability[place - 1];
        if (range.low == 0 && up_to > tail)
            range.low = place;
        if (range.high == 0 && up_to >= 1 - tail - 1e-12)
            range.high = place;
    }
    return range;
}

enum analysis_status ranking_bootstrap(const struct criterion *criteria, size_t criterion_count,
                                       const struct group *cells, size_t models, size_t draws,
                                       uint64_t seed, double confidence, double *probability,
                                       struct place_range *ranges)
{
    for (size_t i = 0; i < models * models; i++)
        probability[i] = NAN;
    for (size_t m = 0; m < models; m++)
        ranges[m] = (struct place_range){NAN, 0, 0};
    if (draws == 0 || !is_confidence(confidence))
        return ANALYSIS_OUT_OF_RANGE;
    enum analysis_status status = check_cells(criteria, criterion_count, cells, models);
    if (status != ANALYSIS_OK)
        return status;

    size_t values_count = models * criterion_count, room = 0;
    for (size_t i = 0; i < values_count; i++)
        room = cells[i].count > room ? cells[i].count : room;
    double *values = xmalloc(2 * values_count * sizeof *values + 1), *ranks = values + values_count;
    double *weights = xcalloc(criterion_count * room + 1, sizeof *weights);
    struct finish *finishes = xmalloc(models * sizeof *finishes + 1);
    double *places = xcalloc(models * models + 1, sizeof *places);
    struct random random;
    random_seed(&random, seed);
    for (size_t d = 0; d < draws && status == ANALYSIS_OK; d++) {
        for (size_t m = 0; m < models; m++)
            draw_model(&random, criteria, criterion_count, cells + m * criterion_count, room,
                       weights, values + m * criterion_count);
        status = ranking_of(criteria, criterion_count, values, models, ranks, finishes);
        if (status == ANALYSIS_OK)
            count_places(finishes, models, places);
    }
    for (size_t m = 0; m < models && status == ANALYSIS_OK; m++) {
        for (size_t place = 0; place < models; place++)
            probability[m * models + place] = places[m * models + place] / (double)draws;
        ranges[m] = range_of(probability + m * models, models, confidence);
    }
    free(places);
    free(finishes);
    free(weights);
    free(values);
    return status;
}
