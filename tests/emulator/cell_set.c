/* How terminals act on the cell. One of them alone is one of the cell model's own drives, exact
 * where that is; several at once meet in a junction whose voltage is searched for, a piece at a
 * time. */
#include "cell_set.h"

#include <math.h>

#define PIECE      US_PER_S /* of cell time between two looks at the junction */
#define VOLTS_MOST 100.0    /* above what any terminal gives */
#define LEAK       1e7      /* ohm across terminals that no cell is connected to */
#define R0_LEAST   1e-6     /* ohm, for cells of a truth without resistance */

static bool connected(const struct cell_set *set)
{
    return !set->cell_out && !set->reversed && !set->relay_open;
}

static int active(const struct cell_set *set)
{
    return set->supply.on + set->load.on + set->quadrant.on;
}

/* --- what each lets through at a voltage ----------------------------------------------------- */

static double supply_gives(const struct supply_output *supply, double volts)
{
    return supply->on && volts < supply->volts ? supply->amps : 0;
}

static double quadrant_gives(const struct quadrant_output *quadrant, double volts)
{
    if (!quadrant->on)
        return 0;
    if (quadrant->amps >= 0)
        return volts < quadrant->volts ? quadrant->amps : 0;
    return volts > quadrant->floor ? quadrant->amps : 0;
}

static double load_takes(const struct load_input *load, double volts)
{
    if (!load->on || volts <= 0)
        return 0;
    switch (load->mode) {
    case DRIVE_POWER: return fmin(load->watts / volts, 10);
    case DRIVE_RESISTANCE: return volts / load->ohms;
    default: return load->amps;
    }
}

/* The voltage at which what flows in flows out: everything given falls as it rises. */
static double junction(const struct cell_set *set, double inner, double r0)
{
    double low = 0, high = VOLTS_MOST;
    for (int i = 0; i < 60; i++) {
        double volts = (low + high) / 2;
        double given = supply_gives(&set->supply, volts) + quadrant_gives(&set->quadrant, volts) -
                       load_takes(&set->load, volts);
        if ((volts - inner) / r0 > given)
            high = volts;
        else
            low = volts;
    }
    return (low + high) / 2;
}

/* --- the cell -------------------------------------------------------------------------------- */

/* Voltage and current as they are; the emulated truths have no noise. */
static struct terminal look(const struct cell_set *set)
{
    struct simcell copy = *set->cell;
    struct reading reading;
    simcell_read(&copy, &reading);
    return (struct terminal){reading.voltage, reading.current};
}

static struct drive drive_by_junction(const struct cell_set *set)
{
    struct terminal now = look(set);
    double r0 = fmax(simcell_r0(set->cell), R0_LEAST), inner = now.volts - now.amps * r0;
    double amps = (junction(set, inner, r0) - inner) / r0;
    return (struct drive){DRIVE_CURRENT, amps, NAN};
}

/* The drive that stands until something is changed; false when it has to be looked for again. */
static bool steady_drive(const struct cell_set *set, struct drive *drive)
{
    const struct load_input *load = &set->load;
    const struct quadrant_output *quadrant = &set->quadrant;
    if (!connected(set) || active(set) == 0) {
        *drive = DRIVE_NOTHING;
        return true;
    }
    if (active(set) > 1)
        return false;
    if (set->supply.on) {
        *drive = (struct drive){DRIVE_CURRENT, set->supply.amps, set->supply.volts};
    } else if (quadrant->on) {
        *drive = (struct drive){DRIVE_CURRENT, quadrant->amps, quadrant->volts};
        return quadrant->amps >= 0 || quadrant->floor <= 0;
    } else {
        double amount = load->mode == DRIVE_POWER        ? -load->watts
                        : load->mode == DRIVE_RESISTANCE ? load->ohms
                                                         : -load->amps;
        *drive = (struct drive){load->mode, amount, NAN};
    }
    return true;
}

void set_changed(struct cell_set *set)
{
    struct drive drive;
    if (!steady_drive(set, &drive))
        drive = drive_by_junction(set);
    set->cell->drive = drive;
}

void set_advance(struct cell_set *set, utc_us now)
{
    struct drive drive;
    if (steady_drive(set, &drive)) {
        simcell_advance(set->cell, now);
        return;
    }
    while (set->cell->as_of < now) {
        utc_us left = now - set->cell->as_of;
        simcell_advance(set->cell, set->cell->as_of + (left < PIECE ? left : PIECE));
        set->cell->drive = drive_by_junction(set);
    }
}

/* --- what instruments see -------------------------------------------------------------------- */

struct terminal set_at_cell(const struct cell_set *set)
{
    if (set->cell_out)
        return (struct terminal){0, 0};
    if (set->reversed)
        return (struct terminal){-look(set).volts, 0};
    return look(set);
}

/* The terminals' common voltage, and what the cell takes of their current. */
static struct terminal at_junction(const struct cell_set *set)
{
    if (connected(set))
        return look(set);
    if (active(set) == 0)
        return set->relay_open ? (struct terminal){0, 0} : set_at_cell(set);
    return (struct terminal){junction(set, 0, LEAK), 0};
}

static double load_amps(const struct cell_set *set, struct terminal common)
{
    if (!set->load.on)
        return 0;
    return active(set) == 1 ? -common.amps : load_takes(&set->load, common.volts);
}

/* What the two sources give together is what cell and load take; the supply gives what the
 * two-quadrant source does not. */
static double quadrant_amps(const struct cell_set *set, struct terminal common)
{
    if (!set->quadrant.on)
        return 0;
    if (!set->supply.on)
        return common.amps + load_amps(set, common);
    return quadrant_gives(&set->quadrant, common.volts);
}

static double no_less_than_0(double value)
{
    return value > 0 ? value : 0;
}

struct terminal set_at_supply(const struct cell_set *set)
{
    struct terminal common = at_junction(set);
    double rest = common.amps + load_amps(set, common) - quadrant_amps(set, common);
    return (struct terminal){common.volts, set->supply.on ? no_less_than_0(rest) : 0};
}

struct terminal set_at_load(const struct cell_set *set)
{
    struct terminal common = at_junction(set);
    return (struct terminal){common.volts, no_less_than_0(load_amps(set, common))};
}

struct terminal set_at_quadrant(const struct cell_set *set)
{
    struct terminal common = at_junction(set);
    return (struct terminal){common.volts, quadrant_amps(set, common)};
}

double set_temperature(const struct cell_set *set)
{
    return set->cell_out ? set->cell->truth.ambient : set->cell->temperature;
}
