/* What the parts of a report share; the summary; the table of results. */
#include "verdict/report.h"
#include "verdict/measured.h"

#include <math.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

#include "base/quantity.h"
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

const char *report_unit(struct report *report, const char *text)
{
    const char *ohm = text ? strstr(text, "ohm") : NULL;
    struct text said = TEXT_EMPTY;
    if (!ohm)
        return text;
    text_addf(&said, "%.*s\xce\xa9%s", (int)(ohm - text), text, ohm + 3);
    return report_take(report, &said);
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

/* Keeps what a report says of runs: there may be tens of thousands. */
static int take_run(void *context, json_t *row)
{
    static const char *const keys[] = {
        "run",       "kind",       "script",   "script_hash", "cell",           "state",      "why",
        "queued_at", "started_at", "ended_at", "params",      "engine_version", "lua_version"};
    struct report *report = context;
    const char *cell = row_text(row, "cell");
    if (cell[0] && !evidence_has(report->evidence, cell))
        return 0;
    json_t *kept = json_object();
    for (size_t i = 0; i < sizeof keys / sizeof *keys; i++)
        json_object_set(kept, keys[i], json_object_get(row, keys[i]));
    json_array_append_new(report->runs, kept);
    return 0;
}

int report_runs(struct report *report, struct error *error)
{
    report->runs = json_array();
    return logbook_each(report->evidence->logbook, LIST_RUNS, NULL, take_run, report, error);
}

/* --- summary ---------------------------------------------------------------------------------- */

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

/* The mean of a result over cells of a model, and over how many. */
struct gave {
    double sum; /* Ah */
    size_t count;
    double cycles_least, cycles_most; /* when it was measured */
    bool elsewhere;                   /* some of them were made outside the bench */
};

static void gave(struct gave *out, const struct subject *cell, const struct check *check)
{
    if (!check || !isfinite(check->value))
        return;
    out->cycles_least = out->count ? fmin(out->cycles_least, check->cycles) : check->cycles;
    out->cycles_most = out->count ? fmax(out->cycles_most, check->cycles) : check->cycles;
    out->elsewhere = out->elsewhere || cell->elsewhere;
    out->sum += check->value;
    out->count++;
}

/* "9 cells gave 1862 mAh on average, 93 % of it" */
static void say_gave(struct text *out, const struct gave *all, double rated)
{
    double mean = 3600 * all->sum / (double)all->count;
    text_addf(out, "%zu cell%s gave %.0f mAh%s, %.0f\xc2\xa0%% of the promise", all->count,
              all->count == 1 ? "" : "s", mean / 3.6, all->count == 1 ? "" : " on average",
              100 * mean / rated);
}

static void say_capacity(struct report *report, const struct evidence_model *model)
{
    const struct history *history = &report->evidence->history;
    struct gave fresh = {0}, worn = {0};
    struct text said = TEXT_EMPTY;
    for (size_t i = 0; i < history->count; i++) {
        const struct subject *cell = &history->subjects[i];
        if (cell->aside || strcmp(history->models[cell->model].name, model->name) != 0)
            continue;
        gave(&fresh, cell, history_first(cell, "capacity"));
        gave(&worn, cell, history_worn(cell, "capacity", NULL));
    }
    if (!fresh.count)
        return;
    text_addf(&said, "%s promises %.0f mAh a cell. Measured first, ", model->said,
              model->rated / 3.6);
    say_gave(&said, &fresh, model->rated);
    if (worn.count) {
        text_add(&said, "; after ");
        if (round(worn.cycles_least) < round(worn.cycles_most))
            text_addf(&said, "%.0f to ", worn.cycles_least);
        text_addf(&said, "%.0f cycles%s ", worn.cycles_most,
                  worn.elsewhere ? ", in part as a study asserts," : "");
        say_gave(&said, &worn, model->rated);
    }
    text_add(&said, ".");
    report_add_item(report, &report->page.summary, report_take(report, &said));
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

/* --- results ---------------------------------------------------------------------------------- */

static const struct page_column result_columns[] = {
    {"Cell", false, false},       {"Model", false, false},    {"Result", false, false},
    {"Value", true, false},       {"Unit", false, false},     {"\xc2\xb1 U (k)", true, false},
    {"% of rating", true, false}, {"Origin", false, false},   {"Flags", false, false},
    {"Run", true, false},         {"Protocol", false, false}, {"Recorded (UTC)", false, false},
};
#define RESULT_COLUMNS (sizeof result_columns / sizeof *result_columns)

/* More results than these are told a line for each cell and name. */
#define RESULTS_MOST 4000

static void list_results(struct report *report)
{
    const json_t *results = report->evidence->results;
    const char **fields = report_table(report, &report->page.results, result_columns,
                                       RESULT_COLUMNS, json_array_size(results));
    size_t i;
    json_t *row;
    json_array_foreach(results, i, row)
    {
        const char **f = &fields[i * RESULT_COLUMNS];
        f[0] = row_text(row, "cell");
        f[1] = evidence_said(report->evidence, row_text(row, "model"));
        f[2] = row_text(row, "name");
        f[3] = row_text(row, "value_text");
        f[4] = report_unit(report, row_text(row, "unit"));
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
}

/* --- many results ----------------------------------------------------------------------------- */

struct told { /* the results of one name of one cell */
    json_t *first, *last;
    double least, most;
    size_t count, flagged;
};

static const struct page_column told_columns[] = {
    {"Cell", false, false},
    {"Model", false, false},
    {"Result", false, false},
    {"Values", true, false},
    {"First", true, false},
    {"Last", true, false},
    {"Least", true, false},
    {"Greatest", true, false},
    {"Unit", false, false},
    {"\xc2\xb1 U of the last", true, false},
    {"Origin", false, false},
    {"Flagged", true, false},
    {"Last recorded (UTC)", false, false},
};
#define TOLD_COLUMNS (sizeof told_columns / sizeof *told_columns)

static void tell(struct report *report, const struct told *told, const char **f)
{
    char least[40], most[40];
    number_format(told->least, least, sizeof least);
    number_format(told->most, most, sizeof most);
    f[0] = row_text(told->last, "cell");
    f[1] = evidence_said(report->evidence, row_text(told->last, "model"));
    f[2] = row_text(told->last, "name");
    f[3] = report_text(report, "%zu", told->count);
    f[4] = row_text(told->first, "value_text");
    f[5] = row_text(told->last, "value_text");
    f[6] = report_text(report, "%s", least);
    f[7] = report_text(report, "%s", most);
    f[8] = report_unit(report, row_text(told->last, "unit"));
    f[9] = row_text(told->last, "expanded_text");
    f[10] = row_text(told->last, "how");
    f[11] = told->flagged ? report_text(report, "%zu", told->flagged) : NULL;
    f[12] = report_text(report, "%.10s", row_text(told->last, "at"));
}

/* A line for each name of each cell, in the order in which they turn up. */
static void tell_results(struct report *report)
{
    const json_t *results = report->evidence->results;
    struct told *all = xcalloc(json_array_size(results), sizeof *all);
    json_t *places = json_object(), *row, *place;
    size_t i, count = 0;
    json_array_foreach(results, i, row)
    {
        struct text key = TEXT_EMPTY;
        double value = row_number(row, "value");
        text_addf(&key, "%s %s", row_text(row, "cell"), row_text(row, "name"));
        place = json_object_get(places, key.bytes);
        if (!place) {
            json_object_set_new(places, key.bytes, json_integer((json_int_t)count));
            all[count++] = (struct told){.first = row, .least = value, .most = value};
            place = json_object_get(places, key.bytes);
        }
        text_free(&key);
        struct told *told = &all[json_integer_value(place)];
        told->last = row;
        told->least = fmin(told->least, value);
        told->most = fmax(told->most, value);
        told->count++;
        told->flagged += row_text(row, "flags")[0] != '\0';
    }
    const char **fields =
        report_table(report, &report->page.results, told_columns, TOLD_COLUMNS, count);
    for (i = 0; i < count; i++) {
        json_t *ends = json_pack("[O, O]", all[i].first, all[i].last);
        measured_say(ends);
        json_decref(ends);
        tell(report, &all[i], &fields[i * TOLD_COLUMNS]);
    }
    json_decref(places);
    free(all);
}

void report_results(struct report *report)
{
    size_t count = json_array_size(report->evidence->results);
    if (count > RESULTS_MOST) {
        tell_results(report);
        report->page.results_note = report_text(
            report,
            "%zu values are on record, too many for a page: here is a line for each cell and "
            "result. What is flagged is told above, one by one; `perdure export` writes them all. "
            "\xc2\xb1 U: expanded uncertainty k u of what measured it, coverage about 95 %%.",
            count);
        return;
    }
    measured_say(report->evidence->results);
    list_results(report);
    report->page.results_note = count ? "Every value on record, in the order of the runs. Origin: "
                                        "how it was obtained; flags: "
                                        "what to keep in mind, such as a gap in the readings, or "
                                        "corrected: what was typed was wrong, and the run's events "
                                        "have the old figures; "
                                        "\xc2\xb1 U: expanded uncertainty k u of what measured it, "
                                        "coverage about 95 %."
                                      : "No result is on record.";
}
