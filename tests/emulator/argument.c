/* Arguments of commands, strictly. */
#include "argument.h"

#include <ctype.h>
#include <math.h>
#include <string.h>
#include <strings.h>

#include "link/scpi.h"

#define MANTISSA_MOST 255   /* digits: IEEE 488.2 7.7.2.4.1 */
#define EXPONENT_MOST 32000 /* 7.7.2.4.1 */
#define SUFFIX_MOST   12    /* 7.7.3.4 */

void argument_trouble(const struct call *call, int index, int code)
{
    char detail[40];
    size_t length = call->arguments[index].length;
    if (length >= sizeof detail)
        length = sizeof detail - 1;
    memcpy(detail, call->arguments[index].bytes, length);
    detail[length] = '\0';
    instrument_trouble(call->instrument, code, detail);
}

static bool refuse(const struct call *call, int index, int code)
{
    argument_trouble(call, index, code);
    return false;
}

/* --- numbers --------------------------------------------------------------------------------- */

static size_t spaces(const char *bytes, size_t length, size_t at)
{
    while (at < length && (bytes[at] == ' ' || bytes[at] == '\t'))
        at++;
    return at;
}

static size_t digits(const char *bytes, size_t length, size_t at)
{
    while (at < length && isdigit((unsigned char)bytes[at]))
        at++;
    return at;
}

/* Where the number at the front ends; *code is what is wrong with it, 0 for nothing. An E that no
 * exponent follows begins a suffix. */
static size_t number_extent(const char *bytes, size_t length, int *code)
{
    size_t at = length > 0 && (bytes[0] == '+' || bytes[0] == '-');
    size_t whole = digits(bytes, length, at), end = whole, count = whole - at;
    if (whole < length && bytes[whole] == '.') {
        end = digits(bytes, length, whole + 1);
        count += end - whole - 1;
    }
    *code = count == 0 ? -121 : count > MANTISSA_MOST ? -124 : 0;
    size_t mark = spaces(bytes, length, end);
    if (mark < length && toupper((unsigned char)bytes[mark]) == 'E') {
        size_t sign = spaces(bytes, length, mark + 1);
        size_t first = sign + (sign < length && (bytes[sign] == '+' || bytes[sign] == '-'));
        size_t last = digits(bytes, length, first);
        if (last > first) {
            long exponent = 0;
            for (size_t i = first; i < last && exponent <= EXPONENT_MOST; i++)
                exponent = exponent * 10 + (bytes[i] - '0');
            if (exponent > EXPONENT_MOST && *code == 0)
                *code = -123;
            end = last;
        }
    }
    if (end < length && *code == 0 && (bytes[end] == '.' || bytes[end] == '+' || bytes[end] == '-'))
        *code = -121;
    return end;
}

/* What the suffix multiplies by, 0 when it is not one of this unit. M is milli and MA mega, but for
 * ohms M is mega (IEEE 488.2 7.7.3; from memory). */
static double multiplier(const char *bytes, size_t length, const char *unit)
{
    static const struct {
        const char *prefix;
        double factor;
    } prefixes[] = {{"", 1},      {"K", 1e3},  {"M", 1e-3}, {"U", 1e-6}, {"N", 1e-9},
                    {"P", 1e-12}, {"MA", 1e6}, {"G", 1e9},  {"T", 1e12}};
    size_t size = strlen(unit);
    if (length < size || strncasecmp(bytes + length - size, unit, size) != 0)
        return 0;
    length -= size;
    if (strcmp(unit, "OHM") == 0 && length == 1 && toupper((unsigned char)bytes[0]) == 'M')
        return 1e6;
    for (size_t i = 0; i < sizeof prefixes / sizeof prefixes[0]; i++)
        if (strlen(prefixes[i].prefix) == length &&
            strncasecmp(bytes, prefixes[i].prefix, length) == 0)
            return prefixes[i].factor;
    return 0;
}

static bool is_letter(const struct argument *argument)
{
    return argument->length > 0 && isalpha((unsigned char)argument->bytes[0]);
}

static bool is_quote(const struct argument *argument)
{
    return argument->length > 0 && (argument->bytes[0] == '"' || argument->bytes[0] == '\'');
}

static bool limit_word(const struct argument *argument, const struct range *range, double *value)
{
    if (scpi_mnemonic("MINimum", argument->bytes, argument->length, NULL))
        *value = range->least;
    else if (scpi_mnemonic("MAXimum", argument->bytes, argument->length, NULL))
        *value = range->most;
    else if (scpi_mnemonic("DEFault", argument->bytes, argument->length, NULL))
        *value = range->usual;
    else
        return false;
    return true;
}

/* A bare number; `factor` is what its suffix says. 0, or the error. */
static int read_number(const struct argument *argument, const char *unit, double *value)
{
    const char *bytes = argument->bytes;
    int code;
    size_t end = number_extent(bytes, argument->length, &code);
    if (code != 0)
        return code;
    if (scpi_parameter(bytes, end, value) != SCPI_NUMBER)
        return -222; /* beyond what SCPI can say */
    size_t suffix = spaces(bytes, argument->length, end), length = argument->length - suffix;
    if (length == 0)
        return 0;
    if (length > SUFFIX_MOST)
        return -134;
    if (unit[0] == '\0')
        return -138;
    double factor = multiplier(bytes + suffix, length, unit);
    *value *= factor;
    return factor == 0 ? -131 : 0;
}

bool argument_number(const struct call *call, int index, const struct range *range, double *value)
{
    const struct argument *argument = &call->arguments[index];
    if (is_letter(argument))
        return limit_word(argument, range, value) || refuse(call, index, -148);
    if (is_quote(argument))
        return refuse(call, index, -158);
    int code = read_number(argument, range->unit, value);
    if (code == 0 && !(*value >= range->least && *value <= range->most))
        code = -222;
    return code == 0 || refuse(call, index, code);
}

/* --- the rest -------------------------------------------------------------------------------- */

bool argument_boolean(const struct call *call, int index, bool *value)
{
    const struct argument *argument = &call->arguments[index];
    double number;
    if (scpi_boolean(argument->bytes, argument->length, value))
        return true;
    if (is_letter(argument))
        return refuse(call, index, -224);
    if (is_quote(argument))
        return refuse(call, index, -158);
    int code = read_number(argument, "", &number);
    if (code != 0)
        return refuse(call, index, code);
    *value = round(number) != 0;
    return true;
}

bool argument_word(const struct call *call, int index, const char *const *patterns, int *which)
{
    const struct argument *argument = &call->arguments[index];
    if (is_quote(argument))
        return refuse(call, index, -158);
    if (!is_letter(argument))
        return refuse(call, index, -128);
    for (*which = 0; patterns[*which] != NULL; ++*which)
        if (scpi_mnemonic(patterns[*which], argument->bytes, argument->length, NULL))
            return true;
    return refuse(call, index, -224);
}

bool argument_string(const struct call *call, int index, char *out, size_t size)
{
    const struct argument *argument = &call->arguments[index];
    if (!is_quote(argument))
        return refuse(call, index, is_letter(argument) ? -148 : -128);
    return scpi_string(argument->bytes, argument->length, out, size) || refuse(call, index, -151);
}

void answer_number(const struct call *call, double value)
{
    scpi_add_number(call->answer, value);
}

void answer_boolean(const struct call *call, bool value)
{
    text_add(call->answer, value ? "1" : "0");
}

void answer_setting(const struct call *call, const struct range *range, double value)
{
    if (call->count > 0 && !limit_word(&call->arguments[0], range, &value)) {
        argument_trouble(call, 0, -224);
        return;
    }
    answer_number(call, value);
}
