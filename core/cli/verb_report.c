/* perdure report: everything about the cells on record as one HTML file. */
#include <stdlib.h>
#include <string.h>

#include "cli/chosen.h"
#include "cli/output_file.h"
#include "verdict/report.h"

static void say_origin(struct report *report)
{
    const json_t *results = report->evidence->results;
    size_t i, simulated = 0, count = json_array_size(results);
    json_t *row;
    json_array_foreach(results, i, row)
    {
        simulated += strcmp(row_text(row, "how"), "simulated") == 0;
    }
    if (count && simulated == count)
        report->page.warning =
            "These cells are simulated. Nothing here was measured on a real cell.";
    else if (simulated)
        report->page.warning = "Some of these results are of simulated cells: see their origin.";
}

static void say_head(struct report *report, const char *title)
{
    const struct evidence *evidence = report->evidence;
    struct text names = TEXT_EMPTY, source = TEXT_EMPTY;
    for (size_t m = 0; m < evidence->model_count && m < 4; m++)
        text_addf(&names, "%s%s", m ? ", " : "", evidence->models[m].said);
    if (evidence->model_count > 4)
        text_addf(&names, " and %zu more", evidence->model_count - 4);
    report->page.title = title ? title : report_text(report, "Cell test: %s", names.bytes);
    evidence_source(evidence, &source);
    report->page.lead = report_take(report, &source);
    report->page.foot = "Written by perdure " PERDURE_VERSION
                        " from its logbook. The file is complete in itself: it asks for nothing "
                        "from outside.";
    text_free(&names);
}

static int run(const struct arguments *arguments, struct error *error)
{
    static const char *const endings[] = {".html", ".htm", NULL};
    struct evidence evidence = {0};
    struct report report = {.evidence = &evidence};
    struct text out = TEXT_EMPTY;
    const char *path;
    int ending;
    if (output_kind(arguments, endings, "write -o report.html", &path, &ending, error) ||
        chosen_evidence(&evidence, arguments, error))
        return error->code;
    if (!report_runs(&report, error)) {
        report_summary(&report);
        say_origin(&report);
        say_head(&report, argument(arguments, "title"));
        report_results(&report);
        if (!report_ranking(&report, error) && !report_charts(&report, error) &&
            !report_numbers(&report, error) && !report_method(&report, error) &&
            !report_troubles(&report, error)) {
            page_write(&out, &report.page);
            if (!output_write(path, &out, error))
                output_say(arguments, path, "report", json_array_size(evidence.cells),
                           evidence.model_count);
        }
    }
    for (size_t i = 0; i < report.kept_count; i++)
        free(report.kept[i]);
    free(report.kept);
    json_decref(report.runs);
    text_free(&out);
    evidence_close(&evidence);
    return error->code;
}

static const struct option_spec options[] = {
    {"o", "FILE", "the file to write: .html", false},
    {"cells", "A,B", "only these cells", false},
    {"title", "TEXT", "its title; else the models' names", false},
    {NULL, NULL, NULL, false},
};

const struct verb verb_report = {"report", "", 0, 0, "all that is on record, as one HTML file",
                                 options,  run};
