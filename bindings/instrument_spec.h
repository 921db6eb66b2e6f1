/* The words `instrument` and `route` of a bench file. */
#ifndef PERDURE_BINDINGS_INSTRUMENT_SPEC_H
#define PERDURE_BINDINGS_INSTRUMENT_SPEC_H

#include <lua.h>

#include "bench/instrument.h"
#include "bindings/link_spec.h"

struct instrument_words {
    char name[64];
    struct link_words link;
    struct scpi_identity expected;
    struct limits limits;
    double resolution;     /* V; NAN */
    struct driver *driver; /* owned until it is opened; NULL when nothing real is looked at */
    unsigned can;          /* of the driver; all when there is none */
    struct instrument *instrument; /* once opened; the bench's */
};

/* An instrument, or an input or relay of one. */
struct route_words {
    struct instrument_words *instrument; /* NULL: none */
    int point;
};

int word_instrument(lua_State *L);
int word_route(lua_State *L);

/* What the value at `index` is: an instrument or a route to one. The instrument, whose value is
 * pushed to be held, lives as long as that. False, with nothing pushed, when it is neither. */
bool route_words_at(lua_State *L, int index, struct route_words *out);

/* Opens it on the bench's loop, once; raises. */
struct instrument *instrument_words_open(lua_State *L, struct instrument_words *words);

#endif
