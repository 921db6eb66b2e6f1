/* The growing text buffer, numbers that read back the same, JSON strings, copying. */
#include "base/text.h"

#include <math.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Bytes that a formatted piece is likely to need. */
#define LIKELY 64

/* Makes room for `more` bytes and the NUL; doubles, so that adding stays linear. */
static void text_reserve(struct text *text, size_t more)
{
    if (more >= SIZE_MAX / 2 - text->length)
        xmalloc(SIZE_MAX); /* ends the process, with its reason */
    size_t need = text->length + more + 1;
    if (need <= text->room)
        return;
    size_t room = text->room != 0 ? text->room : 64;
    while (room < need)
        room *= 2;
    text->bytes = xrealloc(text->bytes, room);
    text->room = room;
}

void text_free(struct text *text)
{
    free(text->bytes);
    *text = (struct text)TEXT_EMPTY;
}

void text_clear(struct text *text)
{
    text->length = 0;
    if (text->bytes != NULL)
        text->bytes[0] = '\0';
}

void text_add_bytes(struct text *text, const char *bytes, size_t length)
{
    text_reserve(text, length);
    if (length != 0)
        memcpy(text->bytes + text->length, bytes, length);
    text->length += length;
    text->bytes[text->length] = '\0';
}

void text_add(struct text *text, const char *string)
{
    text_add_bytes(text, string, strlen(string));
}

void text_addv(struct text *text, const char *format, va_list list)
{
    va_list again;
    va_copy(again, list);
    /* Written at once where it fits, as it nearly always does. */
    text_reserve(text, LIKELY);
    size_t left = text->room - text->length;
    int length = vsnprintf(text->bytes + text->length, left, format, list);
    if (length >= 0 && (size_t)length >= left) {
        text_reserve(text, (size_t)length);
        vsnprintf(text->bytes + text->length, (size_t)length + 1, format, again);
    }
    va_end(again);
    if (length >= 0)
        text->length += (size_t)length;
    else
        text->bytes[text->length] = '\0';
}

void text_addf(struct text *text, const char *format, ...)
{
    va_list list;
    va_start(list, format);
    text_addv(text, format, list);
    va_end(list);
}

/* Puts them before `end`, with so many behind the point; where they begin. */
static char *put_digits(char *end, uint64_t number, int places)
{
    for (int written = 0; number || written <= places; written++, number /= 10) {
        if (written == places && places > 0)
            *--end = '.';
        *--end = (char)('0' + number % 10);
    }
    return end;
}

/* Most numbers are whole millionths, and then %.15g would write just these digits: m / 1e6 is
 * rounded once, as reading them is. False for any other, and for those written with an exponent. */
static bool format_millionths(double number, char *buffer, size_t size)
{
    double size_of = fabs(number), millionths = rint(size_of * 1e6);
    char digits[24], *end = digits + sizeof digits, *at = end;
    if (!(size_of >= 1e-4 && millionths < 1e15) || millionths / 1e6 != size_of)
        return false;
    uint64_t left = (uint64_t)millionths;
    int places = 6;
    while (places > 0 && left % 10 == 0) {
        left /= 10;
        places--;
    }
    at = put_digits(end, left, places);
    if (number < 0)
        *--at = '-';
    size_t length = (size_t)(end - at);
    if (length >= size)
        return false;
    memcpy(buffer, at, length);
    buffer[length] = '\0';
    return true;
}

/* The decimal point is the C locale's: the program never calls setlocale. */
char *number_format(double number, char *buffer, size_t size)
{
    if (!isfinite(number)) {
        string_copy(buffer, size, "null");
        return buffer;
    }
    if (number == 0)
        number = 0; /* drops the sign of a negative zero */
    char digits[40];
    if (format_millionths(number, buffer, size))
        return buffer;
    for (int precision = 15; precision <= 17; precision++) {
        snprintf(digits, sizeof digits, "%.*g", precision, number);
        if (strtod(digits, NULL) == number)
            break;
    }
    string_copy(buffer, size, digits);
    return buffer;
}

void text_add_number(struct text *text, double number)
{
    char digits[40];
    text_add(text, number_format(number, digits, sizeof digits));
}

size_t utf8_length(const char *bytes, size_t left)
{
    const unsigned char *at = (const unsigned char *)bytes;
    size_t length;
    unsigned char low = 0x80, high = 0xbf; /* limits of the second byte */
    if (at[0] < 0x80)
        return 1;
    if (at[0] >= 0xc2 && at[0] <= 0xdf)
        length = 2;
    else if (at[0] >= 0xe0 && at[0] <= 0xef)
        length = 3;
    else if (at[0] >= 0xf0 && at[0] <= 0xf4)
        length = 4;
    else
        return 0;
    if (at[0] == 0xe0)
        low = 0xa0;
    else if (at[0] == 0xed)
        high = 0x9f;
    else if (at[0] == 0xf0)
        low = 0x90;
    else if (at[0] == 0xf4)
        high = 0x8f;
    if (left < length || at[1] < low || at[1] > high)
        return 0;
    for (size_t i = 2; i < length; i++)
        if ((at[i] & 0xc0) != 0x80)
            return 0;
    return length;
}

static void add_json_ascii(struct text *text, char byte)
{
    switch (byte) {
    case '"': text_add(text, "\\\""); break;
    case '\\': text_add(text, "\\\\"); break;
    case '\b': text_add(text, "\\b"); break;
    case '\f': text_add(text, "\\f"); break;
    case '\n': text_add(text, "\\n"); break;
    case '\r': text_add(text, "\\r"); break;
    case '\t': text_add(text, "\\t"); break;
    default:
        if (byte < 0x20)
            text_addf(text, "\\u%04x", (unsigned)byte);
        else
            text_add_bytes(text, &byte, 1);
    }
}

void text_add_json_string(struct text *text, const char *string, size_t length)
{
    text_add(text, "\"");
    for (size_t i = 0; i < length;) {
        size_t character = utf8_length(string + i, length - i);
        if (character == 1)
            add_json_ascii(text, string[i]);
        else if (character > 1)
            text_add_bytes(text, string + i, character);
        else
            text_add(text, "\xef\xbf\xbd"); /* U+FFFD: JSON is UTF-8, and a stray byte is not */
        i += character != 0 ? character : 1;
    }
    text_add(text, "\"");
}

bool string_has_word(const char *words, const char *word)
{
    size_t length = strlen(word);
    for (const char *at = words; (at = strstr(at, word)) != NULL; at += length)
        if ((at == words || at[-1] == ' ') && (at[length] == ' ' || !at[length]))
            return true;
    return false;
}

char *string_quote(const char *string, char *buffer, size_t size)
{
    size_t length = string != NULL ? strlen(string) : 0;
    bool cut = length + sizeof "\"\"" > size;
    size_t marks = cut ? sizeof "\"...\"" : sizeof "\"\"";
    if (size < marks + 1) {
        string_copy(buffer, size, string);
        return buffer;
    }
    buffer[0] = '"';
    string_copy(buffer + 1, size - marks + 1, string);
    strcat(buffer, cut ? "...\"" : "\"");
    return buffer;
}

void string_copy(char *to, size_t size, const char *from)
{
    if (size == 0)
        return;
    size_t length = from != NULL ? strlen(from) : 0;
    if (length >= size) {
        length = size - 1;
        while (length > 0 && ((unsigned char)from[length] & 0xc0) == 0x80)
            length--; /* back to where a character starts */
    }
    if (length != 0)
        memmove(to, from, length);
    to[length] = '\0';
}

void string_fit(char *to, size_t size, const char *from)
{
    static const char ellipsis[] = "\xe2\x80\xa6";
    bool cut = from != NULL && strlen(from) >= size && size > sizeof ellipsis;
    string_copy(to, cut ? size - strlen(ellipsis) : size, from);
    if (cut)
        strcat(to, ellipsis);
}
