/* The key at the right of a chart: how each model is drawn, its name, its value. Inside report. */
#ifndef PERDURE_REPORT_KEY_H
#define PERDURE_REPORT_KEY_H

#include "report/frame.h"
#include "report/palette.h"

#define KEY_OTHERS ((size_t)-1)

/* Texts are owned. */
struct key_entry {
    size_t number; /* data-series; KEY_OTHERS for what stands in the background */
    struct series_style style;
    struct text name, value; /* the value may be empty */
};

/* Width that the key takes, the gap to the plot included: at most the frame's `side`. */
double key_room(const struct frame *frame, const struct key_entry *entries, size_t count);
/* Within the box, from the height `top` where they fit below it, else from the box' own top. */
void key_add(struct frame *frame, const struct box *box, double top,
             const struct key_entry *entries, size_t count);
/* Frees the texts and the array. */
void key_free(struct key_entry *entries, size_t count);

#endif
