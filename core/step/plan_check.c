/* What must not be energised, and why. Refusals name the value and the limit with their units. */
#include <stddef.h>

#include "base/quantity.h"
#include "step/plan.h"

#define SLOW_RATE 0.1 /* It: the standard charge of nickel cells and what is slower */

struct check {
    struct step_plan *plan;
    const struct cell_facts *cell;
    const struct limits *limits;
    const struct profile *profile; /* NULL when the chemistry is not known */
    char what[32];
    struct error *error;
};

#define REFUSE(check, todo, ...)                                                                   \
    error_set((check)->error, ERROR_SCRIPT, (check)->what, todo, __VA_ARGS__)

struct shown {
    char text[48];
};

static struct shown show(double si, enum dimension dimension)
{
    struct shown shown = {""};
    quantity_format(si, dimension, shown.text, sizeof(shown.text));
    return shown;
}

static bool asked(double value)
{
    return !isnan(value);
}

static int check_value(struct check *check, const char *name, double value, double least,
                       bool may_equal)
{
    if (!asked(value) || (isfinite(value) && (value > least || (value == least && may_equal))))
        return 0;
    return REFUSE(check, "give a positive value, with its unit",
                  "%s is %g, which no step can come to", name, value);
}

/* Each a possible value, and one that the step can come to. */
static int check_values(struct check *check)
{
    const struct step_plan *plan = check->plan;
    int failed = 0;
    for (const struct step_limit *limit = step_limits; limit->name && !failed; limit++)
        failed = check_value(check, limit->name, step_limit_of(plan, limit), limit->least,
                             limit->equals & 1u << plan->kind);
    if (failed || (failed = check_value(check, "record every", plan->every, 0, true)) ||
        (failed = check_value(check, "record by voltage", plan->by_voltage, 0, true)) ||
        (failed = check_value(check, "record by current", plan->by_current, 0, true)))
        return failed;
    return check_value(check, "record by temperature", plan->by_temperature, 0, true);
}

static int check_some_end(struct check *check)
{
    const struct step_plan *plan = check->plan;
    if (plan->when)
        return 0;
    for (const struct step_limit *limit = step_limits; limit->name; limit++)
        if (!limit->waits && asked(step_limit_of(plan, limit)))
            return 0;
    return REFUSE(check, "say when it stops, by a time or a voltage, say",
                  "it has no end, and a step without an end is never begun");
}

static int check_ends_fit(struct check *check)
{
    const struct step_plan *plan = check->plan;
    bool charge = plan->kind == STEP_CHARGE, discharge = plan->kind == STEP_DISCHARGE;
    bool steady = plan->drive.mode == DRIVE_CURRENT;
    if (asked(plan->drop) && !charge)
        return REFUSE(check, "end it by a voltage or a time",
                      "an end by a voltage drop belongs to a charge");
    if (asked(plan->flat) && !charge && plan->kind != STEP_REST)
        return REFUSE(check, "end it by a voltage or a time",
                      "an end by a flat voltage belongs to a charge or a rest");
    if ((asked(plan->charge) || asked(plan->energy) || asked(plan->current)) && !charge &&
        !discharge)
        return REFUSE(
            check, "end it by a time",
            "it is not to move any charge, so it never ends by current, charge or energy");
    if (asked(plan->current) && charge && isnan(plan->drive.ceiling) && steady)
        return REFUSE(check, "give the charge a voltage to hold, or end it otherwise",
                      "the current stays constant, so it never falls to %s",
                      show(plan->current, DIM_CURRENT).text);
    if (asked(plan->current) && charge && steady && plan->current >= plan->drive.amount)
        return REFUSE(check, "end at a current below that of the charge",
                      "it would end at %s, and begins with %s",
                      show(plan->current, DIM_CURRENT).text,
                      show(plan->drive.amount, DIM_CURRENT).text);
    if (asked(plan->current) && discharge && plan->drive.mode != DRIVE_RESISTANCE)
        return REFUSE(check, "end it by a voltage",
                      "the current of this discharge does not fall, so it never ends by current");
    if (asked(plan->voltage) && charge && plan->voltage > plan->drive.ceiling)
        return REFUSE(check, "end by current or time, or end at a lower voltage",
                      "it would end at %s, and is held at %s",
                      show(plan->voltage, DIM_VOLTAGE).text,
                      show(plan->drive.ceiling, DIM_VOLTAGE).text);
    if (plan->kind == STEP_READ && !asked(plan->time))
        return REFUSE(check, "leave its end away", "a read ends by time alone");
    return 0;
}

/* What the drive comes to in amperes at most, as well as can be said beforehand; the guards watch
 * what really flows. */
static double most_current(const struct check *check, const struct drive *drive)
{
    double nominal = check->profile->nominal_voltage;
    switch (drive->mode) {
    case DRIVE_OFF: return 0;
    case DRIVE_CURRENT: return fabs(drive->amount);
    case DRIVE_POWER: {
        double end = check->plan->voltage;
        return fabs(drive->amount) / (drive->amount < 0 && end > 0 ? end : nominal);
    }
    case DRIVE_RESISTANCE: return 1.2 * nominal / drive->amount;
    }
    return 0;
}

static int check_current(struct check *check, const struct drive *drive)
{
    double current = most_current(check, drive);
    bool charge = check->plan->kind == STEP_CHARGE;
    double most =
        charge ? check->limits->charge_current_most : check->limits->discharge_current_most;
    if (current > most * (1 + 1e-9)) /* 0.2 It of one rating and of another may round apart */
        return REFUSE(check, charge ? "charge with less" : "discharge with less",
                      "%s is above the limit of %s for this cell in this channel",
                      show(current, DIM_CURRENT).text, show(most, DIM_CURRENT).text);
    return 0;
}

static int check_charge_drive(struct check *check)
{
    struct drive *drive = &check->plan->drive;
    const struct profile *profile = check->profile;
    if (!profile->rechargeable)
        return REFUSE(check, "take the cell out of the charge",
                      "%s cells must never be charged: %s", profile->chemistry, profile->why_not);
    if (drive->mode != DRIVE_CURRENT && drive->mode != DRIVE_POWER)
        return REFUSE(check, "charge with a current or a power", "it says nothing to charge with");
    if (!(isfinite(drive->amount) && drive->amount > 0))
        return REFUSE(check, "give a positive current or power",
                      "%g is nothing to charge with: what flows into the cell is positive",
                      drive->amount);
    if (asked(profile->charge_ceiling) && !asked(drive->ceiling))
        drive->ceiling = fmin(profile->charge_ceiling, check->limits->voltage_most);
    if (!asked(drive->ceiling))
        return 0;
    if (!(isfinite(drive->ceiling) && drive->ceiling > 0))
        return REFUSE(check, "give the voltage to hold, such as 4.2 V",
                      "%g V is no voltage to hold", drive->ceiling);
    if (drive->ceiling > profile->charge_ceiling)
        return REFUSE(check, "hold a lower voltage",
                      "%s is above %s, the most that a %s cell is charged to",
                      show(drive->ceiling, DIM_VOLTAGE).text,
                      show(profile->charge_ceiling, DIM_VOLTAGE).text, profile->chemistry);
    if (drive->ceiling > check->limits->voltage_most)
        return REFUSE(check, "hold a lower voltage", "%s is above the limit of %s",
                      show(drive->ceiling, DIM_VOLTAGE).text,
                      show(check->limits->voltage_most, DIM_VOLTAGE).text);
    return 0;
}

static int check_discharge_drive(struct check *check)
{
    const struct drive *drive = &check->plan->drive;
    if (drive->mode == DRIVE_OFF)
        return REFUSE(check, "discharge with a current, a power or a resistance",
                      "it says nothing to discharge with");
    if (drive->mode == DRIVE_RESISTANCE && !(isfinite(drive->amount) && drive->amount > 0))
        return REFUSE(check, "give a positive resistance",
                      "%g ohm is no resistance to discharge through", drive->amount);
    if (drive->mode != DRIVE_RESISTANCE && !(isfinite(drive->amount) && drive->amount < 0))
        return REFUSE(check, "give a current or power that flows out of the cell",
                      "%g is nothing to discharge with: what flows out of the cell is negative",
                      drive->amount);
    if (asked(drive->ceiling))
        return REFUSE(check, "leave the voltage away, or put it into the ends",
                      "a discharge has no voltage to hold");
    return 0;
}

static int check_levels(struct check *check)
{
    const struct step_plan *plan = check->plan;
    for (int i = 0; i < PULSE_LEVELS; i++) {
        const struct drive *level = &plan->level[i];
        if (level->mode != DRIVE_CURRENT && level->mode != DRIVE_OFF)
            return REFUSE(check, "give each level a current", "level %d is no current", i + 1);
        if (!(isfinite(level->amount) && level->amount <= 0))
            return REFUSE(check, "give currents that flow out of the cell",
                          "level %d is %g A: a pulse discharges, and what flows out is negative",
                          i + 1, level->amount);
        if (asked(level->ceiling))
            return REFUSE(check, "leave the voltage away", "a pulse has no voltage to hold");
        if (!(isfinite(plan->level_time[i]) && plan->level_time[i] > 0))
            return REFUSE(check, "give each level a time, such as 10 s and 3 s",
                          "level %d has no time to last", i + 1);
        int failed = check_current(check, level);
        if (failed)
            return failed;
    }
    if (plan->level[0].amount == plan->level[1].amount)
        return REFUSE(check, "give two different currents, such as 0.2 It and 2 It",
                      "both levels are the same current, and no resistance follows from that");
    return 0;
}

static int check_drive(struct check *check)
{
    const struct step_plan *plan = check->plan;
    int failed = 0;
    switch (plan->kind) {
    case STEP_CHARGE: failed = check_charge_drive(check); break;
    case STEP_DISCHARGE: failed = check_discharge_drive(check); break;
    case STEP_PULSE: return check_levels(check);
    case STEP_REST:
    case STEP_READ:
        if (plan->drive.mode != DRIVE_OFF)
            return REFUSE(check, "use a charge or a discharge", "it is not to drive anything");
        return 0;
    }
    return failed ? failed : check_current(check, &plan->drive);
}

static int check_voltage_limits(struct check *check)
{
    const struct step_plan *plan = check->plan;
    const struct limits *limits = check->limits;
    if (plan->kind == STEP_CHARGE && plan->voltage > limits->voltage_most)
        return REFUSE(check, "end at a lower voltage", "its end of %s is above the limit of %s",
                      show(plan->voltage, DIM_VOLTAGE).text,
                      show(limits->voltage_most, DIM_VOLTAGE).text);
    if ((plan->kind == STEP_DISCHARGE || plan->kind == STEP_PULSE) &&
        plan->voltage < limits->voltage_least)
        return REFUSE(check, "end at a higher voltage", "its end of %s is below the limit of %s",
                      show(plan->voltage, DIM_VOLTAGE).text,
                      show(limits->voltage_least, DIM_VOLTAGE).text);
    return 0;
}

/* What ends a charge whose script forgot: time and charge, from the rated capacity. */
static int set_backstops(struct check *check)
{
    struct step_plan *plan = check->plan;
    const struct profile *profile = check->profile;
    double rated = check->cell->rated_charge, current = most_current(check, &plan->drive);
    plan->backstop_time = plan->backstop_charge = NAN;
    if (asked(plan->time) && asked(plan->charge))
        return 0;
    if (!(isfinite(rated) && rated > 0))
        return REFUSE(check, "enrol the cell with its rated capacity, or name both ends",
                      "the charge names no %s, and without a rated capacity none can be set for it",
                      asked(plan->time) ? "charge to end at" : "time to end at");
    bool slow = current <= SLOW_RATE * (1 + 1e-9) * rated / 3600;
    if (!asked(plan->time))
        plan->backstop_time = profile->backstop_time * rated / current;
    if (!asked(plan->charge)) {
        plan->backstop_charge = rated * (slow ? profile->backstop_slow : profile->backstop_charge);
        /* Sealed nickel cells bear 0.1 It for long: a time that the script names is what it
         * means. */
        if (slow && asked(plan->time) && isnan(profile->charge_ceiling))
            plan->backstop_charge = fmax(plan->backstop_charge, 1.001 * current * plan->time);
    }
    return 0;
}

static void set_record(struct step_plan *plan, double current)
{
    if (plan->by_current == 0)
        plan->by_current = fmax(0.001, 0.02 * current);
}

int step_plan_check(struct step_plan *plan, const struct cell_facts *cell,
                    const struct limits *limits, struct error *error)
{
    struct check check = {plan, cell, limits, cell->profile, "", error};
    snprintf(check.what, sizeof(check.what), "%s", step_kind_name(plan->kind));
    bool energises = plan->kind != STEP_REST && plan->kind != STEP_READ;
    int failed;
    if (energises && check.profile == NULL)
        return REFUSE(&check, "enrol the cell with its chemistry, such as NiMH",
                      "the chemistry of the cell is not known, and so not what it bears");
    if ((failed = check_drive(&check)) || (failed = check_values(&check)))
        return failed;
    if (plan->kind != STEP_PULSE && (failed = check_some_end(&check)))
        return failed;
    if ((failed = check_ends_fit(&check)) || (failed = check_voltage_limits(&check)))
        return failed;
    if (plan->kind == STEP_CHARGE && (failed = set_backstops(&check)))
        return failed;
    if (energises && plan->kind != STEP_PULSE)
        set_record(plan, most_current(&check, &plan->drive));
    return 0;
}
