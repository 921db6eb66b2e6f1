/* perdure labels: sheets of labels to stick round the cells on record. */
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "cli/chosen.h"
#include "cli/output_file.h"
#include "report/labels.h"
#include "report/picture.h"
#include "verdict/evidence.h"

static const char *const shapes[] = {[LABEL_AA] = "AA", [LABEL_AAA] = "AAA"};
#define SHAPES 2

/* One kind of sheet and the labels that go on it. */
struct pile {
    struct label_sheet sheet;
    struct cell_label *labels;
    struct text *ratings;
    size_t count;
};

static int shape_of(const char *size)
{
    for (int s = 0; s < SHAPES; s++)
        if (strcasecmp(size, shapes[s]) == 0)
            return s;
    return -1;
}

static int take(struct pile piles[SHAPES], const json_t *cell, int forced, struct error *error)
{
    char rated[64], charge[40];
    int shape = forced >= 0 ? forced : shape_of(row_text(cell, "size"));
    if (shape < 0)
        return error_set(error, ERROR_FAILED, row_text(cell, "label"),
                         "say --size AA or AAA, or name other cells with --cells",
                         "its size is \"%s\": labels are made for AA and AAA",
                         row_text(cell, "size"));
    struct pile *pile = &piles[shape];
    snprintf(rated, sizeof rated, "%s mAh",
             number_format(1000 * row_number(cell, "rated_Ah"), charge, sizeof charge));
    text_addf(&pile->ratings[pile->count], "%s %s %s", row_text(cell, "size"),
              row_text(cell, "chemistry"), rated);
    pile->labels[pile->count] = (struct cell_label){.label = row_text(cell, "label"),
                                                    .model = row_text(cell, "model"),
                                                    .rating = pile->ratings[pile->count].bytes};
    pile->count++;
    return 0;
}

static int options_of(const struct arguments *arguments, struct pile piles[SHAPES], int *forced,
                      struct error *error)
{
    const char *size = argument(arguments, "size"), *paper = argument(arguments, "paper");
    *forced = size ? shape_of(size) : -1;
    if (size && *forced < 0)
        return error_set(error, ERROR_USAGE, size, "say --size AA or --size AAA",
                         "no labels are made for this size");
    if (paper && strcasecmp(paper, "a4") != 0 && strcasecmp(paper, "letter") != 0)
        return error_set(error, ERROR_USAGE, paper, "say --paper a4 or --paper letter",
                         "no sheets are made of this size");
    bool letter = paper && strcasecmp(paper, "letter") == 0;
    for (int s = 0; s < SHAPES; s++)
        piles[s].sheet = (struct label_sheet){.cell = (enum label_cell)s,
                                              .paper = letter ? PAPER_LETTER : PAPER_A4,
                                              .title = "Cells on record"};
    return 0;
}

/* All pages of both piles, in one array. */
static int draw(const struct pile piles[SHAPES], struct text **pages, size_t *count,
                struct error *error)
{
    size_t all = 0;
    for (int s = 0; s < SHAPES; s++)
        all += piles[s].count ? labels_pages(&piles[s].sheet, piles[s].count) : 0;
    *pages = xcalloc(all, sizeof **pages);
    *count = 0;
    for (int s = 0; s < SHAPES; s++) {
        size_t own = piles[s].count ? labels_pages(&piles[s].sheet, piles[s].count) : 0;
        for (size_t page = 0; page < own && !error->code; page++)
            labels_svg(&(*pages)[(*count)++], &piles[s].sheet, piles[s].labels, piles[s].count,
                       page, error);
    }
    return error->code;
}

/* The first page has the name given, the others a number before its ending: SVG has no pages. */
static int write_svg(const char *path, const struct text *pages, size_t count, struct error *error)
{
    for (size_t page = 0; page < count && !error->code; page++) {
        struct text name = TEXT_EMPTY;
        text_add_bytes(&name, path, strlen(path) - strlen(".svg"));
        if (page)
            text_addf(&name, "-%zu", page + 1);
        text_add(&name, ".svg");
        output_write(name.bytes, &pages[page], error);
        text_free(&name);
    }
    return error->code;
}

static void say(const struct arguments *arguments, const char *path,
                const struct pile piles[SHAPES], size_t pages)
{
    size_t fine = 0, shortened = 0;
    for (int s = 0; s < SHAPES; s++)
        for (size_t i = 0; i < piles[s].count; i++) {
            fine += label_module(piles[s].sheet.cell, piles[s].labels[i].label) < LABEL_FINEST;
            shortened += !label_holds(piles[s].sheet.cell, piles[s].labels[i].model);
        }
    if (arguments->json) {
        json_t *facts =
            json_pack("{s:s, s:i, s:i, s:i, s:i, s:i}", "file", path, "pages", (int)pages, "AA",
                      (int)piles[LABEL_AA].count, "AAA", (int)piles[LABEL_AAA].count,
                      "too_fine_to_scan", (int)fine, "shortened", (int)shortened);
        print_json(facts);
        json_decref(facts);
        return;
    }
    printf("%s: %zu labels on %zu page%s. Print at 100 %%; leave terminals and vents free.\n", path,
           piles[LABEL_AA].count + piles[LABEL_AAA].count, pages, pages == 1 ? "" : "s");
    if (fine)
        printf("%zu of them are so long that many readers will not read their code: shorter "
               "labels would do.\n",
               fine);
    if (shortened)
        printf("%zu of them have no room for their model's name: perdure cells shows it in full.\n",
               shortened);
}

static int run(const struct arguments *arguments, struct error *error)
{
    static const char *const kinds[] = {".pdf", ".svg", NULL};
    struct evidence evidence = {0};
    struct pile piles[SHAPES] = {0};
    struct text *pages = NULL, pdf = TEXT_EMPTY;
    const char *path;
    int kind, forced;
    size_t count = 0, i;
    json_t *cell;
    if (output_kind(arguments, kinds, "write -o labels.pdf or -o labels.svg", &path, &kind,
                    error) ||
        options_of(arguments, piles, &forced, error) ||
        chosen_evidence(&evidence, arguments, error))
        return error->code;
    size_t most = json_array_size(evidence.cells);
    for (int s = 0; s < SHAPES; s++) {
        piles[s].labels = xcalloc(most, sizeof *piles[s].labels);
        piles[s].ratings = xcalloc(most, sizeof *piles[s].ratings);
    }
    json_array_foreach(evidence.cells, i, cell)
    {
        if (take(piles, cell, forced, error))
            break;
    }
    if (!error->code && !draw(piles, &pages, &count, error) &&
        !(kind == 1 ? write_svg(path, pages, count, error)
                    : picture_pdf(&pdf, pages, count, "Cell labels", evidence.latest, error) ||
                          output_write(path, &pdf, error)))
        say(arguments, path, piles, count);
    for (i = 0; i < count; i++)
        text_free(&pages[i]);
    for (int s = 0; s < SHAPES; s++) {
        for (i = 0; i < piles[s].count; i++)
            text_free(&piles[s].ratings[i]);
        free(piles[s].labels);
        free(piles[s].ratings);
    }
    free(pages);
    text_free(&pdf);
    evidence_close(&evidence);
    return error->code;
}

static const struct option_spec options[] = {
    {"o", "FILE", "the file to write: .pdf, or .svg, one file a page", false},
    {"cells", "A,B", "only these cells", false},
    {"size", "AA|AAA", "for cells of this size; else as their models say", false},
    {"paper", "a4|letter", "the sheet; else a4", false},
    {NULL, NULL, NULL, false},
};

const struct verb verb_labels = {"labels", "", 0, 0, "labels with codes, to stick on cells",
                                 options,  run};
