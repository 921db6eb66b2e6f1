/* Gathering the values of one result over the cells of one group. */
#include "verdict/pile.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"

void pile_open(struct pile *pile, const struct history *history, const char *by)
{
    size_t room = history->count + 1;
    *pile = (struct pile){.history = history,
                          .by = by,
                          .age = NAN,
                          .values = xcalloc(room, sizeof *pile->values),
                          .corrections = xcalloc(room, sizeof *pile->corrections),
                          .rated = xcalloc(room, sizeof *pile->rated),
                          .subjects = xcalloc(room, sizeof *pile->subjects),
                          .checks = xcalloc(room, sizeof *pile->checks)};
}

void pile_close(struct pile *pile)
{
    free(pile->values);
    free(pile->corrections);
    free(pile->rated);
    free(pile->subjects);
    free(pile->checks);
}

const char *pile_key(const struct history *history, const struct subject *subject, const char *by)
{
    const struct kind_of_cell *model = &history->models[subject->model];
    const char *key = strcmp(by, "model") == 0       ? model->name
                      : strcmp(by, "size") == 0      ? model->size
                      : strcmp(by, "chemistry") == 0 ? model->chemistry
                                                     : model->maker;
    return key[0] ? key : "(not said)";
}

static bool is_in(const struct pile *pile, const struct subject *subject)
{
    return !subject->aside &&
           strcmp(pile_key(pile->history, subject, pile->by), pile->group) == 0 &&
           (!pile->arm || strcmp(subject->arm, pile->arm) == 0);
}

/* The last of a name in this unit: under one name protocols may record different things. */
static const struct check *last_in(const struct subject *subject, const char *name,
                                   const char *unit)
{
    for (size_t i = subject->count; i-- > 0;)
        if (strcmp(subject->checks[i].name, name) == 0 &&
            strcmp(subject->checks[i].unit, unit) == 0)
            return &subject->checks[i];
    return NULL;
}

/* In the unit of the pile: percentages, or as it was measured. */
static struct taken value_in(const struct pile *pile, const struct subject *subject)
{
    struct taken taken =
        pile->kind
            ? criterion_take(pile->history, subject, pile->kind, pile->age)
            : (struct taken){.value = NAN, .check = last_in(subject, pile->result, pile->unit)};
    bool as_measured = pile->kind ? isfinite(taken.value) && strcmp(pile->unit, "Ah") == 0 &&
                                        strcmp(pile->kind->unit, "%") == 0
                                  : taken.check != NULL;
    if (as_measured) {
        taken.value = taken.check->value;
        taken.correction = taken.check->correction;
    }
    return taken;
}

void pile_fill(struct pile *pile)
{
    pile->count = pile->going = 0;
    for (size_t i = 0; i < pile->history->count; i++) {
        const struct subject *subject = &pile->history->subjects[i];
        if (!is_in(pile, subject))
            continue;
        struct taken taken = value_in(pile, subject);
        pile->going += taken.still_going;
        if (!taken.check) /* one that is no number stays in: the analysis says so */
            continue;
        pile->values[pile->count] = taken.value;
        pile->corrections[pile->count] = taken.correction;
        pile->rated[pile->count] = pile->history->models[subject->model].rated;
        pile->subjects[pile->count] = subject;
        pile->checks[pile->count++] = taken.check;
    }
}

double pile_shared_error(const struct pile *pile)
{
    double squares = 0;
    for (size_t i = 0; i < pile->count; i++) {
        double sum = 0;
        bool first = true;
        for (size_t k = 0; k < pile->count; k++) {
            if (strcmp(pile->checks[k]->channel, pile->checks[i]->channel) != 0)
                continue;
            first = first && k >= i;
            sum += pile->corrections[k] / (double)pile->count;
        }
        squares += first ? sum * sum : 0;
    }
    return sqrt(squares);
}

double pile_shared_freedom(const struct pile *pile)
{
    double least = INFINITY;
    for (size_t i = 0; i < pile->count; i++)
        least = fmin(least, pile->checks[i]->correction_freedom);
    return least;
}
