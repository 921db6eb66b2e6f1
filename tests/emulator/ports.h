/* Where instruments are reached: a terminal behind a path, or a TCP port of 127.0.0.1. Ports can be
 * hung up and come back, a terminal then as another device behind the same path. */
#ifndef EMULATOR_PORTS_H
#define EMULATOR_PORTS_H

#include "base/error.h"
#include "instrument.h"
#include "loop.h"
#include "pace.h"

enum reach { REACH_PTY, REACH_TCP };

struct port;
struct ports;

/* Both are borrowed. */
struct ports *ports_new(struct loop *loop, const struct pace *pace);
void ports_free(struct ports *ports); /* closes all */

/* `path` for a terminal; for TCP the number, 0 for one that is free. */
int ports_add(struct ports *ports, struct instrument *instrument, enum reach reach,
              const char *path, int number, struct error *error);

int ports_count(const struct ports *ports);
struct port *ports_at(struct ports *ports, int i);
struct instrument *port_instrument(const struct port *port);
enum reach port_reach(const struct port *port);
/* "/tmp/x/supply-1" or "127.0.0.1:40001"; for a terminal also the device, else NULL. */
const char *port_place(const struct port *port);
const char *port_device(const struct port *port);
int port_number(const struct port *port); /* TCP */
bool port_is_up(const struct port *port);

void port_hang_up(struct port *port, double seconds); /* 0: until port_return */
int port_return(struct port *port, struct error *error);

/* A fault was set somewhere: look for what is due. */
void ports_stir(struct ports *ports);
/* Does what is due; when to come again (us, monotonic; INT64_MAX: never). */
int64_t ports_due(struct ports *ports, int64_t now);

#endif
