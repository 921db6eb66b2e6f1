/* TARGET ORDER [VALUE] [once | N times], and what the orders do. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "control.h"

#define WORDS_MOST 8

struct order {
    struct house *house;
    struct text *reply;
    double value; /* NAN: none given */
    int times;    /* -1: until cleared */
};

/* --- what is done to one instrument ----------------------------------------------------------- */

static bool hang_up(struct order *order, int i)
{
    port_hang_up(ports_at(order->house->ports, i), isnan(order->value) ? 0 : order->value);
    return true;
}

static bool come_back(struct order *order, int i)
{
    struct error error;
    if (port_return(ports_at(order->house->ports, i), &error) == 0)
        return true;
    text_addf(order->reply, "error: %s: %s\n", error.what, error.why);
    return false;
}

static bool queue_error(struct order *order, int i)
{
    int code = isnan(order->value) ? -240 : (int)order->value;
    struct instrument *instrument = &order->house->instruments[i];
    for (int n = order->times > 0 ? order->times : 1; n > 0; n--)
        instrument_trouble(instrument, code, NULL);
    record_add(instrument->record, instrument->name, "fault queue-error");
    return true;
}

static bool heat(struct order *order, int i)
{
    instrument_advance(&order->house->instruments[i], house_now(order->house));
    instrument_heat(&order->house->instruments[i], order->times < 0);
    return true;
}

static bool clear(struct order *order, int i)
{
    struct instrument *instrument = &order->house->instruments[i];
    memset(&instrument->faults, 0, sizeof instrument->faults);
    instrument_cool(instrument);
    return true;
}

static bool show(struct order *order, int i)
{
    struct instrument *instrument = &order->house->instruments[i];
    const struct port *port = ports_at(order->house->ports, i);
    text_addf(order->reply, "%s %s %s %s errors %d", instrument->name, port_place(port),
              port_is_up(port) ? "up" : "hung-up", instrument->tripped ? "tripped" : "well",
              instrument->status.count);
    for (int kind = 0; kind < FAULT_COUNT; kind++)
        if (fault_is_set(&instrument->faults, (enum fault_kind)kind))
            text_addf(order->reply, " %s", fault_word((enum fault_kind)kind));
    text_add(order->reply, "\n");
    return true;
}

static const struct act {
    const char *word, *about;
    bool (*run)(struct order *order, int instrument);
} acts[] = {
    {"hangup", "the line goes; VALUE: comes back by itself after so many s", hang_up},
    {"return", "the line comes back, a terminal as another device", come_back},
    {"queue-error", "an error in its queue; VALUE: which [-240]", queue_error},
    {"over-temperature", "output off, held off; once: it has cooled again at once", heat},
    {"clear", "no fault any more", clear},
    {"show", "how it is", show},
};

static bool set_fault(struct order *order, int i, enum fault_kind kind)
{
    struct instrument *instrument = &order->house->instruments[i];
    instrument->faults.each[kind].left = order->times;
    instrument->faults.each[kind].value =
        isnan(order->value) ? fault_usual_value(kind) : order->value;
    return true;
}

/* --- what is done to a cell ------------------------------------------------------------------- */

static void show_cell(struct order *order, const struct cell_set *set)
{
    struct terminal at = set_at_cell(set);
    const struct simcell *cell = set->cell;
    text_addf(
        order->reply,
        "cell-%d %s volts %.9g amps %.9g degC %.6g soc %.9g charge_Ah %.9g capacity_Ah %.9g\n",
        set->number,
        set->cell_out   ? "out"
        : set->reversed ? "reversed"
                        : "in",
        at.volts, at.amps, set_temperature(set), cell->charge / simcell_capacity(cell),
        cell->charge / 3600, simcell_capacity(cell) / 3600);
}

static bool act_on_cell(struct order *order, struct cell_set *set, const char *word)
{
    set_advance(set, house_now(order->house));
    if (strcmp(word, "show") == 0) {
        show_cell(order, set);
        return true;
    }
    if (strcmp(word, "out") != 0 && strcmp(word, "in") != 0 && strcmp(word, "reversed") != 0) {
        text_addf(order->reply, "error: %s is nothing that is done to a cell\n", word);
        return false;
    }
    set->cell_out = strcmp(word, "out") == 0;
    set->reversed = strcmp(word, "reversed") == 0;
    set_changed(set);
    char name[24];
    snprintf(name, sizeof name, "cell-%d", set->number);
    record_add(order->house->record, name, "%s", word);
    return true;
}

/* --- words ------------------------------------------------------------------------------------ */

static void help(struct text *reply)
{
    text_add(reply, "TARGET ORDER [VALUE] [once | N times]; without: until cleared\n"
                    "TARGET: a name (supply-1), a kind (supply), set-N, cell-N, all\n");
    for (size_t i = 0; i < sizeof acts / sizeof acts[0]; i++)
        text_addf(reply, "  %-16s %s\n", acts[i].word, acts[i].about);
    for (int kind = 0; kind < FAULT_COUNT; kind++)
        text_addf(reply, "  %-16s %s [%g]\n", fault_word((enum fault_kind)kind),
                  fault_about((enum fault_kind)kind), fault_usual_value((enum fault_kind)kind));
    text_add(reply, "  cell-N out, cell-N in, cell-N reversed, cell-N show; list, quit, help\n");
}

static bool is_target(const struct instrument *instrument, const char *target)
{
    char set[24];
    if (strcmp(target, "all") == 0 || strcmp(target, instrument->name) == 0 ||
        strcmp(target, instrument->kind->word) == 0)
        return true;
    snprintf(set, sizeof set, "set-%d", instrument->sets[0]->number);
    return instrument->set_count == 1 && strcmp(target, set) == 0;
}

static bool act_on(struct order *order, int i, const char *word)
{
    for (size_t a = 0; a < sizeof acts / sizeof acts[0]; a++)
        if (strcmp(acts[a].word, word) == 0)
            return acts[a].run(order, i);
    int kind = fault_find(word);
    if (kind < FAULT_COUNT)
        return set_fault(order, i, (enum fault_kind)kind);
    text_addf(order->reply, "error: there is no order %s; see help\n", word);
    return false;
}

static bool act_on_all(struct order *order, const char *target, const char *word)
{
    int found = 0;
    if (strncmp(target, "cell-", 5) == 0) {
        for (int i = 0; i < order->house->plan->sets; i++)
            if (atoi(target + 5) == order->house->sets[i].number)
                return act_on_cell(order, &order->house->sets[i], word);
    }
    for (int i = 0; i < order->house->instrument_count; i++) {
        if (!is_target(&order->house->instruments[i], target))
            continue;
        if (!act_on(order, i, word))
            return false;
        found++;
    }
    if (found == 0)
        text_addf(order->reply, "error: nothing here is called %s; see list\n", target);
    ports_stir(order->house->ports);
    return found > 0;
}

/* [VALUE] [once | N times] */
static bool read_rest(struct order *order, char **words, int count)
{
    int at = 0;
    char *end;
    order->value = NAN;
    order->times = -1;
    bool value_next = count > 0 && strcmp(words[0], "once") != 0 &&
                      !(count > 1 && strcmp(words[1], "times") == 0);
    if (value_next) {
        order->value = strtod(words[at], &end);
        if (*end != '\0' || !isfinite(order->value))
            goto wrong;
        at++;
    }
    if (at < count && strcmp(words[at], "once") == 0) {
        order->times = 1;
        at++;
    } else if (at + 1 < count && strcmp(words[at + 1], "times") == 0) {
        order->times = atoi(words[at]);
        at += 2;
    }
    if (at == count && order->times != 0)
        return true;
wrong:
    text_add(order->reply, "error: after the order comes [VALUE] [once | N times]\n");
    return false;
}

void control_order(struct house *house, const char *line, struct text *reply, bool *quit)
{
    struct order order = {.house = house, .reply = reply};
    char *copy = xstrdup(line), *save = NULL, *words[WORDS_MOST];
    int count = 0;
    bool done;
    for (char *word = strtok_r(copy, " \t\r", &save); word != NULL && count < WORDS_MOST;
         word = strtok_r(NULL, " \t\r", &save))
        words[count++] = word;
    if (count == 1 && strcmp(words[0], "list") == 0) {
        for (int i = 0; i < house->instrument_count; i++)
            show(&order, i);
        done = true;
    } else if (count == 1 && strcmp(words[0], "quit") == 0) {
        done = *quit = true;
    } else if (count < 2) {
        help(reply);
        done = count == 1 && strcmp(words[0], "help") == 0;
        if (!done)
            text_add(reply, "error: an order has a target and a word\n");
    } else {
        done = read_rest(&order, words + 2, count - 2) && act_on_all(&order, words[0], words[1]);
    }
    if (done)
        text_add(reply, "ok\n");
    free(copy);
}
