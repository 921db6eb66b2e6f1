/* Durations in a zone, with GNU date as the oracle, on random cases of which half end near a change
 * of the clock. Skipped, and said so, where GNU date or the time zone database is not there.
 *
 * Date is asked for two things only, both without conventions of its own: what calendar day comes
 * after so many months or days (in UTC), and what the clock of a zone shows at an instant. The
 * rule of zone.h is then checked by its definition:
 *   - the result shows the civil time that was to come, and no instant before shows the same; or
 *   - the clock skips that time: it shows `gap` too much at the result, and `gap` too little just
 *     as long before.
 * Date adds a month to Jan 31 as Mar 3, so it is given the day as it is after our own clamping (to
 * the last of the month that is come to), and confirms the rest. */
#include "support/cmocka_setup.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/random.h"
#include "base/zone.h"

#define CASES 10000
#define LINE  128
#define DAY   (86400 * US_PER_S)

static const char *const zones[] = {"Europe/Berlin",
                                    "America/New_York",
                                    "Australia/Lord_Howe",
                                    "Asia/Kathmandu",
                                    "America/Sao_Paulo",
                                    "Pacific/Apia",
                                    "UTC"};
#define ZONES ((int)(sizeof zones / sizeof *zones))

static const char *const durations[] = {"P1D", "P28D", "P42D", "P1M",   "P3M",
                                        "P6M", "P1Y",  "P2Y",  "PT36H", "P1DT12H"};
#define DURATIONS ((int)(sizeof durations / sizeof *durations))

/* Clocks have been put forward or back by these; the last is Apia's day. */
static const int64_t steps[] = {1800 * US_PER_S, 3600 * US_PER_S, DAY};
#define STEPS 3

struct trial {
    int zone;
    struct duration duration;
    utc_us from, day, end; /* day: after months and days, before seconds */
    civil_us civil;        /* what is to come, by date */
};

struct tally {
    int plain, skipped, doubled;
};

/* --- asking date ---------------------------------------------------------------------------- */

/* Every line of `questions` is a date; the answers are numbers, as many, in order. */
static bool ask_date(const char *zone, const char *format, const char *questions, int count,
                     int64_t *answers)
{
    char path[] = "/tmp/zone-oracle-XXXXXX", command[256], line[128];
    int file = mkstemp(path), got = 0;
    assert_true(file >= 0);
    assert_int_equal(write(file, questions, strlen(questions)), (ssize_t)strlen(questions));
    close(file);
    snprintf(command, sizeof command, "LC_ALL=C TZ=%s date -f %s '%s' 2>&1", zone, path, format);
    FILE *answer = popen(command, "r");
    assert_non_null(answer);
    while (fgets(line, sizeof line, answer)) {
        struct error error;
        bool civil;
        if (got == count || civil_parse(strtok(line, "\n"), &answers[got], &civil, &error))
            break;
        got++;
    }
    pclose(answer);
    unlink(path);
    return got == count;
}

/* What the clock of the zone shows at each instant, to the second. */
static bool ask_clock(const char *zone, const utc_us *instants, int count, civil_us *shown)
{
    size_t room = (size_t)count * 24 + 1, used = 0;
    char *questions = calloc(room, 1);
    for (int i = 0; i < count; i++)
        used += (size_t)snprintf(questions + used, room - used, "@%lld\n",
                                 (long long)(instants[i] / US_PER_S));
    bool told = ask_date(zone, "+%Y-%m-%dT%H:%M:%S", questions, count, shown);
    free(questions);
    return told;
}

/* --- cases ---------------------------------------------------------------------------------- */

/* The next change of the clock after `at`, to the second; only to choose interesting cases. */
static utc_us next_change(const struct zone *zone, utc_us at)
{
    int64_t ahead = zone_civil(zone, at) - at;
    for (int days = 0; days < 400; days++, at += DAY)
        if (zone_civil(zone, at + DAY) - (at + DAY) != ahead) {
            utc_us low = at, high = at + DAY;
            while (high - low > US_PER_S) {
                utc_us middle = low + (high - low) / 2 / US_PER_S * US_PER_S;
                *(zone_civil(zone, middle) - middle == ahead ? &low : &high) = middle;
            }
            return high;
        }
    return at;
}

static void choose(struct trial *t, const struct zone *zone, struct random *random)
{
    struct error error;
    utc_us first, last;
    assert_int_equal(
        duration_parse(durations[random_range(random, 0, DURATIONS - 1)], &t->duration, &error), 0);
    utc_parse("2005-01-01", &first, NULL);
    utc_parse("2035-01-01", &last, NULL);
    t->from = random_range(random, first / US_PER_S, last / US_PER_S) * US_PER_S;
    if (random_range(random, 0, 1)) {
        /* Back from near a change, on the wall clock. */
        utc_us change = next_change(zone, t->from);
        int64_t off = random_range(random, -3 * 3600, 3 * 3600) * US_PER_S;
        struct duration back = {.months = -t->duration.months, .days = -t->duration.days};
        t->from = back.months || back.days
                      ? zone_instant(zone, duration_after(zone_civil(zone, change) + off, &back))
                      : change + off; /* also the second of two */
    }
    struct duration days = {.months = t->duration.months, .days = t->duration.days};
    t->end = zone_after(zone, t->from, &t->duration);
    t->day = zone_after(zone, t->from, &days);
}

/* "2026-02-28 14:05:07 1 month 0 days": the day is clamped to the month that is come to. */
static void write_question(const struct trial *t, civil_us from, char *line, size_t size)
{
    static const int length[] = {31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
    char text[48];
    int year, month, day;
    civil_format(from, text, sizeof text);
    assert_int_equal(sscanf(text, "%d-%d-%d", &year, &month, &day), 3);
    int to = year * 12 + month - 1 + t->duration.months, to_year = to / 12;
    int last = length[to % 12] +
               (to % 12 == 1 && to_year % 4 == 0 && (to_year % 100 != 0 || to_year % 400 == 0));
    snprintf(line, size, "%04d-%02d-%02d %s %d months %d days\n", year, month,
             day < last ? day : last, text + 11, t->duration.months, t->duration.days);
}

/* The civil time that each trial is to come to. */
static bool ask_calendar(struct trial *trials, int count)
{
    civil_us *from = calloc((size_t)count, sizeof *from), *to = calloc((size_t)count, sizeof *to);
    utc_us *instants = calloc((size_t)count, sizeof *instants);
    char *questions = calloc((size_t)count, LINE), *at = questions;
    for (int i = 0; i < count; i++)
        instants[i] = trials[i].from;
    bool told = ask_clock(zones[trials[0].zone], instants, count, from);
    for (int i = 0; i < count && told; i++, at += strlen(at))
        write_question(&trials[i], from[i], at, LINE);
    told = told && ask_date("UTC", "+%Y-%m-%dT%H:%M:%S", questions, count, to);
    for (int i = 0; i < count && told; i++)
        trials[i].civil = to[i];
    free(questions);
    free(instants);
    free(from);
    free(to);
    return told;
}

/* --- the rule ------------------------------------------------------------------------------- */

static void blame(const struct trial *t, const char *why)
{
    char from[48], day[48], civil[48];
    fail_msg("%s: %s + %d months %d days is %s, for %s: %s", zones[t->zone],
             utc_format(t->from, from, sizeof from), t->duration.months, t->duration.days,
             utc_format(t->day, day, sizeof day), civil_format(t->civil, civil, sizeof civil), why);
}

static void check(const struct trial *t, const civil_us *shown, struct tally *tally)
{
    /* shown[0] at the day; then, a step each, so long before and after it. */
    int64_t gap = shown[0] - t->civil;
    if (t->end != t->day + (int64_t)(t->duration.seconds * US_PER_S))
        blame(t, "the seconds were not added on the absolute time line");
    if (t->duration.months == 0 && t->duration.days == 0) {
        if (t->day != t->from)
            blame(t, "there was nothing to count on the wall clock");
        return;
    }
    if (gap == 0) {
        bool doubled = false;
        for (int s = 0; s < STEPS; s++) {
            if (shown[1 + s] == t->civil)
                blame(t, "an earlier instant shows the same time");
            doubled |= shown[1 + STEPS + s] == t->civil;
        }
        tally->doubled += doubled;
        tally->plain += !doubled;
        return;
    }
    for (int s = 0; s < STEPS; s++)
        if (gap == steps[s] && shown[1 + s] == t->civil - gap) {
            tally->skipped++;
            return;
        }
    blame(t, "the clock does not skip that time");
}

static bool check_zone(int z, int count, struct random *random, struct tally *tally)
{
    struct trial *trials = calloc((size_t)count, sizeof *trials);
    const int each = 1 + 2 * STEPS;
    utc_us *instants = calloc((size_t)(count * each), sizeof *instants);
    civil_us *shown = calloc((size_t)(count * each), sizeof *shown);
    struct zone *zone;
    struct error error;
    bool told = !zone_open(&zone, zones[z], &error);
    for (int i = 0; i < count && told; i++) {
        struct trial *t = &trials[i];
        t->zone = z;
        choose(t, zone, random);
        utc_us *at = &instants[i * each];
        at[0] = t->day;
        for (int s = 0; s < STEPS; s++) {
            at[1 + s] = t->day - steps[s];
            at[1 + STEPS + s] = t->day + steps[s];
        }
    }
    told =
        told && ask_calendar(trials, count) && ask_clock(zones[z], instants, count * each, shown);
    for (int i = 0; i < count && told; i++)
        check(&trials[i], &shown[i * each], tally);
    zone_close(zone);
    free(trials);
    free(instants);
    free(shown);
    return told;
}

static void agrees_with_date(void **state)
{
    (void)state;
    struct random random;
    struct tally tally = {0};
    civil_us berlin = 0;
    random_seed(&random, 20260329);
    /* 2026-07-01T10:00Z is noon in Berlin: by a date that knows neither -f nor zones it is not. */
    if (!ask_clock(zones[0], &(utc_us){1782900000 * US_PER_S}, 1, &berlin) ||
        berlin != (1782900000LL + 7200) * US_PER_S) {
        print_message("skipped: no GNU date, or no time zone database\n");
        skip();
    }
    for (int z = 0; z < ZONES; z++)
        if (!check_zone(z, CASES / ZONES + 1, &random, &tally))
            fail_msg("%s: date did not answer", zones[z]);
    print_message("%d times that exist once, %d that do not exist, %d that exist twice\n",
                  tally.plain, tally.skipped, tally.doubled);
    /* Else the cases would not show what they are for. */
    assert_true(tally.skipped > 100 && tally.doubled > 100);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(agrees_with_date)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
