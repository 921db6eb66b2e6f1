/* Lays out sheets of labels; lengths in millimetres. */
#include "report/labels.h"

#include <math.h>
#include <stdlib.h>

#include "report/lettering.h"
#include "report/palette.h"
#include "report/picture.h"
#include "report/qr.h"
#include "report/svg.h"

#define FINEST_TYPE 1.2
#define GAP         1.5 /* around: what the label leaves open, so that it does not overlap */
#define MARGIN      8.0
#define HEAD        6.0 /* above the labels: title and page */
#define FOOT        8.0
#define PADDING     1.5 /* beside the text */

/* Largest diameter and overall length by IEC 60086-2, sizes R6 and R03 (from memory); `along` is
 * how much of the length the label takes: it leaves some 7 mm at each end. */
static const struct shape {
    double diameter, length, along;
    const char *name;
} shapes[] = {[LABEL_AA] = {14.5, 50.5, 36, "AA"}, [LABEL_AAA] = {10.5, 44.5, 30, "AAA"}};

/* ISO 216; ANSI/ASME Y14.1 size A */
static const struct paper {
    double width, height;
} papers[] = {[PAPER_A4] = {210, 297}, [PAPER_LETTER] = {215.9, 279.4}};

struct grid {
    size_t columns, rows;
    double left, top, width, height; /* of one label: along the cell, and around it */
};

static struct grid grid_of(const struct label_sheet *sheet)
{
    const struct shape *shape = &shapes[sheet->cell];
    const struct paper *paper = &papers[sheet->paper];
    struct grid grid = {.width = shape->along, .height = M_PI * shape->diameter - GAP};
    grid.columns = (size_t)((paper->width - 2 * MARGIN) / grid.width);
    grid.rows = (size_t)((paper->height - 2 * MARGIN - HEAD - FOOT) / grid.height);
    grid.left = (paper->width - (double)grid.columns * grid.width) / 2;
    grid.top = MARGIN + HEAD;
    return grid;
}

size_t labels_per_page(const struct label_sheet *sheet)
{
    struct grid grid = grid_of(sheet);
    return grid.columns * grid.rows;
}

size_t labels_pages(const struct label_sheet *sheet, size_t count)
{
    size_t room = labels_per_page(sheet);
    return count == 0 ? 1 : (count + room - 1) / room;
}

static double band_of(enum label_cell cell)
{
    return (M_PI * shapes[cell].diameter - GAP) / 3;
}

double label_module(enum label_cell cell, const char *label)
{
    struct text path = TEXT_EMPTY;
    int side;
    bool good = qr_path(&path, label, &side);
    text_free(&path);
    return good ? band_of(cell) / (side + 2 * QR_QUIET) : 0;
}

/* How many lines the text takes at this size. */
static size_t lines_at(const char *string, double size, double width)
{
    size_t lines = 0;
    for (size_t next; *string != '\0'; string += next, lines++)
        lettering_line(string, size, true, width, &next);
    return lines;
}

/* The largest type that puts the text into the box on up to three lines; never below
 * FINEST_TYPE. */
static double largest_type(const char *string, double width, double height, size_t *lines)
{
    double best = 0;
    for (size_t count = 1; count <= 3; count++) {
        double size = height / (1.1 * (double)count);
        while (size > FINEST_TYPE && lines_at(string, size, width) > count)
            size *= 0.97;
        if (size > best) {
            best = size;
            *lines = count;
        }
    }
    return best;
}

/* The label's text as large as the box allows; what does not fit is cut, for the code holds it. */
static void add_name(struct text *out, const char *label, double x, double y, double width,
                     double height)
{
    size_t lines = 1;
    double size = largest_type(label, width, height, &lines);
    size_t used = lines_at(label, size, width);
    lines = used < lines ? used : lines;
    /* Type sits on its baseline; capitals and digits are 0.72 of its height. */
    double baseline = y + (height - ((double)lines - 1) * 1.1 * size + 0.72 * size) / 2;
    struct svg_type type = {.class = "ink", .colour = INK, .size = size, .bold = true};
    for (size_t next; lines > 1; lines--, label += next, baseline += 1.1 * size) {
        struct text line = TEXT_EMPTY;
        text_add_bytes(&line, label, lettering_line(label, size, true, width, &next));
        svg_text(out, x, baseline, line.bytes, &type);
        text_free(&line);
    }
    svg_text_fit(out, x, baseline, label, width * 1.001, &type);
}

static void add_small(struct text *out, const char *string, double x, double y, double width,
                      double size)
{
    struct svg_type type = {.class = "ink", .colour = INK, .size = size};
    if (string != NULL && string[0] != '\0')
        svg_text_fit(out, x, y, string, width, &type);
}

static double small_type(double band)
{
    return fmin(2.4, band * 0.18);
}

bool label_holds(enum label_cell cell, const char *model)
{
    return lettering_width(model, small_type(band_of(cell)), false) <=
           shapes[cell].along - 2 * PADDING;
}

/* The models' names as they stand on the labels, one for each; freed by lettering_free. */
static struct text *short_models(const struct label_sheet *sheet, const struct cell_label *labels,
                                 size_t count)
{
    const char **names = xcalloc(count + 1, sizeof *names);
    for (size_t i = 0; i < count; i++)
        names[i] = labels[i].model != NULL ? labels[i].model : "";
    struct text *forms = lettering_names(names, count, small_type(band_of(sheet->cell)), false,
                                         shapes[sheet->cell].along - 2 * PADDING);
    free(names);
    return forms;
}

/* Label large, model and rating small beneath it. */
static void add_text_band(struct text *out, const struct cell_label *label, const char *model,
                          double x, double y, double width, double band)
{
    struct svg_type type = {.class = "ink", .colour = INK, .size = small_type(band)};
    double small = type.size, pad = band * 0.085, room = band - 2 * pad;
    add_name(out, label->label, x + PADDING, y + pad, width - 2 * PADDING, room - 2.6 * small);
    if (model[0] != '\0')
        svg_text_short(out, x + PADDING, y + band - pad - 1.4 * small, model, label->model, &type);
    add_small(out, label->rating, x + PADDING, y + band - pad - 0.2 * small, width - 2 * PADDING,
              small);
}

/* The code with its quiet zone fills the height of the band; `path` is in modules, `side` of
 * them. */
static void add_code_band(struct text *out, const char *label, const struct text *path, int side,
                          double x, double y, double width, double band)
{
    double module = band / (side + 2 * QR_QUIET);
    text_add(out, "<path class=\"code\" fill=\"#000000\" shape-rendering=\"crispEdges\" "
                  "transform=\"translate(");
    svg_decimals(out, x + QR_QUIET * module, 4);
    text_add(out, " ");
    svg_decimals(out, y + QR_QUIET * module, 4);
    text_add(out, ") scale(");
    svg_decimals(out, module, 6);
    text_addf(out, ")\" d=\"%s\"/>\n", path->bytes);
    add_name(out, label, x + band, y + band * 0.25, width - band - PADDING, band * 0.5);
}

static int add_label(struct text *out, const struct cell_label *label, const char *model,
                     const struct grid *grid, size_t place, struct error *error)
{
    const char *name = label->label != NULL ? label->label : "";
    struct text path = TEXT_EMPTY;
    int side;
    if (!qr_path(&path, name, &side)) {
        char quoted[80];
        return error_set(error, ERROR_USAGE, "labels", "give the cell a short label",
                         "no QR code holds the label %s",
                         string_quote(name, quoted, sizeof quoted));
    }
    double x = grid->left + grid->width * (double)(place % grid->columns);
    double y = grid->top + grid->height * (double)(place / grid->columns);
    double band = grid->height / 3;
    text_add(out, "<g class=\"label\">\n");
    svg_title(out, name);
    text_add(out, "\n");
    add_text_band(out, label, model, x, y, grid->width, band);
    add_code_band(out, name, &path, side, x, y + band, grid->width, band);
    add_text_band(out, label, model, x, y + 2 * band, grid->width, band);
    text_add(out, "</g>\n");
    text_free(&path);
    return 0;
}

static bool has_label(const struct grid *grid, size_t row, size_t column, size_t shown)
{
    return row < grid->rows && column < grid->columns && row * grid->columns + column < shown;
}

/* Small crosses where the cuts meet, and a faint line along them, round each label. */
static void add_cut_marks(struct text *out, const struct grid *grid, size_t shown)
{
    struct svg_stroke mark = {.class = "cut", .colour = QUIET, .width = 0.1};
    struct svg_stroke faint = {.class = "cut", .colour = GRID, .width = 0.1, .dash = "1 1"};
    /* Corners are grid points beside a label; (row, column) is beside those up and left of it. */
    for (size_t row = 0; row <= grid->rows; row++)
        for (size_t column = 0; column <= grid->columns; column++) {
            double x = grid->left + (double)column * grid->width;
            double y = grid->top + (double)row * grid->height;
            bool here = has_label(grid, row, column, shown);
            bool left = column > 0 && has_label(grid, row, column - 1, shown);
            bool above = row > 0 && has_label(grid, row - 1, column, shown);
            bool corner = row > 0 && column > 0 && has_label(grid, row - 1, column - 1, shown);
            if (here || above)
                svg_line(out, x, y, x + grid->width, y, &faint);
            if (here || left)
                svg_line(out, x, y, x, y + grid->height, &faint);
            if (here || left || above || corner) {
                svg_line(out, x - 1, y, x + 1, y, &mark);
                svg_line(out, x, y - 1, x, y + 1, &mark);
            }
        }
}

/* The caution, and a length to check the printer by. */
static void add_foot(struct text *out, const struct paper *paper)
{
    double y = paper->height - MARGIN;
    struct svg_type type = {.class = "quiet", .colour = QUIET, .size = 2.8};
    struct svg_stroke line = {.class = "quiet", .colour = QUIET, .width = 0.2};
    svg_text(out, MARGIN, y - 3.5,
             "Leave both ends of the cell free: never cover a terminal or the vent. "
             "A cell must still slide freely in its holder.",
             &type);
    svg_text(out, MARGIN, y + 0.8, "Print at 100 %. This line is 50 mm:", &type);
    double from = MARGIN + 50;
    svg_line(out, from, y, from + 50, y, &line);
    svg_line(out, from, y - 1, from, y + 1, &line);
    svg_line(out, from + 50, y - 1, from + 50, y + 1, &line);
}

static void add_head(struct text *out, const struct label_sheet *sheet, size_t page, size_t pages)
{
    const struct paper *paper = &papers[sheet->paper];
    struct svg_type type = {.class = "ink", .colour = INK, .size = 3.5, .bold = true};
    if (sheet->title != NULL)
        svg_text_fit(out, MARGIN, MARGIN + 3, sheet->title, paper->width - 2 * MARGIN - 50, &type);
    struct text where = TEXT_EMPTY;
    text_addf(&where, "%s cells, page %zu of %zu", shapes[sheet->cell].name, page + 1, pages);
    type = (struct svg_type){.class = "quiet", .colour = QUIET, .size = 2.8, .anchor = SVG_END};
    svg_text(out, paper->width - MARGIN, MARGIN + 3, where.bytes, &type);
    text_free(&where);
}

static void open_page(struct text *out, const struct paper *paper, const char *title)
{
    text_add(out, "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"");
    svg_number(out, paper->width);
    text_add(out, "mm\" height=\"");
    svg_number(out, paper->height);
    text_add(out, "mm\" viewBox=\"0 0 ");
    svg_number(out, paper->width);
    text_add(out, " ");
    svg_number(out, paper->height);
    text_addf(out, "\" font-family=\"%s\">\n", SVG_FONTS);
    svg_title(out, title != NULL ? title : "Cell labels");
    text_add(out, "\n");
    svg_rect(out, 0, 0, paper->width, paper->height, "ground", GROUND);
}

int labels_svg(struct text *out, const struct label_sheet *sheet, const struct cell_label *labels,
               size_t count, size_t page, struct error *error)
{
    struct grid grid = grid_of(sheet);
    size_t room = grid.columns * grid.rows, first = page * room;
    size_t shown = first >= count ? 0 : count - first < room ? count - first : room;
    struct text picture = TEXT_EMPTY;
    open_page(&picture, &papers[sheet->paper], sheet->title);
    add_head(&picture, sheet, page, labels_pages(sheet, count));
    int status = 0;
    struct text *models = short_models(sheet, labels, count);
    for (size_t i = 0; i < shown && status == 0; i++)
        status = add_label(&picture, &labels[first + i], models[first + i].bytes, &grid, i, error);
    lettering_free(models, count);
    add_cut_marks(&picture, &grid, shown);
    add_foot(&picture, &papers[sheet->paper]);
    text_add(&picture, "</svg>\n");
    if (status == 0)
        text_add_bytes(out, picture.bytes, picture.length);
    text_free(&picture);
    return status;
}

int labels_pdf(struct text *out, const struct label_sheet *sheet, const struct cell_label *labels,
               size_t count, utc_us made, struct error *error)
{
    size_t pages = labels_pages(sheet, count);
    struct text *svg = xcalloc(pages, sizeof *svg);
    int status = 0;
    for (size_t page = 0; page < pages && status == 0; page++)
        status = labels_svg(&svg[page], sheet, labels, count, page, error);
    if (status == 0)
        status = picture_pdf(out, svg, pages, sheet->title != NULL ? sheet->title : "Cell labels",
                             made, error);
    for (size_t page = 0; page < pages; page++)
        text_free(&svg[page]);
    free(svg);
    return status;
}
