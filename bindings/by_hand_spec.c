/* `by_hand { ... }`: a place in a device that a person works. */
#include "bindings/by_hand_spec.h"

#include <lauxlib.h>

#include "base/text.h"
#include "bindings/accuracy_words.h"
#include "bindings/fields.h"
#include "bindings/sandbox.h"

#define TYPE_NAME "perdure.by_hand"

int word_by_hand(lua_State *L)
{
    static const char *const names[] = {"title", "accuracy", "placed", NULL};
    lua_settop(L, 1);
    if (!lua_istable(L, 1))
        return guest_fail(L, "write by_hand { title = \"slot 1\" }", "by_hand wants a table");
    fields_check(L, 1, "by_hand", names);
    struct channel_accuracy accuracy;
    accuracy_words_of_display(L, 1, &accuracy);
    const char *title = field_text(L, 1, "by_hand", "title");
    struct by_hand_spec *spec = lua_newuserdatauv(L, sizeof *spec, 0);
    string_copy(spec->title, sizeof spec->title, title ? title : "");
    spec->accuracy = accuracy;
    spec->placed = field_yes(L, 1, "by_hand", "placed");
    luaL_newmetatable(L, TYPE_NAME);
    lua_setmetatable(L, -2);
    return 1;
}

const struct by_hand_spec *by_hand_spec_at(lua_State *L, int index)
{
    return luaL_testudata(L, index, TYPE_NAME);
}
