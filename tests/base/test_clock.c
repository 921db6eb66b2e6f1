/* The faces of the clock. */
#include "support/cmocka_setup.h"

#include <time.h>

#include "base/clock.h"

#define HOUR   (3600 * US_PER_S)
#define SPRING 1772438400000000 /* 2026-03-02T08:00:00Z */
#define DAY_US (24 * 3600 * US_PER_S)

static int64_t boot_us(void)
{
    struct timespec time;
    clock_gettime(CLOCK_BOOTTIME, &time);
    return (int64_t)time.tv_sec * US_PER_S + time.tv_nsec / 1000;
}

static int64_t real_us(void)
{
    struct timespec time;
    clock_gettime(CLOCK_REALTIME, &time);
    return (int64_t)time.tv_sec * US_PER_S + time.tv_nsec / 1000;
}

static void sleep_us(int64_t us)
{
    struct timespec time = {us / US_PER_S, us % US_PER_S * 1000};
    nanosleep(&time, NULL);
}

static void virtual_time_stands_until_it_is_moved(void **state)
{
    (void)state;
    struct clock clock;
    clock_open_virtual(&clock, SPRING);
    assert_int_equal(clock_bench(&clock), 0);
    assert_int_equal(clock_utc(&clock), SPRING);
    sleep_us(2000);
    assert_int_equal(clock_bench(&clock), 0);
    clock_advance(&clock, 3 * HOUR);
    assert_int_equal(clock_bench(&clock), 3 * HOUR);
    assert_int_equal(clock_utc(&clock), SPRING + 3 * HOUR);
    assert_int_equal(clock_utc_at(&clock, 5 * HOUR), SPRING + 5 * HOUR);
    assert_int_equal(clock_wait_us(&clock, 5 * HOUR), 0);
    assert_int_equal(clock_step_seen(&clock, 0), 0);
}

static void virtual_time_never_moves_back(void **state)
{
    (void)state;
    struct clock clock;
    clock_open_virtual(&clock, SPRING);
    clock_advance(&clock, 3 * HOUR);
    clock_advance(&clock, 2 * HOUR);
    assert_int_equal(clock_bench(&clock), 3 * HOUR);
    clock_advance(&clock, -1);
    clock_advance(&clock, INT64_MIN);
    assert_int_equal(clock_bench(&clock), 3 * HOUR);
}

static void real_time_is_the_system_s(void **state)
{
    (void)state;
    struct clock clock;
    clock_open_real(&clock);
    int64_t boot_before = boot_us(), real_before = real_us();
    bench_us bench = clock_bench(&clock);
    utc_us utc = clock_utc(&clock);
    assert_true(bench >= boot_before && bench <= boot_us());
    assert_true(utc >= real_before && utc <= real_us());
    /* the calendar an hour from now, to within the time that the calls take */
    utc_us later = clock_utc_at(&clock, clock_bench(&clock) + HOUR);
    int64_t off = later - (real_us() + HOUR);
    assert_true(off > -US_PER_S && off < US_PER_S);
}

static void scaled_time_runs_on_the_even_clock(void **state)
{
    (void)state;
    struct clock clock;
    int64_t before_open = boot_us();
    clock_open_scaled(&clock, 1000, SPRING, real_us());
    int64_t after_open = boot_us();
    sleep_us(15000);
    int64_t before = boot_us();
    bench_us bench = clock_bench(&clock);
    int64_t after = boot_us();
    assert_true(bench >= 1000 * (before - after_open) && bench <= 1000 * (after - before_open));
    assert_true(bench >= 15 * US_PER_S);
    utc_us utc = clock_utc(&clock);
    assert_true(utc >= clock.utc_origin + bench);
    assert_int_equal(clock_utc_at(&clock, 7), clock.utc_origin + 7);
    assert_int_equal(clock_step_seen(&clock, 0), 0);
}

/* A scaled clock opened an hour of real time after its pin stands where the one that ran on does:
 * 100 hours later. */
static void scaled_time_goes_on_between_processes(void **state)
{
    (void)state;
    struct clock clock;
    int64_t before = real_us();
    clock_open_scaled(&clock, 100, SPRING, before - HOUR);
    utc_us utc = clock_utc(&clock);
    int64_t after = real_us();
    int64_t slack = 100 * 20; /* two clocks read at not quite one time */
    assert_true(utc >= SPRING + 100 * HOUR - slack);
    assert_true(utc <= SPRING + 100 * (HOUR + after - before) + slack);
}

static void waits_are_rounded_up_and_at_most_a_day(void **state)
{
    (void)state;
    struct clock clock;
    clock_open_real(&clock);
    bench_us now = clock_bench(&clock);
    assert_int_equal(clock_wait_us(&clock, now), 0);
    assert_int_equal(clock_wait_us(&clock, now - HOUR), 0);
    assert_int_equal(clock_wait_us(&clock, INT64_MIN), 0);
    assert_int_equal(clock_wait_us(&clock, BENCH_NEVER), DAY_US);
    assert_int_equal(clock_wait_us(&clock, now + 400 * 24 * HOUR), DAY_US);
    int64_t wait = clock_wait_us(&clock, now + HOUR);
    assert_true(wait > 3590 * US_PER_S && wait <= 3600 * US_PER_S);
    for (int i = 0; i < 20; i++) { /* who slept as long finds the deadline passed */
        bench_us deadline = clock_bench(&clock) + 300 + 100 * i;
        sleep_us(clock_wait_us(&clock, deadline));
        assert_true(clock_bench(&clock) >= deadline);
    }

    clock_open_scaled(&clock, 3600, SPRING, real_us());
    wait = clock_wait_us(&clock, clock_bench(&clock) + HOUR);
    assert_true(wait > 0 && wait <= US_PER_S);
    assert_int_equal(clock_wait_us(&clock, BENCH_NEVER), DAY_US);
}

static void never_stays_never(void **state)
{
    (void)state;
    struct clock clock;
    clock_open_real(&clock);
    assert_int_equal(clock_utc_at(&clock, BENCH_NEVER), INT64_MAX);
    clock_open_virtual(&clock, SPRING);
    assert_int_equal(clock_utc_at(&clock, BENCH_NEVER), INT64_MAX);
    assert_int_equal(clock_utc_at(&clock, BENCH_NEVER - 1), INT64_MAX);
    clock_open_virtual(&clock, -SPRING);
    assert_int_equal(clock_utc_at(&clock, BENCH_NEVER), INT64_MAX);
}

/* The wall clock cannot be set here, but what the clock remembers of it can. */
static void a_set_wall_clock_is_seen_once(void **state)
{
    (void)state;
    struct clock clock;
    clock_open_real(&clock);
    int64_t tolerance = US_PER_S / 2;
    assert_int_equal(clock_step_seen(&clock, tolerance), 0);
    clock.wall_offset -= HOUR; /* as if it had been set an hour forward since */
    int64_t step = clock_step_seen(&clock, tolerance);
    assert_true(step > HOUR - tolerance && step < HOUR + tolerance);
    assert_int_equal(clock_step_seen(&clock, tolerance), 0);
    clock.wall_offset += 10 * US_PER_S; /* and ten seconds back */
    step = clock_step_seen(&clock, tolerance);
    assert_true(step < -9 * US_PER_S && step > -11 * US_PER_S);
    clock.wall_offset += tolerance / 2;
    assert_int_equal(clock_step_seen(&clock, tolerance), 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(virtual_time_stands_until_it_is_moved),
        cmocka_unit_test(virtual_time_never_moves_back),
        cmocka_unit_test(real_time_is_the_system_s),
        cmocka_unit_test(scaled_time_runs_on_the_even_clock),
        cmocka_unit_test(scaled_time_goes_on_between_processes),
        cmocka_unit_test(waits_are_rounded_up_and_at_most_a_day),
        cmocka_unit_test(never_stays_never),
        cmocka_unit_test(a_set_wall_clock_is_seen_once),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
