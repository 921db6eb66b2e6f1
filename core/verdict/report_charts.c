/* The charts of a report, each twice: as wide as a page, and for a telephone. */
#include <stdlib.h>

#include "verdict/drawing.h"
#include "verdict/report.h"

static int draw(struct report *report, const struct drawing_kind *kind, struct page_chart *out,
                struct error *error)
{
    struct text wide = TEXT_EMPTY, narrow = TEXT_EMPTY, finding = TEXT_EMPTY;
    struct drawing drawing = {
        .evidence = report->evidence, .preset = CHART_REPORT, .finding = &finding};
    *out = (struct page_chart){.heading = kind->heading};
    if (kind->draw(&wide, &drawing, error)) {
        if (error->code != ERROR_FAILED)
            return error->code;
        out->why_not =
            report_text(report, "Not drawn: %s. To have it: %s.", error->why, error->todo);
        error_clear(error);
        return 0;
    }
    out->svg = report_take(report, &wide);
    drawing.finding = NULL;
    drawing.preset = CHART_NARROW;
    drawing.id = report_text(report, "%s-narrow", kind->name);
    if (kind->draw(&narrow, &drawing, error))
        return error->code;
    out->narrow = report_take(report, &narrow);
    if (kind->draw != draw_ranking) /* said already, over all criteria */
        report_add_item(report, &report->page.summary,
                        report_text(report, "%s.", report_take(report, &finding)));
    text_free(&finding);
    return 0;
}

int report_charts(struct report *report, struct error *error)
{
    size_t count = 0;
    while (drawing_kinds[count].name)
        count++;
    struct page_chart *charts = report_keep(report, xcalloc(count, sizeof *charts));
    for (size_t i = 0; i < count && !error->code; i++)
        draw(report, &drawing_kinds[i], &charts[i], error);
    report->page.charts = charts;
    report->page.chart_count = count;
    return error->code;
}
