/* The table of faults, and their counting down. */
#include "faults.h"

#include <string.h>

static const struct {
    const char *word;
    double value;
    const char *about;
} table[] = {
#define X(name, word, value, about) {word, value, about},
    FAULTS(X)
#undef X
};

int fault_find(const char *word)
{
    int kind = 0;
    while (kind < FAULT_COUNT && strcmp(table[kind].word, word) != 0)
        kind++;
    return kind;
}

const char *fault_word(enum fault_kind kind)
{
    return table[kind].word;
}

double fault_usual_value(enum fault_kind kind)
{
    return table[kind].value;
}

const char *fault_about(enum fault_kind kind)
{
    return table[kind].about;
}

bool fault_is_set(const struct faults *faults, enum fault_kind kind)
{
    return faults->each[kind].left != 0;
}

bool fault_strikes(struct faults *faults, enum fault_kind kind, double *value)
{
    if (faults->each[kind].left == 0)
        return false;
    if (faults->each[kind].left > 0)
        faults->each[kind].left--;
    if (value != NULL)
        *value = faults->each[kind].value;
    return true;
}
