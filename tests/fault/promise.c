/* What was acknowledged, looked up. */
#include "promise.h"

#include <stdio.h>
#include <string.h>

#include "base/text.h"
#include "truth.h"

void promise_add(struct promises *promises, enum promise_kind kind, int64_t id, const char *text)
{
    if (promises->count == promises->room) {
        promises->room = promises->room ? 2 * promises->room : 64;
        promises->list = xrealloc(promises->list, (size_t)promises->room * sizeof(*promises->list));
    }
    struct promise *promise = &promises->list[promises->count++];
    *promise = (struct promise){.kind = kind, .id = id};
    string_copy(promise->text, sizeof(promise->text), text);
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
        return query_number(book, "SELECT count(*) FROM cell WHERE label = '%s'", promise->text) == 1;
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
        else if (promise->kind == PROMISE_PAUSED && truth_driven(world, promise->text) == 1)
            found(findings, "promise", "run %lld was paused, and its cell %s is driven",
                  (long long)promise->id, promise->text);
    }
}
