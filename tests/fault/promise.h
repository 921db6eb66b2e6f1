/* Promises: what the program acknowledged with exit status 0. It must be on record ever after. */
#ifndef PERDURE_TESTS_FAULT_PROMISE_H
#define PERDURE_TESTS_FAULT_PROMISE_H

#include "query.h"

enum promise_kind {
    PROMISE_STARTED,  /* run `id` on the cell `text` */
    PROMISE_ENROLLED, /* the cell `text` */
    PROMISE_PAUSED,   /* run `id`, on the cell `text`; until somebody asks for something else */
    PROMISE_RESUMED,
    PROMISE_STOPPED,
    PROMISE_ANSWERED, /* question `id` with `text` */
};

struct promises {
    struct promise {
        enum promise_kind kind;
        int64_t id;
        char text[64];
        bool withdrawn;
    } * list;
    int count, room;
};

void promise_add(struct promises *promises, enum promise_kind kind, int64_t id, const char *text);

/* Somebody is about to ask for something else of this run: paused or not is open again. */
void promise_withdraw(struct promises *promises, int64_t run);

void promises_check(const struct promises *promises, sqlite3 *book, const char *world,
                    struct findings *findings);

#endif
