/* Zones, by way of GLib, which reads the database's files. One question is put to it, how far a
 * zone is ahead of UTC at an instant; all arithmetic is done here, on microseconds. */
#include "base/zone.h"

#include <glib.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/saturate.h"
#include "base/text.h"

#define DATABASE   "/usr/share/zoneinfo" /* unless TZDIR names another, as for the C library */
#define US_PER_DAY (86400 * US_PER_S)
/* No wall clock was ever farther from UTC: Manila's was 15:56 behind until 1844. */
#define FARTHEST (16 * 3600 * US_PER_S)

struct zone {
    GTimeZone *rules;
    char name[ZONE_NAME];
};

/* --- opening -------------------------------------------------------------------------------- */

static bool is_utc(const char *name)
{
    static const char *const names[] = {"UTC",     "UCT",     "Universal",     "Zulu",
                                        "Etc/UTC", "Etc/UCT", "Etc/Universal", "Etc/Zulu"};
    for (size_t i = 0; i < sizeof names / sizeof *names; i++)
        if (strcmp(name, names[i]) == 0)
            return true;
    return false;
}

/* A name and no path, offset or rule, all of which GLib would take as well. */
static bool is_name(const char *name)
{
    return ((name[0] >= 'A' && name[0] <= 'Z') || (name[0] >= 'a' && name[0] <= 'z')) &&
           name[strspn(name,
                       "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789_+-/")] ==
               '\0' &&
           strlen(name) < ZONE_NAME;
}

static const char *database(void)
{
    const char *other = getenv("TZDIR");
    return other && other[0] ? other : DATABASE;
}

/* Among the files there are some of other kinds, which GLib complains of aloud. */
static bool is_in_database(const char *name)
{
    struct text path = TEXT_EMPTY;
    char magic[4];
    text_addf(&path, "%s/%s", database(), name);
    FILE *file = fopen(path.bytes, "rbe");
    text_free(&path);
    bool there = file && fread(magic, sizeof magic, 1, file) == 1 && !memcmp(magic, "TZif", 4);
    if (file)
        fclose(file);
    return there;
}

int zone_open(struct zone **out, const char *name, struct error *error)
{
    char quoted[80];
    *out = NULL;
    if (is_utc(name))
        return 0;
    GTimeZone *rules =
        is_name(name) && is_in_database(name) ? g_time_zone_new_identifier(name) : NULL;
    if (!rules) {
        string_quote(name, quoted, sizeof quoted);
        if (is_name(name) && access(database(), R_OK) != 0)
            return error_set(error, ERROR_USAGE, quoted, "install the package tzdata, or say UTC",
                             "this machine has no time zone database in %s", database());
        return error_set(error, ERROR_USAGE, quoted,
                         "give a name of the IANA database, such as Europe/Berlin, or UTC",
                         "there is no such time zone");
    }
    *out = xcalloc(1, sizeof **out);
    (*out)->rules = rules;
    string_copy((*out)->name, sizeof(*out)->name, name);
    return 0;
}

void zone_close(struct zone *zone)
{
    if (!zone)
        return;
    g_time_zone_unref(zone->rules);
    free(zone);
}

const char *zone_name(const struct zone *zone)
{
    return zone ? zone->name : "UTC";
}

/* Takes the name if there is such a zone. */
static bool take(const char *name, char buffer[ZONE_NAME])
{
    struct zone *zone;
    struct error none;
    if (zone_open(&zone, name, &none))
        return false;
    string_copy(buffer, ZONE_NAME, zone_name(zone));
    zone_close(zone);
    return true;
}

static bool take_link(const char *etc, char buffer[ZONE_NAME])
{
    struct text path = TEXT_EMPTY;
    char target[256];
    text_addf(&path, "%s/localtime", etc);
    ssize_t length = readlink(path.bytes, target, sizeof target - 1);
    text_free(&path);
    target[length > 0 ? length : 0] = '\0';
    const char *in = strstr(target, "zoneinfo/");
    return in && take(in + strlen("zoneinfo/"), buffer);
}

static bool take_file(const char *etc, char buffer[ZONE_NAME])
{
    struct text path = TEXT_EMPTY;
    char line[ZONE_NAME];
    text_addf(&path, "%s/timezone", etc);
    FILE *file = fopen(path.bytes, "re");
    text_free(&path);
    bool read = file && fgets(line, sizeof line, file);
    if (file)
        fclose(file);
    if (!read)
        return false;
    line[strcspn(line, " \t\r\n")] = '\0';
    return take(line, buffer);
}

char *zone_of_machine(const char *etc, char buffer[ZONE_NAME])
{
    if (!take_link(etc, buffer) && !take_file(etc, buffer))
        string_copy(buffer, ZONE_NAME, "UTC");
    return buffer;
}

/* --- between instants and the wall clock ---------------------------------------------------- */

/* By how much the wall clock is ahead of UTC. */
static int64_t ahead(const struct zone *zone, utc_us instant)
{
    if (!zone)
        return 0;
    int64_t seconds = instant / US_PER_S - (instant % US_PER_S < 0);
    int interval = g_time_zone_find_interval(zone->rules, G_TIME_TYPE_UNIVERSAL, seconds);
    return interval < 0 ? 0 : g_time_zone_get_offset(zone->rules, interval) * US_PER_S;
}

civil_us zone_civil(const struct zone *zone, utc_us instant)
{
    return saturating_add(instant, ahead(zone, instant));
}

/* The clock reads `civil` at an instant not far from that same number. With the offset from before
 * a change of the clock it is the first of two; if neither that nor the one from after is right
 * the time does not exist, and the offset from before moves it by the length of the gap. */
utc_us zone_instant(const struct zone *zone, civil_us civil)
{
    int64_t before = ahead(zone, saturating_add(civil, -FARTHEST));
    int64_t after = ahead(zone, saturating_add(civil, FARTHEST));
    utc_us first = saturating_add(civil, -before), second = saturating_add(civil, -after);
    return ahead(zone, first) != before && ahead(zone, second) == after ? second : first;
}

utc_us zone_after(const struct zone *zone, utc_us from, const struct duration *duration)
{
    if (!zone || (duration->months == 0 && duration->days == 0))
        return duration_after(from, duration);
    struct duration civil = {.months = duration->months, .days = duration->days};
    struct duration rest = {.seconds = duration->seconds};
    utc_us day = zone_instant(zone, duration_after(zone_civil(zone, from), &civil));
    return duration_after(day, &rest);
}

utc_us zone_day(const struct zone *zone, utc_us instant, int days)
{
    civil_us civil = zone_civil(zone, instant), within = civil % US_PER_DAY;
    if (within < 0)
        within += US_PER_DAY;
    return zone_instant(zone, saturating_add(civil - within, days * US_PER_DAY));
}

/* --- texts ---------------------------------------------------------------------------------- */

int zone_parse(const struct zone *zone, const char *text, utc_us *out, struct error *error)
{
    bool civil;
    int code = civil_parse(text, out, &civil, error);
    if (!code && civil)
        *out = zone_instant(zone, *out);
    return code;
}

char *civil_format(civil_us civil, char *buffer, size_t size)
{
    utc_format(civil, buffer, size);
    size_t length = strlen(buffer);
    if (length && buffer[length - 1] == 'Z')
        buffer[length - 1] = '\0';
    return buffer;
}

char *zone_format(const struct zone *zone, utc_us instant, char *buffer, size_t size)
{
    char text[64], civil[48];
    if (!zone)
        return utc_format(instant, buffer, size);
    int64_t minutes = ahead(zone, instant) / US_PER_S / 60;
    civil_format(zone_civil(zone, instant), civil, sizeof civil);
    snprintf(text, sizeof text, "%s%c%02d:%02d", civil, minutes < 0 ? '-' : '+',
             (int)llabs(minutes) / 60, (int)llabs(minutes) % 60);
    string_copy(buffer, size, text);
    return buffer;
}
