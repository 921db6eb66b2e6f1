/* Invented cells for charts: the models of the demo and some more, and curves with a cell's shape.
 * Same numbers every time. */
#ifndef PERDURE_TESTS_REPORT_INVENTED_H
#define PERDURE_TESTS_REPORT_INVENTED_H

#include <math.h>
#include <stddef.h>
#include <stdint.h>

#include "base/random.h"
#include "report/chart_discharge.h"

#define INVENTED_MODELS 8
#define INVENTED_CELLS  4

static const char *const invented_names[INVENTED_MODELS] = {
    "Heron 2000",  "Otter 2450",   "Lantern Plus", "Beacon Cd",
    "Gannet 2100", "Cormorant XL", "Plover",       "Wherry 1900"};
static const double invented_mah[INVENTED_MODELS] = {1985, 2310, 1710, 1020,
                                                     2080, 2195, 1400, 1850};

/* Voltage of a cell of `charge` capacity (A.s) after `used` of it: a steep start, a plateau that
 * sinks, a knee. */
static inline double invented_voltage(double used, double charge)
{
    double part = used / charge;
    return 1.255 + 0.15 * exp(-part / 0.04) - 0.06 * part - 0.24 * exp((part - 1) / 0.035);
}

#define INVENTED_POINTS 9000
static double curve_charge[INVENTED_MODELS][INVENTED_CELLS][INVENTED_POINTS];
static double curve_voltage[INVENTED_MODELS][INVENTED_CELLS][INVENTED_POINTS];
static struct discharge_curve curves[INVENTED_MODELS][INVENTED_CELLS];
static struct discharge_model discharge_models[INVENTED_MODELS];

/* Down to about 0.95 V, with a millivolt of noise. */
static inline struct discharge_chart invented_discharge(size_t models, enum chart_preset preset)
{
    struct random random;
    random_seed(&random, 2000);
    for (size_t i = 0; i < models; i++) {
        for (size_t j = 0; j < INVENTED_CELLS; j++) {
            double charge = 3.6 * invented_mah[i] * (1 + 0.02 * random_normal(&random));
            for (size_t k = 0; k < INVENTED_POINTS; k++) {
                double used = charge * (double)k / (INVENTED_POINTS - 1);
                curve_charge[i][j][k] = used;
                curve_voltage[i][j][k] =
                    invented_voltage(used, charge) + 0.001 * random_noise(&random);
            }
            curves[i][j] = (struct discharge_curve){"HER-01", curve_charge[i][j],
                                                    curve_voltage[i][j], INVENTED_POINTS};
        }
        discharge_models[i] =
            (struct discharge_model){invented_names[i], (int)i, curves[i], INVENTED_CELLS};
    }
    return (struct discharge_chart){
        .head = {.preset = preset,
                 .id = "discharge",
                 .title = "Otter gives the most at 0.2 It, and all but Plover keep their promise",
                 .conditions = "Discharge at 0.2 It to 1.0 V, 20 \xc2\xb0" "C, after 1 h of rest",
                 .note = "Invented data."},
        .models = discharge_models,
        .count = models,
        .end_voltage = 1.0};
}

#endif
