/* xoshiro256** and what is drawn from it. Everything is made of integer work and of operations that
 * IEEE 754 rounds in one way only, with no product feeding a sum (which some machines fuse) and
 * nothing from libm: so the numbers are the same everywhere. */
#include "base/random.h"

#include <stdbool.h>

static uint64_t rotate(uint64_t bits, int by)
{
    return bits << by | bits >> (64 - by);
}

/* SplitMix64: one step of its counter, then its mixing of the bits. */
static uint64_t split_mix(uint64_t *counter)
{
    *counter += 0x9e3779b97f4a7c15;
    uint64_t mixed = *counter;
    mixed = (mixed ^ mixed >> 30) * 0xbf58476d1ce4e5b9;
    mixed = (mixed ^ mixed >> 27) * 0x94d049bb133111eb;
    return mixed ^ mixed >> 31;
}

void random_seed(struct random *random, uint64_t seed)
{
    for (int i = 0; i < 4; i++)
        random->state[i] = split_mix(&seed);
}

uint64_t random_bits(struct random *random)
{
    uint64_t *s = random->state;
    uint64_t result = rotate(s[1] * 5, 7) * 9;
    uint64_t shifted = s[1] << 17;
    s[2] ^= s[0];
    s[3] ^= s[1];
    s[1] ^= s[2];
    s[0] ^= s[3];
    s[2] ^= shifted;
    s[3] = rotate(s[3], 45);
    return result;
}

/* The upper 53 bits as a fraction: every value is exact in a double. */
static double fraction(uint64_t bits)
{
    return (double)(bits >> 11) * 0x1p-53;
}

double random_unit(struct random *random)
{
    return fraction(random_bits(random));
}

int64_t random_range(struct random *random, int64_t low, int64_t high)
{
    if (high <= low)
        return low;
    uint64_t count = (uint64_t)high - (uint64_t)low + 1; /* 0: all 2^64 */
    uint64_t bits = random_bits(random);
    if (count != 0) {
        /* 2^64 is no multiple of count: draws below the remainder would favour small values. */
        uint64_t remainder = (0 - count) % count;
        while (bits < remainder)
            bits = random_bits(random);
        bits %= count;
    }
    return (int64_t)((uint64_t)low + bits);
}

/* True with probability exp(-a), 0 <= a <= 1, by J. von Neumann's comparison: draws that fall one
 * below the other, starting below a, make a run of n or more with probability a^n/n!, so that its
 * length is even with probability 1 - a + a^2/2! - ... */
static bool draw_exp(struct random *random, double a)
{
    bool even = true;
    for (double last = a;; even = !even) {
        double next = random_unit(random);
        if (next >= last)
            return even;
        last = next;
    }
}

/* Whole part k of |x|: probability in proportion to exp(-k^2/2), as cumulated 64-bit fractions. */
static int draw_whole_part(struct random *random)
{
    static const uint64_t below[] = {
        0x92025b19482ce72c, 0xea91798547a0ef94, 0xfe5415c6e9da4baf,
        0xfff3523319908c12, 0xffffdc31b8ef5942, 0xffffffdaa2d72345,
        0xfffffffff1a20da4, 0xfffffffffffdf76c, 0xffffffffffffffe5,
    };
    uint64_t bits = random_bits(random);
    int k = 0;
    while (k < (int)(sizeof below / sizeof below[0]) && bits >= below[k])
        k++;
    return k;
}

/* C. F. F. Karney's way to an exact normal deviate (ACM Trans. Math. Softw. 42(1), 2016): x = k + f
 * has density exp(-k^2/2) exp(-f(2k+f)/2); the second factor is kept as k+1 trials, each with an
 * exponent of at most 1. No logarithm, no cosine. */
double random_normal(struct random *random)
{
    for (;;) {
        int k = draw_whole_part(random);
        uint64_t bits = random_bits(random);
        double part = fraction(bits);
        double exponent = part * (2 * k + part) / (2 * k + 2);
        int passed = 0;
        while (passed <= k && draw_exp(random, exponent))
            passed++;
        if (passed > k)
            return bits & 1 ? -(k + part) : k + part; /* a bit that `part` did not use */
    }
}

uint64_t seed_for(uint64_t seed, const char *name)
{
    uint64_t hash = 0xcbf29ce484222325; /* FNV-1a, 64 bits */
    for (; *name != '\0'; name++)
        hash = (hash ^ (unsigned char)*name) * 0x100000001b3;
    uint64_t counter = split_mix(&seed) ^ hash;
    return split_mix(&counter);
}

double random_noise(struct random *random)
{
    /* Four 16-bit uniforms have the mean 2 * 65535 and the variance 4 * (65536^2 - 1) / 12. */
    uint64_t bits = random_bits(random);
    int64_t sum = (int64_t)(bits & 0xFFFF) + (int64_t)(bits >> 16 & 0xFFFF) +
                  (int64_t)(bits >> 32 & 0xFFFF) + (int64_t)(bits >> 48);
    return (double)(sum - 131070) * (1 / 37837.22723720648);
}
