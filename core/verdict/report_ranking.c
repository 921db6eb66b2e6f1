/* The ranking of a report: the table, and in plain words how far it can be trusted. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "verdict/contest.h"
#include "verdict/report.h"

#define FIXED_COLUMNS 5

static const struct page_column fixed[FIXED_COLUMNS] = {{"Place", true, false},
                                                        {"Model", false, false},
                                                        {"Mean finish", true, false},
                                                        {"Place, 95 % sure", false, false},
                                                        {"% first", true, false}};

static const char *range_of(struct report *report, const struct standing *standing, size_t m)
{
    const struct place_range *range = &standing->range[m];
    if (standing->sure != ANALYSIS_OK)
        return "not known";
    if (range->low == range->high)
        return report_text(report, "%zu", range->low);
    return report_text(report, "%zu to %zu", range->low, range->high);
}

/* "Left after 365 days" */
static const char *heading_of(struct report *report, const struct comparison *comparison, size_t c)
{
    const struct criterion_kind *kind = comparison->kind[c];
    return kind->of_age
               ? report_text(report, "%s after %.0f days", kind->heading, comparison->age[c])
               : kind->heading;
}

static void fill_table(struct report *report, const struct standing *standing)
{
    const struct comparison *comparison = &standing->comparison;
    size_t width = FIXED_COLUMNS + comparison->criteria;
    struct page_column *columns = report_keep(report, xcalloc(width, sizeof *columns));
    memcpy(columns, fixed, sizeof fixed);
    for (size_t c = 0; c < comparison->criteria; c++) {
        const char *heading = heading_of(report, comparison, c), *unit = standing_unit(standing, c);
        columns[FIXED_COLUMNS + c].title =
            *unit ? report_text(report, "%s (%s)", heading, report_unit(report, unit)) : heading;
    }
    const char **fields =
        report_table(report, &report->page.ranking, columns, width, comparison->models);
    for (size_t i = 0; i < comparison->models; i++) {
        size_t m = standing->order[i];
        char mean[120];
        const char **f = &fields[i * width];
        f[0] = report_text(report, "%.3g", standing->finish[m].place);
        f[1] = evidence_said(report->evidence, comparison->model[m]);
        f[2] = report_text(report, "%.2f", standing->finish[m].mean_finish);
        f[3] = range_of(report, standing, m);
        f[4] =
            standing->sure == ANALYSIS_OK
                ? report_text(report, "%.0f", 100 * standing->probability[m * comparison->models])
                : NULL;
        for (size_t c = 0; c < comparison->criteria; c++)
            f[FIXED_COLUMNS + c] =
                report_text(report, "%s", standing_mean(standing, m, c, mean, sizeof mean));
    }
}

static void say_first(struct report *report, const struct standing *standing)
{
    const struct comparison *comparison = &standing->comparison;
    if (comparison->models < 2)
        return;
    const char *first = evidence_said(report->evidence, comparison->model[standing->order[0]]);
    const char *second = evidence_said(report->evidence, comparison->model[standing->order[1]]);
    double chance = 100 * standing->probability[standing->order[0] * comparison->models];
    const char *item;
    if (standing->sure != ANALYSIS_OK)
        item = report_text(report, "%s came first, but how sure that is cannot be said: %s; %s.",
                           first, analysis_status_text(standing->sure),
                           analysis_status_todo(standing->sure));
    else if (standing_settled(standing))
        item = report_text(report,
                           "%s came first over all criteria. With other cells of the same models "
                           "it would have done so in about %.0f of 100 tests.",
                           first, chance);
    else
        item = report_text(report,
                           "%s came first over all criteria and %s second, but that is not "
                           "settled: with other cells of the same models %s would have come first "
                           "in about %.0f of 100 tests.",
                           first, second, first, chance);
    report_add_item(report, &report->page.summary, item);
}

static void explain(struct report *report, const struct contest *contest)
{
    const struct standing *standing = contest->standing;
    struct page_list *notes = &report->page.ranking_notes;
    report_add_item(
        report, notes,
        "Each criterion puts the models in order; the mean finish is the average of "
        "those places, 1 at best. Each column shows the mean of the cells \xc2\xb1 half of "
        "its 95 % interval, and in brackets how many cells. Models that share a letter cannot be "
        "told apart by that criterion "
        "(Welch's test, Holm's correction, 5 %).");
    if (standing->sure == ANALYSIS_OK)
        report_add_item(
            report, notes,
            report_text(
                report,
                "How sure the places are: the means were drawn anew from the scatter of the cells "
                "measured, %d times. The range holds the middle 95 %% of the "
                "places taken; \"%% first\" is how often the model came first.",
                STANDING_DRAWS));
    else
        report_add_item(report, notes,
                        report_text(report, "How sure the places are cannot be said: %s; %s.",
                                    analysis_status_text(standing->sure),
                                    analysis_status_todo(standing->sure)));
    for (size_t c = 0; c < standing->comparison.criteria; c++)
        report_add_item(report, notes,
                        report_text(report, "%s: %s. (criterion %s)",
                                    heading_of(report, &standing->comparison, c),
                                    standing->comparison.takes[c].bytes,
                                    standing->comparison.name[c]));
    if (standing->comparison.left_out.length)
        report_add_item(report, notes,
                        report_text(report, "%s", standing->comparison.left_out.bytes));
    if (contest->left_out)
        report_add_item(report, notes,
                        report_text(report,
                                    "Size %s only: %zu model%s of another size or without results "
                                    "%s left out.",
                                    contest->size, contest->left_out,
                                    contest->left_out == 1 ? "" : "s",
                                    contest->left_out == 1 ? "is" : "are"));
}

int report_ranking(struct report *report, struct error *error)
{
    struct contest contest;
    if (contest_of(&contest, &report->evidence->history, logbook_seed(report->evidence->logbook),
                   NULL, error)) {
        if (error->code != ERROR_FAILED)
            return error->code;
        report_add_item(report, &report->page.ranking_notes,
                        report_text(report, "There is no ranking: %s.", error->why));
        error_clear(error);
        return 0;
    }
    fill_table(report, contest.standing);
    say_first(report, contest.standing);
    explain(report, &contest);
    contest_free(&contest);
    return 0;
}
