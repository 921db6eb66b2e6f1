/* A channel put together from instruments: what charges, what discharges, what measures.
 *
 * 1. Source and sink are never on at once, and from charging to discharging the way leads through
 *    off, seen to be off.
 * 2. A failed drive turns all off before it is told.
 * 3. A reading is one pass of all that measure, side by side; its time is the middle of the pass.
 *    The meter's voltage goes before the source's (it is taken at the cell, by wires without
 *    current), and so does its current, if it measures one.
 * 4. With a relay, the cell is joined after all is off and before anything is driven, and parted
 *    after all is off; if an output is not seen to be off within half a second, it is parted all
 * the same.
 * 5. The ohmmeter is asked when the channel asks for a resistance and nothing is driven, and at no
 *    other time: its current is not to disturb, nor to be disturbed.
 *
 * Sign of a current: positive into the cell. A source tells what it gives, a sink what it takes, as
 * positive numbers; what can do both, and a meter, tell it with the sign. */
#ifndef PERDURE_BENCH_WIRED_H
#define PERDURE_BENCH_WIRED_H

#include "bench/channel.h"
#include "bench/instrument.h"

/* An instrument, and the number of its input or relay; 0 where it has only one. */
struct wired_end {
    struct instrument *instrument; /* NULL: the channel has none; borrowed */
    int point;
};

struct wired_spec {
    const char *name;
    const struct clock *clock; /* borrowed */
    void *uv_loop;             /* borrowed; that of the instruments */
    int frozen_after; /* equal readings with current that are no readings any more; 0: never */
    bool emulated;    /* the instruments are programs, and their cells keep the clock's pace */
    struct wired_end source, sink, meter, thermometer;
    struct wired_end ohmmeter;         /* may be the meter itself, at the same point */
    struct wired_end relay;            /* between source, sink and cell */
    struct wired_end scanner;          /* between the meter, which others share, and the cell */
    struct wired_end ohmmeter_scanner; /* as the meter's; none where it is the meter itself */
    struct limits limits;              /* those of source and sink are met with them */
    double compliance; /* V the source is set to where a charge has no ceiling; NAN: the limit */
};

/* Ticks, accuracy and void_after may be changed before its first use. */
struct channel *wired_channel(const struct wired_spec *spec);

/* Which instruments it uses, NULL where it has none, and as what ("source"). For listings. */
#define WIRED_INSTRUMENTS 8
struct instrument *wired_instrument(const struct channel *channel, int i);
const char *wired_instrument_role(int i);

/* Of its instruments the first that has not answered what it is asked now; NULL: all have, or it is
 * another kind of channel. */
const struct instrument *wired_awaited(const struct channel *channel);

#endif
