/* Fewer points for the same picture. Inside report, and for pictures only: numbers always come from
 * all the data.
 *
 * First averages of neighbours, so that noise does not survive as spikes; then the points that span
 * the largest triangles with their neighbours (S. Steinarsson, Downsampling Time Series for Visual
 * Representation, Univ. of Iceland, 2013), so that corners do. */
#ifndef PERDURE_REPORT_THIN_H
#define PERDURE_REPORT_THIN_H

#include <stddef.h>

#define THIN_BUCKETS                                                                               \
    4000              /* averages kept of a long curve, and of a shorter one a tenth of it, but    \
                         never less than twice what is drawn */
#define THIN_KEEP 300 /* points drawn */

/* Each of these writes at most `keep` points (2 at least) to x_out and y_out, which may be the
 * inputs, and gives how many. First and last stay exactly as they are. Input without gaps. */
size_t thin_average(const double *x, const double *y, size_t count, size_t keep, double *x_out,
                    double *y_out);
size_t thin_triangle(const double *x, const double *y, size_t count, size_t keep, double *x_out,
                     double *y_out);

/* Both, for a curve with gaps (points that cannot be drawn): each piece is thinned by its share,
 * and one point of not-a-number stays between two. At most keep + 3 a piece; the outputs are
 * allocated, the caller frees them. */
size_t thin_curve(const double *x, const double *y, size_t count, size_t keep, double **x_out,
                  double **y_out);

#endif
