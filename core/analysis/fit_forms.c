/* The two curved forms, and where their iteration starts. */
#include <math.h>

#include "analysis/fit_parts.h"
#include "analysis/numbers.h"

static double exponential_value(double x, const double *p)
{
    return p[0] * exp(-p[1] * x);
}

static void exponential_gradient(double x, const double *p, double *dp)
{
    dp[0] = exp(-p[1] * x);
    dp[1] = -p[0] * x * dp[0];
}

static double exponential_inverse(double y, const double *p)
{
    return p[1] == 0 || y / p[0] <= 0 ? NAN : -log(y / p[0]) / p[1];
}

/* A line through the logarithms, where there are any. */
static enum analysis_status exponential_start(const double *x, const double *y, size_t count,
                                              double *p)
{
    double sign = mean_of(y, count) < 0 ? -1 : 1;
    double n = 0, sx = 0, sy = 0, sxx = 0, sxy = 0;
    for (size_t i = 0; i < count; i++) {
        if (sign * y[i] <= 0)
            continue;
        double log_y = log(sign * y[i]);
        n++;
        sx += x[i];
        sy += log_y;
        sxx += x[i] * x[i];
        sxy += x[i] * log_y;
    }
    double divisor = n * sxx - sx * sx;
    if (!(divisor > 0))
        return ANALYSIS_NO_FIT;
    double slope = (n * sxy - sx * sy) / divisor;
    p[1] = -slope;
    p[0] = sign * exp((sy - slope * sx) / n);
    return isfinite(p[0]) ? ANALYSIS_OK : ANALYSIS_NO_FIT;
}

const struct fit_form fit_exponential = {.name = "exponential",
                                         .formula = "a exp(-k x)",
                                         .parameters = 2,
                                         .value = exponential_value,
                                         .gradient = exponential_gradient,
                                         .inverse = exponential_inverse,
                                         .start = exponential_start};

#define POWER_LEAST 0.01
#define POWER_MOST  10.0

/* The exponent is kept inside of its range: beyond it there is a step or nothing to see. */
static double exponent_of(const double *p)
{
    return fmin(fmax(p[2], POWER_LEAST), POWER_MOST);
}

static double power_value(double x, const double *p)
{
    return p[0] - p[1] * pow(x, exponent_of(p));
}

static void power_gradient(double x, const double *p, double *dp)
{
    double raised = pow(x, exponent_of(p));
    dp[0] = 1;
    dp[1] = -raised;
    dp[2] = x > 0 ? -p[1] * raised * log(x) : 0;
}

static double power_inverse(double y, const double *p)
{
    double raised = p[1] == 0 ? NAN : (p[0] - y) / p[1];
    return raised >= 0 ? pow(raised, 1 / exponent_of(p)) : NAN;
}

/* For a given exponent the rest is a straight line: the best of a few exponents. */
static enum analysis_status power_start(const double *x, const double *y, size_t count, double *p)
{
    double best = INFINITY;
    for (size_t i = 0; i < count; i++) {
        if (x[i] < 0)
            return ANALYSIS_NEGATIVE_TIME;
    }
    for (double exponent = 0.05; exponent < 8; exponent *= 1.15) {
        double mean_x = 0, mean_y = mean_of(y, count), xx = 0, xy = 0, squares = 0;
        for (size_t i = 0; i < count; i++)
            mean_x += pow(x[i], exponent) / (double)count;
        for (size_t i = 0; i < count; i++) {
            double dx = pow(x[i], exponent) - mean_x;
            xx += dx * dx;
            xy += dx * (y[i] - mean_y);
        }
        double slope = xy / xx;
        for (size_t i = 0; i < count; i++) {
            double residual = y[i] - mean_y - slope * (pow(x[i], exponent) - mean_x);
            squares += residual * residual;
        }
        if (squares < best) {
            best = squares;
            p[0] = mean_y - slope * mean_x;
            p[1] = -slope;
            p[2] = exponent;
        }
    }
    return isfinite(best) ? ANALYSIS_OK : ANALYSIS_NO_FIT;
}

const struct fit_form fit_power = {.name = "power of time",
                                   .formula = "a - b x^p",
                                   .parameters = 3,
                                   .value = power_value,
                                   .gradient = power_gradient,
                                   .inverse = power_inverse,
                                   .start = power_start};
