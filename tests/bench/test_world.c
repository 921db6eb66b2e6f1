/* Where simulated cells live: found again, kept through a kill, refused when it is not ours. */
#include <fcntl.h>
#include <math.h>
#include <setjmp.h>
#include <signal.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#include <cmocka.h>

#include "bench/world.h"

static char folder[] = "/tmp/world-test-XXXXXX";
static char path[64];

static int set_up(void **state)
{
    (void)state;
    strcpy(folder + strlen(folder) - 6, "XXXXXX");
    if (mkdtemp(folder) == NULL)
        return -1;
    snprintf(path, sizeof(path), "%s/cells", folder);
    return 0;
}

static int tear_down(void **state)
{
    (void)state;
    unlink(path);
    return rmdir(folder);
}

static struct cell_facts facts_of(int number)
{
    struct cell_facts facts = {.model = "Kestrel 2000",
                               .profile = profile_find("NiMH"),
                               .rated_charge = 7200,
                               .seed = (uint64_t)number};
    snprintf(facts.label, sizeof(facts.label), "KES-%02d", number);
    return facts;
}

static struct world *opened(const char *at)
{
    struct world *world;
    struct error error = {0};
    if (world_open(&world, at, &error))
        fail_msg("%s: %s", error.what, error.why);
    return world;
}

static struct simcell *cell_of(struct world *world, int number, utc_us now)
{
    struct cell_facts facts = facts_of(number);
    struct simcell *cell = world_cell(world, &facts, NULL, now, NULL);
    assert_non_null(cell);
    return cell;
}

static void a_label_finds_its_cell(void **state)
{
    struct world *world = opened(NULL);
    struct simcell *cell = cell_of(world, 1, 1000);
    (void)state;
    assert_int_equal(cell->as_of, 1000);
    cell->charge = 42;
    assert_ptr_equal(cell_of(world, 1, 2000), cell);
    assert_true(cell->charge == 42);
    assert_ptr_not_equal(cell_of(world, 2, 2000), cell);
    assert_int_equal(world_latest(world), 2000);
    world_close(world);
}

static void an_empty_world_has_no_latest_instant(void **state)
{
    struct world *world = opened(NULL);
    (void)state;
    assert_int_equal(world_latest(world), 0);
    world_close(world);
}

static void a_truth_may_be_given(void **state)
{
    struct simcell_truth truth = {
        .capacity = 100, .ocv_points = 1, .ocv = {1.2}, .efficiency = 1, .knee = 1};
    struct cell_facts facts = facts_of(1);
    struct error error = {0};
    struct world *world = opened(NULL);
    (void)state;
    assert_true(world_cell(world, &facts, &truth, 0, NULL)->truth.capacity == 100);
    facts = facts_of(2);
    truth.capacity = -1;
    assert_null(world_cell(world, &facts, &truth, 0, &error));
    assert_string_equal(error.what, "capacity");
    facts.label[0] = '\0';
    assert_null(world_cell(world, &facts, NULL, 0, &error));
    assert_non_null(strstr(error.why, "label"));
    world_close(world);
}

static void pointers_stay_good_while_it_grows(void **state)
{
    struct world *world = opened(path);
    struct simcell *cells[500];
    (void)state;
    for (int i = 0; i < 500; i++) {
        cells[i] = cell_of(world, i, i);
        cells[i]->charge = i;
    }
    for (int i = 0; i < 500; i++) {
        assert_ptr_equal(cell_of(world, i, 0), cells[i]);
        assert_true(cells[i]->charge == i);
    }
    world_close(world);
    world = opened(path);
    for (int i = 0; i < 500; i++)
        assert_true(cell_of(world, i, 0)->charge == i);
    assert_int_equal(world_latest(world), 499);
    world_close(world);
}

/* A child discharges a cell, tells how far it came, and is killed in the middle of its work. */
static void survives_a_kill(void **state)
{
    int told[2];
    double charge = NAN, charge_told;
    (void)state;
    assert_int_equal(pipe(told), 0);
    pid_t child = fork();
    assert_true(child >= 0);
    if (child == 0) {
        struct world *world;
        struct cell_facts facts = facts_of(1);
        if (world_open(&world, path, NULL))
            _exit(1);
        struct simcell *cell = world_cell(world, &facts, NULL, 0, NULL);
        cell->drive = (struct drive){DRIVE_CURRENT, -0.4, NAN};
        for (utc_us t = 1;; t++) {
            simcell_advance(cell, t * US_PER_S);
            charge = cell->charge;
            if (write(told[1], &charge, sizeof(charge)) != (ssize_t)sizeof(charge))
                _exit(1);
        }
    }
    close(told[1]);
    for (int i = 0; i < 1000; i++)
        assert_int_equal(read(told[0], &charge_told, sizeof(charge_told)), sizeof(charge_told));
    kill(child, SIGKILL);
    assert_int_equal(waitpid(child, NULL, 0), child);
    while (read(told[0], &charge, sizeof(charge)) == (ssize_t)sizeof(charge))
        charge_told = charge;
    close(told[0]);

    struct world *world = opened(path);
    struct simcell *cell = cell_of(world, 1, 0);
    assert_true(cell->charge <= charge_told); /* it may have come one second further */
    assert_true(cell->charge > charge_told - 1.0);
    assert_true(cell->as_of >= 1000 * US_PER_S);
    assert_int_equal(cell->drive.mode, DRIVE_CURRENT); /* and the world goes on */
    world_close(world);
}

static void two_processes_do_not_share_it(void **state)
{
    struct world *first = opened(path), *second;
    struct error error = {0};
    (void)state;
    assert_int_equal(world_open(&second, path, &error), ERROR_BUSY);
    assert_null(second);
    world_close(first);
    world_close(opened(path));
}

/* Writes `bytes` over the file at `offset`, opens, expects a refusal with `why` and the file as it
 * was left. */
static void refused(long offset, const void *bytes, size_t count, const char *why)
{
    static unsigned char before[1 << 20], after[1 << 20];
    struct world *world;
    struct error error = {0};
    int file = open(path, O_RDWR | O_CREAT, 0600);
    assert_true(file >= 0);
    assert_int_equal(pwrite(file, bytes, count, offset), count);
    ssize_t size = pread(file, before, sizeof(before), 0);
    assert_int_equal(world_open(&world, path, &error), ERROR_BENCH);
    assert_null(world);
    if (strstr(error.why, why) == NULL)
        fail_msg("\"%s\" does not say \"%s\"", error.why, why);
    assert_string_equal(error.what, path);
    assert_int_equal(pread(file, after, sizeof(after), 0), size);
    assert_memory_equal(before, after, size);
    close(file);
}

static void another_file_is_refused_untouched(void **state)
{
    (void)state;
    refused(0, "label,charge\n", 13, "no file of simulated cells");
}

static void another_version_is_refused_untouched(void **state)
{
    uint32_t version = 99;
    (void)state;
    world_close(opened(path));
    refused(16, &version, sizeof(version), "another version");
}

static void a_short_file_is_refused_untouched(void **state)
{
    struct world *world = opened(path);
    (void)state;
    cell_of(world, 1, 0);
    world_close(world);
    assert_int_equal(truncate(path, 8192), 0);
    refused(0, "c", 1, "shorter");
}

static void damage_is_refused_untouched(void **state)
{
    double other = 1234.5; /* possible, but not what was written */
    struct world *world = opened(path);
    (void)state;
    cell_of(world, 1, 0);
    cell_of(world, 2, 0);
    world_close(world);
    /* The capacity of the first cell: after the header's page, a label and a hash. */
    refused(4096 + 72, &other, sizeof(other), "damaged");
}

static void a_place_that_cannot_be_opened(void **state)
{
    struct world *world;
    struct error error = {0};
    (void)state;
    assert_int_equal(world_open(&world, "/nowhere/cells", &error), ERROR_BENCH);
    assert_null(world);
    assert_string_equal(error.what, "/nowhere/cells");
    world_close(opened(path)); /* for tear_down */
}

#define WITH_FILE(test) cmocka_unit_test_setup_teardown(test, set_up, tear_down)

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_label_finds_its_cell),
        cmocka_unit_test(an_empty_world_has_no_latest_instant),
        cmocka_unit_test(a_truth_may_be_given),
        WITH_FILE(pointers_stay_good_while_it_grows),
        WITH_FILE(survives_a_kill),
        WITH_FILE(two_processes_do_not_share_it),
        WITH_FILE(another_file_is_refused_untouched),
        WITH_FILE(another_version_is_refused_untouched),
        WITH_FILE(a_short_file_is_refused_untouched),
        WITH_FILE(damage_is_refused_untouched),
        WITH_FILE(a_place_that_cannot_be_opened),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
