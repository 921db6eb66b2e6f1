/* Averages and largest triangles. */
#include "report/thin.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "report/scale.h"

static size_t copy_all(const double *x, const double *y, size_t count, double *x_out, double *y_out)
{
    if (count != 0) {
        memmove(x_out, x, count * sizeof *x);
        memmove(y_out, y, count * sizeof *y);
    }
    return count;
}

/* Where the i-th of `parts` begins among the points between first and last. */
static size_t part_start(size_t count, size_t parts, size_t i)
{
    return 1 + (size_t)((double)(count - 2) * (double)i / (double)parts);
}

size_t thin_average(const double *x, const double *y, size_t count, size_t keep, double *x_out,
                    double *y_out)
{
    if (count <= keep || count <= 2)
        return copy_all(x, y, count, x_out, y_out);
    size_t parts = keep > 2 ? keep - 2 : 0;
    double last_x = x[count - 1], last_y = y[count - 1];
    x_out[0] = x[0];
    y_out[0] = y[0];
    for (size_t i = 0; i < parts; i++) {
        size_t from = part_start(count, parts, i), to = part_start(count, parts, i + 1);
        double sum_x = 0, sum_y = 0;
        for (size_t j = from; j < to; j++) {
            sum_x += x[j];
            sum_y += y[j];
        }
        x_out[i + 1] = sum_x / (double)(to - from); /* never empty: count > keep */
        y_out[i + 1] = sum_y / (double)(to - from);
    }
    x_out[parts + 1] = last_x;
    y_out[parts + 1] = last_y;
    return parts + 2;
}

size_t thin_triangle(const double *x, const double *y, size_t count, size_t keep, double *x_out,
                     double *y_out)
{
    if (count <= keep || count <= 2)
        return copy_all(x, y, count, x_out, y_out);
    size_t parts = keep > 2 ? keep - 2 : 0;
    double last_x = x[count - 1], last_y = y[count - 1];
    double kept_x = x[0], kept_y = y[0];
    x_out[0] = kept_x;
    y_out[0] = kept_y;
    for (size_t i = 0; i < parts; i++) {
        size_t from = part_start(count, parts, i), to = part_start(count, parts, i + 1);
        size_t next_to = i + 1 < parts ? part_start(count, parts, i + 2) : count;
        double mean_x = 0, mean_y = 0; /* of the part that follows */
        for (size_t j = to; j < next_to; j++) {
            mean_x += x[j] / (double)(next_to - to);
            mean_y += y[j] / (double)(next_to - to);
        }
        size_t best = from;
        double largest = -1;
        for (size_t j = from; j < to; j++) {
            double area =
                fabs((kept_x - mean_x) * (y[j] - kept_y) - (kept_x - x[j]) * (mean_y - kept_y));
            if (area > largest) {
                largest = area;
                best = j;
            }
        }
        kept_x = x[best];
        kept_y = y[best];
        x_out[i + 1] = kept_x; /* i + 1 <= from: what is overwritten was read */
        y_out[i + 1] = kept_y;
    }
    x_out[parts + 1] = last_x;
    y_out[parts + 1] = last_y;
    return parts + 2;
}

static size_t count_pieces(const double *x, const double *y, size_t count, size_t *drawn)
{
    size_t pieces = 0;
    bool inside = false;
    *drawn = 0;
    for (size_t i = 0; i < count; i++) {
        bool good = drawable(x[i]) && drawable(y[i]);
        *drawn += good;
        pieces += good && !inside;
        inside = good;
    }
    return pieces;
}

/* What a piece gets of the points to be drawn; never below 3. */
static size_t share_of(size_t keep, size_t piece, size_t whole)
{
    size_t share = (size_t)((double)keep * (double)piece / (double)whole);
    return share < 3 ? 3 : share;
}

size_t thin_curve(const double *x, const double *y, size_t count, size_t keep, double **x_out,
                  double **y_out)
{
    size_t drawn, pieces = count_pieces(x, y, count, &drawn), made = 0;
    double *xs = xcalloc(drawn + pieces + 1, sizeof *xs);
    double *ys = xcalloc(drawn + pieces + 1, sizeof *ys);
    for (size_t from = 0, to; from < count; from = to + 1) {
        for (to = from; to < count && drawable(x[to]) && drawable(y[to]);)
            to++;
        if (to == from)
            continue;
        if (made != 0) {
            xs[made] = ys[made] = NAN;
            made++;
        }
        size_t points = share_of(keep, to - from, drawn), averages = (to - from) / 10;
        averages = averages < THIN_BUCKETS ? averages : THIN_BUCKETS;
        averages = averages > 2 * points ? averages : 2 * points;
        size_t left = thin_average(x + from, y + from, to - from, averages, xs + made, ys + made);
        made += thin_triangle(xs + made, ys + made, left, points, xs + made, ys + made);
    }
    *x_out = xs;
    *y_out = ys;
    return made;
}
