/* What was acknowledged, looked up. */
#include "promise.h"

#include <string.h>

#include "base/text.h"
#include "truth.h"

void promise_add(struct promises *promises, const struct promise *promise)
{
    if (promises->count == promises->room) {
        promises->room = promises->room ? 2 * promises->room : 64;
        promises->list = xrealloc(promises->list, (size_t)promises->room * sizeof(*promises->list));
    }
    promises->list[promises->count++] = *promise;
}

void promise_withdraw(struct promises *promises, int64_t run)
{
    for (int i = 0; i < promises->count; i++) {
        struct promise *promise = &promises->list[i];
        if (promise->id == run &&
            (promise->kind == PROMISE_PAUSED || promise->kind == PROMISE_RESUMED))
            promise->withdrawn = true;
    }
}

void promise_cell_in_use(struct promises *promises, const char *label)
{
    for (int i = 0; i < promises->count; i++)
        if (promises->list[i].kind == PROMISE_STOPPED && strcmp(promises->list[i].text, label) == 0)
            promises->list[i].text[0] = '\0';
}

static bool kept(const struct promise *promise, sqlite3 *book)
{
    long long id = promise->id;
    switch (promise->kind) {
    case PROMISE_STARTED:
        return query_number(book,
                            "SELECT count(*) FROM run JOIN cell ON cell.id = cell "
                            "WHERE run.id = %lld AND label = '%s'",
                            id, promise->text) == 1;
    case PROMISE_ENROLLED:
        return query_number(book, "SELECT count(*) FROM cell WHERE label = '%s'", promise->text) ==
               1;
    case PROMISE_PAUSED:
        return query_number(book, "SELECT state = 'paused' FROM run WHERE id = %lld", id);
    case PROMISE_RESUMED:
        return query_number(book, "SELECT state <> 'paused' FROM run WHERE id = %lld", id);
    case PROMISE_STOPPED:
        return query_number(book, "SELECT state = 'stopped' FROM run WHERE id = %lld", id);
    case PROMISE_ANSWERED:
        return query_number(book,
                            "SELECT count(*) FROM answer WHERE question = %lld AND "
                            "CAST(answer AS REAL) = CAST('%s' AS REAL)",
                            id, promise->text) >= 1;
    }
    return false;
}

/* Outputs are safe before a pause or a stop returns; where no engine was at work, once one
 * comes. */
static bool must_be_safe(const struct promise *promise, sqlite3 *book)
{
    if ((promise->kind != PROMISE_PAUSED && promise->kind != PROMISE_STOPPED) || !promise->text[0])
        return false;
    return promise->by_engine ||
           query_number(book, "SELECT max(began_at) > %lld FROM session", (long long)promise->at);
}

void promises_check(const struct promises *promises, sqlite3 *book, const char *world,
                    struct findings *findings)
{
    static const char *const names[] = {"started", "enrolled", "paused",
                                        "resumed", "stopped",  "answered"};
    for (int i = 0; i < promises->count; i++) {
        const struct promise *promise = &promises->list[i];
        if (promise->withdrawn)
            continue;
        if (!kept(promise, book))
            found(findings, "promise", "%s %lld %s was acknowledged, and is not on record",
                  names[promise->kind], (long long)promise->id, promise->text);
        else if (must_be_safe(promise, book) && truth_driven(world, promise->text) == 1)
            found(findings, "promise", "run %lld was %s, and its cell %s is driven",
                  (long long)promise->id, names[promise->kind], promise->text);
    }
}
