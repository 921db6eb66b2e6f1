/* A clock with three faces: real, scaled (real time run faster), virtual (jumps to the next
 * deadline). Everything above reads time here and nowhere else.
 *
 * Two kinds of time, never mixed: `bench_us` runs evenly, starts anywhere, goes on through suspend,
 * is never stored; durations and deadlines use it. `utc_us` is the calendar; records and due dates
 * use it, and a person may set it while we look. */
#ifndef PERDURE_BASE_CLOCK_H
#define PERDURE_BASE_CLOCK_H

#include <stdbool.h>
#include <stdint.h>

#include "base/calendar.h"

typedef int64_t bench_us; /* microseconds on the running clock */

#define BENCH_NEVER INT64_MAX

enum clock_face { CLOCK_REAL, CLOCK_SCALED, CLOCK_VIRTUAL };

struct clock {
    enum clock_face face;
    double scale;        /* scaled: clock seconds a real second; else 1 */
    utc_us utc_origin;   /* scaled and virtual: the calendar at bench time 0 */
    int64_t boot_origin; /* scaled: CLOCK_BOOTTIME at bench time 0 */
    bench_us now;        /* virtual: where it stands */
    int64_t wall_offset; /* real: calendar minus bench time when last looked */
};

void clock_open_real(struct clock *clock);

/* `utc_origin` and `real_origin` (both UTC) pin the scale to the calendar, so that a scaled clock
 * goes on evenly while no process runs: now = utc_origin + scale * (real now - real_origin). */
void clock_open_scaled(struct clock *clock, double scale, utc_us utc_origin, utc_us real_origin);
void clock_open_virtual(struct clock *clock, utc_us utc_origin);

bench_us clock_bench(const struct clock *clock);
utc_us clock_utc(const struct clock *clock);

/* The calendar instant of a bench time, by the offset that holds now. */
utc_us clock_utc_at(const struct clock *clock, bench_us bench);

/* Virtual only: moves forward to `to`; never back. */
void clock_advance(struct clock *clock, bench_us to);

/* Real microseconds until `deadline` (0 when due, and for a virtual clock); at most one day, so
 * that no timer overflows. */
int64_t clock_wait_us(const struct clock *clock, bench_us deadline);

/* Real only: by how much the wall clock was set (us, signed) since the last call, when that is more
 * than `tolerance`; else 0. */
int64_t clock_step_seen(struct clock *clock, int64_t tolerance);

#endif
