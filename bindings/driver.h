/* Drivers in Lua: a text that ends with `return driver { ... }` becomes a struct driver. Each has a
 * state of its own, bounded like every guest (sandbox.h); each task is a coroutine that waits where
 * it asks the instrument. docs/drivers.md tells how one is written. */
#ifndef PERDURE_BINDINGS_DRIVER_H
#define PERDURE_BINDINGS_DRIVER_H

#include <stddef.h>

#include "bench/driver.h"

/* `name` is the file's, for messages; `settings` a JSON object from the bench file, or NULL. */
int lua_driver_open(struct driver **out, const char *name, const char *text, size_t length,
                    const char *settings, struct error *error);

/* Finds and opens: a path (with a slash or ".lua", from `folder` on), or the name of a driver in
 * $PERDURE_DRIVERS, beside the source tree, or where the program is installed. */
int lua_driver_find(struct driver **out, const char *word, const char *folder, const char *settings,
                    struct error *error);

#endif
