/* perdure new: makes a logbook. */
#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <sys/random.h>

#include "base/clock.h"
#include "base/text.h"
#include "cli/cli.h"
#include "cli/workplace.h"

static int number_of(const char *text, uint64_t *seed, struct error *error)
{
    char *end;
    errno = 0;
    *seed = strtoull(text, &end, 10);
    if (*end || end == text || text[0] == '-' || errno)
        return error_set(error, ERROR_USAGE, text, "give a whole number, such as --seed 7",
                         "this is no seed");
    return 0;
}

static int run(const struct arguments *arguments, struct error *error)
{
    struct clock real;
    clock_open_real(&real);
    struct logbook_birth birth = {.created = clock_utc(&real),
                                  .clock = argument(arguments, "clock")};
    const char *from = argument(arguments, "from"), *seed = argument(arguments, "seed");
    if (clock_is_known(birth.clock, error))
        return error->code;
    if (from && (!birth.clock || strcmp(birth.clock, "virtual") != 0))
        return error_set(error, ERROR_USAGE, "--from", "add --clock virtual, or leave --from out",
                         "only a virtual clock begins on a date of your choice");
    char name[ZONE_NAME];
    struct zone *zone = NULL;
    birth.zone = argument(arguments, "zone");
    if (!birth.zone) /* days in virtual time are the same everywhere */
        birth.zone = birth.clock && strcmp(birth.clock, "virtual") == 0
                         ? zone_name(NULL)
                         : zone_of_machine("/etc", name);
    if (zone_open(&zone, birth.zone, error))
        return error->code;
    string_copy(name, sizeof name, zone_name(zone));
    birth.zone = name;
    int unread = from ? zone_parse(zone, from, &birth.created, error) : 0;
    zone_close(zone);
    if (unread)
        return unread;
    if (seed && number_of(seed, &birth.seed, error))
        return error->code;
    if (!seed && getrandom(&birth.seed, sizeof birth.seed, 0) < 0)
        return error_set(error, ERROR_INTERNAL, "seed", "give one with --seed",
                         "the system gave no random number: %s", strerror(errno));
    birth.seed &= INT64_MAX; /* SQLite's integers are signed */
    if (logbook_create(arguments->logbook, &birth, error))
        return error->code;
    if (arguments->json) {
        json_t *facts = json_pack("{s:s, s:I, s:s}", "logbook", arguments->logbook, "seed",
                                  (json_int_t)birth.seed, "zone", birth.zone);
        print_json(facts);
        json_decref(facts);
    } else {
        printf("made %s; its days are those of %s\nnext: perdure enrol --model NAME --chemistry "
               "NiMH --rated \"2000 mAh\" "
               "--labels A-01,A-02\n",
               arguments->logbook, birth.zone);
    }
    return 0;
}

static const struct option_spec options[] = {
    {"clock", "CLOCK",
     "real, virtual (days in seconds), or xN (N times as fast); else the first engine decides",
     false},
    {"from", "DATE", "the day on which a virtual clock begins, such as 2026-03-02", false},
    {"zone", "NAME",
     "whose calendar days and hours count, such as Europe/Berlin; else this machine's, and UTC "
     "with a virtual clock",
     false},
    {"seed", "N", "what every draw and every simulated cell follows from; else drawn", false},
    {NULL, NULL, NULL, false},
};

const struct verb verb_new = {"new", "", 0, 0, "makes a logbook", options, run};
