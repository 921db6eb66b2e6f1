/* The seam to a driver: how one kind of instrument is spoken to. Implemented by bindings (a Lua
 * file a driver) and, in tests, in C.
 *
 * A driver does no I/O. A task is begun, says what it wants of the link, and is resumed with what
 * came, until it is done or fails:
 *
 *   begin --AWAITS(call)--> ... --resume(reply)--> AWAITS(call) ... --> DONE(result) |
 * FAILED(error)
 *
 * 1. One task at a time. After FAILED, or when the task is given up, `forget` comes, and what was
 *    remembered of the instrument counts no more: DRIVER_PREPARE is done again before other tasks.
 * 2. DRIVER_OFF may come first of all, before DRIVER_PREPARE.
 * 3. DRIVER_IDENTIFY only asks: who answers may be another instrument. */
#ifndef PERDURE_BENCH_DRIVER_H
#define PERDURE_BENCH_DRIVER_H

#include "bench/reading.h"
#include "link/link.h"
#include "link/scpi.h"

enum driver_task {
    DRIVER_IDENTIFY,
    DRIVER_PREPARE,
    DRIVER_OFF,   /* output or input off, and seen to be off */
    DRIVER_DRIVE, /* from off, or from the same direction at other levels */
    DRIVER_READ,
    DRIVER_CONNECT,   /* close a relay, and see that it is closed */
    DRIVER_DISCONNECT /* open it */
};

struct driver_order {
    enum driver_task task;
    int point; /* READ, CONNECT, DISCONNECT: number of the input or relay; 0: the only one */
    struct drive drive;   /* DRIVE; never off */
    double voltage_most;  /* V, DRIVE: never above this at the terminals; NAN only to discharge */
    double voltage_least; /* V, DRIVE: not below it, where the device can see to that; or NAN */
};

enum driver_want { DRIVER_ASK, DRIVER_ASK_BLOCK, DRIVER_TELL, DRIVER_WAIT };

/* Bytes belong to the driver and live until it is resumed. */
struct driver_call {
    enum driver_want want;
    const char *bytes; /* terminator included */
    size_t length;
    double seconds; /* to wait; or patience for the answer, 0: the link's */
};

/* NAN and "" where nothing was given; the identity counts in DRIVER_IDENTIFY alone. */
struct driver_result {
    double voltage, current, temperature; /* V; A, see wired.h for the sign; degC */
    double resistance;                    /* ohm, by alternating current */
    struct scpi_identity identity;
};

enum driver_status { DRIVER_AWAITS, DRIVER_DONE, DRIVER_FAILED };

enum {
    CAN_SOURCE = 1,
    CAN_SINK = 2,
    CAN_METER = 4,
    CAN_THERMOMETER = 8,
    CAN_RELAY = 16,
    CAN_OHMMETER = 32
};

struct driver;

struct driver_ops {
    enum driver_status (*begin)(struct driver *driver, const struct driver_order *order,
                                struct driver_call *call, struct driver_result *result,
                                struct error *error);
    /* `reply` NULL after a wait. A reply that is not LINK_OK is the driver's to fail on. */
    enum driver_status (*resume)(struct driver *driver, const struct link_reply *reply,
                                 struct driver_call *call, struct driver_result *result,
                                 struct error *error);
    void (*forget)(struct driver *driver);
    void (*close)(struct driver *driver);
};

struct driver {
    const struct driver_ops *ops;
    const char *name, *title;
    unsigned can;     /* CAN_... */
    const char *safe; /* bytes that turn everything off, at any time, asked or not; NULL: none */
    const char *sync; /* a question whose answer never changes; NULL: none */
    const char *sync_known; /* that answer; NULL: as first heard in DRIVER_IDENTIFY */
};

#endif
