/* Promises: what the program acknowledged with exit status 0. It must be on record ever after. */
#ifndef PERDURE_TESTS_FAULT_PROMISE_H
#define PERDURE_TESTS_FAULT_PROMISE_H

#include "base/calendar.h"
#include "query.h"

enum promise_kind {
    PROMISE_STARTED,  /* run `id` on the cell `text` */
    PROMISE_ENROLLED, /* the cell `text` */
    PROMISE_PAUSED,   /* run `id`, on the cell `text`; until somebody asks for something else */
    PROMISE_RESUMED,
    PROMISE_STOPPED,  /* run `id`, on the cell `text` */
    PROMISE_ANSWERED, /* question `id` with `text` */
};

struct promise {
    enum promise_kind kind;
    int64_t id;
    char text[64];
    utc_us at; /* when it was acknowledged, on the logbook's clock */
    bool
        by_engine; /* one was at work: a pause or a stop is then safe at once, else with the next */
    bool withdrawn;
};

struct promises {
    struct promise *list;
    int count, room;
};

void promise_add(struct promises *promises, const struct promise *promise);

/* Somebody is about to ask for something else of this run: paused or not is open again. */
void promise_withdraw(struct promises *promises, int64_t run);

/* The cell gets another run: it may be driven again. */
void promise_cell_in_use(struct promises *promises, const char *label);

void promises_check(const struct promises *promises, sqlite3 *book, const char *world,
                    struct findings *findings);

#endif
