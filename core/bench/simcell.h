/* The model of one simulated cell: its truth, its state, and how the state moves.
 *
 *   V = OCV(s) + I*R0 + v1,   dv1/dt = -v1/(R1*C1) + I/C1      (I positive when charging)
 *
 * s is the state of charge; charge efficiency falls near full, and what is not stored becomes heat
 * and a falling voltage (the -dV of nickel cells). Capacity fades and R0 grows with charge
 * throughput; self-discharge goes on always, on the shelf in closed form. A thermal
 * mass follows heat and ambient. With constants and no noise every result has a closed form.
 * Plain data throughout, so that a state can be stored and compared. */
#ifndef PERDURE_BENCH_SIMCELL_H
#define PERDURE_BENCH_SIMCELL_H

#include <stdbool.h>
#include <stdint.h>

#include "base/calendar.h"
#include "base/random.h"
#include "bench/channel.h"
#include "bench/reading.h"

#define SIMCELL_OCV_POINTS 24

struct simcell_truth {
    double capacity;                    /* A.s when new */
    int ocv_points;                     /* 1: a constant */
    double ocv_soc[SIMCELL_OCV_POINTS]; /* rising, 0..1 */
    double ocv[SIMCELL_OCV_POINTS];     /* V */
    double r0, r1;                      /* ohm */
    double c1;                          /* F; 0 for no pair */
    double efficiency;                  /* of charge, well below full */
    double knee;           /* state of charge from which efficiency falls; 1 for never */
    double overcharge_dip; /* V by which a full nickel cell's voltage falls as it warms; 0: none */
    double self_discharge; /* fraction of charge a day at 20 degC, doubling every 10 K */
    double fade;           /* fraction of capacity lost a full cycle */
    double growth;         /* relative rise of R0 a full cycle */
    double heat_capacity;  /* J/K */
    double heat_transfer;  /* W/K to ambient */
    double ambient;        /* degC */
    double noise_voltage;  /* V, sd */
    double noise_temperature; /* K, sd */
    double soc_new;           /* state of charge as bought */
};

/* Factors that follow from the truth and the length of a stretch, kept because stretches repeat. */
struct simcell_pace {
    int64_t stretch;        /* us that they are for; 0: none yet */
    double pair, pair_half; /* exp(-dt/(R1*C1)) of a whole and a half stretch */
    double thermal;         /* exp(-dt*heat_transfer/heat_capacity) */
    int segment;            /* of the open-circuit table, where the last look ended */
};

struct simcell {
    struct simcell_truth truth;
    utc_us as_of;
    double charge;      /* A.s stored now */
    double v1;          /* V over the pair */
    double temperature; /* degC */
    double throughput;  /* A.s discharged in its life */
    struct random noise;
    /* What the channel drives; kept with the cell, so that the world goes on. */
    struct drive drive;
    struct simcell_pace pace;
};

/* The truth of a typical cell of the chemistry, scattered by `seed`: what two cells of one box
 * differ by. */
void simcell_truth_typical(struct simcell_truth *truth, const struct cell_facts *cell);

/* Checks a truth set by hand; the error names the field. */
int simcell_truth_check(const struct simcell_truth *truth, struct error *error);

void simcell_new(struct simcell *cell, const struct simcell_truth *truth, utc_us as_of,
                 uint64_t seed);

/* Moves to `to` under cell->drive. Any length of time: a year at rest is one call. */
void simcell_advance(struct simcell *cell, utc_us to);

/* What an ideal meter shows now (voltage, current, temperature), with the truth's noise; `at` is
 * the caller's. */
void simcell_read(struct simcell *cell, struct reading *out);

/* ohm: what an ideal meter of 1 kHz shows, R0 alone, for C1 shorts R1 at that frequency. Its noise
 * is that of the voltage, as at 1 A. */
double simcell_read_resistance(struct simcell *cell);

double simcell_capacity(const struct simcell *cell); /* A.s at this age */
double simcell_r0(const struct simcell *cell);       /* ohm at this age */

#endif
