/* The simulated channel and the bench that holds channels. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "bench/bench.h"
#include "bench/simulated.h"

static struct clock clock_;
static struct world *world;
static const struct simcell_truth ideal = {.capacity = 7200,
                                           .ocv_points = 1,
                                           .ocv = {1.3},
                                           .r0 = 0.02,
                                           .efficiency = 1,
                                           .knee = 1,
                                           .ambient = 20,
                                           .soc_new = 0.5};

static int set_up(void **state)
{
    (void)state;
    clock_open_virtual(&clock_, 1000 * US_PER_S);
    return world_open(&world, NULL, NULL);
}

static int tear_down(void **state)
{
    (void)state;
    world_close(world);
    return 0;
}

static struct cell_facts facts_of(const char *label)
{
    struct cell_facts facts = {.profile = profile_find("NiMH"), .rated_charge = 7200, .seed = 1};
    strcpy(facts.label, label);
    return facts;
}

static void pass(double seconds)
{
    clock_advance(&clock_, clock_bench(&clock_) + (bench_us)llround(seconds * 1e6));
}

static void takes_a_cell_through_its_states(void **state)
{
    struct channel *channel = simulated_channel("S1", &clock_, world, &ideal);
    struct cell_facts facts = facts_of("KES-01");
    struct drive drain = {DRIVE_CURRENT, -1, NAN};
    struct reading reading;
    struct error error = {0};
    (void)state;
    assert_string_equal(channel->ops->kind, "simulated");
    assert_string_equal(channel->name, "S1");
    assert_false(channel->physical);
    assert_true(channel->tick_least == 1 && channel->tick_most == 60);
    assert_true(channel->rest_most == 3600 && isnan(channel->void_after));

    assert_int_equal(channel->ops->read(channel, &reading, &error), CHANNEL_FAILED);
    assert_non_null(strstr(error.why, "empty"));
    assert_int_equal(channel->ops->drive(channel, &drain, &error), CHANNEL_FAILED);
    assert_int_equal(channel->ops->make_safe(channel, &error), CHANNEL_NOW);

    assert_int_equal(channel->ops->insert(channel, &facts, &error), 0);
    assert_int_not_equal(channel->ops->insert(channel, &facts, &error), 0);
    assert_int_equal(channel->ops->read(channel, &reading, &error), CHANNEL_NOW);
    assert_true(reading.at == clock_bench(&clock_) && reading.voltage == 1.3);

    assert_int_equal(channel->ops->drive(channel, &drain, &error), CHANNEL_NOW);
    pass(100);
    assert_int_equal(channel->ops->read(channel, &reading, &error), CHANNEL_NOW);
    assert_true(reading.at == clock_bench(&clock_));
    assert_true(reading.current == -1 && fabs(reading.voltage - 1.28) < 1e-12);

    pass(100); /* nobody looks, and it flows all the same */
    assert_int_equal(channel->ops->make_safe(channel, &error), CHANNEL_NOW);
    assert_int_equal(channel->ops->make_safe(channel, &error), CHANNEL_NOW);
    pass(100);
    assert_int_equal(channel->ops->read(channel, &reading, &error), CHANNEL_NOW);
    assert_true(reading.current == 0);
    assert_true(fabs(world_cell(world, &facts, NULL, 0, NULL)->charge - 3400) < 1e-9);
    channel->ops->close(channel);
}

static void the_cell_keeps_its_state_on_its_way_through_channels(void **state)
{
    struct channel *first = simulated_channel("S1", &clock_, world, &ideal);
    struct channel *second = simulated_channel("S2", &clock_, world, NULL);
    struct cell_facts facts = facts_of("KES-01");
    struct drive drain = {DRIVE_CURRENT, -1, NAN};
    (void)state;
    assert_int_equal(first->ops->insert(first, &facts, NULL), 0);
    first->ops->drive(first, &drain, NULL);
    pass(600);
    first->ops->remove(first); /* and what drove it stops */
    pass(600);
    assert_int_equal(second->ops->insert(second, &facts, NULL), 0);
    struct simcell *cell = world_cell(world, &facts, NULL, 0, NULL);
    assert_int_equal(cell->drive.mode, DRIVE_OFF);
    assert_true(fabs(cell->charge - 3000) < 1e-9);
    first->ops->close(first);
    second->ops->close(second);
}

/* A cell that has lived further than the clock waits for it. */
static void a_cell_of_the_future_does_not_move(void **state)
{
    struct channel *channel = simulated_channel("S1", &clock_, world, &ideal);
    struct cell_facts facts = facts_of("KES-01");
    struct drive drain = {DRIVE_CURRENT, -1, NAN};
    struct reading reading;
    (void)state;
    struct simcell *cell = world_cell(world, &facts, &ideal, 1500 * US_PER_S, NULL);
    assert_int_equal(channel->ops->insert(channel, &facts, NULL), 0);
    channel->ops->drive(channel, &drain, NULL);
    pass(500); /* now the clock has reached it */
    channel->ops->read(channel, &reading, NULL);
    assert_true(cell->charge == 3600);
    pass(10);
    channel->ops->read(channel, &reading, NULL);
    assert_true(fabs(cell->charge - 3590) < 1e-9);
    channel->ops->close(channel);
}

static void a_bench_finds_refuses_and_makes_safe(void **state)
{
    struct bench bench = {0};
    struct cell_facts facts = facts_of("KES-01");
    struct drive drain = {DRIVE_CURRENT, -1, NAN};
    struct error error = {0};
    (void)state;
    struct channel *channel = simulated_channel("S1", &clock_, world, &ideal);
    assert_int_equal(bench_add(&bench, channel, &error), 0);
    assert_int_equal(bench_add(&bench, simulated_channel("S2", &clock_, world, NULL), &error), 0);
    assert_int_equal(bench_add(&bench, simulated_channel("S1", &clock_, world, NULL), &error),
                     ERROR_BENCH);
    assert_string_equal(error.what, "S1");
    assert_int_equal(bench.count, 2);
    assert_ptr_equal(bench_find(&bench, "S1"), channel);
    assert_null(bench_find(&bench, "S3"));
    assert_int_equal(channel->ops->insert(channel, &facts, NULL), 0);
    channel->ops->drive(channel, &drain, NULL);
    bench_close(&bench);
    assert_int_equal(world_cell(world, &facts, NULL, 0, NULL)->drive.mode, DRIVE_OFF);
    assert_int_equal(bench.count, 0);
}

static char order[16]; /* what happened, a letter each */

static enum channel_reply fake_safe(struct channel *channel, struct error *error)
{
    (void)channel, (void)error;
    strcat(order, "s");
    return CHANNEL_NOW;
}

static void fake_close(struct channel *channel)
{
    (void)channel;
    strcat(order, "c");
}

/* Closing one channel may take its time: no other may stay energised meanwhile. */
static void all_are_safe_before_any_is_closed(void **state)
{
    static const struct channel_ops ops = {.make_safe = fake_safe, .close = fake_close};
    struct channel a = {.ops = &ops, .name = "A1"}, b = {.ops = &ops, .name = "A2"};
    struct bench bench = {0};
    (void)state;
    assert_int_equal(bench_add(&bench, &a, NULL), 0);
    assert_int_equal(bench_add(&bench, &b, NULL), 0);
    bench_close(&bench);
    assert_string_equal(order, "sscc");
}

#define IN_WORLD(test) cmocka_unit_test_setup_teardown(test, set_up, tear_down)

int main(void)
{
    const struct CMUnitTest tests[] = {
        IN_WORLD(takes_a_cell_through_its_states),
        IN_WORLD(the_cell_keeps_its_state_on_its_way_through_channels),
        IN_WORLD(a_cell_of_the_future_does_not_move),
        IN_WORLD(a_bench_finds_refuses_and_makes_safe),
        cmocka_unit_test(all_are_safe_before_any_is_closed),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
