/* Working out a ranking. */
#include "verdict/standing.h"

#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "report/rounded.h"

static void letter_criterion(struct standing *r, size_t c)
{
    const struct comparison *comparison = &r->comparison;
    size_t models = comparison->models;
    struct group *groups = xcalloc(models, sizeof *groups);
    struct pair *pairs = xcalloc(PAIRS_OF(models) + 1, sizeof *pairs);
    for (size_t m = 0; m < models; m++)
        groups[m] = *comparison_group(comparison, m, c);
    if (compare_pairs(groups, models, 1 - STANDING_CONFIDENCE, pairs) == ANALYSIS_OK)
        compare_letters(pairs, models, r->order, r->letters[c]);
    free(groups);
    free(pairs);
}

static void sort_by_finish(struct standing *r)
{
    for (size_t m = 0; m < r->comparison.models; m++) {
        size_t at = m;
        while (at > 0 && r->finish[r->order[at - 1]].mean_finish > r->finish[m].mean_finish) {
            r->order[at] = r->order[at - 1];
            at--;
        }
        r->order[at] = m;
    }
}

static int work_out(struct standing *r, uint64_t seed, struct error *error)
{
    const struct comparison *comparison = &r->comparison;
    size_t models = comparison->models, criteria = comparison->criteria;
    if (models == 1)
        return error_set(error, ERROR_FAILED, "ranking",
                         "test cells of another, or see perdure results --by model",
                         "there is one model only, and none to compare it with");
    double *means = xcalloc(models * criteria, sizeof *means);
    double *ranks = xcalloc(models * criteria, sizeof *ranks);
    double *judges = xcalloc(models * criteria, sizeof *judges);
    for (size_t m = 0; m < models; m++) {
        for (size_t c = 0; c < criteria; c++) {
            const struct group *group = comparison_group(comparison, m, c);
            struct summary *summary = &r->summary[m * criteria + c];
            summary_of(group->values, group->count, STANDING_CONFIDENCE, summary);
            means[m * criteria + c] = summary->mean;
            /* All judges count the same way: the best is greatest. */
            judges[c * models + m] =
                comparison->criterion[c].higher_is_better ? summary->mean : -summary->mean;
        }
    }
    enum analysis_status status =
        ranking_of(comparison->criterion, criteria, means, models, ranks, r->finish);
    if (!analysis_error(status, "ranking", error)) {
        sort_by_finish(r);
        for (size_t c = 0; c < criteria; c++)
            letter_criterion(r, c);
        r->agree = ranking_agreement(judges, criteria, models, &r->agreement);
        r->sure =
            ranking_bootstrap(comparison->criterion, criteria, comparison->group, models,
                              STANDING_DRAWS, seed, STANDING_CONFIDENCE, r->probability, r->range);
    }
    free(means);
    free(ranks);
    free(judges);
    return error->code;
}

int standing_of(const struct history *history, const bool *wanted, const char *by, uint64_t seed,
                struct standing **out, struct error *error)
{
    *out = xcalloc(1, sizeof **out);
    if (!comparison_of(history, wanted, by, &(*out)->comparison, error))
        work_out(*out, seed, error);
    if (error->code) {
        standing_free(*out);
        *out = NULL;
    }
    return error->code;
}

void standing_free(struct standing *standing)
{
    if (standing)
        comparison_free(&standing->comparison);
    free(standing);
}

/* Resistances of cells are read in thousandths of an ohm. */
static bool in_thousandths(const struct standing *standing, size_t c)
{
    return strcmp(standing->comparison.unit[c], "ohm") == 0;
}

const char *standing_unit(const struct standing *standing, size_t criterion)
{
    return in_thousandths(standing, criterion) ? "mohm" : standing->comparison.unit[criterion];
}

char *standing_mean(const struct standing *standing, size_t model, size_t criterion, char *buffer,
                    size_t size)
{
    const struct summary *s = &standing->summary[model * standing->comparison.criteria + criterion];
    double factor = in_thousandths(standing, criterion) ? 1000 : 1;
    double half = factor * (s->high - s->low) / 2;
    char mean[40], about[40];
    rounded_value(factor * s->mean, half, mean, sizeof mean);
    rounded_uncertainty(half, about, sizeof about);
    snprintf(buffer, size, "%s%s%s %s (%zu)", mean, about[0] ? " \xc2\xb1 " : "", about,
             standing->letters[criterion][model], s->count);
    return buffer;
}

bool standing_settled(const struct standing *standing)
{
    size_t models = standing->comparison.models;
    return models > 1 && standing->sure == ANALYSIS_OK &&
           standing->range[standing->order[0]].high < standing->range[standing->order[1]].low;
}
