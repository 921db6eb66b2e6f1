/* Reading a bench file: its words, its channels in their order. */
#include "bindings/bench_file.h"

#include <ctype.h>
#include <lauxlib.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "bench/by_hand.h"
#include "bench/simulated.h"
#include "bindings/bench_reader.h"
#include "bindings/by_hand_spec.h"
#include "bindings/fields.h"
#include "bindings/returned.h"
#include "bindings/simulated_spec.h"
#include "bindings/wired_spec.h"

/* --- order of names -------------------------------------------------------------------------- */

/* Runs of digits compare as numbers: S2 before S10. */
static int compare_natural(const char *a, const char *b)
{
    while (*a && *b) {
        if (isdigit((unsigned char)*a) && isdigit((unsigned char)*b)) {
            while (*a == '0' && isdigit((unsigned char)a[1]))
                a++;
            while (*b == '0' && isdigit((unsigned char)b[1]))
                b++;
            size_t la = strspn(a, "0123456789"), lb = strspn(b, "0123456789");
            int order = la != lb ? (la < lb ? -1 : 1) : strncmp(a, b, la);
            if (order)
                return order;
            a += la;
            b += lb;
        } else if (*a != *b) {
            return (unsigned char)*a < (unsigned char)*b ? -1 : 1;
        } else {
            a++;
            b++;
        }
    }
    return (*a != '\0') - (*b != '\0');
}

static int compare_names(const void *left, const void *right)
{
    const char *a = *(const char *const *)left, *b = *(const char *const *)right;
    int order = compare_natural(a, b);
    return order ? order : strcmp(a, b); /* S1 and S01 are two channels */
}

/* --- channels -------------------------------------------------------------------------------- */

static void check_name(lua_State *L, const char *name)
{
    size_t length = strlen(name);
    if (length == 0 || length >= sizeof((struct channel *)0)->name)
        guest_fail(L, "use 1 to 31 characters", "'%.60s' is no name for a channel", name);
    for (const char *c = name; *c; c++)
        if (!isalnum((unsigned char)*c) && !strchr("_-.", *c))
            guest_fail(L, "use letters, digits, _, - and points",
                       "'%.60s' is no name for a channel", name);
}

static struct channel *simulated(const struct bench_reader *reader,
                                 const struct simulated_spec *spec, const char *name)
{
    struct channel *channel = simulated_channel(name, reader->clock, reader->world,
                                                spec->has_truth ? &spec->truth : NULL);
    channel_keys_apply(&spec->channel, channel);
    channel->accuracy = spec->accuracy;
    simulated_misread(channel, &spec->misreads);
    return channel;
}

/* A rehearsal asks nobody: there a simulated channel stands for it. */
static struct channel *worked_by_hand(const struct bench_reader *reader,
                                      const struct by_hand_spec *spec, const char *name)
{
    const bool there = reader->access && reader->access->uv_loop;
    struct channel *channel = there ? by_hand_channel(name, spec->title)
                                    : simulated_channel(name, reader->clock, reader->world, NULL);
    channel->accuracy = spec->accuracy;
    return channel;
}

static void add_channel(lua_State *L, struct bench_reader *reader, const char *name)
{
    const struct simulated_spec *spec = simulated_spec_at(L, -1);
    const struct wired_words *words = wired_words_at(L, -1);
    const struct by_hand_spec *by_hand = by_hand_spec_at(L, -1);
    struct error error;
    struct channel *channel = words     ? wired_words_channel(L, words, name)
                              : by_hand ? worked_by_hand(reader, by_hand, name)
                                        : simulated(reader, spec, name);
    channel->placed = by_hand ? by_hand->placed : words && words->placed;
    if (bench_add(reader->out, channel, &error))
        guest_raise(L, &error);
}

static void add_channels(lua_State *L, struct bench_reader *reader, int channels)
{
    push_sorted_keys(L, channels); /* keeps the names in memory while they are put in order */
    size_t count = lua_rawlen(L, -1);
    const char **names = lua_newuserdatauv(L, (count + 1) * sizeof *names, 0);
    for (size_t i = 0; i < count; i++) {
        lua_rawgeti(L, -2, (lua_Integer)i + 1);
        names[i] = lua_tostring(L, -1);
        lua_pop(L, 1);
    }
    qsort(names, count, sizeof *names, compare_names);
    for (size_t i = 0; i < count; i++) {
        field_push(L, channels, names[i]);
        add_channel(L, reader, names[i]);
        lua_pop(L, 1);
    }
}

/* --- the words ------------------------------------------------------------------------------- */

static void check_channels(lua_State *L, int channels)
{
    push_sorted_keys(L, channels);
    if (lua_rawlen(L, -1) == 0)
        guest_fail(L, "add S1 = simulated {}, say", "the bench has no channels");
    for (lua_Integer i = 1; lua_rawgeti(L, -1, i) != LUA_TNIL; i++) {
        if (lua_type(L, -1) != LUA_TSTRING)
            guest_fail(L, "write S1 = simulated {}", "a channel has no name");
        const char *name = lua_tostring(L, -1);
        check_name(L, name);
        field_push(L, channels, name);
        if (!simulated_spec_at(L, -1) && !wired_words_at(L, -1) && !by_hand_spec_at(L, -1))
            guest_fail(L, "write it with channel { ... } or simulated { ... }",
                       "channel '%s' is a %s", name, luaL_typename(L, -1));
        lua_pop(L, 2);
    }
    lua_settop(L, channels);
}

static int word_bench(lua_State *L)
{
    static const char *const names[] = {"title", "channels", "emulated", NULL};
    struct bench_reader *reader = reader_of(L);
    lua_settop(L, 1);
    if (!lua_istable(L, 1))
        return guest_fail(L, "write bench { ... }", "bench wants a table");
    fields_check(L, 1, "a bench", names);
    const char *title = field_text(L, 1, "a bench", "title");
    if (!field_push(L, 1, "channels") || !lua_istable(L, 2))
        return guest_fail(L, "add channels = { S1 = simulated {} }", "the bench has no channels");
    check_channels(L, 2);
    reader->emulated = field_push(L, 1, "emulated") && lua_toboolean(L, -1);
    string_copy(reader->out->title, sizeof reader->out->title, title ? title : "");
    lua_pushvalue(L, 1);
    lua_rawsetp(L, LUA_REGISTRYINDEX, reader);
    lua_settop(L, 1);
    return 1;
}

static int open_words(lua_State *L)
{
    static const luaL_Reg words[] = {
        {"bench", word_bench},     {"by_hand", word_by_hand},
        {"channel", word_channel}, {"instrument", word_instrument},
        {"limits", word_limits},   {"simulated", word_simulated},
        {"route", word_route},     {NULL, NULL},
    };
    lua_pushglobaltable(L);
    luaL_setfuncs(L, words, 0);
    lua_pop(L, 1);
    link_words_open(L);
    return 0;
}

/* --- the file -------------------------------------------------------------------------------- */

static int run_file(lua_State *L)
{
    struct bench_reader *reader = lua_touserdata(L, 1);
    returned_push(L, &(struct returned_file){reader->name, reader->text, reader->length, reader,
                                             "bench", "the file does not return a bench"});
    field_push(L, -1, "channels");
    check_channels(L, lua_gettop(L)); /* the file may have changed them since */
    add_channels(L, reader, lua_gettop(L));
    return 0;
}

int bench_file_read(const char *path_name, const char *text, size_t length,
                    const struct clock *clock, struct world *world,
                    const struct bench_access *access, struct bench *out, struct error *error)
{
    struct bench_reader reader = {.name = path_name,
                                  .text = text,
                                  .length = length,
                                  .clock = clock,
                                  .world = world,
                                  .access = access,
                                  .out = out};
    struct guest *guest;
    memset(out, 0, sizeof *out);
    out->uv_loop = access ? access->uv_loop : NULL;
    int code = guest_open(&guest, 0, &reader, error);
    if (code)
        return code;
    code = guest_call(guest, open_words, NULL, GUEST_WORK, error);
    if (!code && guest_begin(guest, run_file, &reader, error) != GUEST_RETURNED)
        code = ERROR_BENCH;
    guest_close(guest);
    free(reader.uses);
    text_free(&reader.scratch);
    if (code) {
        bench_close(out);
        memset(out, 0, sizeof *out);
        if (error) {
            error->code = ERROR_BENCH;
            if (!error->what[0])
                string_copy(error->what, sizeof error->what, path_name);
        }
        return ERROR_BENCH;
    }
    return 0;
}
