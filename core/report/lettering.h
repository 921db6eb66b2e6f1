/* Text as people's names come: reads UTF-8 safely, says how wide a text will be, and cuts or breaks
 * it to a given room. Inside report.
 *
 * Widths are those of the sans serif whose metrics most systems share (Liberation Sans has them);
 * they need no font, so the same picture is written everywhere. */
#ifndef PERDURE_REPORT_LETTERING_H
#define PERDURE_REPORT_LETTERING_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/text.h"

#define LETTER_BAD 0xFFFDu

/* The first character: its code point to *code, its bytes given back (never 0 while `left` is not).
 * A byte that is no UTF-8 (RFC 3629) counts as one character, LETTER_BAD. */
size_t letter_next(const char *at, size_t left, uint32_t *code);

/* Of a script written from right to left. */
bool letter_right_to_left(uint32_t code);

/* Width in the unit of `size`, the height of the type. */
double lettering_width(const char *string, double size, bool bold);

/* Appends as much of the string as fits the room, with an ellipsis where it was cut. True when
 * nothing was cut. */
bool lettering_fit(struct text *out, const char *string, double size, bool bold, double room);

/* Forms of several names that fit the room and can still be told apart (base/name.h), one for each;
 * freed by lettering_free. */
struct text *lettering_names(const char *const *names, size_t count, double size, bool bold,
                             double room);
void lettering_free(struct text *forms, size_t count);

/* Bytes of `string` that make the first line of a text broken at spaces and after hyphens; a word
 * too long for the room is broken inside. *next is where the following line begins. 0 only for an
 * empty string. */
size_t lettering_line(const char *string, double size, bool bold, double room, size_t *next);

#endif
