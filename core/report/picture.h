/* Pictures for programs that read no SVG: PNG and PDF, drawn from the same SVG in this process. */
#ifndef PERDURE_REPORT_PICTURE_H
#define PERDURE_REPORT_PICTURE_H

#include <stddef.h>

#include "base/calendar.h"
#include "base/text.h"

/* Appends a PNG file, `scale` pixels to each of the SVG's own. ERROR_USAGE for a picture over
 * 16,384 pixels a side; ERROR_INTERNAL for what is no SVG. */
int picture_png(struct text *out, const struct text *svg, double scale, struct error *error);

/* Appends a PDF file, one page for each SVG, in that SVG's size. `title` and `made` go into its
 * properties; nothing here looks at a clock. */
int picture_pdf(struct text *out, const struct text *pages, size_t count, const char *title,
                utc_us made, struct error *error);

#endif
