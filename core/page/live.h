/* The parts of the page that change with every second, made from what the engine has in memory:
 * `live` (channels and open runs as they stand) and `curves` (the voltage of each channel's step so
 * far, thinned). Bench units; null where there is no value. */
#ifndef PERDURE_PAGE_LIVE_H
#define PERDURE_PAGE_LIVE_H

#include "base/text.h"
#include "engine/face.h"

/* Points of a curve at most; with the last of them every second one is dropped. */
#define LIVE_POINTS 120

struct live;

struct live *live_new(int channels);
void live_free(struct live *live);

/* Takes one point of each channel: to be called about once a second, watched or not. */
void live_sample(struct live *live, const struct engine *engine);

/* {"now", "clock", "held", "unguarded", "readings", "read_only", "channels": [{channel, how, run,
 * missing, trouble, cell, step, elapsed_s, limit_s, voltage_V, current_A, temperature_degC,
 * charge_Ah, energy_Wh}], "runs": [{run, state, doing, cell, script, channel, until, why}]} */
void live_write(const struct engine *engine, bool read_only, struct text *out);

/* {"curves": [{"channel", "t": [s..], "v": [V..]}]}, those with points only. */
void live_write_curves(const struct live *live, const struct engine *engine, struct text *out);

#endif
