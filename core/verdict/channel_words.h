/* Rows of LIST_CHANNELS in words: what is stated of a channel, and what it is made of. */
#ifndef PERDURE_VERDICT_CHANNEL_WORDS_H
#define PERDURE_VERDICT_CHANNEL_WORDS_H

#include <jansson.h>

#include "base/text.h"

/* "voltage 0.05 % + 2 mV, current 0.1 % + 1 mA"; nothing where nothing is stated. */
void channel_accuracy_words(const json_t *row, struct text *out);

/* "meter dmm (Maker, Model, serial 1234, firmware 2.1), sink load (...)"; nothing without any. */
void channel_instrument_words(const json_t *row, struct text *out);

/* Adds both to every row, as texts: accuracy_text, instruments_text. */
void channels_say(json_t *rows);

#endif
