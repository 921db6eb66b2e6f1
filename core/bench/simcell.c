/* How a simulated cell's state moves.
 *
 * A stretch under a drive is second-order accurate: the current is that at its middle, the pair and
 * the thermal mass follow their exponentials exactly. Under a constant current with constants for
 * truth the result is exact. At rest any length of time is one closed form. */
#include "bench/simcell.h"

#include <math.h>
#include <string.h>

#define PIECE_LEAST   US_PER_S        /* the shortest that a stretch is cut into */
#define STRETCH_MOST  (60 * US_PER_S) /* the longest that an energised cell moves in one piece */
#define DIP_SCALE     12.0            /* K of warming at which half of the overcharge dip shows */
#define SECONDS_A_DAY 86400.0
#define NOISE_CURRENT 1.0 /* A at which noise of a voltage is noise of a resistance */

double simcell_capacity(const struct simcell *cell)
{
    const struct simcell_truth *truth = &cell->truth;
    double left = truth->capacity - truth->fade * cell->throughput;
    double least = 0.01 * truth->capacity; /* a cell worn out still is one */
    return left > least ? left : least;
}

double simcell_r0(const struct simcell *cell)
{
    const struct simcell_truth *truth = &cell->truth;
    return truth->r0 * (1 + truth->growth * (cell->throughput / truth->capacity));
}

/* Open-circuit voltage by the table's lines; the segment is looked for from where it was last. */
static double open_circuit(const struct simcell_truth *truth, double soc, int *segment)
{
    int last = truth->ocv_points - 1;
    if (last == 0 || soc <= truth->ocv_soc[0])
        return truth->ocv[0];
    if (soc >= truth->ocv_soc[last])
        return truth->ocv[last];
    int i = *segment;
    while (soc < truth->ocv_soc[i])
        i--;
    while (soc > truth->ocv_soc[i + 1])
        i++;
    *segment = i;
    double along = (soc - truth->ocv_soc[i]) / (truth->ocv_soc[i + 1] - truth->ocv_soc[i]);
    return truth->ocv[i] + along * (truth->ocv[i + 1] - truth->ocv[i]);
}

/* How far the state of charge is past the knee: 0 at or below it, 1 when full. */
static double past_knee(const struct simcell_truth *truth, double soc)
{
    if (soc <= truth->knee || truth->knee >= 1)
        return 0;
    return fmin((soc - truth->knee) / (1 - truth->knee), 1);
}

/* What part of a charging current is stored. */
static double efficiency(const struct simcell_truth *truth, double soc)
{
    double past = past_knee(truth, soc);
    return truth->efficiency * (1 - past * past);
}

/* The voltage behind R0: what drives a current, or stands against one. */
static double inner_voltage(const struct simcell_truth *truth, double soc, double v1,
                            double temperature, int *segment)
{
    double voltage = open_circuit(truth, soc, segment) + v1;
    if (truth->overcharge_dip > 0) {
        double past = past_knee(truth, soc), warm = (temperature - truth->ambient) / DIP_SCALE;
        if (past > 0 && warm > 0)
            voltage -= truth->overcharge_dip * past * past * (warm * warm / (1 + warm * warm));
    }
    return voltage;
}

/* The current that the drive makes flow through `r0` against the inner voltage. No source holds a
 * cell below 0 V, and no power beyond a cell's most can be drawn from it. */
static double flows(const struct drive *drive, double inner, double r0)
{
    double current = 0;
    switch (drive->mode) {
    case DRIVE_OFF: return 0;
    case DRIVE_CURRENT: current = drive->amount; break;
    case DRIVE_POWER: {
        double root = inner * inner + 4 * r0 * drive->amount;
        if (root < 0)
            return -inner / (2 * r0);
        double denominator = inner + sqrt(root);
        current = denominator > 0 ? 2 * drive->amount / denominator : 0;
        break;
    }
    case DRIVE_RESISTANCE: current = -inner / (r0 + drive->amount); break;
    }
    if (current > 0 && inner + current * r0 > drive->ceiling)
        current = inner < drive->ceiling && r0 > 0 ? (drive->ceiling - inner) / r0 : 0;
    if (current < 0 && inner + current * r0 < 0)
        current = r0 > 0 ? -inner / r0 : 0;
    return current;
}

static double per_second(const struct simcell_truth *truth)
{
    return truth->self_discharge / SECONDS_A_DAY;
}

/* The rate of self-discharge doubles every 10 K: a rule of thumb of physical chemistry. */
static double hastened(double temperature)
{
    return temperature == 20 ? 1 : exp2((temperature - 20) / 10);
}

static void set_pace(struct simcell *cell, int64_t stretch)
{
    const struct simcell_truth *truth = &cell->truth;
    double dt = (double)stretch * 1e-6, pair = truth->r1 * truth->c1;
    cell->pace.stretch = stretch;
    cell->pace.pair = pair > 0 ? exp(-dt / pair) : 0;
    cell->pace.pair_half = pair > 0 ? exp(-dt / pair / 2) : 0;
    cell->pace.thermal =
        truth->heat_capacity > 0 ? exp(-dt * truth->heat_transfer / truth->heat_capacity) : 0;
}

/* `heat` in W, all of it constant over the stretch. */
static void warm(struct simcell *cell, double heat, double dt)
{
    const struct simcell_truth *truth = &cell->truth;
    if (truth->heat_capacity <= 0) {
        cell->temperature = truth->ambient;
    } else if (truth->heat_transfer <= 0) {
        cell->temperature += heat * dt / truth->heat_capacity;
    } else {
        double end = truth->ambient + heat / truth->heat_transfer;
        cell->temperature = end + (cell->temperature - end) * cell->pace.thermal;
    }
}

/* What flows in one piece of time, taken at its middle. */
struct flow {
    double current; /* A */
    double stored;  /* part of a charging current that is stored */
    double inner;   /* V behind R0 */
    double v1;      /* V over the pair */
};

static double pair_voltage(const struct simcell *cell, double current, double left)
{
    double end = current * cell->truth.r1;
    return cell->truth.r1 * cell->truth.c1 > 0 ? end + (cell->v1 - end) * left : 0;
}

/* The current at the beginning takes the state to the middle, and there the one is found that holds
 * for the whole piece. A steady discharge is the same throughout. */
static struct flow flow_at_middle(struct simcell *cell, double capacity, double r0, double dt)
{
    const struct simcell_truth *truth = &cell->truth;
    int *segment = &cell->pace.segment;
    double soc = cell->charge / capacity;
    struct flow flow = {.stored = 1};
    flow.inner = inner_voltage(truth, soc, cell->v1, cell->temperature, segment);
    flow.current = flows(&cell->drive, flow.inner, r0);
    if (flow.current < 0 && cell->charge <= 0)
        flow.current = 0; /* empty */
    flow.v1 = pair_voltage(cell, flow.current, cell->pace.pair_half);
    bool steady = cell->drive.mode == DRIVE_CURRENT && flow.current == cell->drive.amount;
    if (flow.current == 0 || (steady && flow.current < 0))
        return flow;
    if (flow.current > 0)
        flow.stored = efficiency(truth, soc);
    soc = (cell->charge + flow.stored * flow.current * dt / 2) / capacity;
    flow.inner = inner_voltage(truth, soc, flow.v1, cell->temperature, segment);
    flow.current = flows(&cell->drive, flow.inner, r0);
    flow.stored = flow.current > 0 ? efficiency(truth, soc) : 1;
    return flow;
}

/* One piece of an energised cell's time. */
static void energised(struct simcell *cell, int64_t stretch)
{
    const struct simcell_truth *truth = &cell->truth;
    if (cell->pace.stretch != stretch)
        set_pace(cell, stretch);
    double dt = (double)stretch * 1e-6;
    double capacity = simcell_capacity(cell), r0 = simcell_r0(cell);
    struct flow flow = flow_at_middle(cell, capacity, r0, dt);

    double gain = flow.stored * flow.current * dt;
    double leak = cell->charge * per_second(truth) * dt;
    if (leak > 0)
        leak *= hastened(cell->temperature);
    double charge = cell->charge + gain - leak;
    if (charge > capacity && gain > 0) {
        flow.stored *= fmax(1 - (charge - capacity) / gain, 0); /* the rest is heat */
        charge = capacity;
    }
    if (flow.current < 0)
        cell->throughput += -gain < cell->charge ? -gain : cell->charge;
    cell->charge = charge > 0 ? charge : 0;

    double heat = flow.current * flow.current * r0;
    if (flow.v1 != 0)
        heat += flow.v1 * flow.v1 / truth->r1;
    if (flow.current > 0)
        heat += (1 - flow.stored) * flow.current * (flow.inner + flow.current * r0);
    cell->v1 = pair_voltage(cell, flow.current, cell->pace.pair);
    warm(cell, heat, dt);
}

/* Any length of time at rest. Self-discharge follows the temperature, which relaxes to ambient:
 * the integral of exp(c*exp(-t/tau)) is t + tau * sum of c^n/(n*n!) * (1 - exp(-n*t/tau)). */
static void rest(struct simcell *cell, int64_t stretch)
{
    const struct simcell_truth *truth = &cell->truth;
    if (cell->pace.stretch != stretch)
        set_pace(cell, stretch);
    double dt = (double)stretch * 1e-6;
    if (truth->self_discharge > 0) {
        double above = cell->temperature - truth->ambient, time = dt;
        if (truth->heat_capacity > 0 && truth->heat_transfer <= 0) {
            time *= hastened(cell->temperature);
        } else {
            if (truth->heat_capacity > 0 && above != 0) {
                double c = above * log(2) / 10, term = 1, left = 1;
                double tau = truth->heat_capacity / truth->heat_transfer;
                for (int n = 1; n < 60; n++) {
                    term *= c / n;
                    left *= cell->pace.thermal;
                    double add = term / n * (1 - left);
                    time += tau * add;
                    if (fabs(add) < 1e-16)
                        break;
                }
            }
            time *= hastened(truth->ambient);
        }
        cell->charge *= exp(-per_second(truth) * time);
    }
    cell->v1 *= cell->pace.pair;
    warm(cell, 0, dt);
}

/* While the ceiling, a power or a resistance sets the current, pair and drive act on each other:
 * at a constant voltage the pair settles with tau*R0/(R0 + R1). A piece has to be short against
 * that. */
static int64_t longest_piece(const struct simcell *cell)
{
    const struct simcell_truth *truth = &cell->truth;
    if (truth->r1 * truth->c1 <= 0 ||
        (cell->drive.mode == DRIVE_CURRENT && isnan(cell->drive.ceiling)))
        return STRETCH_MOST;
    double settles = truth->r1 * truth->c1 * truth->r0 / (truth->r0 + truth->r1);
    int64_t quarter = (int64_t)(settles / 4 * 1e6);
    if (quarter < PIECE_LEAST)
        return PIECE_LEAST;
    return quarter < STRETCH_MOST ? quarter : STRETCH_MOST;
}

void simcell_advance(struct simcell *cell, utc_us to)
{
    int64_t left = to - cell->as_of;
    if (left <= 0)
        return;
    if (cell->drive.mode == DRIVE_OFF) {
        rest(cell, left);
        cell->as_of = to;
        return;
    }
    int64_t most = longest_piece(cell);
    int64_t pieces = (left + most - 1) / most;
    for (; pieces > 0; pieces--) {
        int64_t piece = left / pieces;
        energised(cell, piece);
        cell->as_of += piece; /* last, so that a kill in between costs one piece at most */
        left -= piece;
    }
}

void simcell_read(struct simcell *cell, struct reading *out)
{
    const struct simcell_truth *truth = &cell->truth;
    double r0 = simcell_r0(cell), soc = cell->charge / simcell_capacity(cell);
    double inner = inner_voltage(truth, soc, cell->v1, cell->temperature, &cell->pace.segment);
    out->current = flows(&cell->drive, inner, r0);
    out->voltage = inner + out->current * r0;
    if (out->current < 0 && cell->charge <= 0)
        out->current = out->voltage = 0; /* empty: the voltage has collapsed, nothing flows */
    out->temperature = cell->temperature;
    if (truth->noise_voltage > 0)
        out->voltage += truth->noise_voltage * random_noise(&cell->noise);
    if (truth->noise_temperature > 0)
        out->temperature += truth->noise_temperature * random_noise(&cell->noise);
}

double simcell_read_resistance(struct simcell *cell)
{
    double noise = cell->truth.noise_voltage / NOISE_CURRENT;
    return simcell_r0(cell) + (noise > 0 ? noise * random_noise(&cell->noise) : 0);
}

void simcell_new(struct simcell *cell, const struct simcell_truth *truth, utc_us as_of,
                 uint64_t seed)
{
    memset(cell, 0, sizeof(*cell)); /* padding too: states are compared as bytes */
    cell->truth = *truth;
    cell->as_of = as_of;
    cell->charge = truth->soc_new * truth->capacity;
    cell->temperature = truth->ambient;
    cell->drive = DRIVE_NOTHING;
    random_seed(&cell->noise, seed);
}
