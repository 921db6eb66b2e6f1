/* The texts of fields, read strictly: no separator, unit or blank is passed over. */
#include "cli/import_fields.h"

#include <ctype.h>
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"

bool import_bad(char *why, size_t size, const char *format, ...)
{
    va_list list;
    va_start(list, format);
    vsnprintf(why, size, format, list);
    va_end(list);
    return false;
}

bool import_number(const char *text, char decimal, const char *what, double *out, char *why,
                   size_t size)
{
    char plain[64], *end, quoted[48];
    size_t n = 0, digits = 0, marks = 0;
    const char other = decimal == ',' ? '.' : ',';
    for (const char *c = text; *c; c++) {
        digits += isdigit((unsigned char)*c) != 0;
        marks += *c == decimal;
        if (n == sizeof plain - 1)
            return import_bad(why, size, "%s: %s is no number", what,
                              string_quote(text, quoted, sizeof quoted));
        plain[n++] = *c == decimal ? '.' : *c;
        if (*c == other || *c == '\'' || (*c == ' ' && digits) || marks > 1)
            return import_bad(why, size,
                              "%s: %s has a thousands separator, or its decimal mark is not '%c'",
                              what, string_quote(text, quoted, sizeof quoted), decimal);
    }
    plain[n] = '\0';
    if (!n)
        return import_bad(why, size, "%s is empty", what);
    /* strtod alone would also take hexadecimal numbers, infinity and not-a-number. */
    if (strspn(plain, "0123456789.+-eE") != n || !digits) {
        bool none = strcasestr(plain, "nan") || strcasestr(plain, "inf");
        return import_bad(why, size, none ? "%s: %s is not a finite number" : "%s: %s is no number",
                          what, string_quote(text, quoted, sizeof quoted));
    }
    *out = strtod(plain, &end);
    if (*end || !isfinite(*out))
        return import_bad(why, size, "%s: %s is no number", what,
                          string_quote(text, quoted, sizeof quoted));
    return true;
}

bool import_hms(const char *text, char decimal, double *out, char *why, size_t size)
{
    char quoted[48];
    const char *first = strchr(text, ':'), *second = first ? strchr(first + 1, ':') : NULL;
    double seconds = 0;
    long hours = 0, minutes = 0;
    bool good = second && first > text && first - text <= 7 && second - first >= 2 &&
                second - first <= 3 && isdigit((unsigned char)second[1]);
    for (const char *c = text; good && c < second; c++)
        good = c == first || isdigit((unsigned char)*c);
    if (good) {
        hours = strtol(text, NULL, 10);
        minutes = strtol(first + 1, NULL, 10);
        good = minutes < 60 && import_number(second + 1, decimal, "time", &seconds, why, size) &&
               seconds < 60;
    }
    if (!good)
        return import_bad(why, size, "time: %s is not hours:minutes:seconds",
                          string_quote(text, quoted, sizeof quoted));
    *out = (double)hours * 3600 + (double)minutes * 60 + seconds;
    return true;
}

int import_date(const char *text, const struct zone *zone, utc_us *out, struct error *error)
{
    char copy[64];
    string_copy(copy, sizeof copy, text);
    if (strlen(copy) > 10 && copy[10] == ' ') /* as RFC 3339 allows it */
        copy[10] = 'T';
    return zone_parse(zone, copy, out, error);
}
