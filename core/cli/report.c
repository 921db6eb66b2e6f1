/* What the parts of a report share; the summary; the table of results. */
#include "cli/report.h"
#include "cli/measured.h"

#include <math.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

#include "logbook/facts.h"

void *report_keep(struct report *report, void *block)
{
    report->kept = xrealloc(report->kept, (report->kept_count + 1) * sizeof *report->kept);
    report->kept[report->kept_count++] = block;
    return block;
}

const char *report_text(struct report *report, const char *format, ...)
{
    char *text = NULL;
    va_list list;
    va_start(list, format);
    int length = vasprintf(&text, format, list);
    va_end(list);
    return report_keep(report, length < 0 ? xstrdup("") : text);
}

const char *report_take(struct report *report, struct text *text)
{
    char *bytes = text->bytes ? text->bytes : xstrdup("");
    *text = (struct text)TEXT_EMPTY;
    return report_keep(report, bytes);
}

void report_add_item(struct report *report, struct page_list *list, const char *item)
{
    const char **items = xcalloc(list->count + 1, sizeof *items);
    for (size_t i = 0; i < list->count; i++)
        items[i] = list->items[i];
    items[list->count++] = item;
    list->items = report_keep(report, items);
}

const char **report_table(struct report *report, struct page_table *table,
                          const struct page_column *columns, size_t column_count, size_t rows)
{
    const char **fields = report_keep(report, xcalloc(rows * column_count + 1, sizeof *fields));
    *table = (struct page_table){columns, column_count, fields, rows};
    return fields;
}

int report_runs(struct report *report, struct error *error)
{
    json_t *all = NULL, *row;
    size_t i;
    report->runs = json_array();
    if (logbook_list(report->evidence->logbook, LIST_RUNS, &(struct listing_filter){0}, &all,
                     error))
        return error->code;
    json_array_foreach(all, i, row)
    {
        const char *cell = row_text(row, "cell");
        if (!cell[0] || evidence_has(report->evidence, cell))
            json_array_append(report->runs, row);
    }
    json_decref(all);
    return 0;
}

/* --- summary
 * ----------------------------------------------------------------------------------- */

static size_t runs_in(const struct report *report, const char *state)
{
    size_t count = 0, i;
    json_t *run;
    json_array_foreach(report->runs, i, run)
    {
        count += strcmp(row_text(run, "state"), state) == 0;
    }
    return count;
}

/* "Heron 2000 promises 2000 mAh a cell; 10 cells gave 1862 mAh on average, 93 % of it." */
static void say_capacity(struct report *report, const struct evidence_model *model)
{
    double sum = 0, value;
    size_t count = 0, i, j;
    json_t *cell, *row;
    json_array_foreach(model->cells, i, cell)
    {
        value = NAN;
        json_array_foreach(report->evidence->results, j, row)
        {
            if (strcmp(row_text(row, "name"), "capacity") == 0 &&
                strcmp(row_text(row, "cell"), row_text(cell, "label")) == 0)
                value = row_number(row, "value");
        }
        if (isfinite(value)) {
            sum += 3600 * value;
            count++;
        }
    }
    if (count)
        report_add_item(report, &report->page.summary,
                        report_text(report,
                                    "%s promises %.0f mAh a cell. When last measured, %zu cell%s "
                                    "gave %.0f mAh%s: %.0f\xc2\xa0%% of the promise.",
                                    model->said, model->rated / 3.6, count, count == 1 ? "" : "s",
                                    sum / (double)count / 3.6, count == 1 ? "" : " on average",
                                    100 * sum / (double)count / model->rated));
}

void report_summary(struct report *report)
{
    const struct evidence *evidence = report->evidence;
    size_t going = runs_in(report, "running") + runs_in(report, "queued") +
                   runs_in(report, "paused") + runs_in(report, "attention");
    size_t cells = 0;
    for (size_t m = 0; m < evidence->model_count; m++)
        cells += json_array_size(evidence->models[m].cells); /* without those of reference */
    report_add_item(report, &report->page.summary,
                    report_text(report,
                                "%zu cell%s of %zu model%s. Runs: %zu done, %zu failed, %zu "
                                "stopped, %zu still open.",
                                cells, cells == 1 ? "" : "s", evidence->model_count,
                                evidence->model_count == 1 ? "" : "s", runs_in(report, "done"),
                                runs_in(report, "failed"), runs_in(report, "stopped"), going));
    if (going)
        report_add_item(report, &report->page.summary,
                        "The work is not finished: what is said here may change.");
    for (size_t m = 0; m < evidence->model_count; m++)
        say_capacity(report, &evidence->models[m]);
}

/* --- results
 * ----------------------------------------------------------------------------------- */

static const struct page_column result_columns[] = {
    {"Cell", false, false},       {"Model", false, true},     {"Result", false, false},
    {"Value", true, false},       {"Unit", false, false},     {"\xc2\xb1 U (k)", true, false},
    {"% of rating", true, false}, {"Origin", false, false},   {"Flags", false, false},
    {"Run", true, false},         {"Protocol", false, false}, {"Recorded (UTC)", false, false},
};
#define RESULT_COLUMNS (sizeof result_columns / sizeof *result_columns)

void report_results(struct report *report)
{
    const json_t *results = report->evidence->results;
    const char **fields = report_table(report, &report->page.results, result_columns,
                                       RESULT_COLUMNS, json_array_size(results));
    size_t i;
    json_t *row;
    measured_say(report->evidence->results);
    json_array_foreach(results, i, row)
    {
        const char **f = &fields[i * RESULT_COLUMNS];
        f[0] = row_text(row, "cell");
        f[1] = row_text(row, "model");
        f[2] = row_text(row, "name");
        f[3] = row_text(row, "value_text");
        f[4] = row_text(row, "unit");
        if (row_text(row, "expanded_text")[0])
            f[5] = report_text(report, "%s (%s)", row_text(row, "expanded_text"),
                               row_text(row, "coverage_text"));
        f[6] = row_text(row, "percent_text");
        f[7] = row_text(row, "how");
        f[8] = row_text(row, "flags");
        f[9] = report_text(report, "%" JSON_INTEGER_FORMAT,
                           json_integer_value(json_object_get(row, "run")));
        f[10] = row_text(row, "script");
        f[11] = report_text(report, "%.10s %.5s", row_text(row, "at"),
                            strlen(row_text(row, "at")) > 11 ? row_text(row, "at") + 11 : "");
    }
    report->page.results_note = json_array_size(results)
                                    ? "Every value on record, in the order of the runs. Origin: "
                                      "how it was obtained; flags: "
                                      "what to keep in mind, such as a gap in the readings; "
                                      "\xc2\xb1 U: expanded uncertainty k u of what measured it, "
                                      "coverage about 95 %."
                                    : "No result is on record.";
}
