/* Reading UTF-8, widths of letters, cutting and breaking to a room. */
#include "report/lettering.h"

#include <stdlib.h>
#include <string.h>

#include "base/name.h"

size_t letter_next(const char *at, size_t left, uint32_t *code)
{
    static const unsigned char payload[] = {0, 0x7f, 0x1f, 0x0f, 0x07}; /* of the first byte */
    if (left == 0) {
        *code = 0;
        return 0;
    }
    size_t length = utf8_length(at, left);
    if (length == 0) {
        *code = LETTER_BAD;
        return 1;
    }
    uint32_t value = (unsigned char)at[0] & payload[length];
    for (size_t i = 1; i < length; i++)
        value = value << 6 | ((unsigned char)at[i] & 0x3fu);
    *code = value;
    return length;
}

bool letter_right_to_left(uint32_t code)
{
    return (code >= 0x0590 && code < 0x0900) || (code >= 0xfb1d && code < 0xfe00) ||
           (code >= 0xfe70 && code < 0xff00) || (code >= 0x10800 && code < 0x11000) ||
           (code >= 0x1e800 && code < 0x1f000);
}

/* Advance widths in thousandths of the type size, from space to tilde. Facts of the common metrics,
 * from memory; the tests compare them with the font where it is installed. */
static const short ascii_widths[] = {
    278,  278, 355, 556, 556, 889, 667, 191, 333, 333, 389, 584, 278, 333, 278, 278, /* 20 */
    556,  556, 556, 556, 556, 556, 556, 556, 556, 556, 278, 278, 584, 584, 584, 556, /* 30 */
    1015, 667, 667, 722, 722, 667, 611, 778, 722, 278, 500, 667, 556, 833, 722, 778, /* 40 */
    667,  778, 722, 667, 611, 722, 667, 944, 667, 667, 611, 278, 278, 278, 469, 556, /* 50 */
    333,  556, 556, 500, 556, 556, 278, 556, 556, 222, 222, 500, 222, 833, 556, 556, /* 60 */
    556,  556, 333, 500, 278, 556, 500, 722, 500, 500, 500, 334, 260, 334, 584,      /* 70 */
};

/* Takes no room of its own: combining marks, joiners, direction marks, variation selectors. */
static bool is_mark(uint32_t code)
{
    return (code >= 0x0300 && code < 0x0370) || (code >= 0x0591 && code < 0x05be) ||
           (code >= 0x064b && code < 0x0660) || (code >= 0x200b && code < 0x2010) ||
           (code >= 0x202a && code < 0x202f) || (code >= 0x2060 && code < 0x2070) ||
           (code >= 0x20d0 && code < 0x2100) || (code >= 0xfe00 && code < 0xfe10);
}

static double letter_width(uint32_t code, bool bold)
{
    double width;
    if (code >= 0x20 && code < 0x7f)
        width = ascii_widths[code - 0x20] / 1000.0;
    else if (code < 0x20 || code == 0x7f || is_mark(code))
        return 0;
    else if (code == 0x2009 || code == 0x202f)
        return 0.2; /* narrow spaces */
    else if (code == 0xa0)
        return 0.278;
    else if (code < 0x2e80)
        /* Latin, Greek and Cyrillic: no letter of a name is much wider on average; arrows and
         * dashes are a whole type size. */
        width = (code >= 0x2014 && code < 0x2018) || (code >= 0x2026 && code < 0x2600) ? 1.0 : 0.62;
    else
        width = code >= 0x1f000 ? 1.3 : 1.0; /* pictographs; ideographs */
    return bold ? width * 1.08 : width;
}

double lettering_width(const char *string, double size, bool bold)
{
    double width = 0;
    uint32_t code;
    for (size_t left = strlen(string), bytes; left != 0; left -= bytes, string += bytes) {
        bytes = letter_next(string, left, &code);
        width += letter_width(code, bold);
    }
    return width * size;
}

/* Bytes of the longest beginning that fits, never between a letter and its marks. */
static size_t fitting(const char *string, double size, bool bold, double room)
{
    double width = 0;
    size_t kept = 0, at = 0, length = strlen(string);
    uint32_t code;
    while (at < length) {
        size_t bytes = letter_next(string + at, length - at, &code);
        double wide = letter_width(code, bold) * size;
        if (width + wide > room)
            break;
        width += wide;
        at += bytes;
        kept = at;
    }
    return kept;
}

bool lettering_fit(struct text *out, const char *string, double size, bool bold, double room)
{
    if (lettering_width(string, size, bold) <= room) {
        text_add(out, string);
        return true;
    }
    size_t kept = fitting(string, size, bold, room - letter_width(0x2026, bold) * size);
    while (kept != 0 && string[kept - 1] == ' ')
        kept--;
    text_add_bytes(out, string, kept);
    text_add(out, "\xe2\x80\xa6");
    return false;
}

struct type {
    double size;
    bool bold;
};

static double letter_width_in(const char *letter, size_t bytes, const void *how)
{
    const struct type *type = how;
    uint32_t code;
    letter_next(letter, bytes, &code);
    return letter_width(code, type->bold) * type->size;
}

struct text *lettering_names(const char *const *names, size_t count, double size, bool bold,
                             double room)
{
    struct text *forms = xcalloc(count + 1, sizeof *forms);
    names_shorten(forms, names, count, room, letter_width_in, &(struct type){size, bold});
    return forms;
}

void lettering_free(struct text *forms, size_t count)
{
    for (size_t i = 0; i < count; i++)
        text_free(&forms[i]);
    free(forms);
}

size_t lettering_line(const char *string, double size, bool bold, double room, size_t *next)
{
    size_t length = strlen(string), kept = fitting(string, size, bold, room);
    if (kept < length) {
        size_t space = kept;
        while (space != 0 && string[space] != ' ' && string[space - 1] != '-')
            space--;
        if (space != 0)
            kept = space;
        uint32_t code;
        if (kept == 0)
            kept = letter_next(string, length, &code);
    }
    *next = kept;
    while (string[*next] == ' ')
        ++*next;
    while (kept > 1 && string[kept - 1] == ' ')
        kept--;
    return kept;
}
