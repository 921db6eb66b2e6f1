/* Doubled keys in table constructors, found in the token stream. */
#include "bindings/doubled.h"

#include <ctype.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"

enum token { TOKEN_END, TOKEN_NAME, TOKEN_STRING, TOKEN_MARK, TOKEN_OTHER };

struct scanner {
    const char *at, *end;
    int line;
    enum token token;
    const char *begin; /* of the token; of a string: its inside */
    size_t length;
    char mark; /* TOKEN_MARK: one of { } ( ) [ ] , ; = */
};

/* --- tokens ----------------------------------------------------------------------------------- */

/* The number of = signs of a long bracket that opens at `at`, or -1. */
static int long_bracket(const struct scanner *in, const char *at)
{
    int level = 0;
    if (at >= in->end || *at++ != '[')
        return -1;
    for (; at < in->end && *at == '='; at++)
        level++;
    return at < in->end && *at == '[' ? level : -1;
}

static void skip_long(struct scanner *in, int level)
{
    in->at += level + 2;
    in->begin = in->at;
    for (; in->at < in->end; in->at++) {
        if (*in->at == '\n')
            in->line++;
        if (*in->at != ']')
            continue;
        const char *at = in->at + 1;
        while (at < in->end && *at == '=' && at - in->at <= level)
            at++;
        if (at - in->at - 1 == level && at < in->end && *at == ']') {
            in->length = (size_t)(in->at - in->begin);
            in->at = at + 1;
            return;
        }
    }
    in->length = (size_t)(in->at - in->begin);
}

static void skip_blank(struct scanner *in)
{
    while (in->at < in->end) {
        if (isspace((unsigned char)*in->at)) {
            in->line += *in->at++ == '\n';
        } else if (in->end - in->at >= 2 && in->at[0] == '-' && in->at[1] == '-') {
            in->at += 2;
            int level = long_bracket(in, in->at);
            if (level >= 0)
                skip_long(in, level);
            else
                while (in->at < in->end && *in->at != '\n')
                    in->at++;
        } else {
            return;
        }
    }
}

static void skip_quoted(struct scanner *in)
{
    char quote = *in->at++;
    in->begin = in->at;
    while (in->at < in->end && *in->at != quote && *in->at != '\n')
        in->at += *in->at == '\\' && in->at + 1 < in->end ? 2 : 1;
    in->length = (size_t)(in->at - in->begin);
    if (in->at < in->end)
        in->at++;
}

static bool is_name(char c)
{
    return isalnum((unsigned char)c) || c == '_';
}

static void next_token(struct scanner *in)
{
    skip_blank(in);
    in->begin = in->at;
    in->length = 1;
    if (in->at >= in->end) {
        in->token = TOKEN_END;
        return;
    }
    char c = *in->at;
    int level = c == '[' ? long_bracket(in, in->at) : -1;
    if (c == '"' || c == '\'') {
        in->token = TOKEN_STRING;
        skip_quoted(in);
    } else if (level >= 0) {
        in->token = TOKEN_STRING;
        skip_long(in, level);
    } else if (is_name(c)) {
        while (in->at < in->end &&
               (is_name(*in->at) || (*in->at == '.' && isdigit((unsigned char)c))))
            in->at++;
        in->length = (size_t)(in->at - in->begin);
        in->token = isdigit((unsigned char)c) ? TOKEN_OTHER : TOKEN_NAME;
    } else if (in->end - in->at >= 2 && in->at[1] == '=' && strchr("=~<>", c)) {
        in->at += 2;
        in->token = TOKEN_OTHER;
    } else {
        in->at++;
        in->mark = c;
        in->token = strchr("{}()[],;=", c) ? TOKEN_MARK : TOKEN_OTHER;
    }
}

static bool is_word(const struct scanner *in, const char *word)
{
    return in->token == TOKEN_NAME && in->length == strlen(word) &&
           memcmp(in->begin, word, in->length) == 0;
}

static bool is_mark(const struct scanner *in, char mark)
{
    return in->token == TOKEN_MARK && in->mark == mark;
}

/* --- scopes ----------------------------------------------------------------------------------- */

struct key {
    const char *begin;
    size_t length;
    int line;
};

/* A table, a bracket or a block of statements. Only in a table do `NAME =` and `["TEXT"] =` name a
 * key; in a block they assign. */
struct scope {
    char kind; /* '{', '(', '[' or 'b' */
    bool item; /* a new item may begin here */
    struct key *keys;
    int count, room;
};

struct scopes {
    struct scope *stack;
    int depth, room;
};

static void push_scope(struct scopes *scopes, char kind)
{
    if (scopes->depth == scopes->room) {
        scopes->room = scopes->room ? 2 * scopes->room : 16;
        scopes->stack = xrealloc(scopes->stack, (size_t)scopes->room * sizeof *scopes->stack);
    }
    scopes->stack[scopes->depth++] = (struct scope){.kind = kind, .item = true};
}

static void pop_scope(struct scopes *scopes)
{
    if (scopes->depth)
        free(scopes->stack[--scopes->depth].keys);
}

/* The line where the key was first named in this table; 0 when it is new, and then kept. */
static int add_key(struct scope *table, const char *begin, size_t length, int line)
{
    for (int i = 0; i < table->count; i++)
        if (table->keys[i].length == length && memcmp(table->keys[i].begin, begin, length) == 0)
            return table->keys[i].line;
    if (table->count == table->room) {
        table->room = table->room ? 2 * table->room : 16;
        table->keys = xrealloc(table->keys, (size_t)table->room * sizeof *table->keys);
    }
    table->keys[table->count++] = (struct key){begin, length, line};
    return 0;
}

/* At the beginning of an item: NAME = or ["TEXT"] =. Looks ahead on a copy. */
static bool key_here(const struct scanner *in, struct key *key)
{
    struct scanner ahead = *in;
    bool bracketed = is_mark(&ahead, '[');
    if (bracketed)
        next_token(&ahead);
    if (ahead.token != (bracketed ? TOKEN_STRING : TOKEN_NAME))
        return false;
    *key = (struct key){ahead.begin, ahead.length, ahead.line};
    next_token(&ahead);
    if (bracketed) {
        if (!is_mark(&ahead, ']'))
            return false;
        next_token(&ahead);
    }
    return is_mark(&ahead, '=');
}

static void follow_scopes(struct scopes *scopes, const struct scanner *in)
{
    if (in->token == TOKEN_MARK && strchr("{([", in->mark))
        push_scope(scopes, in->mark);
    else if (in->token == TOKEN_MARK && strchr("})]", in->mark))
        pop_scope(scopes);
    else if (is_word(in, "function") || is_word(in, "if") || is_word(in, "do") ||
             is_word(in, "repeat"))
        push_scope(scopes, 'b');
    else if (is_word(in, "end") || is_word(in, "until"))
        pop_scope(scopes);
}

int doubled_key(const char *name, const char *text, size_t length, struct error *error)
{
    struct scanner in = {.at = text, .end = text + length, .line = 1};
    struct scopes scopes = {NULL, 0, 0};
    int code = 0;
    for (next_token(&in); in.token != TOKEN_END && !code; next_token(&in)) {
        struct scope *scope = scopes.depth ? &scopes.stack[scopes.depth - 1] : NULL;
        struct key key;
        if (scope && scope->kind == '{' && scope->item && key_here(&in, &key)) {
            int first = add_key(scope, key.begin, key.length, key.line);
            if (first) {
                char where[300];
                snprintf(where, sizeof where, "%s:%d", name, key.line);
                code = error_set(error, ERROR_SCRIPT, where, "rename or remove one of them",
                                 "'%.*s' is named twice in one table, first on line %d",
                                 (int)(key.length < 60 ? key.length : 60), key.begin, first);
            }
        }
        if (scope)
            scope->item = is_mark(&in, ',') || is_mark(&in, ';');
        follow_scopes(&scopes, &in);
    }
    while (scopes.depth)
        pop_scope(&scopes);
    free(scopes.stack);
    return code;
}
