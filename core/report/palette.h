/* How series are told apart: a colour, a dash and a shape together, so that none of them is needed
 * alone; and the tones of everything else. Inside report.
 *
 * The colours keep a contrast of 3:1 to a white and to a dark ground (WCAG 2.1, 1.4.11), and stay
 * apart for the common kinds of colour blindness; the tests compute both. */
#ifndef PERDURE_REPORT_PALETTE_H
#define PERDURE_REPORT_PALETTE_H

#define INK    "#222222"
#define QUIET  "#595959" /* text of second rank; 7:1 on white */
#define GRID   "#DEDEDE"
#define GROUND "#FFFFFF"
#define OTHERS "#B4B4B4" /* series out of the key */
#define LIMIT  "#8A1C1C" /* end voltages, rated values, thresholds: always with a label */

#define PALETTE_STYLES 6

enum mark_shape {
    MARK_DISC,
    MARK_SQUARE,
    MARK_TRIANGLE,
    MARK_DIAMOND,
    MARK_PLUS,
    MARK_TRIANGLE_DOWN,
    MARK_SHAPES
};

struct series_style {
    const char *colour;
    const char *dash; /* NULL: solid */
    enum mark_shape shape;
};

/* The style of a series by its number: from PALETTE_STYLES on, colours return with other dashes and
 * shapes. */
struct series_style series_style(unsigned number);

#endif
