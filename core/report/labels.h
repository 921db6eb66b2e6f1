/* Labels to stick round cells: what never changes about a cell, to be read by people and by a
 * reader of QR codes.
 *
 * A label lies along the cell and goes once round it, short of the whole way, so that it never
 * overlaps itself; it stays clear of both ends. Three bands make it readable from any side: label,
 * QR code, label. The code holds the label's text and nothing else.
 *
 * Caution, printed on every sheet: nothing may cover a terminal or the vent beside the positive
 * one, and a cell that no longer slides freely in its holder needs thinner paper. */
#ifndef PERDURE_REPORT_LABELS_H
#define PERDURE_REPORT_LABELS_H

#include <stdbool.h>
#include <stddef.h>

#include "base/calendar.h"
#include "base/text.h"

/* Not owned; model and rating may be NULL. */
struct cell_label {
    const char *label;  /* KES-07 */
    const char *model;  /* Heron 2000 */
    const char *rating; /* AA NiMH 2000 mAh */
};

enum label_cell { LABEL_AA, LABEL_AAA };
enum label_paper { PAPER_A4, PAPER_LETTER };

struct label_sheet {
    enum label_cell cell;
    enum label_paper paper;
    const char *title; /* at the head of each page; NULL for none */
};

size_t labels_per_page(const struct label_sheet *sheet);
size_t labels_pages(const struct label_sheet *sheet, size_t count); /* at least 1 */

/* Width of the smallest square of the label's code as printed, mm; 0 when it holds no code. Below
 * LABEL_FINEST (common practice, no source) many readers fail: a caller then says so. */
#define LABEL_FINEST 0.25
double label_module(enum label_cell cell, const char *label);

/* Whether the model's name has room; else it is shortened so that the models can still be told
 * apart: a caller then says so. */
bool label_holds(enum label_cell cell, const char *model);

/* Appends one page, counted from 0, as SVG in true size. ERROR_USAGE for an empty label or one too
 * long for any QR code. */
int labels_svg(struct text *out, const struct label_sheet *sheet, const struct cell_label *labels,
               size_t count, size_t page, struct error *error);

/* Appends all pages as one PDF; `made` is the date in its properties. */
int labels_pdf(struct text *out, const struct label_sheet *sheet, const struct cell_label *labels,
               size_t count, utc_us made, struct error *error);

#endif
