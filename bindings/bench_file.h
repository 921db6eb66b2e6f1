/* Bench files: a Lua text that ends with `return bench { ... }` becomes the channels it describes.
 */
#ifndef PERDURE_BINDINGS_BENCH_FILE_H
#define PERDURE_BINDINGS_BENCH_FILE_H

#include <stddef.h>

#include "base/clock.h"
#include "base/error.h"
#include "bench/bench.h"
#include "bench/world.h"

/* Fills *out, which bench_close empties again; nothing is energised. Channels come sorted by name,
 * S2 before S10. Clock and world are borrowed by the channels. The error's `what` is FILE:LINE. */
int bench_file_read(const char *path_name, const char *text, size_t length,
                    const struct clock *clock, struct world *world, struct bench *out,
                    struct error *error);

#endif
