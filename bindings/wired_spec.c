/* Channels of instruments as a bench file names them, and what may not be shared. */
#include "bindings/wired_spec.h"

#include <lauxlib.h>
#include <math.h>
#include <string.h>

#include "base/text.h"
#include "bench/simulated.h"
#include "bench/wired.h"
#include "bindings/accuracy_words.h"
#include "bindings/bench_reader.h"
#include "bindings/fields.h"

#define TYPE_NAME "perdure.channel"

/* A meter that resolves 20 uV or less and shows the same for this many readings while current flows
 * is worth a look: its noise alone should move the last digit. Common practice, no source. */
#define FINE_VOLTS   20e-6
#define FROZEN_AFTER 60

static const struct {
    const char *name;
    unsigned can;
} roles[WIRED_ROLES] = {
    [ROLE_SOURCE] = {"source", CAN_SOURCE},
    [ROLE_SINK] = {"sink", CAN_SINK},
    [ROLE_METER] = {"meter", CAN_METER},
    [ROLE_THERMOMETER] = {"thermometer", CAN_THERMOMETER},
    [ROLE_RELAY] = {"relay", CAN_RELAY},
    [ROLE_SCANNER] = {"scanner", CAN_RELAY},
    [ROLE_OHMMETER] = {"ohmmeter", CAN_OHMMETER},
    [ROLE_OHMMETER_SCANNER] = {"ohmmeter_scanner", CAN_RELAY},
};

/* --- channel { ... } ------------------------------------------------------------------------- */

static void read_role(lua_State *L, int kept, enum wired_role role, struct wired_words *words)
{
    const char *name = roles[role].name;
    if (!field_push(L, 1, name))
        return;
    struct route_words *route = &words->role[role];
    if (!route_words_at(L, -1, route)) {
        guest_fail(L, "write it with instrument { ... } or route(instrument, number)",
                   "the %s is a %s", name, luaL_typename(L, -1));
        return;
    }
    lua_setiuservalue(L, kept, (int)role + 1);
    lua_pop(L, 1);
    if (!(route->instrument->can & roles[role].can))
        guest_fail(L, "use another driver, or another instrument",
                   "'%s' cannot be %s %s: its driver knows it as something else",
                   route->instrument->name, name[0] == 'o' ? "an" : "a", name);
    if (roles[role].can == CAN_RELAY && !route->point)
        guest_fail(L, "write route(board, 3)", "the %s has no number", name);
}

static void read_frozen(lua_State *L, struct wired_words *words)
{
    words->frozen_after = -1;
    if (!field_push(L, 1, "frozen_after"))
        return;
    int isint;
    lua_Integer count = lua_tointegerx(L, -1, &isint);
    if (lua_type(L, -1) != LUA_TNUMBER || !isint || count < 0 || count == 1 || count > 1000000)
        guest_fail(L, "give 2 or more readings, or 0 for never", "frozen_after is no such number");
    words->frozen_after = (int)count;
    lua_pop(L, 1);
}

static bool same_end(const struct route_words *one, const struct route_words *other)
{
    return one->instrument == other->instrument && one->point == other->point;
}

static void check_ohmmeter(lua_State *L, const struct route_words *role)
{
    const struct route_words *ohmmeter = &role[ROLE_OHMMETER], *meter = &role[ROLE_METER];
    const struct route_words *scanner = &role[ROLE_OHMMETER_SCANNER];
    if (scanner->instrument && !ohmmeter->instrument)
        guest_fail(L, "add ohmmeter = ...", "there is no ohmmeter behind its scanner");
    if (!ohmmeter->instrument)
        return;
    if (ohmmeter->instrument == meter->instrument &&
        (scanner->instrument || !same_end(ohmmeter, meter)))
        guest_fail(L, "name it twice in the same way, and one scanner = ... for both",
                   "the meter is the ohmmeter too, and is reached by two ways");
    if (scanner->instrument && same_end(scanner, &role[ROLE_SCANNER]))
        guest_fail(L, "give each a relay of its own",
                   "meter and ohmmeter are joined to the cell by one relay");
}

static void check_roles(lua_State *L, const struct wired_words *words)
{
    const struct route_words *role = words->role;
    bool output = role[ROLE_SOURCE].instrument || role[ROLE_SINK].instrument;
    if (!output && !role[ROLE_METER].instrument)
        guest_fail(L, "add meter = ..., source = ... or sink = ...",
                   "nothing on the channel measures a voltage");
    if (role[ROLE_RELAY].instrument && !output)
        guest_fail(L, "add a source or a sink, or write scanner = ... for the meter",
                   "there is nothing for the relay to part the cell from");
    if (role[ROLE_SCANNER].instrument && !role[ROLE_METER].instrument)
        guest_fail(L, "add meter = ...", "there is no meter behind the scanner");
    check_ohmmeter(L, role);
}

int word_channel(lua_State *L)
{
    static const struct key keys[] = {
        {"compliance", FORM_QUANTITY, DIM_VOLTAGE, offsetof(struct wired_words, compliance)},
        {NULL, FORM_PLAIN, DIM_NUMBER, 0},
    };
    static const char what[] = "a channel";
    const char *names[KEYS_MOST];
    const char **end = keys_add_names(keys_add_names(names, channel_keys), keys);
    for (int i = 0; i < WIRED_ROLES; i++)
        *end++ = roles[i].name;
    *end++ = "limits";
    *end++ = "accuracy";
    *end++ = "frozen_after";
    *end++ = "placed";
    *end = NULL;
    lua_settop(L, 1);
    if (!lua_istable(L, 1))
        return guest_fail(L, "write channel { ... }", "channel wants a table");
    fields_check(L, 1, what, names);

    struct wired_words *words = lua_newuserdatauv(L, sizeof *words, WIRED_ROLES);
    int kept = lua_gettop(L);
    memset(words, 0, sizeof *words);
    words->compliance = NAN;
    for (int i = 0; i < WIRED_ROLES; i++)
        read_role(L, kept, (enum wired_role)i, words);
    check_roles(L, words);
    channel_keys_read(L, 1, &words->channel, what);
    keys_read(L, 1, keys, words, what);
    accuracy_words_read(L, 1, &words->accuracy);
    read_frozen(L, words);
    words->placed = field_yes(L, 1, what, "placed");
    lua_settop(L, kept);
    if (luaL_newmetatable(L, TYPE_NAME)) {
        lua_pushboolean(L, 0);
        lua_setfield(L, -2, "__metatable");
    }
    lua_setmetatable(L, -2);
    return 1;
}

const struct wired_words *wired_words_at(lua_State *L, int index)
{
    return luaL_testudata(L, index, TYPE_NAME);
}

/* --- making it ------------------------------------------------------------------------------- */

/* Raises when another channel has this already. */
static void claim(lua_State *L, const struct route_words *route, const char *role,
                  const char *channel)
{
    struct bench_reader *reader = reader_of(L);
    for (int i = 0; i < reader->use_count; i++) {
        const struct bench_use *use = &reader->uses[i];
        if (use->instrument == route->instrument && use->point == route->point &&
            strcmp(use->channel, channel) != 0)
            guest_fail(L,
                       strcmp(role, "meter") == 0 ? "put a scanner before it: scanner = route(...)"
                       : strcmp(role, "ohmmeter") == 0
                           ? "put a scanner before it: ohmmeter_scanner = route(...)"
                           : "give each channel its own",
                       "channels %s and %s share the %s '%s'", use->channel, channel, role,
                       route->instrument->name);
    }
    size_t size = sizeof *reader->uses * ((size_t)reader->use_count + 1);
    reader->uses = xrealloc(reader->uses, size);
    struct bench_use *use = &reader->uses[reader->use_count++];
    use->instrument = route->instrument;
    use->point = route->point;
    string_copy(use->channel, sizeof use->channel, channel);
}

/* An output belongs to one channel, whole: what turns it off turns all of it off. */
static void claim_all(lua_State *L, const struct wired_words *words, const char *name)
{
    for (int i = 0; i < WIRED_ROLES; i++) {
        struct route_words route = words->role[i];
        bool scanned = (i == ROLE_METER && words->role[ROLE_SCANNER].instrument) ||
                       (i == ROLE_OHMMETER && words->role[ROLE_OHMMETER_SCANNER].instrument) ||
                       (i == ROLE_OHMMETER && same_end(&route, &words->role[ROLE_METER]));
        if (!route.instrument || i == ROLE_THERMOMETER || scanned)
            continue; /* the air of a room may be everyone's */
        if (i == ROLE_SOURCE || i == ROLE_SINK)
            route.point = 0;
        claim(L, &route, roles[i].name, name);
    }
}

static void check_clock(lua_State *L)
{
    const struct bench_reader *reader = reader_of(L);
    if (reader->clock->face == CLOCK_REAL ||
        (reader->clock->face == CLOCK_SCALED && reader->emulated))
        return;
    guest_fail(L, "make a logbook that keeps the clock \"real\"",
               "instruments keep real time, and this logbook does not");
}

static struct channel *wired(lua_State *L, const struct wired_words *words, const char *name)
{
    const struct bench_reader *reader = reader_of(L);
    struct wired_end ends[WIRED_ROLES];
    check_clock(L);
    for (int i = 0; i < WIRED_ROLES; i++) {
        const struct route_words *route = &words->role[i];
        ends[i] = (struct wired_end){
            route->instrument ? instrument_words_open(L, route->instrument) : NULL, route->point};
    }
    const struct wired_end *shows = ends[ROLE_METER].instrument  ? &ends[ROLE_METER]
                                    : ends[ROLE_SINK].instrument ? &ends[ROLE_SINK]
                                                                 : &ends[ROLE_SOURCE];
    bool fine = instrument_resolution(shows->instrument) <= FINE_VOLTS;
    struct wired_spec spec = {
        .name = name,
        .clock = reader->clock,
        .uv_loop = reader->access->uv_loop,
        .source = ends[ROLE_SOURCE],
        .sink = ends[ROLE_SINK],
        .meter = ends[ROLE_METER],
        .thermometer = ends[ROLE_THERMOMETER],
        .relay = ends[ROLE_RELAY],
        .scanner = ends[ROLE_SCANNER],
        .ohmmeter = ends[ROLE_OHMMETER],
        .ohmmeter_scanner = ends[ROLE_OHMMETER_SCANNER],
        .limits = words->channel.limits,
        .compliance = words->compliance,
        .frozen_after = words->frozen_after >= 0 ? words->frozen_after
                        : fine                   ? FROZEN_AFTER
                                                 : 0,
        .emulated = reader->emulated,
    };
    return wired_channel(&spec);
}

struct channel *wired_words_channel(lua_State *L, const struct wired_words *words, const char *name)
{
    const struct bench_reader *reader = reader_of(L);
    struct channel *channel;
    claim_all(L, words, name);
    if (reader->access && reader->access->uv_loop)
        channel = wired(L, words, name);
    else
        channel = simulated_channel(name, reader->clock, reader->world, NULL);
    channel_keys_apply(&words->channel, channel);
    for (int i = ROLE_SOURCE; i <= ROLE_SINK; i++)
        if (words->role[i].instrument)
            channel->limits = limits_meet(&channel->limits, &words->role[i].instrument->limits);
    channel->accuracy = words->accuracy;
    channel->measures_resistance = words->role[ROLE_OHMMETER].instrument != NULL;
    /* Without a meter, what drives the cell measures both. With one, that depends on its driver. */
    if (isnan(channel->accuracy.shared) && !words->role[ROLE_METER].instrument)
        channel->accuracy.shared = 1;
    return channel;
}
