/* Reading answers: numbers, strings, lists, blocks, identity, trouble. */
#include "link/scpi.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

/* IEEE 488.2 7.7.2.4.1. */
#define MANTISSA_DIGITS_MOST 255
#define EXPONENT_MOST        32000

/* SCPI-1999 vol. 1, 7.2.1.4 and 7.2.1.5. An instrument that works in single precision prints them a
 * few parts in 10^8 off, so that much is let pass; the two lie 10^-3 apart. */
#define OVERLOAD     9.9e37
#define NOT_A_NUMBER 9.91e37
#define SPECIAL_SLIP 1e-6

/* ASCII only, whatever the locale. */
static bool is_digit(char byte)
{
    return byte >= '0' && byte <= '9';
}

/* White space of IEEE 488.2 7.4.1.2: all below a space but the line feed, and the space. */
static bool is_space(char byte)
{
    return (unsigned char)byte <= ' ' && byte != '\n';
}

static size_t count_digits(const char *bytes, size_t length, size_t at)
{
    size_t begin = at;
    while (at < length && is_digit(bytes[at]))
        at++;
    return at - begin;
}

static size_t skip_spaces(const char *bytes, size_t length, size_t at)
{
    while (at < length && is_space(bytes[at]))
        at++;
    return at;
}

static size_t skip_sign(const char *bytes, size_t length, size_t at)
{
    return at < length && (bytes[at] == '+' || bytes[at] == '-') ? at + 1 : at;
}

/* --- numbers ----------------------------------------------------------------------------- */

/* The exponent from `at` to the very end; false when it is none or too large. */
static bool read_exponent(const char *bytes, size_t length, size_t at, int *exponent)
{
    bool negative = at < length && bytes[at] == '-';
    at = skip_sign(bytes, length, at);
    if (at == length)
        return false;
    for (*exponent = 0; at < length; at++) {
        if (!is_digit(bytes[at]))
            return false;
        *exponent = *exponent * 10 + (bytes[at] - '0');
        if (*exponent > EXPONENT_MOST)
            return false;
    }
    *exponent = negative ? -*exponent : *exponent;
    return true;
}

/* "e-00012": of one length, whatever zeros the instrument wrote. */
static size_t put_exponent(char *to, int exponent)
{
    int size = exponent < 0 ? -exponent : exponent;
    to[0] = 'e';
    to[1] = exponent < 0 ? '-' : '+';
    for (int i = 6; i > 1; i--, size /= 10)
        to[i] = (char)('0' + size % 10);
    return 7;
}

/* Where the mantissa ends; 0 when it is none or too long. */
static size_t mantissa_end(const char *bytes, size_t length, bool lenient)
{
    size_t at = skip_sign(bytes, length, 0);
    size_t whole = count_digits(bytes, length, at), part = 0;
    at += whole;
    bool point = at < length && bytes[at] == '.';
    if (point) {
        part = count_digits(bytes, length, at + 1);
        at += 1 + part;
    }
    if (whole + part == 0 || whole + part > MANTISSA_DIGITS_MOST)
        return 0;
    if (!lenient && (whole == 0 || (point && part == 0)))
        return 0;
    return at;
}

/* What instruments send: few enough digits, and a small enough power of ten, that both are exact
 * and the one operation is the one rounding. False for any other. */
static bool read_short(const char *text, size_t length, int exponent, double *value)
{
    static const double powers[] = {1e0,  1e1,  1e2,  1e3,  1e4,  1e5,  1e6,  1e7,
                                    1e8,  1e9,  1e10, 1e11, 1e12, 1e13, 1e14, 1e15,
                                    1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22};
    size_t at = text[0] == '-' || text[0] == '+';
    int64_t digits = 0;
    bool point = false;
    if (length > 16)
        return false;
    for (; at < length; at++) {
        if (text[at] == '.' && !point) {
            point = true;
            continue;
        }
        if (!is_digit(text[at]))
            return false;
        digits = digits * 10 + (text[at] - '0');
        exponent -= point;
    }
    if (digits > 999999999999999 || exponent < -22 || exponent > 22)
        return false;
    double size =
        exponent < 0 ? (double)digits / powers[-exponent] : (double)digits * powers[exponent];
    *value = text[0] == '-' ? -size : size;
    return true;
}

/* The number goes to strtod in one piece, so that it is rounded once. */
static bool read_decimal(const char *bytes, size_t length, bool lenient, double *value)
{
    char text[1 + MANTISSA_DIGITS_MOST + 1 + 7 + 1];
    size_t end = mantissa_end(bytes, length, lenient), at = end, mantissa = end;
    int exponent = 0;
    if (end == 0)
        return false;
    if (lenient)
        at = skip_spaces(bytes, length, at);
    if (at < length && (bytes[at] == 'E' || bytes[at] == 'e')) {
        at++;
        if (lenient)
            at = skip_spaces(bytes, length, at);
        if (!read_exponent(bytes, length, at, &exponent))
            return false;
    } else if (end != length) {
        return false;
    }
    if (read_short(bytes, mantissa, exponent, value))
        return true;
    memcpy(text, bytes, mantissa);
    end = mantissa + put_exponent(text + mantissa, exponent);
    text[end] = '\0';
    *value = strtod(text, NULL);
    return true;
}

static bool is_about(double value, double special)
{
    return fabs(value - special) <= SPECIAL_SLIP * special;
}

static enum scpi_number read_number(const char *bytes, size_t length, bool lenient, double *value)
{
    double number;
    *value = NAN;
    if (!read_decimal(bytes, length, lenient, &number))
        return SCPI_MALFORMED;
    if (is_about(number, NOT_A_NUMBER))
        return SCPI_NOT_A_NUMBER;
    if (is_about(fabs(number), OVERLOAD)) {
        *value = number > 0 ? INFINITY : -INFINITY;
        return SCPI_OVERLOAD;
    }
    if (fabs(number) > OVERLOAD)
        return SCPI_MALFORMED; /* beyond what SCPI can say */
    *value = number;
    return SCPI_NUMBER;
}

enum scpi_number scpi_number(const char *bytes, size_t length, double *value)
{
    return read_number(bytes, length, false, value);
}

enum scpi_number scpi_parameter(const char *bytes, size_t length, double *value)
{
    return read_number(bytes, length, true, value);
}

bool scpi_integer(const char *bytes, size_t length, int64_t *value)
{
    size_t at = skip_sign(bytes, length, 0);
    bool negative = length > 0 && bytes[0] == '-';
    int64_t sum = 0;
    if (at == length)
        return false;
    for (; at < length; at++) {
        if (!is_digit(bytes[at]) || __builtin_mul_overflow(sum, 10, &sum) ||
            __builtin_sub_overflow(sum, bytes[at] - '0', &sum)) /* downwards: reaches INT64_MIN */
            return false;
    }
    if (!negative && sum == INT64_MIN)
        return false;
    *value = negative ? sum : -sum;
    return true;
}

static bool is_word(const char *bytes, size_t length, const char *word)
{
    return length == strlen(word) && strncasecmp(bytes, word, length) == 0;
}

bool scpi_boolean(const char *bytes, size_t length, bool *value)
{
    if (is_word(bytes, length, "1") || is_word(bytes, length, "ON"))
        *value = true;
    else if (is_word(bytes, length, "0") || is_word(bytes, length, "OFF"))
        *value = false;
    else
        return false;
    return true;
}

/* --- strings and lists ------------------------------------------------------------------- */

/* The length of the string that begins at `at`, quotes included; 0 when it does not end. */
static size_t string_extent(const char *bytes, size_t length, size_t at)
{
    const char quote = bytes[at];
    for (size_t i = at + 1; i < length; i++) {
        if (bytes[i] != quote)
            continue;
        if (i + 1 < length && bytes[i + 1] == quote)
            i++;
        else
            return i + 1 - at;
    }
    return 0;
}

bool scpi_string(const char *bytes, size_t length, char *out, size_t size)
{
    size_t used = 0;
    if (length < 2 || (bytes[0] != '"' && bytes[0] != '\'') ||
        string_extent(bytes, length, 0) != length)
        return false;
    for (size_t i = 1; i < length - 1; i++) {
        if (bytes[i] == '\0' || used + 1 >= size)
            return false;
        out[used++] = bytes[i];
        if (bytes[i] == bytes[0])
            i++; /* the second of two */
    }
    if (used >= size)
        return false;
    out[used] = '\0';
    return true;
}

/* Where the item that begins at `at` ends: at its comma, or at the end of the bytes. False when a
 * string or block in it does not end. */
static bool item_end(const char *bytes, size_t length, size_t at, size_t *end)
{
    size_t content, size;
    if (at < length && bytes[at] == '#') {
        if (scpi_block(bytes + at, length - at, &content, &size) != SCPI_BLOCK_WHOLE)
            return false;
        if (size == SCPI_INDEFINITE)
            size = length - at - content;
        if (size > length - at - content)
            return false;
        at += content + size;
    }
    while (at < length && bytes[at] != ',') {
        size_t extent = 1;
        if (bytes[at] == '"' || bytes[at] == '\'')
            extent = string_extent(bytes, length, at);
        if (extent == 0)
            return false;
        at += extent;
    }
    *end = at;
    return true;
}

/* Once the last item is out, *at stands past the end: a comma before the end means one more. */
bool scpi_item(const char *bytes, size_t length, size_t *at, const char **item, size_t *item_length)
{
    if (*at > length || length == 0)
        return false;
    size_t begin = skip_spaces(bytes, length, *at), end;
    if (!item_end(bytes, length, begin, &end))
        return false;
    *at = end + 1;
    if (begin == end || bytes[begin] != '#') /* a block keeps what looks like space */
        while (end > begin && is_space(bytes[end - 1]))
            end--;
    *item = bytes + begin;
    *item_length = end - begin;
    return true;
}

/* --- composed answers -------------------------------------------------------------------- */

/* Bytes without the spaces about them, as a C string; false when it does not fit or is no text. */
static bool copy_field(const char *bytes, size_t length, char *out, size_t size)
{
    while (length > 0 && is_space(bytes[0])) {
        bytes++;
        length--;
    }
    while (length > 0 && is_space(bytes[length - 1]))
        length--;
    if (length >= size || memchr(bytes, '\0', length) != NULL)
        return false;
    memcpy(out, bytes, length);
    out[length] = '\0';
    return true;
}

bool scpi_identity(const char *bytes, size_t length, struct scpi_identity *out)
{
    char *const fields[] = {out->maker, out->model, out->serial, out->firmware};
    for (int i = 0; i < 4; i++) {
        const char *comma = i < 3 ? memchr(bytes, ',', length) : bytes + length;
        if (comma == NULL)
            return false;
        size_t size = (size_t)(comma - bytes);
        if (!copy_field(bytes, size, fields[i], sizeof out->maker))
            return false;
        bytes += size;
        length -= size;
        if (i < 3) {
            bytes++;
            length--;
        }
    }
    return true;
}

bool scpi_trouble(const char *bytes, size_t length, struct scpi_trouble *out)
{
    size_t at = 0, size;
    const char *item;
    int64_t code;
    if (!scpi_item(bytes, length, &at, &item, &size) || !scpi_integer(item, size, &code) ||
        code < -32768 || code > 32767)
        return false;
    if (!scpi_item(bytes, length, &at, &item, &size) ||
        !scpi_string(item, size, out->text, sizeof out->text) || at <= length)
        return false;
    out->code = (int)code;
    return true;
}

enum scpi_block scpi_block(const char *bytes, size_t length, size_t *content, size_t *size)
{
    if (length == 0)
        return SCPI_BLOCK_MORE;
    if (bytes[0] != '#' || (length > 1 && !is_digit(bytes[1])))
        return SCPI_BLOCK_BAD;
    if (length == 1)
        return SCPI_BLOCK_MORE;
    size_t digits = (size_t)(bytes[1] - '0');
    *content = 2 + digits;
    *size = digits == 0 ? SCPI_INDEFINITE : 0;
    for (size_t i = 2; i < *content; i++) {
        if (i == length)
            return SCPI_BLOCK_MORE;
        if (!is_digit(bytes[i]))
            return SCPI_BLOCK_BAD;
        *size = *size * 10 + (size_t)(bytes[i] - '0');
    }
    return SCPI_BLOCK_WHOLE;
}
