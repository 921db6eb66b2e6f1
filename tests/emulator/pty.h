/* A pseudo-terminal, and the stable path it is found by: a symbolic link, as /dev/serial/by-id
 * has. */
#ifndef EMULATOR_PTY_H
#define EMULATOR_PTY_H

#include "base/error.h"

struct pty {
    int master, slave; /* the slave is held, so that the master never hangs up by itself */
    char device[64];   /* "/dev/pts/5" */
};

/* Raw from the first byte, the master non-blocking. `what` is for the error. */
int pty_open(struct pty *pty, const char *what, struct error *error);
/* Whoever has it open is hung up on. */
void pty_close(struct pty *pty);

/* Puts `path` on it, in one step; a link that is there is replaced, anything else is refused. The
 * folder is made if it is missing. */
int pty_link(const struct pty *pty, const char *path, struct error *error);
void pty_unlink(const struct pty *pty, const char *path); /* unless it leads elsewhere by now */

/* The last opener has closed it: what it left unread is dropped, and its claim to exclusive use
 * ends, as with a port of its own driver. */
void pty_released(const struct pty *pty);

#endif
