/* From values to places: ranges of data, round ticks, linear scales. Inside report. */
#ifndef PERDURE_REPORT_SCALE_H
#define PERDURE_REPORT_SCALE_H

#include <stdbool.h>
#include <stddef.h>

/* A number that can be drawn: finite, and of a size that a bench could give. */
bool drawable(double value);

struct range {
    double low, high; /* high < low: nothing in it */
};
#define RANGE_EMPTY ((struct range){1, 0})
bool range_is_empty(const struct range *range);
void range_add(struct range *range, double value); /* what cannot be drawn is left out */

/* Round values, 1, 2 or 5 times a power of ten apart, inside a range. */
struct ticks {
    double first, step;
    size_t count;
    int decimals; /* that tell them apart */
};
#define MOST_TICKS 24
/* The range widened to whole ticks, about `target` of them, and those ticks. An empty range becomes
 * 0 to 1; one that is a point gets some room round it. */
struct ticks ticks_round(struct range *range, size_t target);
/* The ticks inside a range that stays as it is. */
struct ticks ticks_inside(const struct range *range, size_t target);
double tick_value(const struct ticks *ticks, size_t i);

/* Writes a value as it stands at an axis; returns buffer. */
char *tick_format(double value, int decimals, char *buffer, size_t size);

struct scale {
    double low, high; /* values */
    double from, to;  /* where they lie */
};
/* Always finite, and never far off the picture. */
double scale_at(const struct scale *scale, double value);

#endif
