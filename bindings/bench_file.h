/* Bench files: a Lua text that ends with `return bench { ... }` becomes the channels it
 * describes. */
#ifndef PERDURE_BINDINGS_BENCH_FILE_H
#define PERDURE_BINDINGS_BENCH_FILE_H

#include <stddef.h>

#include "base/clock.h"
#include "base/error.h"
#include "bench/bench.h"
#include "bench/world.h"

struct guardian;

/* How a bench file gets at instruments. All borrowed; they must outlive the bench. */
struct bench_access {
    void *uv_loop;      /* NULL: drivers are read and checked, but nothing is opened */
    const char *folder; /* of the bench file: a driver given by path is looked for from here */
    struct guardian *guardian; /* holds every line that has safe bytes; NULL: none does */
    /* See bench/instrument.h; both may be NULL. */
    void (*tell)(void *owner, const char *name, const char *level, const char *text);
    void (*trace)(void *owner, const char *name, char way, const char *bytes, size_t length,
                  int64_t at_us);
    void *owner;
};

/* Fills *out, which bench_close empties again; nothing is energised, and links are only begun to be
 * opened (bench_reach). Channels come sorted by name, S2 before S10. Clock and world are borrowed
 * by the channels. The error's `what` is FILE:LINE.
 *
 * Without `access`, or without its loop, a channel of instruments, or by hand, is stood for by a
 * simulated one with its limits: for rehearsals. */
int bench_file_read(const char *path_name, const char *text, size_t length,
                    const struct clock *clock, struct world *world,
                    const struct bench_access *access, struct bench *out, struct error *error);

#endif
