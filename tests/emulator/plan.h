/* What the command line asks for. */
#ifndef EMULATOR_PLAN_H
#define EMULATOR_PLAN_H

#include "instrument.h"
#include "ports.h"

#define SETS_MOST      1024
#define ENDPOINTS_MOST 16
#define TWEAKS_MOST    32

/* KIND=pty:PATH or KIND=tcp:PORT. There is one in each set, with its number for the % of the path,
 * or counted up from the port. Shared by all sets: a board of relays without %, a scanner, and the
 * meter behind it. */
struct endpoint {
    const struct kind *kind;
    enum reach reach;
    const char *path; /* borrowed from the arguments */
    int number;       /* TCP: of the first set, or 0 */
    bool shared;
};

/* --resolution and --noise: KIND=QUANTITY. */
struct tweak {
    const struct kind *kind;
    bool noise;
    enum measured what;
    double value;
};

struct plan {
    int sets;
    double speed;
    uint64_t seed;
    struct cell_facts facts; /* label and seed come per set */
    struct simcell_truth truth;
    bool has_truth;
    double soc;      /* NAN: as bought */
    double duration; /* s until it ends by itself; 0: never */
    const char *control, *log, *bench_file, *world;
    struct endpoint endpoints[ENDPOINTS_MOST];
    int endpoint_count;
    struct tweak tweaks[TWEAKS_MOST];
    int tweak_count;
};

int plan_read(struct plan *plan, int argc, char **argv, struct error *error);
void plan_help(FILE *stream);

#endif
