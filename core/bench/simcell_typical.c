/* Truths of typical cells: what a cell of a chemistry is like, how models differ, and how cells of
 * one box do. The middle values are handbook values for cells of AA size, from memory unless a
 * source is named; resistances and heat scale with the rated capacity. */
#include <math.h>
#include <string.h>

#include "base/error.h"
#include "base/random.h"
#include "bench/simcell.h"

struct point {
    double soc, voltage;
};

struct typical {
    const char *chemistry;
    struct point ocv[SIMCELL_OCV_POINTS]; /* ends at soc 1 */
    double r0, r1;                        /* ohm for a cell of 1 Ah */
    double tau;                           /* s, of the pair */
    double efficiency, knee, overcharge_dip;
    double self_discharge_low, self_discharge_high; /* a day at 20 degC, over the models */
    double fade, growth;                            /* a full cycle */
    double soc_new;
};

/* NiMH, rested at 20 degC: 1.38 to 1.42 V full, 1.33 at 80 %, 1.29 to 1.30 at 50 %, 1.25 at 20 %,
 * 1.18 to 1.20 at 5 %. The fall below is what a cell shows at the end of a discharge. */
#define NICKEL_OCV                                                                                 \
    {                                                                                              \
        {0, 0.80}, {0.004, 0.95}, {0.01, 1.05}, {0.025, 1.14}, {0.05, 1.19}, {0.1, 1.222},         \
            {0.2, 1.25}, {0.35, 1.275}, {0.5, 1.295}, {0.65, 1.31}, {0.8, 1.335}, {0.88, 1.375},   \
            {0.93, 1.402}, {0.96, 1.412}, {1, 1.42},                                               \
    }

static const struct typical typicals[] = {
    {
        .chemistry = "NiMH",
        .ocv = NICKEL_OCV,
        .r0 = 0.05, /* 2 Ah: 25 mohm; handbook 15 to 30 mohm */
        .r1 = 0.044,
        .tau = 40, /* 10 to 60 s */
        .efficiency = 0.98,
        .knee = 0.75,
        .overcharge_dip = 0.08,
        /* Low-rate cells keep 70 to 85 % for a year, poor ones about half. */
        .self_discharge_low = 0.0005,
        .self_discharge_high = 0.0019,
        .fade = 0.0004, /* 0.02 to 0.1 % a cycle */
        .growth = 0.002,
        .soc_new = 0.7,
    },
    {
        .chemistry = "NiCd",
        .ocv = NICKEL_OCV,
        .r0 = 0.022,
        .r1 = 0.016,
        .tau = 30,
        .efficiency = 0.97,
        .knee = 0.78,
        .overcharge_dip = 0.13, /* -dV 10 to 20 mV, against 3 to 10 of NiMH */
        .self_discharge_low = 0.004,
        .self_discharge_high = 0.007,
        .fade = 0.0003,
        .growth = 0.0015,
        .soc_new = 0.3,
    },
    {
        .chemistry = "Li-ion",
        .ocv = {{0, 2.6},
                {0.01, 2.95},
                {0.03, 3.2},
                {0.06, 3.35},
                {0.1, 3.45},
                {0.2, 3.56},
                {0.3, 3.62},
                {0.4, 3.66},
                {0.5, 3.72},
                {0.6, 3.81},
                {0.7, 3.91},
                {0.8, 4.0},
                {0.9, 4.09},
                {1, 4.2}},
        .r0 = 0.09,
        .r1 = 0.06,
        .tau = 30,
        .efficiency = 0.999,
        .knee = 1,
        .self_discharge_low = 0.0005,
        .self_discharge_high = 0.001, /* 2 to 3 % a month */
        .fade = 0.0004,
        .growth = 0.001,
        .soc_new = 0.4,
    },
    {
        .chemistry = "LiFePO4",
        .ocv = {{0, 2.3},
                {0.01, 2.75},
                {0.03, 3.0},
                {0.06, 3.13},
                {0.1, 3.2},
                {0.3, 3.27},
                {0.6, 3.3},
                {0.9, 3.335},
                {0.96, 3.36},
                {0.985, 3.42},
                {1, 3.65}},
        .r0 = 0.06,
        .r1 = 0.03,
        .tau = 30,
        .efficiency = 0.999,
        .knee = 1,
        .self_discharge_low = 0.0005,
        .self_discharge_high = 0.001,
        .fade = 0.0002,
        .growth = 0.0006,
        .soc_new = 0.4,
    },
    {
        .chemistry = "alkaline",
        .ocv =
            {{0, 0.6}, {0.05, 0.95}, {0.15, 1.12}, {0.4, 1.25}, {0.7, 1.36}, {0.95, 1.5}, {1, 1.6}},
        .r0 = 0.35,
        .r1 = 0.3,
        .tau = 60,
        .efficiency = 0,
        .knee = 1,
        .self_discharge_low = 0.00005,
        .self_discharge_high = 0.00009,
        .soc_new = 1,
    },
    {
        .chemistry = "zinc-carbon",
        .ocv = {{0, 0.6}, {0.1, 0.95}, {0.4, 1.2}, {0.8, 1.42}, {1, 1.62}},
        .r0 = 0.5,
        .r1 = 0.4,
        .tau = 60,
        .efficiency = 0,
        .knee = 1,
        .self_discharge_low = 0.0002,
        .self_discharge_high = 0.0004,
        .soc_new = 1,
    },
    {
        .chemistry = "Li-MnO2",
        .ocv = {{0, 1.6}, {0.05, 2.3}, {0.15, 2.7}, {0.5, 2.9}, {0.9, 3.05}, {1, 3.2}},
        .r0 = 0.5,
        .r1 = 0.4,
        .tau = 60,
        .efficiency = 0,
        .knee = 1,
        .self_discharge_low = 0.00002,
        .self_discharge_high = 0.00004,
        .soc_new = 1,
    },
    {
        .chemistry = "Li-FeS2",
        .ocv = {{0, 0.7}, {0.03, 1.2}, {0.1, 1.42}, {0.5, 1.5}, {0.95, 1.6}, {1, 1.78}},
        .r0 = 0.3,
        .r1 = 0.2,
        .tau = 60,
        .efficiency = 0,
        .knee = 1,
        .self_discharge_low = 0.00002,
        .self_discharge_high = 0.00004,
        .soc_new = 1,
    },
};

static const struct typical *find(const char *chemistry)
{
    for (size_t i = 0; i < sizeof(typicals) / sizeof(typicals[0]); i++)
        if (strcmp(typicals[i].chemistry, chemistry) == 0)
            return &typicals[i];
    return &typicals[0];
}

/* A factor around 1 of relative standard deviation `sd`, kept within three of them. */
static double scatter(struct random *random, double sd)
{
    return 1 + sd * fmax(-3, fmin(3, random_normal(random)));
}

void simcell_truth_typical(struct simcell_truth *truth, const struct cell_facts *cell)
{
    const struct typical *typical = find(cell->profile != NULL ? cell->profile->chemistry : "");
    double rated = cell->rated_charge > 0 ? cell->rated_charge : 2.0 * 3600;
    double ampere_hours = rated / 3600;
    struct random model, own;
    random_seed(&model, seed_for(0, cell->model));
    random_seed(&own, cell->seed);

    /* Between models: how honest the rating is, and how the cells age. */
    double honest = 1.02 + 0.05 * (2 * random_unit(&model) - 1);
    double leaky = random_unit(&model), wear = random_unit(&model);
    double build = 0.85 + 0.3 * random_unit(&model);

    memset(truth, 0, sizeof(*truth));
    /* Within a lot: capacity 0.5 to 2 % (from memory), resistance more. */
    truth->capacity = rated * honest * scatter(&own, 0.01);
    do {
        truth->ocv_soc[truth->ocv_points] = typical->ocv[truth->ocv_points].soc;
        truth->ocv[truth->ocv_points] = typical->ocv[truth->ocv_points].voltage;
    } while (typical->ocv[truth->ocv_points++].soc < 1);
    truth->r0 = typical->r0 / ampere_hours * build * scatter(&own, 0.05);
    truth->r1 = typical->r1 / ampere_hours * build * scatter(&own, 0.05);
    truth->c1 = typical->tau * scatter(&own, 0.05) / truth->r1;
    truth->efficiency = typical->efficiency;
    truth->knee = typical->knee;
    truth->overcharge_dip = typical->overcharge_dip;
    truth->self_discharge = typical->self_discharge_low *
                            pow(typical->self_discharge_high / typical->self_discharge_low, leaky) *
                            scatter(&own, 0.08);
    truth->fade = typical->fade * (0.6 + 1.2 * wear) * scatter(&own, 0.1);
    truth->growth = typical->growth * (0.6 + 1.2 * wear) * scatter(&own, 0.1);
    /* About 1 J/K a gram and 27 g for 2 Ah; some 30 cm2 in still air, and the holder's contacts. */
    truth->heat_capacity = 13.5 * ampere_hours;
    truth->heat_transfer = 0.08 * pow(ampere_hours / 2, 2.0 / 3);
    truth->ambient = 20;
    truth->noise_voltage = 0.0002;
    truth->noise_temperature = 0.05;
    truth->soc_new = fmax(0, fmin(1, typical->soc_new * scatter(&own, 0.02)));
}

static int refuse(struct error *error, const char *field, const char *why)
{
    return error_set(error, ERROR_BENCH, field, "correct the cell's truth in the bench file", "%s",
                     why);
}

int simcell_truth_check(const struct simcell_truth *truth, struct error *error)
{
    const struct {
        const char *field;
        double value, least, most;
    } ranges[] = {
        {"capacity", truth->capacity, 1e-3, 1e9},
        {"r0", truth->r0, 0, 1e4},
        {"r1", truth->r1, 0, 1e4},
        {"c1", truth->c1, 0, 1e9},
        {"efficiency", truth->efficiency, 0, 1},
        {"knee", truth->knee, 0, 1},
        {"overcharge_dip", truth->overcharge_dip, 0, 1},
        {"self_discharge", truth->self_discharge, 0, 1},
        {"fade", truth->fade, 0, 1},
        {"growth", truth->growth, 0, 10},
        {"heat_capacity", truth->heat_capacity, 0, 1e9},
        {"heat_transfer", truth->heat_transfer, 0, 1e6},
        {"ambient", truth->ambient, -60, 100},
        {"noise_voltage", truth->noise_voltage, 0, 1},
        {"noise_temperature", truth->noise_temperature, 0, 100},
        {"soc_new", truth->soc_new, 0, 1},
    };
    for (size_t i = 0; i < sizeof(ranges) / sizeof(ranges[0]); i++) {
        char why[96];
        snprintf(why, sizeof(why), "%g is not between %g and %g", ranges[i].value, ranges[i].least,
                 ranges[i].most);
        if (!(ranges[i].value >= ranges[i].least && ranges[i].value <= ranges[i].most))
            return refuse(error, ranges[i].field, why);
    }
    if (truth->ocv_points < 1 || truth->ocv_points > SIMCELL_OCV_POINTS)
        return refuse(error, "open_circuit", "a table has 1 to 24 points");
    for (int i = 0; i < truth->ocv_points; i++) {
        if (!(truth->ocv[i] >= 0 && truth->ocv[i] <= 10))
            return refuse(error, "open_circuit", "a voltage is not between 0 and 10 V");
        if (truth->ocv_points > 1 && !(truth->ocv_soc[i] >= 0 && truth->ocv_soc[i] <= 1))
            return refuse(error, "open_circuit", "a state of charge is not between 0 and 1");
        if (i > 0 && !(truth->ocv_soc[i] > truth->ocv_soc[i - 1]))
            return refuse(error, "open_circuit", "the states of charge do not rise");
    }
    return 0;
}
