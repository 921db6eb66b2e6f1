/* Matching one pattern by backtracking, with every step counted as work of the script.
 *
 * An item of a pattern is one class of characters with an optional repetition, or one of the marks
 * ( ) %1 %b %f $. The matcher walks single items in a loop and calls itself only where it may have
 * to come back, so its depth is bounded by the pattern. */
#include "bindings/match.h"

#include <ctype.h>
#include <lauxlib.h>
#include <string.h>

#include "bindings/sandbox.h"

#define DEPTH_MOST 200
#define WORK_BLOCK 1000 /* steps between two reports of the work done */

static const char *match(struct matcher *m, const char *s, const char *p);

static void step(struct matcher *m)
{
    if (++m->steps == WORK_BLOCK) {
        m->steps = 0;
        guest_charge(m->L, WORK_BLOCK);
    }
}

/* --- one class of characters ------------------------------------------------------------------ */

static const char *class_end(struct matcher *m, const char *p)
{
    char first = *p++;
    if (first == '%') {
        if (p == m->pattern_end)
            luaL_error(m->L, "malformed pattern (ends with '%%')");
        return p + 1;
    }
    if (first != '[')
        return p;
    if (p < m->pattern_end && *p == '^')
        p++;
    bool begun = false; /* a ] right at the beginning stands for itself */
    for (;; begun = true) {
        if (p >= m->pattern_end)
            luaL_error(m->L, "malformed pattern (missing ']')");
        if (*p == ']' && begun)
            return p + 1;
        p += *p == '%' ? 2 : 1;
    }
}

static bool letter_matches(int c, int letter)
{
    bool is;
    switch (tolower(letter)) {
    case 'a': is = isalpha(c); break;
    case 'c': is = iscntrl(c); break;
    case 'd': is = isdigit(c); break;
    case 'g': is = isgraph(c); break;
    case 'l': is = islower(c); break;
    case 'p': is = ispunct(c); break;
    case 's': is = isspace(c); break;
    case 'u': is = isupper(c); break;
    case 'w': is = isalnum(c); break;
    case 'x': is = isxdigit(c); break;
    default: return letter == c;
    }
    return isupper(letter) ? !is : is;
}

/* `p` at the [, `last` at its ]. */
static bool set_matches(struct matcher *m, int c, const char *p, const char *last)
{
    bool found = false;
    p++;
    bool negated = p < last && *p == '^';
    p += negated;
    while (p < last && !found) {
        step(m);
        if (*p == '%') {
            found = letter_matches(c, (unsigned char)p[1]);
            p += 2;
        } else if (p + 2 < last && p[1] == '-') {
            found = (unsigned char)p[0] <= c && c <= (unsigned char)p[2];
            p += 3;
        } else {
            found = (unsigned char)*p++ == c;
        }
    }
    return found != negated;
}

/* Whether the character `c` is of the class from `p` to `after`. */
static bool class_matches(struct matcher *m, int c, const char *p, const char *after)
{
    switch (*p) {
    case '.': return true;
    case '%': return letter_matches(c, (unsigned char)p[1]);
    case '[': return set_matches(m, c, p, after - 1);
    default: return (unsigned char)*p == c;
    }
}

static bool matches_at(struct matcher *m, const char *s, const char *p, const char *after)
{
    step(m);
    return s < m->end && class_matches(m, (unsigned char)*s, p, after);
}

/* --- repetitions and marks -------------------------------------------------------------------- */

static const char *match_most(struct matcher *m, const char *s, const char *p, const char *after,
                              ptrdiff_t least)
{
    ptrdiff_t count = 0;
    while (matches_at(m, s + count, p, after))
        count++;
    for (; count >= least; count--) {
        const char *end = match(m, s + count, after + 1);
        if (end)
            return end;
    }
    return NULL;
}

static const char *match_fewest(struct matcher *m, const char *s, const char *p, const char *after)
{
    for (;; s++) {
        const char *end = match(m, s, after + 1);
        if (end)
            return end;
        if (!matches_at(m, s, p, after))
            return NULL;
    }
}

static const char *begin_capture(struct matcher *m, const char *s, const char *p, ptrdiff_t mark)
{
    if (m->captures >= CAPTURES_MOST)
        luaL_error(m->L, "too many captures");
    m->capture[m->captures].begin = s;
    m->capture[m->captures].length = mark;
    m->captures++;
    const char *end = match(m, s, p);
    if (!end)
        m->captures--;
    return end;
}

static const char *end_capture(struct matcher *m, const char *s, const char *p)
{
    int open = m->captures - 1;
    while (open >= 0 && m->capture[open].length != CAPTURE_OPEN)
        open--;
    if (open < 0) {
        luaL_error(m->L, "invalid pattern capture");
        return NULL;
    }
    m->capture[open].length = s - m->capture[open].begin;
    const char *end = match(m, s, p);
    if (!end)
        m->capture[open].length = CAPTURE_OPEN;
    return end;
}

/* %bxy: from an x to the y that balances it. */
static const char *match_balanced(struct matcher *m, const char *s, const char *p)
{
    if (m->pattern_end - p < 2)
        luaL_error(m->L, "malformed pattern (missing arguments to '%%b')");
    if (s >= m->end || *s != p[0])
        return NULL;
    int open = 1;
    for (s++; s < m->end; s++) {
        step(m);
        if (*s == p[1]) {
            if (--open == 0)
                return s + 1;
        } else if (*s == p[0]) {
            open++;
        }
    }
    return NULL;
}

static const char *match_again(struct matcher *m, const char *s, int digit)
{
    int i = digit - '1';
    if (i < 0 || i >= m->captures || m->capture[i].length < 0) {
        luaL_error(m->L, "invalid capture index %%%d", i + 1);
        return NULL;
    }
    size_t length = (size_t)m->capture[i].length;
    guest_charge(m->L, length / 16);
    if ((size_t)(m->end - s) < length || memcmp(m->capture[i].begin, s, length) != 0)
        return NULL;
    return s + length;
}

/* %f[set]: between a character that is not in the set and one that is; the ends count as \0. */
static bool at_frontier(struct matcher *m, const char *s, const char *p, const char **after)
{
    if (p >= m->pattern_end || *p != '[')
        luaL_error(m->L, "missing '[' after '%%f' in pattern");
    *after = class_end(m, p);
    int before = s == m->subject ? '\0' : (unsigned char)s[-1];
    int now = s == m->end ? '\0' : (unsigned char)*s;
    return !set_matches(m, before, p, *after - 1) && set_matches(m, now, p, *after - 1);
}

/* --- the walk --------------------------------------------------------------------------------- */

/* A mark at `p`: moves *s and *p past it. False when `p` is no mark. *s becomes NULL on failure. */
static bool pass_mark(struct matcher *m, const char **s, const char **p)
{
    if (**p != '%' || *p + 1 >= m->pattern_end)
        return false;
    char letter = (*p)[1];
    if (letter == 'b') {
        *s = match_balanced(m, *s, *p + 2);
        *p += 4;
    } else if (letter == 'f') {
        const char *after;
        if (!at_frontier(m, *s, *p + 2, &after))
            *s = NULL;
        *p = after;
    } else if (isdigit((unsigned char)letter)) {
        *s = match_again(m, *s, letter);
        *p += 2;
    } else {
        return false;
    }
    return true;
}

static const char *walk(struct matcher *m, const char *s, const char *p)
{
    while (s && p < m->pattern_end) {
        step(m);
        if (*p == '(') {
            bool position = p + 1 < m->pattern_end && p[1] == ')';
            return begin_capture(m, s, p + (position ? 2 : 1),
                                 position ? CAPTURE_POSITION : CAPTURE_OPEN);
        }
        if (*p == ')')
            return end_capture(m, s, p + 1);
        if (*p == '$' && p + 1 == m->pattern_end)
            return s == m->end ? s : NULL;
        if (pass_mark(m, &s, &p))
            continue;

        const char *after = class_end(m, p);
        switch (after < m->pattern_end ? *after : '\0') {
        case '?': {
            const char *end = matches_at(m, s, p, after) ? match(m, s + 1, after + 1) : NULL;
            if (end)
                return end;
            p = after + 1;
            continue;
        }
        case '*': return match_most(m, s, p, after, 0);
        case '+': return match_most(m, s, p, after, 1);
        case '-': return match_fewest(m, s, p, after);
        default: break;
        }
        s = matches_at(m, s, p, after) ? s + 1 : NULL;
        p = after;
    }
    return s;
}

/* The end of a match of the pattern from `p` at `s`, or NULL. */
static const char *match(struct matcher *m, const char *s, const char *p)
{
    if (++m->depth > DEPTH_MOST)
        luaL_error(m->L, "pattern too complex");
    const char *end = walk(m, s, p);
    m->depth--;
    return end;
}

const char *match_from(struct matcher *m, const char *s, const char *p)
{
    m->captures = 0;
    m->depth = 0;
    return match(m, s, p);
}

/* --- what a match gives ----------------------------------------------------------------------- */

void match_push(struct matcher *m, int i, const char *s, const char *end)
{
    if (i >= m->captures) {
        if (i != 0)
            luaL_error(m->L, "invalid capture index %%%d", i + 1);
        lua_pushlstring(m->L, s, (size_t)(end - s)); /* no captures: the whole */
        return;
    }
    ptrdiff_t length = m->capture[i].length;
    if (length == CAPTURE_POSITION)
        lua_pushinteger(m->L, m->capture[i].begin - m->subject + 1);
    else if (length == CAPTURE_OPEN)
        luaL_error(m->L, "unfinished capture");
    else
        lua_pushlstring(m->L, m->capture[i].begin, (size_t)length);
}

int match_push_all(struct matcher *m, const char *s, const char *end, bool whole)
{
    int count = m->captures == 0 && whole ? 1 : m->captures;
    luaL_checkstack(m->L, count, "too many captures");
    for (int i = 0; i < count; i++)
        match_push(m, i, s, end);
    return count;
}

void match_prepare(struct matcher *m, lua_State *L, const char *subject, size_t subject_length,
                   const char *pattern, size_t pattern_length)
{
    m->L = L;
    m->subject = subject;
    m->end = subject + subject_length;
    m->pattern_end = pattern + pattern_length;
    m->steps = 0;
}
