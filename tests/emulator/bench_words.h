/* Writes a bench file for what is served: a channel a set. */
#ifndef EMULATOR_BENCH_WORDS_H
#define EMULATOR_BENCH_WORDS_H

#include "house.h"

int bench_words_write(const struct house *house, const char *path, struct error *error);

#endif
