/* A queue of those who wait for their turn. */
#include "bench/turn.h"

#include <stddef.h>

static void pass_on(struct turn *turn)
{
    struct turn_wait *next = turn->first;
    if (turn->holder || !next)
        return;
    turn->first = next->next;
    turn->holder = next;
    next->yours(next->owner);
}

void turn_take(struct turn *turn, struct turn_wait *wait)
{
    struct turn_wait **place = &turn->first;
    while (*place)
        place = &(*place)->next;
    *place = wait;
    wait->next = NULL;
    pass_on(turn);
}

void turn_leave(struct turn *turn, struct turn_wait *wait)
{
    if (turn->holder == wait)
        turn->holder = NULL;
    for (struct turn_wait **place = &turn->first; *place; place = &(*place)->next)
        if (*place == wait) {
            *place = wait->next;
            break;
        }
    pass_on(turn);
}
