/* Elements of a picture as SVG text (W3C SVG 1.1). Inside report.
 *
 * Same input, same bytes: numbers are rounded to hundredths by hand, in no locale, never "-0" and
 * never not-a-number. Colours are plain attributes, for readers that know no CSS; each element also
 * carries a class, so that a page around it can restyle it. Text stays text. */
#ifndef PERDURE_REPORT_SVG_H
#define PERDURE_REPORT_SVG_H

#include <stdbool.h>
#include <stddef.h>

#include "base/text.h"

#define SVG_FONTS "Liberation Sans, Arial, Helvetica, DejaVu Sans, sans-serif"

/* To hundredths, or to `decimals`; not-a-number counts as 0 and infinities stop at +-1e7: marks
 * leave such points out long before. */
void svg_number(struct text *out, double value);
void svg_decimals(struct text *out, double value, int decimals);

/* Escaped for content and for attributes in double quotes. Control characters become spaces, bytes
 * that are no UTF-8 become U+FFFD, and a text with right-to-left letters is isolated, so that it
 * cannot turn round what stands beside it. */
void svg_escaped(struct text *out, const char *string);

/* ` name="value"` */
void svg_attribute(struct text *out, const char *name, double value);
void svg_attribute_text(struct text *out, const char *name, const char *value);

/* <title>string</title>: the tooltip, and what a screen reader says. */
void svg_title(struct text *out, const char *string);

struct svg_stroke {
    const char *class;
    const char *colour;
    double width;
    const char *dash;  /* NULL for solid */
    double dash_scale; /* of the lengths in it; 0 counts as 1 */
    double opacity;    /* 0 counts as 1 */
};
void svg_line(struct text *out, double x1, double y1, double x2, double y2,
              const struct svg_stroke *stroke);
void svg_stroke(struct text *out, const struct svg_stroke *stroke); /* its attributes */

void svg_rect(struct text *out, double x, double y, double width, double height, const char *class,
              const char *fill);

struct svg_type {
    const char *class;
    const char *colour;
    double size;
    bool bold;
    enum { SVG_START, SVG_MIDDLE, SVG_END } anchor;
};
/* One line of text, its baseline at y. */
void svg_text(struct text *out, double x, double y, const char *string,
              const struct svg_type *type);
/* The same cut to the room, the whole then as tooltip. */
void svg_text_fit(struct text *out, double x, double y, const char *string, double room,
                  const struct svg_type *type);
/* The same, cut by the caller to `shown`. */
void svg_text_short(struct text *out, double x, double y, const char *shown, const char *string,
                    const struct svg_type *type);

#endif
