/* Puts up what the plan asks for, set by set. */
#include "house.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define BEGIN 1772438400000000LL /* 2026-03-02T08:00Z, of cells that have not lived yet */

utc_us house_now(const struct house *house)
{
    return pace_at(&house->pace, monotonic_us());
}

static int open_sets(struct house *house, struct error *error)
{
    const struct plan *plan = house->plan;
    house->sets = xcalloc((size_t)plan->sets, sizeof(struct cell_set));
    for (int i = 0; i < plan->sets; i++) {
        struct cell_facts facts = plan->facts;
        struct simcell_truth truth = plan->truth;
        snprintf(facts.label, sizeof facts.label, "cell-%d", i + 1);
        facts.seed = seed_for(plan->seed, facts.label);
        if (!plan->has_truth) {
            simcell_truth_typical(&truth, &facts);
            truth.noise_voltage = truth.noise_temperature = 0; /* is the instruments' own here */
        }
        if (!isnan(plan->soc))
            truth.soc_new = plan->soc;
        house->sets[i].number = i + 1;
        house->sets[i].cell = world_cell(house->world, &facts, &truth, house->pace.begin, error);
        if (house->sets[i].cell == NULL)
            return ERROR_BENCH;
        house->sets[i].cell->drive = DRIVE_NOTHING; /* no output survives a power-on */
    }
    return 0;
}

static void set_tweaks(const struct plan *plan, struct instrument *instrument)
{
    for (int i = 0; i < plan->tweak_count; i++) {
        const struct tweak *tweak = &plan->tweaks[i];
        if (tweak->kind == instrument->kind)
            (tweak->noise ? instrument->noise : instrument->resolution)[tweak->what] = tweak->value;
    }
}

/* The path with the set's number for every %. */
static char *numbered(const char *path, int number)
{
    struct text text = TEXT_EMPTY;
    if (path == NULL)
        return NULL;
    for (; *path != '\0'; path++) {
        if (*path == '%')
            text_addf(&text, "%d", number);
        else
            text_add_bytes(&text, path, 1);
    }
    return text.bytes;
}

static int open_one(struct house *house, const struct endpoint *endpoint, int number,
                    struct cell_set **sets, int count, struct error *error)
{
    struct instrument *instrument = &house->instruments[house->instrument_count++];
    int port = endpoint->number > 0 ? endpoint->number + number - 1 : 0;
    instrument_init(instrument, endpoint->kind, number, sets, count, house->record,
                    house->plan->seed);
    instrument->through_scanner = endpoint->shared && endpoint->kind == &kind_meter;
    set_tweaks(house->plan, instrument);
    char *path = numbered(endpoint->path, number);
    int failed = ports_add(house->ports, instrument, endpoint->reach, path, port, error);
    free(path);
    return failed;
}

static int open_endpoint(struct house *house, const struct endpoint *endpoint, struct error *error)
{
    int sets = house->plan->sets, failed = 0;
    struct cell_set **all = xcalloc((size_t)sets, sizeof(struct cell_set *));
    for (int i = 0; i < sets; i++)
        all[i] = &house->sets[i];
    if (endpoint->shared)
        failed = open_one(house, endpoint, 1, all, sets, error);
    for (int i = 0; i < sets && !endpoint->shared && !failed; i++)
        failed = open_one(house, endpoint, i + 1, &all[i], 1, error);
    free(all);
    return failed;
}

static int open_parts(struct house *house, struct error *error)
{
    const struct plan *plan = house->plan;
    int failed = world_open(&house->world, plan->world, error);
    if (!failed && plan->log != NULL)
        failed = record_open(&house->record, plan->log, error);
    if (failed)
        return failed;
    utc_us latest = world_latest(house->world);
    house->pace = (struct pace){plan->speed, latest > BEGIN ? latest : BEGIN, monotonic_us()};
    house->ports = ports_new(house->loop, &house->pace);
    failed = open_sets(house, error);
    size_t most = (size_t)(plan->sets * plan->endpoint_count);
    house->instruments = xcalloc(most, sizeof(struct instrument));
    for (int i = 0; i < plan->endpoint_count && !failed; i++)
        failed = open_endpoint(house, &plan->endpoints[i], error);
    return failed;
}

int house_open(struct house *house, const struct plan *plan, struct loop *loop, struct error *error)
{
    memset(house, 0, sizeof *house);
    house->plan = plan;
    house->loop = loop;
    int failed = open_parts(house, error);
    if (failed)
        house_close(house);
    return failed;
}

void house_close(struct house *house)
{
    if (house->ports != NULL)
        ports_free(house->ports);
    for (int i = 0; i < house->instrument_count; i++)
        instrument_free(&house->instruments[i]);
    free(house->instruments);
    free(house->sets);
    world_close(house->world);
    record_close(house->record);
}

void house_advance(struct house *house)
{
    utc_us now = house_now(house);
    for (int i = 0; i < house->instrument_count; i++)
        instrument_advance(&house->instruments[i], now);
}

void house_print(const struct house *house, FILE *stream)
{
    for (int i = 0; i < ports_count(house->ports); i++) {
        const struct port *port = ports_at(house->ports, i);
        const char *name = port_instrument(port)->name, *device = port_device(port);
        if (port_reach(port) == REACH_PTY)
            fprintf(stream, "%s pty %s %s\n", name, port_place(port), device ? device : "-");
        else
            fprintf(stream, "%s tcp %s\n", name, port_place(port));
    }
}
