/* Letters for groups that cannot be told apart. A column is a set of groups that share a letter. We
 * begin with one column that holds all; every pair that differs splits each column that holds both
 * into one without the first and one without the second; a column within another is absorbed. */
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "analysis/compare.h"
#include "base/text.h"

#define GROUPS_MOST  64
#define COLUMNS_MOST 1024

struct columns {
    uint64_t set[COLUMNS_MOST];
    size_t count;
};

static bool is_within(uint64_t small, uint64_t large)
{
    return (small & ~large) == 0;
}

/* Adds a column unless another holds it; drops those that it holds. False when there is no room. */
static bool add_column(struct columns *columns, uint64_t set)
{
    size_t kept = 0;
    for (size_t i = 0; i < columns->count; i++) {
        if (is_within(set, columns->set[i]))
            return true; /* nothing was dropped: a column within `set` would be within this one */
    }
    for (size_t i = 0; i < columns->count; i++) {
        if (!is_within(columns->set[i], set))
            columns->set[kept++] = columns->set[i];
    }
    columns->count = kept;
    if (kept == COLUMNS_MOST)
        return false;
    columns->set[columns->count++] = set;
    return true;
}

static bool split_by(struct columns *columns, uint64_t a, uint64_t b)
{
    struct columns *old = xmalloc(sizeof *old);
    *old = *columns;
    columns->count = 0;
    bool room = true;
    for (size_t i = 0; i < old->count && room; i++) {
        uint64_t set = old->set[i];
        if ((set & a) != 0 && (set & b) != 0)
            room = add_column(columns, set & ~a) && add_column(columns, set & ~b);
        else
            room = add_column(columns, set);
    }
    free(old);
    return room;
}

/* The column whose first group is shown first comes first; of two with one first group, the one
 * that reaches less far down. */
static int by_first_shown(const void *a, const void *b)
{
    uint64_t x = *(const uint64_t *)a, y = *(const uint64_t *)b;
    uint64_t first_x = x & -x, first_y = y & -y;
    if (first_x != first_y)
        return first_x < first_y ? -1 : 1;
    return x < y ? -1 : x > y;
}

enum analysis_status compare_letters(const struct pair *pairs, size_t count, const size_t *order,
                                     group_letters *letters)
{
    memset(letters, 0, count * sizeof *letters);
    if (count == 0)
        return ANALYSIS_NO_DATA;
    if (count > GROUPS_MOST)
        return ANALYSIS_TOO_MANY;
    size_t shown_at[GROUPS_MOST] = {0};
    for (size_t i = 0; i < count; i++)
        shown_at[order == NULL ? i : order[i]] = i;

    struct columns *columns = xmalloc(sizeof *columns);
    columns->set[0] = count == 64 ? UINT64_MAX : ((uint64_t)1 << count) - 1;
    columns->count = 1;
    bool room = true;
    for (size_t i = 0; i < PAIRS_OF(count) && room; i++) {
        if (pairs[i].differ)
            room = split_by(columns, (uint64_t)1 << shown_at[pairs[i].a],
                            (uint64_t)1 << shown_at[pairs[i].b]);
    }
    room = room && columns->count <= LETTERS_MOST;
    if (room)
        qsort(columns->set, columns->count, sizeof columns->set[0], by_first_shown);
    for (size_t g = 0; g < count && room; g++) {
        size_t length = 0;
        for (size_t c = 0; c < columns->count; c++) {
            if (columns->set[c] >> shown_at[g] & 1)
                letters[g][length++] = (char)('a' + c);
        }
    }
    free(columns);
    return room ? ANALYSIS_OK : ANALYSIS_TOO_MANY;
}
