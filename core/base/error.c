/* Errors: filling one, its exit status, its one line. */
#include "base/error.h"

#include <stdarg.h>
#include <string.h>

#include "base/text.h"

static const struct {
    const char *name;
    int exit_status;
} codes[] = {
#define X(name, exit_status) [name] = {#name, exit_status},
    ERROR_CODES(X)
#undef X
};

#define CODE_COUNT (sizeof codes / sizeof codes[0])

/* A precision such as that of %.40s counts bytes: of a letter that it tore, an ellipsis is left. */
static void mend(struct text *out, const char *why, size_t length)
{
    text_add(out, "");
    for (size_t at = 0; at < length;) {
        size_t bytes = utf8_length(why + at, length - at);
        if (bytes != 0)
            text_add_bytes(out, why + at, bytes);
        else
            text_add(out, "\xe2\x80\xa6");
        at += bytes != 0 ? bytes : 1;
        while (bytes == 0 && at < length && ((unsigned char)why[at] & 0xc0) == 0x80)
            at++;
    }
}

int error_set_at(struct error *error, const char *source, int line, enum error_code code,
                 const char *what, const char *todo, const char *why_format, ...)
{
    if (error == NULL)
        return code;
    /* Built aside first: what, todo and the reason's arguments may come from *error itself, when a
     * caller puts a name in front of what it was told. */
    struct error built = {.code = code, .source = source, .line = line};
    string_fit(built.what, sizeof built.what, what);
    string_fit(built.todo, sizeof built.todo, todo);

    struct text why = TEXT_EMPTY, mended = TEXT_EMPTY;
    va_list arguments;
    va_start(arguments, why_format);
    text_addv(&why, why_format, arguments);
    va_end(arguments);
    mend(&mended, why.bytes, why.length);
    string_fit(built.why, sizeof built.why, mended.bytes);
    text_free(&mended);
    text_free(&why);

    *error = built;
    return code;
}

void error_clear(struct error *error)
{
    if (error == NULL)
        return;
    /* Empty texts, not zeroed ones: this runs at every reading of every channel. */
    error->code = ERROR_NONE;
    error->what[0] = error->why[0] = error->todo[0] = '\0';
    error->source = NULL;
    error->line = 0;
}

int error_exit_status(const struct error *error)
{
    return (size_t)error->code < CODE_COUNT ? codes[error->code].exit_status : 1;
}

const char *error_code_name(enum error_code code)
{
    return (size_t)code < CODE_COUNT ? codes[code].name : "ERROR_UNKNOWN";
}

/* One line is a promise: a line break or an escape sequence inside a message becomes a space. */
static void print_plain(FILE *stream, const char *string)
{
    for (; *string != '\0'; string++) {
        unsigned char byte = (unsigned char)*string;
        fputc(byte < 0x20 || byte == 0x7f ? ' ' : byte, stream);
    }
}

void error_print(FILE *stream, const struct error *error)
{
    fputs("perdure: ", stream);
    if (error->what[0] != '\0') {
        print_plain(stream, error->what);
        fputs(": ", stream);
    }
    print_plain(stream, error->why);
    if (error->todo[0] != '\0') {
        fputs("; ", stream);
        print_plain(stream, error->todo);
    }
    fputc('\n', stream);
}
