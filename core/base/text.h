/* A growing text buffer, small string helpers, and the hash that pins a script's text. */
#ifndef PERDURE_BASE_TEXT_H
#define PERDURE_BASE_TEXT_H

#include <stdarg.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/error.h"

struct text {
    char *bytes; /* NUL-terminated once anything was added; owned */
    size_t length;
    size_t room;
};

#define TEXT_EMPTY                                                                                 \
    {                                                                                              \
        NULL, 0, 0                                                                                 \
    }

void text_free(struct text *text);
void text_clear(struct text *text);
void text_add(struct text *text, const char *string);
void text_add_bytes(struct text *text, const char *bytes, size_t length);
void text_addf(struct text *text, const char *format, ...) __attribute__((format(printf, 2, 3)));
void text_addv(struct text *text, const char *format, va_list list)
    __attribute__((format(printf, 2, 0)));

/* A number so that it reads back the same: the shortest of 15, 16 or 17 digits; never "-0".
 * Infinity and not-a-number, for which JSON has no name, become "null". */
void text_add_number(struct text *text, double number);
char *number_format(double number, char *buffer, size_t size);

/* A JSON string (RFC 8259), quotes and escapes included. Bytes that are no UTF-8 become U+FFFD. */
void text_add_json_string(struct text *text, const char *string, size_t length);

/* Reads a whole file; *out is NUL-terminated and owned by the caller. Refuses over `limit`
 * bytes. */
int file_read(const char *path, size_t limit, char **out, size_t *length, struct error *error);

/* strdup/malloc/realloc/calloc that end the process when there is no memory: a bench program
 * short of memory has nothing better to do than stop, safe. */
char *xstrdup(const char *string);
void *xmalloc(size_t size);
void *xcalloc(size_t count, size_t size);
void *xrealloc(void *pointer, size_t size);

/* Bytes of the UTF-8 character at `at`, or 0 when it is none (RFC 3629: no overlong form, no
 * surrogate, nothing over U+10FFFF). */
size_t utf8_length(const char *at, size_t left);

/* Copies with truncation, never inside a UTF-8 character; always terminated. The second shows by an
 * ellipsis that it was cut. */
void string_copy(char *to, size_t size, const char *from);
void string_fit(char *to, size_t size, const char *from);

/* "string" in double quotes for a message, cut short with dots where it is long; returns buffer. */
char *string_quote(const char *string, char *buffer, size_t size);

/* Whether `words`, which have a space between, have this one among them. */
bool string_has_word(const char *words, const char *word);

#define SHA256_HEX 65
/* SHA-256 (FIPS 180-4) as 64 lower-case hex digits and a NUL. */
void sha256_hex(const void *bytes, size_t length, char out[SHA256_HEX]);

#endif
