/* Nonlinear least squares: the trust region of GSL (Levenberg-Marquardt, analytic derivatives), and
 * an own look at whether it has arrived. */
#include <math.h>

#include <gsl/gsl_blas.h>
#include <gsl/gsl_multifit_nlinear.h>

#include "analysis/fit_parts.h"
#include "analysis/numbers.h"

#define ITERATIONS_MOST 1000

struct problem {
    const struct fit_form *form;
    const double *x, *y;
    size_t count;
};

static int residuals(const gsl_vector *p, void *data, gsl_vector *f)
{
    const struct problem *problem = data;
    for (size_t i = 0; i < problem->count; i++) {
        double value = problem->form->value(problem->x[i], p->data);
        if (!isfinite(value))
            return GSL_EDOM;
        gsl_vector_set(f, i, value - problem->y[i]);
    }
    return GSL_SUCCESS;
}

static int derivatives(const gsl_vector *p, void *data, gsl_matrix *j)
{
    const struct problem *problem = data;
    for (size_t i = 0; i < problem->count; i++)
        problem->form->gradient(problem->x[i], p->data, gsl_matrix_ptr(j, i, 0));
    return GSL_SUCCESS;
}

/* At the least squares the residuals stand at right angles to every column of the Jacobian
 * (D. M. Bates, D. G. Watts, Technometrics 23, 1981); where the curve passes through every point,
 * only rounding is left of them. */
static bool has_arrived(const gsl_vector *f, const gsl_matrix *j, const double *y)
{
    double norm = gsl_blas_dnrm2(f);
    gsl_vector_const_view values = gsl_vector_const_view_array(y, f->size);
    if (norm <= 1e-12 * gsl_blas_dnrm2(&values.vector))
        return true;
    for (size_t k = 0; k < j->size2; k++) {
        gsl_vector_const_view column = gsl_matrix_const_column(j, k);
        double product, length = gsl_blas_dnrm2(&column.vector);
        gsl_blas_ddot(&column.vector, f, &product);
        if (!(length > 0) || !(fabs(product) <= 1e-5 * length * norm))
            return false;
    }
    return true;
}

/* (J'J)^-1 from columns of length 1, so that parameters of unlike size do not look dependent. */
static bool invert_squares(const gsl_matrix *jacobian, struct fit *out)
{
    gsl_matrix *j = gsl_matrix_alloc(jacobian->size1, jacobian->size2);
    gsl_matrix *inverse = gsl_matrix_alloc(jacobian->size2, jacobian->size2);
    gsl_matrix_memcpy(j, jacobian);
    double length[FIT_PARAMETERS_MOST] = {0};
    bool sound = true;
    for (size_t k = 0; k < j->size2; k++) {
        gsl_vector_view column = gsl_matrix_column(j, k);
        length[k] = gsl_blas_dnrm2(&column.vector);
        sound = sound && length[k] > 0 && isfinite(length[k]);
        gsl_vector_scale(&column.vector, sound ? 1 / length[k] : 0);
    }
    /* gsl sets the row of a dependent column to 0, which would read as "known exactly" */
    sound = sound && gsl_multifit_nlinear_covar(j, 1e-10, inverse) == GSL_SUCCESS;
    for (size_t a = 0; a < j->size2; a++) {
        sound = sound && gsl_matrix_get(inverse, a, a) > 0;
        for (size_t b = 0; b < j->size2; b++)
            out->covariance[a][b] = gsl_matrix_get(inverse, a, b) / (length[a] * length[b]);
    }
    gsl_matrix_free(j);
    gsl_matrix_free(inverse);
    return sound;
}

enum analysis_status fit_iterate(const struct fit_form *form, const double *start, const double *x,
                                 const double *y, size_t count, struct fit *out)
{
    quiet_gsl();
    struct problem problem = {form, x, y, count};
    gsl_multifit_nlinear_fdf fdf = {.f = residuals,
                                    .df = derivatives,
                                    .fvv = NULL,
                                    .n = count,
                                    .p = form->parameters,
                                    .params = &problem};
    gsl_multifit_nlinear_parameters how = gsl_multifit_nlinear_default_parameters();
    gsl_multifit_nlinear_workspace *work =
        gsl_multifit_nlinear_alloc(gsl_multifit_nlinear_trust, &how, count, form->parameters);
    gsl_vector_const_view from = gsl_vector_const_view_array(start, form->parameters);
    enum analysis_status status = ANALYSIS_NO_FIT;
    if (work != NULL && gsl_multifit_nlinear_init(&from.vector, &fdf, work) == GSL_SUCCESS) {
        int info;
        /* The driver's own verdict is not asked: at the optimum of noisy data it can only say that
         * it gets no further. */
        gsl_multifit_nlinear_driver(ITERATIONS_MOST, 1e-14, 1e-14, 0, NULL, NULL, &info, work);
        const gsl_vector *at = gsl_multifit_nlinear_position(work);
        const gsl_matrix *jacobian = gsl_multifit_nlinear_jac(work);
        for (size_t k = 0; k < form->parameters; k++)
            out->value[k] = gsl_vector_get(at, k);
        if (all_finite(out->value, form->parameters) &&
            has_arrived(gsl_multifit_nlinear_residual(work), jacobian, y) &&
            invert_squares(jacobian, out))
            status = ANALYSIS_OK;
    }
    gsl_multifit_nlinear_free(work);
    return status;
}
