/* Sums that keep their digits, and Student's t. */
#include "analysis/numbers.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include <gsl/gsl_cdf.h>
#include <gsl/gsl_errno.h>
#include <gsl/gsl_sort.h>

#include "base/text.h"

#define ROUNDING 1e-12 /* as a part of the values */

void exact_add(struct exact_sum *sum, double term)
{
    double next = sum->sum + term;
    if (fabs(sum->sum) >= fabs(term))
        sum->rest += (sum->sum - next) + term;
    else
        sum->rest += (term - next) + sum->sum;
    sum->sum = next;
}

double exact_total(const struct exact_sum *sum)
{
    return sum->sum + sum->rest;
}

bool all_finite(const double *x, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        if (!isfinite(x[i]))
            return false;
    }
    return true;
}

bool are_alike(const double *x, size_t count)
{
    double least = INFINITY, most = -INFINITY;
    for (size_t i = 0; i < count; i++) {
        least = fmin(least, x[i]);
        most = fmax(most, x[i]);
    }
    return most - least <= ROUNDING * fmax(fabs(least), fabs(most));
}

double mean_of(const double *x, size_t count)
{
    struct exact_sum sum = {0, 0};
    for (size_t i = 0; i < count; i++)
        exact_add(&sum, x[i]);
    return exact_total(&sum) / (double)count;
}

double squares_about(const double *x, size_t count, double mean)
{
    struct exact_sum squares = {0, 0}, rest = {0, 0};
    for (size_t i = 0; i < count; i++) {
        double from_mean = x[i] - mean;
        exact_add(&squares, from_mean * from_mean);
        exact_add(&rest, from_mean);
    }
    double left = exact_total(&rest);
    double total = exact_total(&squares) - left * left / (double)count;
    return total > 0 ? total : 0;
}

double *sorted_copy(const double *x, size_t count)
{
    double *copy = xmalloc(count * sizeof *copy + 1);
    memcpy(copy, x, count * sizeof *copy);
    gsl_sort(copy, 1, count);
    return copy;
}

double t_quantile(double probability, double freedom)
{
    quiet_gsl();
    return isinf(freedom) ? gsl_cdf_ugaussian_Pinv(probability)
                          : gsl_cdf_tdist_Pinv(probability, freedom);
}

double t_two_sided(double t, double freedom)
{
    double tail = isinf(freedom) ? gsl_cdf_ugaussian_Q(fabs(t)) : gsl_cdf_tdist_Q(fabs(t), freedom);
    return 2 * tail;
}

double t_factor(double confidence, double freedom)
{
    return t_quantile(0.5 + confidence / 2, freedom);
}

bool is_confidence(double confidence)
{
    return confidence > 0 && confidence < 1;
}

void quiet_gsl(void)
{
    gsl_set_error_handler_off();
}
