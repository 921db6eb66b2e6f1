/* A workplace: a logbook with its clock, its simulated cells and a bench, put together the same way
 * for every verb that works on them. */
#ifndef PERDURE_CLI_WORKPLACE_H
#define PERDURE_CLI_WORKPLACE_H

#include "base/text.h"
#include "bench/bench.h"
#include "bench/world.h"
#include "bindings/bench_file.h"
#include "cli/cli.h"
#include "engine/engine.h"

struct workplace {
    struct logbook *logbook;
    struct clock clock;
    struct world *world;
    struct bench bench;
    char bench_hash[SHA256_HEX];
    const char *bench_name;
    char bench_folder[512];
    void
        *uv_loop; /* of instruments and engine; NULL: instruments are stood for by simulated ones */
    struct bench_access access;
    struct guardian *guardian; /* of real instruments; NULL where there are none */
    char socket[128];
};

/* Refuses a word that names no clock; NULL is none, and no mistake. */
int clock_is_known(const char *wanted, struct error *error);
/* Sets the clock by what the logbook keeps. `wanted` ("real", "virtual", "x60" or NULL) decides for
 * a logbook that keeps none yet, and is refused when it differs. `writable`: may decide. */
int clock_of_logbook(struct clock *clock, struct logbook *logbook, const char *wanted,
                     bool writable, struct error *error);

/* Opens the logbook to write and everything around it. */
int workplace_open(struct workplace *out, const struct arguments *arguments, struct error *error);
/* The same in memory, for rehearsals: a virtual clock from `from`, dates by the zone, no file
 * touched. */
int workplace_rehearsal(struct workplace *out, utc_us from, const char *zone, uint64_t seed,
                        struct error *error);
int workplace_read_bench(struct workplace *workplace, const char *path, struct error *error);
void workplace_close(struct workplace *workplace);

/* Works until the options say that it is enough. */
int workplace_work(struct workplace *workplace, struct engine_options *options,
                   struct error *error);

/* The request of the act `answer`, by --who or else $USER. */
json_t *answer_request(const struct arguments *arguments, int64_t question, const char *typed);

/* Makes a change: directly, or through the engine that holds the logbook. */
int change(const struct arguments *arguments, const json_t *request, json_t **reply,
           struct error *error);

#endif
