/* A virtual instrument: its kind, its identity, its status, and the cells that it is wired to. It
 * reads program messages and gives answers (message.h); how bytes reach it is not its business.
 *
 * One struct for all kinds: what a kind alone uses is in its member of `own`. */
#ifndef EMULATOR_INSTRUMENT_H
#define EMULATOR_INSTRUMENT_H

#include "cell_set.h"
#include "faults.h"
#include "record.h"
#include "status.h"

#define MAKER    "Saltmere Instruments"
#define FIRMWARE "1.0"

#define RELAYS_MOST 256

struct command;
struct instrument;

/* A table of constants for each kind: supply.c, load.c and so on. */
struct kind {
    const char *word; /* as on the command line: "supply" */
    const char *model;
    const struct command *commands; /* up to one without pattern; common_commands.h comes after */
    double volts, amps, watts, kelvin, ohms; /* resolution unless told otherwise */
    void (*reset)(struct instrument *instrument);
    void (*trip)(struct instrument *instrument); /* makes it safe by itself; NULL: has no output */
};

extern const struct kind kind_supply, kind_load, kind_meter, kind_quadrant, kind_thermometer,
    kind_relay, kind_scanner, kind_ohmmeter;
extern const struct kind *const kinds[]; /* up to a NULL */

enum measured { VOLTS, AMPS, WATTS, CELSIUS, OHMS, MEASURED_COUNT };

struct supply_state {
    double volts_protection;
};

struct meter_state {
    enum measured function;
    double range[MEASURED_COUNT]; /* 0: found by itself */
    double cycles;                /* of the power line, that a reading lasts */
    int sample_count;
    struct text readings; /* of the last INITiate or READ?; owned */
};

struct instrument {
    const struct kind *kind;
    char name[24];          /* "supply-1" */
    char serial[16];        /* "0001" */
    struct cell_set **sets; /* owned array of borrowed ones; a board and a shared meter have many */
    int set_count;
    bool through_scanner; /* it measures the one that a scanner joins */
    struct status status;
    struct faults faults;
    double resolution[MEASURED_COUNT]; /* 0: as fine as a double */
    double noise[MEASURED_COUNT];      /* standard deviation */
    struct random random;
    double said[MEASURED_COUNT]; /* NAN: nothing yet */
    const char *tripped;         /* why its output is held off; NULL: it is not */
    bool hot;                    /* over-temperature lasts */
    struct record *record;       /* borrowed; may be NULL */
    union {
        struct supply_state supply;
        struct meter_state meter;
    } own;
};

void instrument_init(struct instrument *instrument, const struct kind *kind, int number,
                     struct cell_set **sets, int set_count, struct record *record, uint64_t seed);
void instrument_free(struct instrument *instrument);

/* The one that it measures now: its only one, or the one that a scanner joins; NULL: none. */
const struct cell_set *instrument_set(const struct instrument *instrument);

/* Moves what it is wired to to `now`, and trips what has to. */
void instrument_advance(struct instrument *instrument, utc_us now);

/* A reading as this instrument says it: noise, resolution, faults. Kept on record with the truth.
 * The second takes one whose truth is beyond the range: 9.9E+37 is said. */
double instrument_says(struct instrument *instrument, enum measured what, double truth);
double instrument_says_overload(struct instrument *instrument, enum measured what, double truth);

void instrument_reset(struct instrument *instrument); /* *RST */

/* Over-temperature: what has an output switches it off, and holds it off until it is cooled and its
 * protection is cleared. */
void instrument_heat(struct instrument *instrument, bool lasting);
void instrument_cool(struct instrument *instrument);

/* Switches off and holds off. `why` lives for ever; the bit is one of the questionable register. */
void instrument_trip(struct instrument *instrument, const char *why, uint16_t bit);
void instrument_clear_trip(struct instrument *instrument);

/* -222, -113 and so on, with the bytes they are about. */
void instrument_trouble(struct instrument *instrument, int code, const char *detail);

#endif
