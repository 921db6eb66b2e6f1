/* What every chart is told: where it will be shown, what it says, how it was measured.
 *
 * A chart is written as SVG with its text as text, and is the same, byte for byte, for the same
 * input. Classes for a page that holds it: ground, ink, quiet, grid, limit, others, and for each
 * model a group "series" with data-series, its place in the caller's array; its entry in the key
 * has class "key" and the same number. The group "plot" carries data-x and data-y: "low high from
 * to", the values and the pixels at both ends of each axis. */
#ifndef PERDURE_REPORT_CHART_H
#define PERDURE_REPORT_CHART_H

#include <stddef.h>

enum chart_preset {
    CHART_REPORT,  /* 720 wide, as high as it needs: prints at 10 points */
    CHART_ARTICLE, /* 1200 by 675 */
    CHART_VIDEO,   /* 960 by 540 drawn at 1920 by 1080, large type, at most 6 models stand out */
    CHART_NARROW   /* 360 wide, as high as it needs: a telephone held upright */
};

/* Texts are UTF-8, not owned; any may be NULL. */
struct chart_head {
    enum chart_preset preset;
    const char *id;          /* letters, digits, hyphens: unique in its page; NULL: "chart" */
    const char *title;       /* the finding, in a sentence */
    const char *conditions;  /* current, temperature, rest; method and charge level */
    const char *note;        /* at the foot: source, date, what was left out */
    const char *description; /* for screen readers; NULL: made from the numbers */
};

/* A model's `style`: the same number gives it the same colour, dash and shape in every chart. */
#define STYLE_OTHERS (-1) /* grey, in the background, not in the key */

#endif
