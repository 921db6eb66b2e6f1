/* Boards of relays, all open until closed. On a relay board, number N lies between the power
 * terminals and the cell of its Nth set; on a scanner, between the cell and the meter that the sets
 * share. */
#include <ctype.h>
#include <string.h>

#include "message.h"

static bool is_open(const struct instrument *instrument, int number)
{
    const struct cell_set *set = instrument->sets[number - 1];
    return instrument->kind == &kind_scanner ? !set->scanned : set->relay_open;
}

/* Two cells at one meter are joined to each other: worth a line on record. */
static void look_for_conflict(struct instrument *instrument, int number)
{
    for (int i = 1; i <= instrument->set_count; i++)
        if (i != number && !is_open(instrument, i))
            record_add(instrument->record, instrument->name, "conflict %d %d", i, number);
}

static void relay(struct instrument *instrument, int number, bool open)
{
    struct cell_set *set = instrument->sets[number - 1];
    if (is_open(instrument, number) == open)
        return;
    if (instrument->kind == &kind_scanner) {
        set->scanned = !open;
        if (!open)
            look_for_conflict(instrument, number);
    } else {
        set->relay_open = open;
        set_changed(set);
    }
    record_add(instrument->record, instrument->name, "%s %d", open ? "opened" : "closed", number);
}

static void open_all(struct instrument *instrument)
{
    for (int i = 1; i <= instrument->set_count; i++)
        relay(instrument, i, true);
}

/* --- channel lists: (@1,3:5), SCPI-1999 volume 1, 8.3.2 (from memory) ------------------------- */

struct channel_list {
    int count;
    int numbers[RELAYS_MOST];
};

static bool read_relay(const char **at, const char *end, long *number)
{
    *number = 0;
    if (*at == end || !isdigit((unsigned char)**at))
        return false;
    for (; *at < end && isdigit((unsigned char)**at) && *number < 100000; ++*at)
        *number = *number * 10 + (**at - '0');
    return true;
}

/* One entry, N or N:M. 0, or the error. */
static int read_entry(const char **at, const char *end, int most, struct channel_list *list)
{
    long first, last;
    if (!read_relay(at, end, &first))
        return -171;
    last = first;
    if (*at < end && **at == ':') {
        ++*at;
        if (!read_relay(at, end, &last))
            return -171;
    }
    if (first < 1 || last > most || last < first)
        return -222;
    for (; first <= last; first++) {
        if (list->count == RELAYS_MOST)
            return -222;
        list->numbers[list->count++] = (int)first;
    }
    return 0;
}

static bool read_list(const struct call *call, struct channel_list *list)
{
    const char *at = call->arguments[0].bytes, *end = at + call->arguments[0].length;
    int code = 0;
    list->count = 0;
    if (end - at < 4 || memcmp(at, "(@", 2) != 0 || end[-1] != ')')
        code = -171;
    for (at += 2, end--; code == 0;) {
        code = read_entry(&at, end, call->instrument->set_count, list);
        if (at == end || code != 0)
            break;
        code = *at++ == ',' ? 0 : -171;
    }
    if (code != 0)
        argument_trouble(call, 0, code);
    return code == 0;
}

/* --- commands -------------------------------------------------------------------------------- */

enum { CLOSE, OPEN };

static void switch_relays(const struct call *call)
{
    struct channel_list list;
    if (!read_list(call, &list))
        return;
    for (int i = 0; i < list.count; i++)
        relay(call->instrument, list.numbers[i], call->which == OPEN);
}

static void ask_relays(const struct call *call)
{
    struct channel_list list;
    if (!read_list(call, &list))
        return;
    for (int i = 0; i < list.count; i++) {
        bool open = is_open(call->instrument, list.numbers[i]);
        text_add(call->answer, i > 0 ? "," : "");
        answer_boolean(call, open == (call->which == OPEN));
    }
}

static void switch_all_open(const struct call *call)
{
    open_all(call->instrument);
}

static void ask_closed(const struct call *call)
{
    const char *comma = "";
    text_add(call->answer, "(@");
    for (int i = 0; i < call->instrument->set_count; i++) {
        if (is_open(call->instrument, i + 1))
            continue;
        text_addf(call->answer, "%s%d", comma, i + 1);
        comma = ",";
    }
    text_add(call->answer, ")");
}

static const struct command commands[] = {
    {"[ROUTe:]CLOSe", 1, 1, switch_relays, CLOSE},
    {"[ROUTe:]CLOSe?", 1, 1, ask_relays, CLOSE},
    {"[ROUTe:]OPEN", 1, 1, switch_relays, OPEN},
    {"[ROUTe:]OPEN?", 1, 1, ask_relays, OPEN},
    {"[ROUTe:]OPEN:ALL", 0, 0, switch_all_open, 0},
    {"[ROUTe:]CLOSe:STATe?", 0, 0, ask_closed, 0},
    {NULL, 0, 0, NULL, 0},
};

const struct kind kind_relay = {
    .word = "relay",
    .model = "SR-1",
    .commands = commands,
    .reset = open_all,
};

const struct kind kind_scanner = {
    .word = "scanner",
    .model = "SR-2",
    .commands = commands,
    .reset = open_all,
};
