/* The matcher behind patterns.c: one pattern on one subject, by backtracking, with counted work. */
#ifndef PERDURE_BINDINGS_MATCH_H
#define PERDURE_BINDINGS_MATCH_H

#include <lua.h>
#include <stdbool.h>
#include <stddef.h>

#define CAPTURES_MOST 32

enum { CAPTURE_OPEN = -1, CAPTURE_POSITION = -2 };

struct matcher {
    lua_State *L;
    const char *subject, *end;
    const char *pattern_end;
    int captures, depth, steps;
    struct {
        const char *begin;
        ptrdiff_t length; /* or one of the marks above */
    } capture[CAPTURES_MOST];
};

/* Both texts are borrowed and must stay where they are. */
void match_prepare(struct matcher *m, lua_State *L, const char *subject, size_t subject_length,
                   const char *pattern, size_t pattern_length);

/* The end of a match of the pattern from `p` on, at `s`; NULL for none. Raises for a malformed
 * pattern and when the script's work is spent. */
const char *match_from(struct matcher *m, const char *s, const char *p);

/* Pushes capture `i` of the match from `s` to `end`: the whole when the pattern has none and i is
 * 0. */
void match_push(struct matcher *m, int i, const char *s, const char *end);

/* Pushes all, or the whole when there are none and `whole`; says how many. */
int match_push_all(struct matcher *m, const char *s, const char *end, bool whole);

#endif
