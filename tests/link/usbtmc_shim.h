/* The kernel's USBTMC driver, as far as a link uses it, put over a pseudo-terminal: its patience,
 * its clearing, the end of a message. Linked into the test program, whose functions come before the
 * C library's. It behaves as the driver's documentation and header (linux/usb/tmc.h) say, from
 * memory where those are silent; no real device was at hand. */
#ifndef PERDURE_TESTS_LINK_USBTMC_SHIM_H
#define PERDURE_TESTS_LINK_USBTMC_SHIM_H

#include <stdatomic.h>

struct usbtmc_shim {
    atomic_int off;         /* a plain stand-in, which knows none of it */
    atomic_int device;      /* the descriptor, once it was cleared; else -1 */
    atomic_int patience_ms; /* [5000] */
    atomic_int ended;       /* the last read brought the end of a message */
    atomic_int clears, reads, time_outs;
};
extern struct usbtmc_shim usbtmc_shim;

#endif
