/* Names as people give them to models and makers: how long one may be, and short forms of several
 * that can still be told apart. Letters are Unicode's characters, in UTF-8. */
#ifndef PERDURE_BASE_NAME_H
#define PERDURE_BASE_NAME_H

#include <stdbool.h>
#include <stddef.h>

#include "base/text.h"

/* The most letters of a name, and the bytes that hold so many, whatever they are, with the NUL. */
#define NAME_LETTERS 255
#define NAME_ROOM    (4 * NAME_LETTERS + 1)

/* Where a table has names, wider ones are shortened to so many letters. */
#define NAME_IN_TABLE 40

size_t name_letters(const char *name);

/* How wide one letter is; `how` is the caller's. NULL in its place: each letter is 1 wide. */
typedef double name_width(const char *letter, size_t bytes, const void *how);

/* Writes a form of each name into out[i], no wider than `room`: the name itself where it fits; else
 * its beginning and an ellipsis; where others begin so too, another cut that tells them apart: the
 * middle left out, or a part from further in behind the beginning. Names that no cut tells apart
 * get a number. Equal names get equal forms. True when nothing was cut. */
bool names_shorten(struct text *out, const char *const *names, size_t count, double room,
                   name_width *width, const void *how);

#endif
