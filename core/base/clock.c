/* The three faces of the clock: see clock.h. */
#include "base/clock.h"

#include <assert.h>
#include <math.h>
#include <time.h>

#include "base/saturate.h"

#define WAIT_MAX_US (24LL * 60 * 60 * US_PER_S)

static int64_t system_us(clockid_t id)
{
    struct timespec time;
    clock_gettime(id, &time);
    return (int64_t)time.tv_sec * US_PER_S + time.tv_nsec / 1000;
}

/* Calendar minus CLOCK_BOOTTIME. The two cannot be read at once; of a few tries the tightest
 * counts, so that being descheduled between the reads does not look like a set clock. */
static int64_t wall_minus_boot(void)
{
    int64_t offset = 0, tightest = INT64_MAX;
    for (int i = 0; i < 3 && tightest > 10; i++) {
        int64_t before = system_us(CLOCK_BOOTTIME);
        int64_t wall = system_us(CLOCK_REALTIME);
        int64_t after = system_us(CLOCK_BOOTTIME);
        if (after - before < tightest) {
            tightest = after - before;
            offset = wall - (before + tightest / 2);
        }
    }
    return offset;
}

void clock_open_real(struct clock *clock)
{
    *clock = (struct clock){.face = CLOCK_REAL, .scale = 1, .wall_offset = wall_minus_boot()};
}

void clock_open_scaled(struct clock *clock, double scale, utc_us utc_origin, utc_us real_origin)
{
    assert(scale > 0 && isfinite(scale));
    int64_t boot = system_us(CLOCK_BOOTTIME);
    double elapsed = (double)(boot + wall_minus_boot() - real_origin);
    *clock = (struct clock){
        .face = CLOCK_SCALED,
        .scale = scale,
        .utc_origin = saturating_add(utc_origin, saturating_round(elapsed * scale)),
        .boot_origin = boot,
    };
}

void clock_open_virtual(struct clock *clock, utc_us utc_origin)
{
    *clock = (struct clock){.face = CLOCK_VIRTUAL, .scale = 1, .utc_origin = utc_origin};
}

bench_us clock_bench(const struct clock *clock)
{
    switch (clock->face) {
    case CLOCK_REAL: return system_us(CLOCK_BOOTTIME);
    case CLOCK_SCALED:
        return saturating_round((double)(system_us(CLOCK_BOOTTIME) - clock->boot_origin) *
                                clock->scale);
    case CLOCK_VIRTUAL: break;
    }
    return clock->now;
}

utc_us clock_utc(const struct clock *clock)
{
    if (clock->face == CLOCK_REAL)
        return system_us(CLOCK_REALTIME);
    return saturating_add(clock->utc_origin, clock_bench(clock));
}

utc_us clock_utc_at(const struct clock *clock, bench_us bench)
{
    int64_t offset = clock->face == CLOCK_REAL ? wall_minus_boot() : clock->utc_origin;
    return bench == BENCH_NEVER ? INT64_MAX : saturating_add(bench, offset);
}

void clock_advance(struct clock *clock, bench_us to)
{
    assert(clock->face == CLOCK_VIRTUAL);
    if (to > clock->now)
        clock->now = to;
}

int64_t clock_wait_us(const struct clock *clock, bench_us deadline)
{
    if (clock->face == CLOCK_VIRTUAL)
        return 0;
    bench_us now = clock_bench(clock);
    if (deadline <= now)
        return 0;
    /* As a double, for the distance from a negative bench time to BENCH_NEVER overflows; rounded
     * up, so that whoever slept so long finds the deadline passed. */
    double wait = ceil(((double)deadline - (double)now) / clock->scale);
    return wait < (double)WAIT_MAX_US ? (int64_t)wait : WAIT_MAX_US;
}

int64_t clock_step_seen(struct clock *clock, int64_t tolerance)
{
    if (clock->face != CLOCK_REAL)
        return 0;
    int64_t offset = wall_minus_boot();
    int64_t step = offset - clock->wall_offset;
    clock->wall_offset = offset; /* also when small: slewing adds up to nothing that was "set" */
    return step > tolerance || step < -tolerance ? step : 0;
}
