/* The world's own count of charge, beside the logbook's. */
#include "truth.h"

#include <math.h>
#include <string.h>

#include "bench/world.h"

/* A cell that the world does not know yet is made by asking for it: in a copy, and with this
 * date. */
#define NEVER_SEEN 1

/* An exact cell stores all that flows in and gives all of it back: see scene.c. Others lose some,
 * and only what flows out can be held against them. */
static bool is_exact(const struct simcell *cell)
{
    return cell->truth.efficiency == 1 && cell->truth.knee >= 1 && cell->truth.self_discharge == 0;
}

static struct simcell *find(struct world *world, const char *label)
{
    struct cell_facts facts = {.rated_charge = 7200, .profile = profile_find("NiMH")};
    snprintf(facts.label, sizeof(facts.label), "%s", label);
    struct simcell *cell = world_cell(world, &facts, NULL, NEVER_SEEN, NULL);
    return cell && cell->as_of != NEVER_SEEN ? cell : NULL;
}

int truth_driven(const char *world_path, const char *label)
{
    struct world *world;
    if (world_open(&world, world_path, NULL))
        return -1;
    const struct simcell *cell = find(world, label);
    int driven = cell ? cell->drive.mode != DRIVE_OFF : -1;
    world_close(world);
    return driven;
}

void truth_doctor(const char *world_path, const char *label, double current)
{
    struct world *world;
    struct simcell *cell = NULL;
    if (world_open(&world, world_path, NULL) || !(cell = find(world, label)))
        broken("no cell %s in %s", label, world_path);
    cell->drive = (struct drive){DRIVE_CURRENT, current, NAN};
    world_close(world);
}

struct account {
    utc_us as_of;
    double out, in;           /* A.s on record */
    double out_most, in_most; /* what can have moved at most in the whole time of its steps */
    bool open_drive;          /* a step that drives is open */
};

static void add_step(void *context, sqlite3_stmt *row)
{
    struct account *account = context;
    const char *kind = (const char *)sqlite3_column_text(row, 0);
    double charge = sqlite3_column_double(row, 1);
    double most = sqlite3_column_double(row, 2);
    utc_us started = sqlite3_column_int64(row, 3), over = sqlite3_column_int64(row, 4);
    bool open = sqlite3_column_type(row, 4) == SQLITE_NULL;
    if (open)
        over = account->as_of > started ? account->as_of : started;
    bool in = strcmp(kind, "charge") == 0;
    *(in ? &account->in : &account->out) += charge;
    *(in ? &account->in_most : &account->out_most) += most * (double)(over - started) * 1e-6;
    account->open_drive |= open;
}

static void compare(const char *label, const char *way, double recorded, double moved, double most,
                    struct findings *findings, struct truth_report *report)
{
    double room = 1e-5 + 1e-8 * moved;
    if (recorded > moved + room)
        found(findings, "truth", "%s: %.6f A.s %s on record, and only %.6f A.s moved", label,
              recorded, way, moved);
    if (moved > most + room)
        found(findings, "truth",
              "%s: %.6f A.s %s, and its steps had time for %.6f A.s: driven without a step on "
              "record",
              label, moved, way, most);
    report->moved += moved;
    if (moved > 1 && recorded / moved < report->closest)
        report->closest = recorded / moved;
}

struct shelf {
    sqlite3 *book;
    struct world *world;
    struct findings *findings;
    struct truth_report *report;
};

static void check_cell(void *context, sqlite3_stmt *row)
{
    const struct shelf *shelf = context;
    const char *label = (const char *)sqlite3_column_text(row, 1);
    const struct simcell *cell = find(shelf->world, label);
    if (!cell)
        return;
    struct account account = {.as_of = cell->as_of};
    query_each(
        shelf->book, add_step, &account,
        "SELECT step.kind, coalesce(charge, 0), " STEP_CURRENT_MOST ", step.started_at, "
        "CASE WHEN run.state = 'stopped' AND outcome.ended_by = 'stopped' THEN "
        "coalesce((SELECT min(began_at) FROM session WHERE began_at > run.ended_at), "
        "max(%lld, run.ended_at)) WHEN outcome.ended_at IS NOT NULL THEN "
        "max(coalesce(journal.outcome_at, run.ended_at, outcome.ended_at), outcome.ended_at) "
        "END FROM step JOIN journal USING (run, segment, n) "
        "JOIN run ON run.id = step.run LEFT JOIN outcome ON outcome.step = step.id "
        "WHERE step.cell = %lld AND step.kind IN ('charge', 'discharge', 'pulse')",
        (long long)account.as_of, (long long)sqlite3_column_int64(row, 0));
    compare(label, "out", account.out, cell->throughput, account.out_most, shelf->findings,
            shelf->report);
    if (is_exact(cell)) {
        double begun = cell->truth.soc_new * cell->truth.capacity;
        compare(label, "in", account.in, cell->charge - begun + cell->throughput, account.in_most,
                shelf->findings, shelf->report);
        if (cell->charge <= 0 || cell->charge >= cell->truth.capacity)
            found(shelf->findings, "truth",
                  "%s: left the range in which its charge is exact: the scenario needs mending",
                  label);
    }
    /* A run that was stopped while no engine lived is made safe by the next one. */
    bool left = query_number(shelf->book,
                             "SELECT count(*) FROM run WHERE cell = %lld AND state = 'stopped' AND "
                             "ended_at >= (SELECT max(began_at) FROM session)",
                             (long long)sqlite3_column_int64(row, 0));
    if (cell->drive.mode != DRIVE_OFF && !account.open_drive && !left)
        found(shelf->findings, "truth", "%s: is driven, and no open step on record drives it",
              label);
}

void truth_check(sqlite3 *book, const char *world_path, struct findings *findings,
                 struct truth_report *report)
{
    struct error error;
    struct shelf shelf = {.book = book, .findings = findings, .report = report};
    *report = (struct truth_report){.closest = 1};
    if (world_open(&shelf.world, world_path, &error)) {
        found(findings, "truth", "%s: %s", error.what, error.why);
        return;
    }
    query_each(book, check_cell, &shelf, "SELECT id, label FROM cell");
    world_close(shelf.world);
}
