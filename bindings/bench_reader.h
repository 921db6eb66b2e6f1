/* A bench file while it is read: what its words share. */
#ifndef PERDURE_BINDINGS_BENCH_READER_H
#define PERDURE_BINDINGS_BENCH_READER_H

#include <lua.h>

#include "base/text.h"
#include "bindings/bench_file.h"
#include "bindings/sandbox.h"

/* An end of a channel that no other may have: an output, a relay, an input of a meter. */
struct bench_use {
    const void *instrument;
    int point;
    char channel[32];
};

struct bench_reader {
    const char *name, *text;
    size_t length;
    const struct clock *clock;
    struct world *world;
    const struct bench_access *access; /* NULL: nothing real is looked at */
    struct bench *out;
    bool emulated;
    struct bench_use *uses; /* owned */
    int use_count;
    struct text scratch; /* owned here, as what fails on the way to it is not freed elsewhere */
};

static inline struct bench_reader *reader_of(lua_State *L)
{
    return guest_user(L);
}

#endif
