/* What the files of a wired channel share. Nobody else includes this.
 *
 *   NONE --drive--> DRIVE (TURN_OFF, JOIN, ENERGISE) --+
 *     ^  --read---> READ                               +--> answered --> NONE
 *     |  --make_safe, from all--> SAFE (OFF, PART) ----+
 *     +---- what was asked while SAFE was on its way begins after it --- */
#ifndef PERDURE_BENCH_WIRED_INTERNAL_H
#define PERDURE_BENCH_WIRED_INTERNAL_H

#include "bench/scan.h"
#include "bench/wired.h"
#include "link/delay.h"

enum wired_op { OP_NONE, OP_DRIVE, OP_READ, OP_SAFE };

/* In front what each reading touches, as in struct link. */
struct wired {
    struct channel channel; /* first: a channel is cast to this */

    enum wired_op op;
    enum wired_op next; /* asked while OP_SAFE; DRIVE or READ */
    bool inside;        /* an op is being called: an answer that comes now is returned */
    bool answered;      /* it came, in failure and taken */
    bool charging;      /* while active: which way */
    bool metered_voltage, metered_current;
    bool resistance; /* of OP_READ: it is to have one */
    int pending;     /* parts of a read, or outputs to be turned off, without an answer */
    int alike;
    struct instrument *active;  /* what drives the cell; NULL: nothing */
    struct scan *scan;          /* NULL: the meter is this channel's alone, or there is none */
    struct scan *ohmmeter_scan; /* the same of the ohmmeter */
    struct reading taken;       /* of OP_READ, as it comes together */
    bench_us began, ended;      /* of its voltage and current */
    struct reading last;        /* for those that look frozen */
    struct error failure;       /* the first of this op */
    struct wired_spec spec;

    struct limits limits; /* the channel's met with those of the cell in it */
    bool occupied;
    struct drive wanted; /* of OP_DRIVE, or next */
    struct delay *delay; /* of OP_SAFE; NULL without a relay */
    bool parting;        /* of OP_SAFE: the relay is told to open */
    bool joined;         /* the relay was closed and not opened since */
};

/* The end of an op: notified, or returned by the call that is still on its way. */
void wired_answer(struct wired *wired, const struct reading *reading, const struct error *failure);
void wired_fail(struct wired *wired, const struct error *failure); /* keeps the first */

void wired_drive(struct wired *wired); /* to wired->wanted */
void wired_read(struct wired *wired);
void wired_safe(struct wired *wired);

/* Stops asking: calls back no more, except for what turns off. */
void wired_hush(struct wired *wired);

static inline bool wired_has_output(const struct wired *wired)
{
    return wired->spec.source.instrument || wired->spec.sink.instrument;
}

#endif
