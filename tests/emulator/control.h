/* Faults on demand: a Unix socket that takes an order a line and answers each, "ok" or "error: ..."
 * last. `help` tells what there is. */
#ifndef EMULATOR_CONTROL_H
#define EMULATOR_CONTROL_H

#include "house.h"

struct control;

int control_open(struct control **out, const char *path, struct house *house, struct error *error);
void control_close(struct control *control);      /* NULL is allowed */
bool control_quit(const struct control *control); /* `quit` was ordered */

/* One order; its answer, last line "ok" or "error: ...", is added to `reply`. */
void control_order(struct house *house, const char *order, struct text *reply, bool *quit);

/* The other side, for shells: sends the words, prints the answer. 0 when it was "ok". */
int tell(const char *path, int count, char **words);

#endif
