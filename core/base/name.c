/* Shortening names, so that they can still be told apart. */
#include "base/name.h"

#include <stdlib.h>
#include <string.h>

#define ELLIPSIS "\xe2\x80\xa6"
#define END_CUT  0
#define MIDDLE   SIZE_MAX /* the name's own end behind its beginning */

/* Every byte that does not go on with the letter before begins one. */
static size_t letter_bytes(const char *at)
{
    size_t bytes = 1;
    while (((unsigned char)at[bytes] & 0xc0) == 0x80)
        bytes++;
    return bytes;
}

size_t name_letters(const char *name)
{
    size_t letters = 0;
    for (; *name != '\0'; name += letter_bytes(name))
        letters++;
    return letters;
}

struct ruler {
    double room;
    name_width *width;
    const void *how;
};

static double width_of(const struct ruler *ruler, const char *at, size_t bytes)
{
    return ruler->width != NULL ? ruler->width(at, bytes, ruler->how) : 1;
}

static double width_of_all(const struct ruler *ruler, const char *at)
{
    double width = 0;
    for (size_t bytes; *at != '\0'; at += bytes) {
        bytes = letter_bytes(at);
        width += width_of(ruler, at, bytes);
    }
    return width;
}

/* Bytes of the longest beginning that fits; marks of a letter, which have no width, stay with
 * it. */
static size_t beginning(const struct ruler *ruler, const char *name, double room)
{
    size_t kept = 0;
    while (name[kept] != '\0') {
        size_t bytes = letter_bytes(name + kept);
        room -= width_of(ruler, name + kept, bytes);
        if (room < 0)
            break;
        kept += bytes;
    }
    return kept;
}

/* Where the longest end that fits begins: never with a mark of the letter before it. */
static size_t end_from(const struct ruler *ruler, const char *name, double room)
{
    double width = width_of_all(ruler, name);
    size_t at = 0;
    while (name[at] != '\0' &&
           (width > room || width_of(ruler, name + at, letter_bytes(name + at)) <= 0)) {
        size_t bytes = letter_bytes(name + at);
        width -= width_of(ruler, name + at, bytes);
        at += bytes;
    }
    return at;
}

static void add_trimmed(struct text *out, const char *bytes, size_t length)
{
    while (length > 0 && bytes[length - 1] == ' ')
        length--;
    text_add_bytes(out, bytes, length);
}

/* The name behind its `skip`th letter, after a beginning of a third of the room. */
static void add_cut(struct text *out, const struct ruler *ruler, const char *name, size_t skip)
{
    double mark = width_of(ruler, ELLIPSIS, strlen(ELLIPSIS)), room = ruler->room - mark;
    if (skip == END_CUT) {
        add_trimmed(out, name, beginning(ruler, name, room));
        text_add(out, ELLIPSIS);
        return;
    }
    size_t head = beginning(ruler, name, skip == MIDDLE ? room / 2 : room / 3);
    const char *rest = name + head;
    double left = room;
    for (size_t at = 0; at < head; at += letter_bytes(name + at))
        left -= width_of(ruler, name + at, letter_bytes(name + at));
    size_t last = end_from(ruler, rest, left), from = 0;
    for (size_t letters = 0; letters < skip && from < last; letters++)
        from += letter_bytes(rest + from);
    while (from < last && width_of(ruler, rest + from, letter_bytes(rest + from)) <= 0)
        from += letter_bytes(rest + from);
    add_trimmed(out, name, head);
    text_add(out, ELLIPSIS);
    if (from >= last) {
        text_add(out, rest + last);
        return;
    }
    add_trimmed(out, rest + from, beginning(ruler, rest + from, left - mark));
    text_add(out, ELLIPSIS);
}

static bool is_long(const struct ruler *ruler, const char *name)
{
    return width_of_all(ruler, name) > ruler->room;
}

/* Some of the names, all different, with the forms that they have so far. */
struct set {
    const char **names;
    struct text **forms;
    size_t count;
};

/* Writes all forms; how many cannot be told from one before them. */
static size_t cut_all(const struct set *set, const struct ruler *ruler, size_t skip)
{
    size_t alike = 0;
    for (size_t i = 0; i < set->count; i++) {
        struct text *form = set->forms[i];
        bool same = false;
        text_clear(form);
        if (is_long(ruler, set->names[i]))
            add_cut(form, ruler, set->names[i], skip);
        else
            text_add(form, set->names[i]);
        for (size_t j = 0; j < i && !same; j++)
            same = strcmp(set->forms[j]->bytes, form->bytes) == 0;
        alike += same;
    }
    return alike;
}

/* The cut that leaves the fewest alike: the middle if it is one of these; else, of the first cuts
 * in a row that do as well, the one amid them, so that what differs stands amid what is shown. */
static size_t best_cut(const struct set *set, const struct ruler *ruler)
{
    size_t longest = 0, best = MIDDLE, last = 0, fewest = cut_all(set, ruler, MIDDLE);
    for (size_t i = 0; i < set->count; i++) {
        size_t letters = name_letters(set->names[i]);
        longest = letters > longest ? letters : longest;
    }
    if (fewest == 0)
        return MIDDLE;
    for (size_t skip = 1; skip < longest; skip++) {
        size_t alike = cut_all(set, ruler, skip);
        if (alike < fewest) {
            fewest = alike;
            best = last = skip;
        } else if (best != MIDDLE && alike == fewest && skip == last + 1) {
            last = skip;
        }
    }
    return best == MIDDLE ? best : best + (last - best) / 2;
}

/* Cuts those that share a form elsewhere, as long as this tells some of them apart. */
static void tell_apart(const struct set *all, const struct ruler *ruler)
{
    struct set alike = {.names = xcalloc(all->count + 1, sizeof *alike.names),
                        .forms = xcalloc(all->count + 1, sizeof *alike.forms)};
    bool *seen = xcalloc(all->count + 1, sizeof *seen);
    for (size_t i = 0; i < all->count; i++) {
        alike.count = 0;
        for (size_t j = i; j < all->count; j++) {
            if (seen[j] || strcmp(all->forms[i]->bytes, all->forms[j]->bytes) != 0)
                continue;
            seen[j] = j != i;
            alike.names[alike.count] = all->names[j];
            alike.forms[alike.count++] = all->forms[j];
        }
        if (alike.count > 1 && cut_all(&alike, ruler, best_cut(&alike, ruler)) + 1 < alike.count)
            tell_apart(&alike, ruler);
    }
    free(alike.names);
    free(alike.forms);
    free(seen);
}

/* "3:Heron, for the long winters..." to all that share a form even so. */
static void number(const struct set *set, const struct ruler *ruler)
{
    bool *shared = xcalloc(set->count + 1, sizeof *shared);
    for (size_t i = 0; i < set->count; i++)
        for (size_t j = 0; j < set->count && !shared[i]; j++)
            shared[i] = i != j && strcmp(set->forms[i]->bytes, set->forms[j]->bytes) == 0;
    for (size_t i = 0; i < set->count; i++) {
        if (!shared[i] || !is_long(ruler, set->names[i]))
            continue;
        struct text *form = set->forms[i];
        struct ruler less = *ruler;
        text_clear(form);
        text_addf(form, "%zu:", i + 1);
        less.room -= width_of_all(ruler, form->bytes);
        add_cut(form, &less, set->names[i], END_CUT);
    }
    free(shared);
}

bool names_shorten(struct text *out, const char *const *names, size_t count, double room,
                   name_width *width, const void *how)
{
    struct ruler ruler = {room, width, how};
    struct set set = {.names = xcalloc(count + 1, sizeof *set.names),
                      .forms = xcalloc(count + 1, sizeof *set.forms)};
    size_t *first = xcalloc(count + 1, sizeof *first), i; /* the same name's */
    bool whole = true;
    for (i = 0; i < count; i++) {
        while (strcmp(names[first[i]], names[i]) != 0)
            first[i]++;
        if (first[i] < i)
            continue;
        set.names[set.count] = names[i];
        set.forms[set.count++] = &out[i];
        whole = whole && !is_long(&ruler, names[i]);
    }
    if (cut_all(&set, &ruler, END_CUT) > 0) {
        tell_apart(&set, &ruler);
        number(&set, &ruler);
    }
    for (i = 0; i < count; i++) {
        if (first[i] == i)
            continue;
        text_clear(&out[i]);
        text_add(&out[i], out[first[i]].bytes);
    }
    free(set.names);
    free(set.forms);
    free(first);
    return whole;
}
