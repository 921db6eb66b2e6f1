/* What a pseudo-terminal lacks to pass for a serial port, put between libserialport and the C
 * library: entries in sysfs, modem lines, bits and parity (it keeps 8 and none, and tcsetattr
 * fails). The library's own code is what runs. Linked into the test program, whose functions come
 * before the C library's, as a preloaded library's would. */
#ifndef PERDURE_TESTS_LINK_SERIAL_SHIM_H
#define PERDURE_TESTS_LINK_SERIAL_SHIM_H

#include <stdbool.h>

struct serial_shim {
    bool off;         /* pass everything on: what the bare system says */
    int looked_up;    /* in sysfs */
    int lines_read;   /* TIOCMGET */
    int lines;        /* as set by TIOCMSET, TIOCMBIS and TIOCMBIC */
    int flushed;      /* TCFLSH, by way of tcflush */
    unsigned framing; /* CSIZE, PARENB and PARODD as asked for; 0: nothing was */
};
extern struct serial_shim serial_shim;

#endif
