/* Checks: what a cell had been through when a result of it was put on record. */
#include "bench_day.h"
#include "logbook/checks.h"

#define HOUR (3600 * US_PER_S)

struct seen {
    char cell[16], name[16];
    double value, uncertainty, drawn;
    utc_us at, began_at, charged_at;
};

struct all_seen {
    struct seen check[16];
    size_t count;
};

static void take(void *context, const struct check_record *check)
{
    struct all_seen *all = context;
    struct seen *seen = &all->check[all->count++];

    assert_true(all->count <= 16);
    assert_string_equal(check->script, "capacity.lua");
    assert_string_equal(check->channel, "S1");
    assert_string_equal(check->unit, "Ah");
    string_copy(seen->cell, sizeof(seen->cell), check->cell);
    string_copy(seen->name, sizeof(seen->name), check->name);
    seen->value = check->value;
    seen->uncertainty = check->uncertainty;
    seen->drawn = check->drawn;
    seen->at = check->at;
    seen->began_at = check->began_at;
    seen->charged_at = check->charged_at;
}

static struct all_seen look(struct logbook *logbook)
{
    struct all_seen all = {.count = 0};

    must(logbook_checks(logbook, take, &all, &error));
    return all;
}

/* A step of run r on its cell, from one hour to another; ended unless `to` is 0. */
static int64_t a_step(struct logbook *logbook, int64_t r, int64_t cell, int64_t n, const char *kind,
                      int from, int to, double charge)
{
    struct step_sums sums = no_sums;
    struct step_record step = {.run = r,
                               .n = n,
                               .cell = cell,
                               .channel = "S1",
                               .how = "simulated",
                               .plan = "{}",
                               .started_at = DAY_ONE + from * HOUR};

    string_copy(step.kind, sizeof(step.kind), kind);
    add_entry(logbook, r, n, kind);
    must(logbook_add_step(logbook, &step, &error));
    sums.charge = charge;
    if (to)
        must(logbook_end_step(logbook, step.id, &sums, DAY_ONE + to * HOUR, &error));
    else
        must(logbook_checkpoint_step(logbook, step.id, &sums, "{}", DAY_ONE + from * HOUR, &error));
    return step.id;
}

static void a_result(struct logbook *logbook, int64_t r, int64_t cell, int64_t n, int64_t step,
                     const char *name, int at)
{
    struct result_record result = {.run = r,
                                   .n = n,
                                   .cell = cell,
                                   .step = step,
                                   .name = name,
                                   .value = (double)n,
                                   .unit = "Ah",
                                   .uncertainty = NAN,
                                   .how = "simulated",
                                   .at = DAY_ONE + at * HOUR};

    add_entry(logbook, r, n, "record");
    must(logbook_add_result(logbook, &result, &error));
}

static void expect(const struct seen *is, const char *cell, const char *name, int at, int began,
                   int charged, double drawn)
{
    assert_string_equal(is->cell, cell);
    assert_string_equal(is->name, name);
    assert_true(isnan(is->uncertainty));
    assert_int_equal(is->at, DAY_ONE + at * HOUR);
    assert_int_equal(is->began_at, began < 0 ? 0 : DAY_ONE + began * HOUR);
    assert_int_equal(is->charged_at, charged < 0 ? 0 : DAY_ONE + charged * HOUR);
    assert_float_equal(is->drawn, drawn, 1e-9);
}

static void test_age_and_charge_drawn(void **state)
{
    struct logbook *logbook = memory_logbook();
    int64_t a, b, last;
    struct all_seen all;

    (void)state;
    must(logbook_begin(logbook, &error));
    a = add_cell(logbook, "KES-01");
    b = add_cell(logbook, "KES-02");
    /* The second cell first, so that neither runs nor steps lie in the order of cells. */
    assert_int_equal(add_run(logbook, b), 1);
    assert_int_equal(add_run(logbook, a), 2);
    last = a_step(logbook, 1, b, 1, "discharge", 1, 2, 5000);
    a_result(logbook, 1, b, 2, last, "remaining", 2); /* never charged; ended in that instant */
    a_step(logbook, 2, a, 1, "charge", 0, 10, 7000);
    a_step(logbook, 2, a, 2, "rest", 10, 11, 0);
    last = a_step(logbook, 2, a, 3, "discharge", 11, 16, 6000);
    a_step(logbook, 1, b, 3, "charge", 20, 30, 7000);
    a_result(logbook, 2, a, 4, last, "capacity", 16);
    a_result(logbook, 2, a, 5, last, "delivered", 15); /* before the discharge had ended */
    last = a_step(logbook, 2, a, 6, "discharge", 40, 0, 900);
    a_result(logbook, 2, a, 7, last, "so far", 41);     /* the discharge is still open */
    a_step(logbook, 2, a, 8, "discharge", 42, 43, NAN); /* came to nothing */
    a_step(logbook, 2, a, 9, "charge", 50, 60, 7000);   /* after the cell's last result */
    last = a_step(logbook, 1, b, 4, "discharge", 31, 32, 250);
    a_result(logbook, 1, b, 5, last, "capacity", 33);
    must(logbook_commit(logbook, &error));

    all = look(logbook);
    assert_int_equal(all.count, 5);
    expect(&all.check[0], "KES-01", "delivered", 15, 11, 10, 0);
    expect(&all.check[1], "KES-01", "capacity", 16, 11, 10, 6000);
    expect(&all.check[2], "KES-01", "so far", 41, 40, 10, 6000);
    expect(&all.check[3], "KES-02", "remaining", 2, 1, -1, 5000);
    expect(&all.check[4], "KES-02", "capacity", 33, 31, 30, 5250);
    assert_float_equal(all.check[1].value, 4, 0);
    close_sound(logbook);
}

/* A curve of long ago that was imported today: later ids, earlier times. */
static void test_time_tells_the_order_not_the_id(void **state)
{
    struct logbook *logbook = memory_logbook();
    int64_t a, last;
    struct all_seen all;

    (void)state;
    must(logbook_begin(logbook, &error));
    a = add_cell(logbook, "KES-01");
    add_run(logbook, a);
    a_step(logbook, 1, a, 1, "charge", 100, 110, 7000);
    last = a_step(logbook, 1, a, 2, "discharge", 111, 112, 100);
    a_result(logbook, 1, a, 3, last, "capacity", 113);
    a_step(logbook, 1, a, 4, "charge", 5, 6, 7000);
    last = a_step(logbook, 1, a, 5, "discharge", 7, 8, 40);
    a_result(logbook, 1, a, 6, last, "capacity", 9);
    must(logbook_commit(logbook, &error));

    all = look(logbook);
    assert_int_equal(all.count, 2);
    expect(&all.check[0], "KES-01", "capacity", 9, 7, 6, 40);
    expect(&all.check[1], "KES-01", "capacity", 113, 111, 110, 140);
    close_sound(logbook);
}

/* More moments than there is room for at first, against sums made by hand. */
static void test_many(void **state)
{
    struct logbook *logbook = memory_logbook();
    struct all_seen all;
    int64_t a, last = 0;
    const int rounds = 1500;

    (void)state;
    must(logbook_begin(logbook, &error));
    a = add_cell(logbook, "KES-01");
    add_run(logbook, a);
    for (int i = 0; i < rounds; i++) {
        a_step(logbook, 1, a, 2 * i + 1, "charge", 2 * i, 2 * i + 1, 7000);
        last = a_step(logbook, 1, a, 2 * i + 2, "discharge", 2 * i + 1, 2 * i + 2, i);
    }
    a_result(logbook, 1, a, 2 * rounds + 1, last, "capacity", 2 * rounds);
    must(logbook_commit(logbook, &error));

    all = look(logbook);
    assert_int_equal(all.count, 1);
    expect(&all.check[0], "KES-01", "capacity", 2 * rounds, 2 * rounds - 1, 2 * rounds - 1,
           rounds * (rounds - 1) / 2.0);
    close_sound(logbook);
}

static void test_none(void **state)
{
    struct logbook *logbook = memory_logbook();

    (void)state;
    assert_int_equal(look(logbook).count, 0);
    close_sound(logbook);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_age_and_charge_drawn),
        cmocka_unit_test(test_time_tells_the_order_not_the_id),
        cmocka_unit_test(test_many),
        cmocka_unit_test(test_none),
    };

    return cmocka_run_group_tests_name("checks", tests, NULL, NULL);
}
