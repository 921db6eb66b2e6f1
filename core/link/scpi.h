/* What IEEE 488.2-1992 and SCPI-1999 say about bytes: reading answers strictly, building messages,
 * matching headers for emulated instruments. Pure functions, no I/O.
 *
 * Own code because Debian 12 has no package for it: its package lists (names and descriptions) know
 * neither "SCPI" nor "IEEE 488" nor "488.2". */
#ifndef PERDURE_LINK_SCPI_H
#define PERDURE_LINK_SCPI_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/text.h"

/* --- answers ----------------------------------------------------------------------------- */

enum scpi_number {
    SCPI_NUMBER,
    SCPI_OVERLOAD, /* 9.9E37, or its negative: *value is an infinity (SCPI-1999 vol. 1, 7.2.1.4) */
    SCPI_NOT_A_NUMBER, /* 9.91E37: *value is NAN (7.2.1.5) */
    SCPI_MALFORMED     /* *value is NAN */
};

/* NR1, NR2 or NR3 (IEEE 488.2 8.7.2 to 8.7.4), the whole of the bytes and nothing else: no space,
 * no unit, no word. A lower-case e and an exponent without sign are let pass. Only SCPI_NUMBER may
 * enter a mean. */
enum scpi_number scpi_number(const char *bytes, size_t length, double *value);

/* NRf, a parameter as instruments take it (7.7.2): also ".5", "5." and spaces about the E. */
enum scpi_number scpi_parameter(const char *bytes, size_t length, double *value);

/* All of these: true when the whole of the bytes is one. */
bool scpi_integer(const char *bytes, size_t length, int64_t *value); /* NR1 */
bool scpi_boolean(const char *bytes, size_t length, bool *value);    /* 0 1 ON OFF (SCPI 7.3) */
/* "text" or 'text', an inner quote doubled (8.7.8, 7.7.5). False too when it does not fit. */
bool scpi_string(const char *bytes, size_t length, char *out, size_t size);

/* The next item of a comma list, spaces about it taken off; commas in strings and blocks do not
 * part. *at is where to go on, 0 to begin with. False at the end, and for a string or block that
 * does not end. "1,,2" has an empty item; "" has none. */
bool scpi_item(const char *bytes, size_t length, size_t *at, const char **item,
               size_t *item_length);

/* Answer to *IDN? (10.14): four fields, content free, the last may hold commas. "0" where the maker
 * gives none. */
struct scpi_identity {
    char maker[80], model[80], serial[80], firmware[80];
};
bool scpi_identity(const char *bytes, size_t length, struct scpi_identity *out);

/* Answer to SYST:ERR? (SCPI-1999 vol. 2, 21.8): -350,"Queue overflow". Code 0: none. */
struct scpi_trouble {
    int code; /* -32768 to 32767 */
    char text[256];
};
bool scpi_trouble(const char *bytes, size_t length, struct scpi_trouble *out);

enum scpi_block { SCPI_BLOCK_WHOLE, SCPI_BLOCK_MORE, SCPI_BLOCK_BAD };
#define SCPI_INDEFINITE SIZE_MAX

/* The head of an arbitrary block (8.7.9, 8.7.10) in the first bytes of an answer: where its content
 * begins and how long it is, SCPI_INDEFINITE for #0, which lasts to the end of the message. */
enum scpi_block scpi_block(const char *bytes, size_t length, size_t *content, size_t *size);

/* --- messages ---------------------------------------------------------------------------- */

/* NR3, the fewest digits that read back the same; 9.9E+37 and 9.91E+37 for infinity and NAN. */
void scpi_add_number(struct text *text, double value);
void scpi_add_string(struct text *text, const char *string); /* in double quotes */
void scpi_add_block(struct text *text, const void *bytes, size_t length);

/* --- headers, as an instrument reads them ------------------------------------------------ */

/* Whether a mnemonic such as "volt" or "VOLTAGE2" is PATTERN, "VOLTage" or "VOLTage#": exactly the
 * short or the long form, whatever the case (vol. 1, 6.2.1). # allows a numeric suffix, put in
 * *suffix, 1 where omitted (6.2.5); suffix may be NULL. */
bool scpi_mnemonic(const char *pattern, const char *bytes, size_t length, int *suffix);

/* The same for a whole header: "[SOURce#:]VOLTage[:LEVel]", "MEASure:CURRent?", "*IDN?". Suffixes
 * of the nodes with # go to suffixes[0..], in the pattern's order, at most `most`. */
bool scpi_header(const char *pattern, const char *bytes, size_t length, int *suffixes, int most);

#endif
