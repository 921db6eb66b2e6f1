/* perdure plot: one chart from what is on record, as SVG or PNG. */
#include <string.h>

#include "cli/chosen.h"
#include "cli/output_file.h"
#include "report/picture.h"
#include "verdict/drawing.h"

static const char *const presets[] = {[CHART_REPORT] = "report",
                                      [CHART_ARTICLE] = "article",
                                      [CHART_VIDEO] = "video",
                                      [CHART_NARROW] = "narrow"};
/* Pixels of a PNG to each of the SVG's own: a report's chart is printed, the others have the size
 * of where they go. */
static const double scales[] = {
    [CHART_REPORT] = 2, [CHART_ARTICLE] = 1, [CHART_VIDEO] = 1, [CHART_NARROW] = 3};

static const struct drawing_kind *kind_of(const char *name, struct error *error)
{
    struct text names = TEXT_EMPTY;
    for (const struct drawing_kind *kind = drawing_kinds; kind->name; kind++) {
        if (strcmp(kind->name, name) == 0) {
            text_free(&names);
            return kind;
        }
        text_addf(&names, "%s%s", !names.length ? "" : kind[1].name ? ", " : " or ", kind->name);
    }
    error_set(error, ERROR_USAGE, name, names.bytes, "there is no chart of this name");
    text_free(&names);
    return NULL;
}

static int preset_of(const char *name, enum chart_preset *preset, struct error *error)
{
    for (size_t i = 0; i < sizeof presets / sizeof *presets; i++) {
        *preset = (enum chart_preset)i;
        if (strcmp(presets[i], name) == 0)
            return 0;
    }
    return error_set(error, ERROR_USAGE, name, "say report, article, video or narrow",
                     "there is no preset of this name");
}

static int run(const struct arguments *arguments, struct error *error)
{
    static const char *const endings[] = {".svg", ".png", NULL};
    struct evidence evidence = {0};
    struct text svg = TEXT_EMPTY, png = TEXT_EMPTY;
    const char *path, *preset = argument(arguments, "preset"), *by = argument(arguments, "by");
    const struct drawing_kind *kind = kind_of(arguments->word[0], error);
    struct drawing drawing = {.evidence = &evidence, .preset = CHART_REPORT, .by = by};
    int ending;
    if (!kind ||
        output_kind(arguments, endings, "write -o chart.svg or -o chart.png", &path, &ending,
                    error) ||
        (preset && preset_of(preset, &drawing.preset, error)))
        return error->code;
    if (by && kind->draw != draw_ranking)
        return error_set(error, ERROR_USAGE, "--by", "leave it out", "it is for plot ranking only");
    if (chosen_evidence(&evidence, arguments, error))
        return error->code;
    if (!kind->draw(&svg, &drawing, error) &&
        !(ending == 1 && picture_png(&png, &svg, scales[drawing.preset], error)) &&
        !output_write(path, ending == 1 ? &png : &svg, error)) {
        char what[64];
        snprintf(what, sizeof what, "chart %s", kind->name);
        output_say(arguments, path, what, json_array_size(evidence.cells), evidence.model_count);
    }
    text_free(&svg);
    text_free(&png);
    evidence_close(&evidence);
    return error->code;
}

static const struct option_spec options[] = {
    {"o", "FILE", "the file to write: .svg or .png", false},
    {"preset", "report|article|video|narrow", "where it will be shown; else report", false},
    {"cells", "A,B", "only these cells", false},
    {"by", "NAME", "ranking: by this result, such as remaining; else capacity", false},
    {NULL, NULL, NULL, false},
};

const struct verb verb_plot = {"plot",
                               "discharge|retention|resistance|fade|ranking",
                               1,
                               1,
                               "one chart, as SVG or PNG",
                               options,
                               run};
