/* Options, each in one table: name, what it wants, help, reader. */
#include "plan.h"

#include <errno.h>
#include <limits.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/quantity.h"

static int refuse(struct error *error, const char *what, const char *todo, const char *why)
{
    return error_set(error, ERROR_USAGE, what, todo, "%s", why);
}

static int read_whole(const char *text, long least, long most, long *value, struct error *error)
{
    char *end;
    errno = 0;
    *value = strtol(text, &end, 10);
    if (errno != 0 || end == text || *end != '\0' || *value < least || *value > most)
        return error_set(error, ERROR_USAGE, text, "correct the command line",
                         "it is no whole number from %ld to %ld", least, most);
    return 0;
}

static const struct kind *find_kind(const char *text, size_t length)
{
    for (int i = 0; kinds[i] != NULL; i++)
        if (strlen(kinds[i]->word) == length && strncmp(kinds[i]->word, text, length) == 0)
            return kinds[i];
    return NULL;
}

/* KIND=REST */
static int read_kind(const char *text, const struct kind **kind, const char **rest,
                     struct error *error)
{
    const char *equals = strchr(text, '=');
    *kind = equals != NULL ? find_kind(text, (size_t)(equals - text)) : NULL;
    if (*kind == NULL)
        return refuse(error, text, "see emulator --help for the kinds",
                      "it does not begin with a kind of instrument and =");
    *rest = equals + 1;
    return 0;
}

/* --- options --------------------------------------------------------------------------------- */

static int read_sets(struct plan *plan, const char *text, struct error *error)
{
    long sets;
    int failed = read_whole(text, 1, SETS_MOST, &sets, error);
    plan->sets = failed ? 1 : (int)sets;
    return failed;
}

static int read_positive(const char *text, double *value, struct error *error)
{
    char *end;
    *value = strtod(text, &end);
    if (end == text || *end != '\0' || !isfinite(*value) || *value <= 0)
        return refuse(error, text, "correct the command line", "it is no number above 0");
    return 0;
}

static int read_speed(struct plan *plan, const char *text, struct error *error)
{
    return read_positive(text, &plan->speed, error);
}

static int read_duration(struct plan *plan, const char *text, struct error *error)
{
    return read_positive(text, &plan->duration, error);
}

static int read_seed(struct plan *plan, const char *text, struct error *error)
{
    long seed;
    int failed = read_whole(text, 0, LONG_MAX, &seed, error);
    plan->seed = failed ? 0 : (uint64_t)seed;
    return failed;
}

static int read_chemistry(struct plan *plan, const char *text, struct error *error)
{
    plan->facts.profile = profile_find(text);
    if (plan->facts.profile == NULL)
        return refuse(error, text, "name one such as NiMH", "it is no chemistry known here");
    return 0;
}

static int read_rated(struct plan *plan, const char *text, struct error *error)
{
    return quantity_read(text, DIM_CHARGE, 0, &plan->facts.rated_charge, error);
}

static int read_control(struct plan *plan, const char *text, struct error *error)
{
    (void)error;
    plan->control = text;
    return 0;
}

static int read_log(struct plan *plan, const char *text, struct error *error)
{
    (void)error;
    plan->log = text;
    return 0;
}

static int read_bench_file(struct plan *plan, const char *text, struct error *error)
{
    (void)error;
    plan->bench_file = text;
    return 0;
}

static int read_world(struct plan *plan, const char *text, struct error *error)
{
    (void)error;
    plan->world = text;
    return 0;
}

static int read_tweak(struct plan *plan, const char *text, bool noise, struct error *error)
{
    struct tweak *tweak = &plan->tweaks[plan->tweak_count];
    struct quantity quantity;
    const char *rest;
    if (plan->tweak_count == TWEAKS_MOST)
        return refuse(error, text, "give fewer", "there are too many of these");
    int failed = read_kind(text, &tweak->kind, &rest, error);
    if (!failed)
        failed = quantity_parse(rest, &quantity, error);
    if (failed)
        return failed;
    switch (quantity.dimension) {
    case DIM_VOLTAGE: tweak->what = VOLTS; break;
    case DIM_CURRENT: tweak->what = AMPS; break;
    case DIM_POWER: tweak->what = WATTS; break;
    case DIM_TEMPERATURE_DIFFERENCE: tweak->what = CELSIUS; break;
    case DIM_RESISTANCE: tweak->what = OHMS; break;
    default:
        return refuse(error, text, "write it like meter=0.1mV", "it is in no unit of a reading");
    }
    tweak->noise = noise;
    tweak->value = fabs(quantity.value);
    plan->tweak_count++;
    return 0;
}

static int read_resolution(struct plan *plan, const char *text, struct error *error)
{
    return read_tweak(plan, text, false, error);
}

static int read_noise(struct plan *plan, const char *text, struct error *error)
{
    return read_tweak(plan, text, true, error);
}

/* --- the cells' truth ------------------------------------------------------------------------- */

/* Without losses: charge goes in and comes out whole. */
static void begin_truth(struct plan *plan)
{
    if (plan->has_truth)
        return;
    plan->has_truth = true;
    plan->truth = (struct simcell_truth){
        .capacity = 2.0 * 3600,
        .ocv_points = 1,
        .ocv = {1.25},
        .r0 = 0.025,
        .efficiency = 1,
        .knee = 1,
        .ambient = 20,
        .soc_new = 0.5,
    };
}

static int read_truth(struct plan *plan, const char *text, struct error *error)
{
    begin_truth(plan);
    struct simcell_truth *truth = &plan->truth;
    const struct {
        const char *name;
        enum dimension dimension;
        double *value;
    } keys[] = {
        {"capacity", DIM_CHARGE, &truth->capacity},
        {"open_circuit", DIM_VOLTAGE, &truth->ocv[0]},
        {"r0", DIM_RESISTANCE, &truth->r0},
        {"r1", DIM_RESISTANCE, &truth->r1},
        {"c1", DIM_NUMBER, &truth->c1},
        {"efficiency", DIM_RATIO, &truth->efficiency},
        {"knee", DIM_RATIO, &truth->knee},
        {"self_discharge", DIM_RATIO, &truth->self_discharge},
        {"heat_capacity", DIM_NUMBER, &truth->heat_capacity},
        {"heat_transfer", DIM_NUMBER, &truth->heat_transfer},
        {"ambient", DIM_TEMPERATURE, &truth->ambient},
        {"soc_new", DIM_RATIO, &truth->soc_new},
    };
    const char *equals = strchr(text, '=');
    size_t length = equals != NULL ? (size_t)(equals - text) : 0;
    for (size_t i = 0; i < sizeof keys / sizeof keys[0]; i++)
        if (length == strlen(keys[i].name) && strncmp(text, keys[i].name, length) == 0)
            return quantity_read(equals + 1, keys[i].dimension, 0, keys[i].value, error);
    return refuse(error, text, "write it like capacity=2Ah",
                  "no part of a cell's truth is named so");
}

static int read_soc(struct plan *plan, const char *text, struct error *error)
{
    int failed = quantity_read(text, DIM_RATIO, 0, &plan->soc, error);
    if (!failed && !(plan->soc >= 0 && plan->soc <= 1))
        return refuse(error, text, "give one from 0 % to 100 %", "no cell can be charged so");
    return failed;
}

/* --- endpoints -------------------------------------------------------------------------------- */

static int read_endpoint(struct plan *plan, const char *text, struct error *error)
{
    struct endpoint *endpoint = &plan->endpoints[plan->endpoint_count];
    const char *rest;
    long number = 0;
    if (plan->endpoint_count == ENDPOINTS_MOST)
        return refuse(error, text, "give fewer", "there are too many instruments");
    int failed = read_kind(text, &endpoint->kind, &rest, error);
    if (failed)
        return failed;
    for (int i = 0; i < plan->endpoint_count; i++)
        if (plan->endpoints[i].kind == endpoint->kind)
            return refuse(error, text, "name each kind once", "a set has one of each kind");
    if (strncmp(rest, "pty:", 4) == 0 && rest[4] != '\0') {
        endpoint->reach = REACH_PTY;
        endpoint->path = rest + 4;
    } else if (strncmp(rest, "tcp:", 4) == 0) {
        endpoint->reach = REACH_TCP;
        failed = read_whole(rest + 4, 0, 65535, &number, error);
    } else {
        return refuse(error, text, "write KIND=pty:PATH or KIND=tcp:PORT",
                      "it does not say where the instrument is reached");
    }
    endpoint->number = (int)number;
    plan->endpoint_count++;
    return failed;
}

static bool has_scanner(const struct plan *plan)
{
    for (int i = 0; i < plan->endpoint_count; i++)
        if (plan->endpoints[i].kind == &kind_scanner)
            return true;
    return false;
}

/* Once the number of sets is known. */
static int check_endpoint(const struct plan *plan, struct endpoint *endpoint, struct error *error)
{
    const char *what = endpoint->kind->word;
    bool board = endpoint->kind == &kind_relay || endpoint->kind == &kind_scanner;
    bool numbered = endpoint->reach == REACH_PTY && strchr(endpoint->path, '%') != NULL;
    bool behind_scanner = endpoint->kind == &kind_meter && has_scanner(plan);
    endpoint->shared = (board || behind_scanner) && !numbered;
    if (endpoint->kind == &kind_scanner && numbered)
        return refuse(error, what, "take the % out of its path", "one scanner serves all sets");
    if (endpoint->shared && plan->sets > RELAYS_MOST)
        return refuse(error, what, "serve fewer sets", "a board has 256 relays at most");
    if (plan->sets > 1 && !endpoint->shared && !numbered && endpoint->reach == REACH_PTY)
        return refuse(error, what, "put a % where the number of the set goes in its path",
                      "each set has one of its own");
    return 0;
}

/* --- the table -------------------------------------------------------------------------------- */

static const struct option {
    const char *name, *wants, *about;
    int (*read)(struct plan *plan, const char *text, struct error *error);
} options[] = {
    {"--sets", "N", "so many cells, each with its instruments [1]", read_sets},
    {"--speed", "X", "cell seconds in a real second [1]", read_speed},
    {"--chemistry", "NAME", "of the cells [NiMH]", read_chemistry},
    {"--rated", "CHARGE", "of the cells [2000 mAh]", read_rated},
    {"--seed", "N", "what sets the cells apart, and the noise [1]", read_seed},
    {"--soc", "RATIO", "state of charge to begin with [as bought]", read_soc},
    {"--truth", "KEY=VALUE", "a cell without losses; see simcell.h for the keys; again for more",
     read_truth},
    {"--resolution", "KIND=QUANTITY", "of readings, such as meter=0.1mV; again for more",
     read_resolution},
    {"--noise", "KIND=QUANTITY", "of readings, standard deviation; again for more", read_noise},
    {"--control", "PATH", "a Unix socket that faults are ordered on", read_control},
    {"--log", "FILE", "what truly happened, a line an event, added to", read_log},
    {"--bench-file", "FILE", "writes a bench file for what is served", read_bench_file},
    {"--world", "FILE", "keeps the cells there", read_world},
    {"--for", "SECONDS", "ends by itself", read_duration},
};

void plan_help(FILE *stream)
{
    fputs("emulator [OPTION ...] KIND=pty:PATH|KIND=tcp:PORT ...\n"
          "    serves virtual instruments that are wired to simulated cells.\n"
          "    % in a path is the number of the set; port 0 is one that is free.\n"
          "emulator --tell SOCKET WORD ...\n"
          "    orders a fault (see --tell SOCKET help).\n\nkinds:",
          stream);
    for (int i = 0; kinds[i] != NULL; i++)
        fprintf(stream, " %s", kinds[i]->word);
    fputs("\n\n", stream);
    for (size_t i = 0; i < sizeof options / sizeof options[0]; i++)
        fprintf(stream, "  %-12s %-14s %s\n", options[i].name, options[i].wants, options[i].about);
}

static int read_option(struct plan *plan, const char *name, const char *value, struct error *error)
{
    for (size_t i = 0; i < sizeof options / sizeof options[0]; i++) {
        if (strcmp(name, options[i].name) != 0)
            continue;
        if (value == NULL)
            return error_set(error, ERROR_USAGE, name, "add it", "it wants %s", options[i].wants);
        return options[i].read(plan, value, error);
    }
    return refuse(error, name, "see emulator --help", "there is no such option");
}

int plan_read(struct plan *plan, int argc, char **argv, struct error *error)
{
    int failed = 0;
    memset(plan, 0, sizeof *plan);
    plan->sets = 1;
    plan->speed = 1;
    plan->seed = 1;
    plan->soc = NAN;
    plan->facts.profile = profile_find("NiMH");
    plan->facts.rated_charge = 2.0 * 3600;
    string_copy(plan->facts.model, sizeof plan->facts.model, "Heron 2000");
    for (int i = 1; i < argc && !failed; i++) {
        if (strncmp(argv[i], "--", 2) != 0) {
            failed = read_endpoint(plan, argv[i], error);
        } else {
            failed = read_option(plan, argv[i], i + 1 < argc ? argv[i + 1] : NULL, error);
            i++;
        }
    }
    for (int i = 0; i < plan->endpoint_count && !failed; i++)
        failed = check_endpoint(plan, &plan->endpoints[i], error);
    if (!failed && plan->endpoint_count == 0)
        return refuse(error, "the command line", "add one such as supply=pty:/tmp/bench/supply",
                      "it names no instrument");
    return failed;
}
