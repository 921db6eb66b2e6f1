/* A due date is kept as civil time, zone and instant. When the rules of the zone were changed since
 * (here: the instant on record is what other rules gave), the civil time holds. */
#include "engine/rig.h"

#define DUE   1774764000000000LL      /* 2026-03-29T08:00:00+02:00, the first day of summer time */
#define DUE_1 (DUE + 3600 * US_PER_S) /* the same civil time without summer time */

static bool has_zones(void)
{
    struct zone *zone;
    struct error error;
    if (zone_open(&zone, "Europe/Berlin", &error)) {
        print_message("skipped: the time zone database is not there\n");
        return false;
    }
    zone_close(zone);
    return true;
}

/* A run of cell B that is due at `at`, as run 2; `zone` "" is the logbook's. */
static void add_due(struct rig *rig, utc_us at, const char *zone)
{
    struct run_record record;
    struct cell_record cell;
    rig_queue(rig, "r", "A");
    assert_int_equal(logbook_run(rig->logbook, 1, &record, &rig->error), 0);
    assert_int_equal(logbook_cell(rig->logbook, "B", &cell, &rig->error), 0);
    record.cell = cell.id;
    record.due_at = at;
    string_copy(record.due_zone, sizeof record.due_zone, zone);
    assert_int_equal(logbook_begin(rig->logbook, &rig->error), 0);
    assert_int_equal(logbook_add_run(rig->logbook, &record, &rig->error), 0);
    assert_int_equal(record.id, 2);
    run_record_free(&record);
    assert_int_equal(logbook_commit(rig->logbook, &rig->error), 0);
}

static void expect_due(struct rig *rig, utc_us at, const char *civil, const char *zone)
{
    struct run_record record;
    assert_int_equal(logbook_run(rig->logbook, 2, &record, &rig->error), 0);
    assert_int_equal(record.due_at, at);
    assert_string_equal(record.due_civil, civil);
    assert_string_equal(record.due_zone, zone);
    run_record_free(&record);
}

static int warnings(struct rig *rig)
{
    int count = 0;
    size_t i;
    json_t *rows = rig_rows(rig, LIST_EVENTS, 2), *row;
    json_array_foreach(rows, i, row)
    {
        count += strstr(json_string_value(json_object_get(row, "text")), "other rules") != NULL;
    }
    json_decref(rows);
    return count;
}

static utc_us started(struct rig *rig)
{
    struct run_record record;
    assert_int_equal(logbook_run(rig->logbook, 2, &record, &rig->error), 0);
    utc_us at = record.started_at;
    run_record_free(&record);
    return at;
}

static void set_due(struct rig *rig, utc_us at)
{
    assert_int_equal(logbook_begin(rig->logbook, &rig->error), 0);
    assert_int_equal(logbook_set_run_due(rig->logbook, 2, at, &rig->error), 0);
    assert_int_equal(logbook_commit(rig->logbook, &rig->error), 0);
}

static void a_date_is_kept_as_its_clock_shows_it(void **state)
{
    (void)state;
    struct rig rig;
    if (!has_zones())
        skip();
    rig_open_in(&rig, 2, "Europe/Berlin");
    add_due(&rig, DUE, "");
    expect_due(&rig, DUE, "2026-03-29T08:00:00", "Europe/Berlin");
    rig_work(&rig);
    assert_int_equal(started(&rig), DUE);
    assert_int_equal(warnings(&rig), 0);
    rig_close(&rig);
}

static void by_other_rules_the_civil_time_holds(void **state)
{
    (void)state;
    struct rig rig;
    if (!has_zones())
        skip();
    rig_open_in(&rig, 2, "Europe/Berlin");
    add_due(&rig, DUE, "");
    set_due(&rig, DUE_1);
    rig_work(&rig);
    expect_due(&rig, DUE, "2026-03-29T08:00:00", "Europe/Berlin");
    assert_int_equal(started(&rig), DUE);
    assert_int_equal(warnings(&rig), 1);
    rig_close(&rig);
}

/* Hours hold on the absolute time line: such a date is one of UTC, which has no rules. */
static void a_date_of_utc_has_no_rules(void **state)
{
    (void)state;
    struct rig rig;
    if (!has_zones())
        skip();
    rig_open_in(&rig, 2, "Europe/Berlin");
    add_due(&rig, DUE, "UTC");
    expect_due(&rig, DUE, "2026-03-29T06:00:00", "UTC");
    set_due(&rig, DUE_1);
    rig_work(&rig);
    assert_int_equal(started(&rig), DUE_1);
    assert_int_equal(warnings(&rig), 0);
    rig_close(&rig);
}

/* The second 02:30 is no other rule: it is what the clock shows at that instant. */
static void the_second_of_two_stays(void **state)
{
    (void)state;
    const utc_us second = 1792891800000000LL; /* 2026-10-25T02:30:00+01:00 */
    struct rig rig;
    if (!has_zones())
        skip();
    rig_open_in(&rig, 2, "Europe/Berlin");
    add_due(&rig, second, "");
    expect_due(&rig, second, "2026-10-25T02:30:00", "Europe/Berlin");
    rig_work(&rig);
    assert_int_equal(started(&rig), second);
    assert_int_equal(warnings(&rig), 0);
    rig_close(&rig);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_date_is_kept_as_its_clock_shows_it),
        cmocka_unit_test(by_other_rules_the_civil_time_holds),
        cmocka_unit_test(a_date_of_utc_has_no_rules),
        cmocka_unit_test(the_second_of_two_stays),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
