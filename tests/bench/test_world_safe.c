/* A simulated bench that is switched on anew: what was left driven went on until now, and rests. */
#include "support/cmocka_setup.h"

#include <string.h>

#include "bench/world.h"

/* Constants, no losses: its charge counts what flows. */
static const struct simcell_truth truth = {
    .capacity = 7200,
    .ocv_points = 1,
    .ocv = {1.25},
    .r0 = 0.05,
    .efficiency = 1,
    .knee = 1,
    .ambient = 20,
    .soc_new = 0.5,
};

static struct simcell *cell_of(struct world *world, const char *label)
{
    struct cell_facts facts = {.rated_charge = 7200, .profile = profile_find("NiMH")};
    strcpy(facts.label, label);
    struct simcell *cell = world_cell(world, &facts, &truth, 0, NULL);
    assert_non_null(cell);
    return cell;
}

static void a_cell_left_driven_is_driven_until_now(void **state)
{
    struct world *world;
    (void)state;
    assert_int_equal(world_open(&world, NULL, NULL), 0);
    struct simcell *out = cell_of(world, "KES-01"), *in = cell_of(world, "KES-02");
    out->drive = (struct drive){DRIVE_CURRENT, -0.5, NAN};
    in->drive = (struct drive){DRIVE_CURRENT, 0.2, NAN};
    world_make_safe(world, 1000 * US_PER_S);
    assert_int_equal(out->drive.mode, DRIVE_OFF);
    assert_int_equal(in->drive.mode, DRIVE_OFF);
    assert_near(out->charge, 3600 - 500, 1e-6);
    assert_near(out->throughput, 500, 1e-6);
    assert_near(in->charge, 3600 + 200, 1e-6);

    /* Once safe, time alone does nothing to such a cell. */
    simcell_advance(out, 2000 * US_PER_S);
    assert_near(out->charge, 3600 - 500, 1e-6);
    world_close(world);
}

static void a_cell_at_rest_is_left_as_it_is(void **state)
{
    struct world *world;
    (void)state;
    assert_int_equal(world_open(&world, NULL, NULL), 0);
    struct simcell *cell = cell_of(world, "KES-03"), before = *cell;
    world_make_safe(world, 1000 * US_PER_S);
    assert_memory_equal(cell, &before, sizeof(before));
    world_close(world);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_cell_left_driven_is_driven_until_now),
        cmocka_unit_test(a_cell_at_rest_is_left_as_it_is),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
