/* A seeded generator whose numbers are the same on every machine: xoshiro256**, seeded by
 * SplitMix64 (both are public-domain algorithms by D. Blackman and S. Vigna). */
#ifndef PERDURE_BASE_RANDOM_H
#define PERDURE_BASE_RANDOM_H

#include <stdint.h>

struct random {
    uint64_t state[4];
};

void random_seed(struct random *random, uint64_t seed);
uint64_t random_bits(struct random *random);
double random_unit(struct random *random);                              /* [0, 1) */
int64_t random_range(struct random *random, int64_t low, int64_t high); /* inclusive, unbiased */
double random_normal(struct random *random);                            /* mean 0, sd 1 */
/* Near normal, mean 0, sd 1, never beyond 3.47: the sum of four uniforms from one draw. For the
 * noise of simulated meters, which is drawn at every reading. */
double random_noise(struct random *random);

/* A seed for a named part of something that has a seed: the same name gives the same seed. */
uint64_t seed_for(uint64_t seed, const char *name);

#endif
