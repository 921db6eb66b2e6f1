/* Instants: civil dates to microseconds and back, reading and writing them, a duration later.
 * The Gregorian calendar is taken to hold for all years, and no second to leap. */
#include "base/calendar.h"

#include <stdbool.h>
#include <stdio.h>
#include <string.h>

#include "base/saturate.h"
#include "base/text.h"

#define US_PER_DAY       (86400 * US_PER_S)
#define DAYS_PER_ERA     146097 /* 400 years, after which the calendar repeats */
#define DAYS_PER_CENTURY 36524
#define DAYS_PER_4_YEARS 1461
#define DAYS_TO_EPOCH    719468 /* from 0000-03-01 to 1970-01-01 */

struct civil {
    int64_t year;
    int month, day; /* from 1 */
};

/* Division that rounds down, also below zero. */
static int64_t floor_div(int64_t a, int64_t b)
{
    return a / b - (a % b != 0 && (a < 0) != (b < 0));
}

/* The day an instant is in; *within receives the rest. By remainder, as the product of the first
 * day of all and its length is out of range. */
static int64_t day_of(utc_us instant, int64_t *within)
{
    *within = instant % US_PER_DAY;
    if (*within < 0)
        *within += US_PER_DAY;
    return floor_div(instant, US_PER_DAY);
}

/* Years are counted from March here, so that the leap day is the last of its year. A March-based
 * month m (0 to 11) starts on day (153 m + 2) / 5 of its year. */
static int64_t days_of_civil(struct civil civil)
{
    int64_t year = civil.month > 2 ? civil.year : civil.year - 1;
    int64_t era = floor_div(year, 400);
    int64_t of_era = year - era * 400;
    int64_t month = civil.month > 2 ? civil.month - 3 : civil.month + 9;
    int64_t day = (153 * month + 2) / 5 + civil.day - 1;
    return era * DAYS_PER_ERA + of_era * 365 + of_era / 4 - of_era / 100 + day - DAYS_TO_EPOCH;
}

/* Takes as many whole periods out of *day as fit, at most `limit`: the leap day at the end of a
 * period of years makes the last one longer than the rest. */
static int64_t take_periods(int64_t *day, int64_t length, int64_t limit)
{
    int64_t count = *day / length < limit ? *day / length : limit;
    *day -= count * length;
    return count;
}

static struct civil civil_of_days(int64_t days)
{
    int64_t from_march = days + DAYS_TO_EPOCH;
    int64_t era = floor_div(from_march, DAYS_PER_ERA);
    int64_t day = from_march - era * DAYS_PER_ERA;
    int64_t year = era * 400;
    year += 100 * take_periods(&day, DAYS_PER_CENTURY, 3);
    year += 4 * take_periods(&day, DAYS_PER_4_YEARS, 24);
    year += take_periods(&day, 365, 3);
    int64_t month = (5 * day + 2) / 153;
    struct civil civil = {
        .year = year + (month >= 10),
        .month = (int)(month < 10 ? month + 3 : month - 9),
        .day = (int)(day - (153 * month + 2) / 5 + 1),
    };
    return civil;
}

static int days_in_month(int64_t year, int month)
{
    static const int days[] = {31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
    bool leap = year % 4 == 0 && (year % 100 != 0 || year % 400 == 0);
    return days[month - 1] + (month == 2 && leap);
}

static utc_us instant_of(int64_t days, int64_t within_day)
{
    int64_t us;
    if (__builtin_mul_overflow(days, (int64_t)US_PER_DAY, &us))
        return days > 0 ? INT64_MAX : INT64_MIN;
    return saturating_add(us, within_day);
}

utc_us duration_after(utc_us from, const struct duration *duration)
{
    int64_t within_day, days = day_of(from, &within_day);
    if (duration->months != 0) {
        struct civil civil = civil_of_days(days);
        int64_t months = civil.year * 12 + civil.month - 1 + duration->months;
        civil.year = floor_div(months, 12);
        civil.month = (int)(months - civil.year * 12) + 1;
        int last = days_in_month(civil.year, civil.month);
        civil.day = civil.day < last ? civil.day : last;
        days = days_of_civil(civil);
    }
    return saturating_add(instant_of(days + duration->days, within_day),
                          saturating_round(duration->seconds * US_PER_S));
}

static int fail(const char *text, struct error *error, const char *why)
{
    char quoted[80];
    return error_set(error, ERROR_USAGE, string_quote(text, quoted, sizeof quoted),
                     "write a date such as 2026-03-02 or 2026-03-02T08:00Z", "%s", why);
}

/* Reads exactly `count` digits. */
static bool read_digits(const char **at, int count, int *value)
{
    *value = 0;
    for (int i = 0; i < count; i++, (*at)++) {
        if (**at < '0' || **at > '9')
            return false;
        *value = *value * 10 + (**at - '0');
    }
    return true;
}

static bool read_letter(const char **at, char letter)
{
    bool there = **at == letter;
    *at += there;
    return there;
}

static bool read_date(const char **at, struct civil *civil)
{
    int year, month, day;
    if (!read_digits(at, 4, &year) || !read_letter(at, '-') || !read_digits(at, 2, &month) ||
        !read_letter(at, '-') || !read_digits(at, 2, &day))
        return false;
    *civil = (struct civil){year, month, day};
    return true;
}

/* Reads hh:mm, hh:mm:ss or hh:mm:ss.fff as microseconds of the day; decimals beyond the sixth are
 * cut off. Returns the reason when it cannot. */
static const char *read_time(const char **at, int64_t *us)
{
    int hour, minute, second = 0;
    int64_t fraction = 0;
    if (!read_digits(at, 2, &hour) || !read_letter(at, ':') || !read_digits(at, 2, &minute))
        return "the time is not written hh:mm or hh:mm:ss";
    if (read_letter(at, ':')) {
        if (!read_digits(at, 2, &second))
            return "the time is not written hh:mm or hh:mm:ss";
        if (**at == '.' || **at == ',') {
            int digit, count = 0;
            for ((*at)++; read_digits(at, 1, &digit); count++)
                if (count < 6)
                    fraction = fraction * 10 + digit;
            if (count == 0)
                return "there is no digit after the decimal mark";
            for (; count < 6; count++)
                fraction *= 10;
        }
    }
    if (hour > 23 || minute > 59)
        return "there is no such time of day";
    if (second > 59)
        return second == 60 ? "leap seconds are not kept" : "there is no such time of day";
    *us = (((int64_t)hour * 60 + minute) * 60 + second) * US_PER_S + fraction;
    return NULL;
}

/* Reads Z, +hh:mm, +hhmm or +hh as microseconds ahead of UTC. */
static const char *read_zone(const char **at, int64_t *us)
{
    int hour, minute = 0;
    *us = 0;
    if (read_letter(at, 'Z'))
        return NULL;
    bool behind = **at == '-';
    if (!read_letter(at, '-') && !read_letter(at, '+'))
        return "the time is followed by neither Z nor an offset such as +01:00";
    if (!read_digits(at, 2, &hour))
        return "the offset from UTC is not written +hh:mm";
    bool colon = read_letter(at, ':');
    if ((colon || **at != '\0') && !read_digits(at, 2, &minute))
        return "the offset from UTC is not written +hh:mm";
    if (hour > 23 || minute > 59)
        return "there is no such offset from UTC";
    *us = ((int64_t)hour * 60 + minute) * 60 * US_PER_S * (behind ? -1 : 1);
    return NULL;
}

enum written { DATE_ALONE, WITHOUT_ZONE, WITH_ZONE };

/* Without a zone *out is as if it were UTC. */
static int parse(const char *text, int64_t *out, enum written *as, struct error *error)
{
    const char *at = text != NULL ? text : "";
    struct civil civil;
    int64_t within_day = 0, ahead = 0;
    char why[80];
    at += strspn(at, " \t");
    if (!read_date(&at, &civil))
        return fail(text, error, "does not start with a date written YYYY-MM-DD");
    if (civil.month < 1 || civil.month > 12)
        return fail(text, error, "the month is not 01 to 12");
    if (civil.day < 1 || civil.day > days_in_month(civil.year, civil.month)) {
        snprintf(why, sizeof why, "%04d-%02d has the days 01 to %d", (int)civil.year, civil.month,
                 days_in_month(civil.year, civil.month));
        return fail(text, error, why);
    }
    *as = DATE_ALONE;
    if (read_letter(&at, 'T')) {
        const char *reason = read_time(&at, &within_day);
        *as = at[strspn(at, " \t")] == '\0' ? WITHOUT_ZONE : WITH_ZONE;
        if (reason == NULL && *as == WITH_ZONE)
            reason = read_zone(&at, &ahead);
        if (reason != NULL)
            return fail(text, error, reason);
    }
    if (at[strspn(at, " \t")] != '\0')
        return fail(text, error, "has something left over at its end");
    *out = days_of_civil(civil) * US_PER_DAY + within_day - ahead;
    return 0;
}

int utc_parse(const char *text, utc_us *out, struct error *error)
{
    enum written as;
    utc_us instant;
    if (parse(text, &instant, &as, error) != 0)
        return ERROR_USAGE;
    if (as == WITHOUT_ZONE)
        return fail(
            text, error,
            "the time has no zone: end it with Z for UTC, or with an offset such as +01:00");
    *out = instant;
    return 0;
}

int civil_parse(const char *text, int64_t *out, bool *civil, struct error *error)
{
    enum written as;
    if (parse(text, out, &as, error) != 0)
        return ERROR_USAGE;
    *civil = as != WITH_ZONE;
    return 0;
}

char *utc_format(utc_us instant, char *buffer, size_t size)
{
    int64_t within;
    struct civil civil = civil_of_days(day_of(instant, &within));
    int second = (int)(within / US_PER_S), fraction = (int)(within % US_PER_S);
    char decimals[12] = "", text[64];
    if (fraction % 1000 != 0)
        snprintf(decimals, sizeof decimals, ".%06d", fraction);
    else if (fraction != 0)
        snprintf(decimals, sizeof decimals, ".%03d", fraction / 1000);
    /* Outside four digits the standard wants a sign and agreed digits: six hold any instant
     * here. */
    bool expanded = civil.year < 0 || civil.year > 9999;
    snprintf(text, sizeof text,
             expanded ? "%+07lld-%02d-%02dT%02d:%02d:%02d%sZ"
                      : "%04lld-%02d-%02dT%02d:%02d:%02d%sZ",
             (long long)civil.year, civil.month, civil.day, second / 3600, second / 60 % 60,
             second % 60, decimals);
    string_copy(buffer, size, text);
    return buffer;
}
