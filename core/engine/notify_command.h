/* The command that tells people: one child process at a time, in the background, with a time limit.
 * No shell is involved, and nothing that is told becomes part of a command line: it is handed over
 * in environment variables and on standard input.
 *
 * The child has a session of its own and no file of the engine's but standard error. */
#ifndef PERDURE_ENGINE_NOTIFY_COMMAND_H
#define PERDURE_ENGINE_NOTIFY_COMMAND_H

#include <stdbool.h>

#include "base/error.h"

struct notify_command;

/* How a telling ended: "exit 0", "exit 2", "signal 9", "not started: WHY", "killed after 30 s". */
typedef void notify_ended(void *owner, const char *came_of, bool well);

/* `line` is split at blanks; it is copied. `limit` in real seconds. ERROR_USAGE when its first word
 * is no program. */
int notify_command_open(struct notify_command **out, void *uv_loop, const char *line, double limit,
                        notify_ended *ended, void *owner, struct error *error);

/* Starts it. `facts` are NAME=VALUE, ended by NULL, added to the engine's environment; `text` is
 * its standard input. All are copied. `ended` is called from the loop, or from here when it cannot
 * be started. */
void notify_command_start(struct notify_command *command, const char *const *facts,
                          const char *text);
bool notify_command_runs(const struct notify_command *command);

/* Gives a command that runs a few seconds to end, then kills it: `ended` is called only when it
 * ended by itself. */
void notify_command_finish(struct notify_command *command);
void notify_command_close(struct notify_command *command);

#endif
