/* How much a control tick of a simulated cell costs, beside a bare loop of the same arithmetic in
 * the same run. Prints one line a case; no pass or fail.
 *
 *   tick [TICKS]
 *
 * Ours: the channel moves and reads its cell, the step takes the reading and says when the next is
 * wanted. Bare: a C loop over the least state that gives the same charge: the pair, the state of
 * charge, a table's line, heat, the trapezoid, two comparisons. */
#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <time.h>

#include "bench/simulated.h"
#include "step/step.h"

static double now_ns(void)
{
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)now.tv_sec * 1e9 + (double)now.tv_nsec;
}

struct bare {
    double charge, v1, temperature, capacity, r0, r1, pair, thermal;
    double moved, energy, voltage, current;
    double soc[16], ocv[16];
    int segment;
};

static void bare_begin(struct bare *bare)
{
    *bare = (struct bare){.charge = 7200,
                          .temperature = 20,
                          .capacity = 7200,
                          .r0 = 0.025,
                          .r1 = 0.02,
                          .pair = exp(-1 / 40.0),
                          .thermal = exp(-0.08 / 27),
                          .voltage = 1.4,
                          .current = -0.4,
                          .segment = 14};
    for (int i = 0; i < 16; i++) {
        bare->soc[i] = i / 15.0;
        bare->ocv[i] = 1.0 + 0.4 * i / 15;
    }
}

/* One second; whether the end is reached. */
static int bare_tick(struct bare *bare, double drive)
{
    bare->charge += drive;
    bare->v1 = drive * bare->r1 + (bare->v1 - drive * bare->r1) * bare->pair;
    double end = 20 + (drive * drive * bare->r0 + bare->v1 * bare->v1 / bare->r1) / 0.08;
    bare->temperature = end + (bare->temperature - end) * bare->thermal;
    double soc = bare->charge / bare->capacity;
    int i = bare->segment;
    while (i > 0 && soc < bare->soc[i])
        i--;
    bare->segment = i;
    double voltage = bare->ocv[i] +
                     (soc - bare->soc[i]) / (bare->soc[i + 1] - bare->soc[i]) *
                         (bare->ocv[i + 1] - bare->ocv[i]) +
                     bare->v1 + drive * bare->r0;
    bare->moved += (bare->current + drive) / 2;
    bare->energy += (bare->current * bare->voltage + drive * voltage) / 2;
    bare->voltage = voltage;
    bare->current = drive;
    return voltage <= 0.5 || bare->temperature > 60;
}

static double measure_bare(int cells, long ticks)
{
    struct bare *bare = malloc((size_t)cells * sizeof(*bare));
    if (bare == NULL)
        exit(1);
    for (int i = 0; i < cells; i++)
        bare_begin(&bare[i]);
    volatile double drive = -0.0004; /* volatile: not to be folded away */
    double began = now_ns();
    long ends = 0;
    for (long t = 0; t < ticks; t += cells)
        for (int i = 0; i < cells; i++)
            ends += bare_tick(&bare[i], drive);
    double cost = (now_ns() - began) / (double)ticks;
    if (ends > 0)
        printf("the bare loop ended early\n");
    free(bare);
    return cost;
}

struct ours {
    struct channel *channel;
    struct step step;
};

static double measure_ours(int cells, long ticks)
{
    struct clock clock;
    struct world *world;
    struct error error;
    struct ours *ours = calloc((size_t)cells, sizeof(*ours));
    long rows = 0;
    clock_open_virtual(&clock, 0);
    if (ours == NULL || world_open(&world, NULL, &error))
        exit(1);
    for (int i = 0; i < cells; i++) {
        struct cell_facts facts = {.model = "Kestrel 2000",
                                   .profile = profile_find("NiMH"),
                                   .rated_charge = 7200,
                                   .seed = (uint64_t)i};
        struct simcell_truth truth;
        struct step_plan plan;
        struct limits limits = profile_limits(facts.profile, facts.rated_charge);
        snprintf(facts.label, sizeof(facts.label), "KES-%04d", i);
        simcell_truth_typical(&truth, &facts);
        truth.noise_voltage = truth.noise_temperature = 0;
        truth.soc_new = 1;
        ours[i].channel = simulated_channel("S", &clock, world, &truth);
        step_plan_init(&plan, STEP_DISCHARGE);
        plan.drive = (struct drive){DRIVE_CURRENT, -0.0004, NAN};
        plan.voltage = 1.0;
        if (ours[i].channel->ops->insert(ours[i].channel, &facts, &error) ||
            step_plan_check(&plan, &facts, &limits, &error))
            exit(1);
        step_begin(&ours[i].step, &plan, &facts, &limits, 1, 1, 3600);
        ours[i].channel->ops->drive(ours[i].channel, &plan.drive, NULL);
    }
    double began = now_ns();
    for (long t = 0; t < ticks; t += cells) {
        double next = 1;
        for (int i = 0; i < cells; i++) {
            struct reading reading;
            ours[i].channel->ops->read(ours[i].channel, &reading, NULL);
            if (step_feed(&ours[i].step, &reading, false) != STEP_GO_ON) {
                printf("a step ended early\n");
                exit(1);
            }
            rows += ours[i].step.rows;
            next = step_next(&ours[i].step);
        }
        clock_advance(&clock, clock_bench(&clock) + (bench_us)(next * 1e6));
    }
    double cost = (now_ns() - began) / (double)ticks;
    printf("  (%ld rows kept of %ld readings)\n", rows, ticks);
    for (int i = 0; i < cells; i++)
        ours[i].channel->ops->close(ours[i].channel);
    world_close(world);
    free(ours);
    return cost;
}

int main(int argc, char **argv)
{
    long ticks = argc > 1 ? atol(argv[1]) : 10000000;
    static const int counts[] = {1, 1000};
    if (ticks < 1000)
        ticks = 1000;
    for (size_t i = 0; i < sizeof(counts) / sizeof(counts[0]); i++) {
        double bare = measure_bare(counts[i], ticks), ours = measure_ours(counts[i], ticks);
        printf("tick, %d cell%s: %.1f ns; bare %.1f ns; ratio %.2f\n", counts[i],
               counts[i] == 1 ? "" : "s in turn", ours, bare, ours / bare);
    }
    printf("state: step %zu B, simulated cell %zu B\n", sizeof(struct step),
           sizeof(struct simcell));
    return 0;
}
