/* Invented cells for charts: the models of the demo and some more, and curves with a cell's shape.
 * Same numbers every time. */
#ifndef PERDURE_TESTS_REPORT_INVENTED_H
#define PERDURE_TESTS_REPORT_INVENTED_H

#include <math.h>
#include <stddef.h>
#include <stdint.h>

#include "base/random.h"
#include "report/chart_discharge.h"
#include "report/chart_fade.h"
#include "report/chart_ranking.h"
#include "report/chart_resistance.h"
#include "report/chart_retention.h"

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
                 .conditions = "Discharge at 0.2 It to 1.0 V, 20 \xc2\xb0"
                               "C, after 1 h of rest",
                 .note = "Invented data."},
        .models = discharge_models,
        .count = models,
        .end_voltage = 1.0};
}

#define INVENTED_DATES 6
#define INVENTED_FIT   40
static struct retention_mark retention_checks[INVENTED_MODELS][INVENTED_DATES * INVENTED_CELLS];
static struct retention_fit retention_fits[INVENTED_MODELS][INVENTED_FIT];
static struct retention_model retention_models[INVENTED_MODELS];

/* Checked for 180 days, forecast for a year. */
static inline struct retention_chart invented_retention(size_t models, enum chart_preset preset)
{
    static const double dates[INVENTED_DATES] = {1, 7, 28, 42, 90, 180};
    static const double fall[INVENTED_MODELS] = {0.10, 0.35, 0.16, 0.55, 0.12, 0.38, 0.30, 0.20};
    struct random random;
    random_seed(&random, 42);
    for (size_t i = 0; i < models; i++) {
        for (size_t j = 0; j < INVENTED_DATES * INVENTED_CELLS; j++) {
            double day = dates[j / INVENTED_CELLS];
            retention_checks[i][j] = (struct retention_mark){
                86400 * day, 1 - fall[i] * pow(day / 180, 0.45) + 0.01 * random_normal(&random),
                "HER-01"};
        }
        for (size_t j = 0; j < INVENTED_FIT; j++) {
            double day = 365.0 * (double)j / (INVENTED_FIT - 1);
            double left = 1 - fall[i] * pow(day / 180, 0.45), half = 0.004 + 0.04 * day / 365;
            retention_fits[i][j] =
                (struct retention_fit){86400 * day, left, left - half, left + half};
        }
        retention_models[i] = (struct retention_model){
            invented_names[i], (int)i,      retention_checks[i], INVENTED_DATES * INVENTED_CELLS,
            retention_fits[i], INVENTED_FIT};
    }
    return (struct retention_chart){
        .head = {.preset = preset,
                 .id = "retention",
                 .title = "Heron keeps nine tenths of its charge for half a year",
                 .conditions = "Stored full at 20 \xc2\xb0"
                               "C; discharge at 0.2 It to 1.0 V",
                 .note = "Invented data."},
        .models = retention_models,
        .count = models,
        .band = "95 % of the mean, resampled by cell"};
}

static double cells_before[INVENTED_MODELS][INVENTED_CELLS];
static double cells_after[INVENTED_MODELS][INVENTED_CELLS];
static struct resistance_model resistance_models[INVENTED_MODELS];

static inline struct resistance_chart invented_resistance(size_t models, enum chart_preset preset)
{
    struct random random;
    random_seed(&random, 5);
    for (size_t i = 0; i < models; i++) {
        double before = 0.019 + 0.003 * (double)i, after = before * (1.12 + 0.11 * (double)(i % 4));
        for (size_t j = 0; j < INVENTED_CELLS; j++) {
            cells_before[i][j] = before * (1 + 0.05 * random_normal(&random));
            cells_after[i][j] = after * (1 + 0.07 * random_normal(&random));
        }
        resistance_models[i] = (struct resistance_model){
            invented_names[i], (int)i,         before,         after,
            cells_before[i],   cells_after[i], INVENTED_CELLS, INVENTED_CELLS};
    }
    return (struct resistance_chart){
        .head = {.preset = preset,
                 .id = "resistance",
                 .title = "Resistance grew by a third in Lantern, and by a tenth in Gannet",
                 .conditions = "Direct-current method, half charged, 20 \xc2\xb0"
                               "C",
                 .note = "Invented data."},
        .models = resistance_models,
        .count = models,
        .before_name = "fresh",
        .after_name = "after 300 cycles"};
}

static double ranking_cells[INVENTED_MODELS][INVENTED_CELLS];
static struct ranking_model ranking_models[INVENTED_MODELS];

static inline struct ranking_chart invented_ranking(size_t models, enum chart_preset preset)
{
    static const int low[INVENTED_MODELS] = {4, 1, 6, 8, 3, 1, 7, 4};
    static const int high[INVENTED_MODELS] = {5, 2, 6, 8, 4, 2, 7, 5};
    static const double rated[INVENTED_MODELS] = {2000, 2450, 1900, 1000, 2100, 2300, 1600, 1900};
    struct random random;
    random_seed(&random, 9);
    for (size_t i = 0; i < models; i++) {
        for (size_t j = 0; j < INVENTED_CELLS; j++)
            ranking_cells[i][j] = 3.6 * invented_mah[i] * (1 + 0.015 * random_normal(&random));
        ranking_models[i] = (struct ranking_model){.name = invented_names[i],
                                                   .style = (int)i,
                                                   .value = 3.6 * invented_mah[i],
                                                   .low = 3.6 * (invented_mah[i] - 45),
                                                   .high = 3.6 * (invented_mah[i] + 45),
                                                   .rated = 3.6 * rated[i],
                                                   .cells = ranking_cells[i],
                                                   .cell_count = INVENTED_CELLS,
                                                   .rank_low = low[i],
                                                   .rank_high = high[i]};
    }
    return (struct ranking_chart){
        .head = {.preset = preset,
                 .id = "ranking",
                 .title = "Otter and Cormorant lead; no model but Beacon holds its rating",
                 .conditions = "AA cells, fresh, 0.2 It to 1.0 V, 20 \xc2\xb0"
                               "C",
                 .note = "Invented data."},
        .models = ranking_models,
        .count = models,
        .quantity = "Charge at 0.2 It",
        .unit = "mAh",
        .unit_si = 3.6,
        .interval = "95 % interval of the mean"};
}

#define INVENTED_CYCLES 41
static double fade_cycles[INVENTED_CYCLES];
static double fade_cell_ratio[INVENTED_MODELS][INVENTED_CELLS][INVENTED_CYCLES];
static double fade_ratio[INVENTED_MODELS][INVENTED_CYCLES];
static struct fade_cell fade_cells[INVENTED_MODELS][INVENTED_CELLS];
static struct fade_model fade_models[INVENTED_MODELS];

/* A check every ten cycles to 400; one cell of the second model stopped at 150. */
static inline struct fade_chart invented_fade(size_t models, enum chart_preset preset)
{
    static const double life[INVENTED_MODELS] = {620, 320, 410, 230, 560, 300, 180, 380};
    struct random random;
    random_seed(&random, 400);
    for (size_t k = 0; k < INVENTED_CYCLES; k++)
        fade_cycles[k] = 10 * (double)k;
    for (size_t i = 0; i < models; i++) {
        for (size_t k = 0; k < INVENTED_CYCLES; k++)
            fade_ratio[i][k] = 1 - 0.2 * pow(fade_cycles[k] / life[i], 1.4);
        for (size_t j = 0; j < INVENTED_CELLS; j++) {
            bool stopped = i == 1 && j == 0;
            double off = 1 + 0.2 * random_normal(&random);
            for (size_t k = 0; k < INVENTED_CYCLES; k++)
                fade_cell_ratio[i][j][k] =
                    1 - (1 - fade_ratio[i][k]) * off + 0.004 * random_normal(&random);
            fade_cells[i][j] = (struct fade_cell){"OTT-01", fade_cycles, fade_cell_ratio[i][j],
                                                  stopped ? 16 : INVENTED_CYCLES, stopped};
        }
        fade_models[i] = (struct fade_model){invented_names[i],
                                             fade_cells[i],
                                             INVENTED_CELLS,
                                             fade_cycles,
                                             fade_ratio[i],
                                             INVENTED_CYCLES,
                                             life[i] <= 400 ? life[i] : (double)NAN};
    }
    return (struct fade_chart){
        .head = {.preset = preset,
                 .id = "fade",
                 .title = "Heron and Gannet are still above 80 % after 400 cycles",
                 .conditions = "Full cycles at 0.5 It, checked at 0.2 It every tenth, 20 \xc2\xb0"
                               "C",
                 .note = "Invented data."},
        .models = fade_models,
        .count = models,
        .threshold = 0.8};
}

#endif
