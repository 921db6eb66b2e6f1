/* A driver between its files: driver.c runs its tasks, driver_definition.c reads `driver { ... }`,
 * driver_words.c has the words it is written with, driver_reading.c readings that need none. */
#ifndef PERDURE_BINDINGS_DRIVER_INTERNAL_H
#define PERDURE_BINDINGS_DRIVER_INTERNAL_H

#include <lua.h>

#include "base/text.h"
#include "bindings/driver.h"
#include "bindings/driver_reading.h"
#include "bindings/sandbox.h"

#define DRIVER_TASKS         (DRIVER_DISCONNECT + 1)
#define DRIVER_PATIENCE_MOST 60.0 /* s, for an answer or for nothing */

struct lua_driver {
    struct driver driver; /* first: a driver is cast to this */

    /* While a task runs. */
    const struct driver_order *order;
    struct driver_call *call;
    struct driver_result *result;
    const struct link_reply *reply;
    int asked;                  /* of the declared questions, the one whose answer is awaited */
    bool drives;                /* told to, and not yet to end; a failure ends it too */
    struct questions questions; /* its reading, where that is declared */
    struct text out;            /* what call->bytes points to */
    struct text sent, came;     /* the last exchange, for messages */

    char name[64], title[128];
    char *text; /* of the file */
    size_t length;
    char *file, *settings;
    char *safe, *sync, *sync_known;
    char ending[3]; /* of what is sent */

    struct guest *guest; /* NULL: to be opened anew before the next task */
    int self_ref;        /* in its registry; LUA_NOREF until defined */
    int task_ref[DRIVER_TASKS];
    bool defined, running;
};

static inline struct lua_driver *driver_of(lua_State *L)
{
    return guest_user(L);
}

extern const char *const driver_task_names[DRIVER_TASKS]; /* as in a driver file */

/* The word `driver`. Keeps the definition, and itself in the registry at the address of the
 * lua_driver. */
int word_driver(lua_State *L);

/* Sets the words that are global; pushes the table of those that `self` has. */
void driver_words_open(lua_State *L);
void driver_methods_push(lua_State *L);

/* Raises unless the string at `index` is one line to send, without its ending. */
const char *driver_check_line(lua_State *L, int index, const char *word);

/* The string at `index` with the line's ending, unless it has one; pushes it. */
void driver_push_line(lua_State *L, int index);

#endif
