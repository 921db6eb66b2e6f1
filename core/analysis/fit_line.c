/* The straight line by least squares, in closed form about the means (JCGM 100:2008, H.3.2). */
#include <math.h>

#include "analysis/fit_parts.h"
#include "analysis/numbers.h"

static double line_value(double x, const double *p)
{
    return p[0] + p[1] * x;
}

static void line_gradient(double x, const double *p, double *dp)
{
    (void)p;
    dp[0] = 1;
    dp[1] = x;
}

static double line_inverse(double y, const double *p)
{
    return p[1] == 0 ? NAN : (y - p[0]) / p[1];
}

const struct fit_form fit_line = {.name = "straight line",
                                  .formula = "a + b x",
                                  .parameters = 2,
                                  .value = line_value,
                                  .gradient = line_gradient,
                                  .inverse = line_inverse};

enum analysis_status fit_line_solve(const double *x, const double *y, size_t count, struct fit *out)
{
    double x_mean = mean_of(x, count), y_mean = mean_of(y, count);
    struct exact_sum xx = {0, 0}, xy = {0, 0}, x_left = {0, 0}, y_left = {0, 0};
    for (size_t i = 0; i < count; i++) {
        double dx = x[i] - x_mean, dy = y[i] - y_mean;
        exact_add(&xx, dx * dx);
        exact_add(&xy, dx * dy);
        exact_add(&x_left, dx);
        exact_add(&y_left, dy);
    }
    double n = (double)count, left = exact_total(&x_left);
    double squares = exact_total(&xx) - left * left / n;
    double products = exact_total(&xy) - left * exact_total(&y_left) / n;
    out->value[1] = products / squares;
    out->value[0] = y_mean - out->value[1] * x_mean;
    out->covariance[0][0] = 1 / n + x_mean * x_mean / squares;
    out->covariance[0][1] = out->covariance[1][0] = -x_mean / squares;
    out->covariance[1][1] = 1 / squares;
    return ANALYSIS_OK;
}
