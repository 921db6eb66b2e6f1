/* What the engine's side and the guardian say to each other, over a SOCK_SEQPACKET socketpair. Both
 * are the same program, so plain structs do. Nobody but guardian*.c includes this. */
#ifndef PERDURE_BENCH_GUARDIAN_WIRE_H
#define PERDURE_BENCH_GUARDIAN_WIRE_H

#include <stddef.h>
#include <stdint.h>
#include <time.h>

#include "bench/guardian.h"

/* argv[0] that makes the program a guardian; argv[1] is its patience in ms. Being defined in
 * guardian_child.c, it also brings that file into every program that starts one. */
extern const char guardian_name[];

/* Where it finds its end of the socketpair. */
#define GUARDIAN_SOCKET 3

enum guardian_word { WORD_BEAT = 1, WORD_HOLD, WORD_RELEASE, WORD_GOODBYE };

/* Engine to guardian; each is a sign of life. Sent as far as `length` says. HOLD brings the
 * descriptor along (SCM_RIGHTS). */
struct guardian_order {
    int32_t word;
    int32_t id;
    int32_t holds; /* BEAT: how many it should hold */
    uint32_t length;
    char safe[GUARDIAN_SAFE_MOST];
};
#define GUARDIAN_ORDER_HEAD offsetof(struct guardian_order, safe)

/* Guardian to engine, for each beat and for each trip: a lost one does no harm. */
struct guardian_report {
    int32_t expected, holds; /* as the beat had it, and in truth */
    int32_t trips;           /* since it started */
    int32_t fires;           /* safe bytes of the last trip are still being written */
};

static inline int64_t guardian_now_us(void)
{
    /* Stands still while the machine sleeps, when neither side could do anything. */
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return now.tv_sec * 1000000LL + now.tv_nsec / 1000;
}

#endif
