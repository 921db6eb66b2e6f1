/* Hashes of what a row holds, the same on the writer's and on the reader's side: FNV-1a. */
#ifndef PERDURE_TESTS_FAULT_CUT_HASH_H
#define PERDURE_TESTS_FAULT_CUT_HASH_H

#include <math.h>
#include <stdint.h>
#include <string.h>

#define HASH_BASIS 14695981039346656037U

static inline uint64_t hash_bytes(uint64_t hash, const void *bytes, size_t length)
{
    const unsigned char *byte = bytes;
    for (size_t i = 0; i < length; i++)
        hash = (hash ^ byte[i]) * 1099511628211U;
    return hash;
}

static inline uint64_t hash_text(uint64_t hash, const char *text)
{
    return text == NULL ? hash_bytes(hash, "", 1) : hash_bytes(hash, text, strlen(text) + 1);
}

static inline uint64_t hash_integer(uint64_t hash, int64_t integer)
{
    return hash_bytes(hash, &integer, sizeof integer);
}

/* Not-a-number is stored as nothing, and -0 as 0. */
static inline uint64_t hash_real(uint64_t hash, double real)
{
    real = isnan(real) ? -1e300 : real + 0.0;
    return hash_bytes(hash, &real, sizeof real);
}

static inline uint64_t hash_sample(int64_t microsecond, int64_t microvolt, int64_t microampere)
{
    return hash_integer(hash_integer(hash_integer(HASH_BASIS, microsecond), microvolt),
                        microampere);
}

#endif
