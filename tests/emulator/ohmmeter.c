/* A milliohm meter at the cell, four wires of its own: it sends an alternating current of 1 kHz and
 * tells U / I. The cell's impedance is that of its model, Z = R0 + R1 / (1 + j 2 pi f R1 C1). */
#include <math.h>

#include "link/scpi.h"
#include "message.h"

#define FREQUENCY  1000 /* Hz */
#define TEST_AMPS  0.05 /* root mean square, through the outer wires */
#define OHMS_MOST  3.2  /* of its only range */
#define OPEN_LEADS 1e6  /* ohm, with nothing between them */

static void reset_ohmmeter(struct instrument *instrument)
{
    (void)instrument;
}

/* V at the inner wires, root mean square. */
static double volts_across(const struct cell_set *set)
{
    const struct simcell_truth *truth = &set->cell->truth;
    double x = 2 * acos(-1) * FREQUENCY * truth->r1 * truth->c1;
    double pair = truth->c1 > 0 ? truth->r1 / (1 + x * x) : 0;
    if (set->cell_out)
        return TEST_AMPS * OPEN_LEADS;
    return TEST_AMPS * hypot(simcell_r0(set->cell) + pair, pair * x);
}

static void measure(const struct call *call)
{
    struct instrument *instrument = call->instrument;
    double volts = volts_across(call->set), truth = volts / TEST_AMPS, said;
    bool off = fault_strikes(&instrument->faults, FAULT_LEAD, NULL);
    if (off)
        record_add(instrument->record, instrument->name, "fault lead-off");
    record_add(instrument->record, instrument->name, "alternating volts %.9g amps %.9g", volts,
               TEST_AMPS);
    said = off || truth > OHMS_MOST ? instrument_says_overload(instrument, OHMS, truth)
                                    : instrument_says(instrument, OHMS, truth);
    answer_number(call, said);
}

static void configure(const struct call *call)
{
    (void)call; /* it measures nothing else */
}

static void ask_configuration(const struct call *call)
{
    text_add(call->answer, "\"RES\"");
}

static const struct command commands[] = {
    {"READ?", 0, 0, measure, 0},
    {"FETCh?", 0, 0, measure, 0}, /* it never stops measuring */
    {"MEASure[:SCALar]:RESistance?", 0, 0, measure, 0},
    {"CONFigure[:SCALar]:RESistance", 0, 0, configure, 0},
    {"CONFigure?", 0, 0, ask_configuration, 0},
    {NULL, 0, 0, NULL, 0},
};

const struct kind kind_ohmmeter = {
    .word = "ohmmeter",
    .model = "SO-1",
    .commands = commands,
    .ohms = 1e-5,
    .reset = reset_ohmmeter,
};
