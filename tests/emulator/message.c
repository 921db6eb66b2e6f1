/* From a line to commands. The tree of headers is walked as SCPI says: a unit begins where the last
 * one's final node hangs, or at the root after a colon; common commands (*...) change nothing. */
#include "message.h"

#include <ctype.h>
#include <string.h>

#include "common_commands.h"
#include "link/scpi.h"

#define HEADER_MOST   120
#define MNEMONIC_MOST 12 /* IEEE 488.2 7.6.1.4 */
#define SUFFIXES_MOST 4

/* One message under way. */
struct parse {
    struct instrument *instrument;
    utc_us now;
    struct text *answer;
    char path[HEADER_MOST]; /* "SOUR:VOLT:", or "" at the root */
    bool identified;        /* *IDN? was asked: nothing may be asked after it */
};

struct span {
    const char *bytes;
    size_t length;
};

static bool is_space(char byte)
{
    return byte == ' ' || byte == '\t';
}

static struct span trimmed(const char *bytes, size_t length)
{
    while (length > 0 && is_space(bytes[0])) {
        bytes++;
        length--;
    }
    while (length > 0 && is_space(bytes[length - 1]))
        length--;
    return (struct span){bytes, length};
}

/* Queues the error; false, so that the message ends. */
static bool refuse(const struct parse *parse, int code, struct span about)
{
    char detail[40];
    size_t length = about.length < sizeof detail ? about.length : sizeof detail - 1;
    memcpy(detail, about.bytes, length);
    detail[length] = '\0';
    instrument_trouble(parse->instrument, code, detail);
    return false;
}

/* --- headers --------------------------------------------------------------------------------- */

static int header_fault(struct span header)
{
    size_t mnemonic = 0;
    for (size_t i = 0; i < header.length; i++) {
        char byte = header.bytes[i];
        if (byte == ':' || (byte == '*' && i == 0))
            mnemonic = 0;
        else if (byte == '?' && i + 1 == header.length)
            break;
        else if (!isalnum((unsigned char)byte) && byte != '_')
            return -101;
        else if (++mnemonic > MNEMONIC_MOST)
            return -112;
    }
    return 0;
}

/* The whole header from the root, and the path for the next unit. */
static bool from_root(struct parse *parse, struct span header, char *full, size_t *length)
{
    bool common = header.bytes[0] == '*', root = header.bytes[0] == ':';
    size_t path = common || root ? 0 : strlen(parse->path);
    if (root) {
        header.bytes++;
        header.length--;
    }
    if (path + header.length >= HEADER_MOST)
        return refuse(parse, -113, header);
    memcpy(full, parse->path, path);
    memcpy(full + path, header.bytes, header.length);
    *length = path + header.length;
    if (!common) {
        size_t keep = *length;
        while (keep > 0 && full[keep - 1] != ':')
            keep--;
        memcpy(parse->path, full, keep);
        parse->path[keep] = '\0';
    }
    return true;
}

static const struct command *find_in(const struct command *commands, const char *header,
                                     size_t length, bool *suffixed)
{
    for (; commands->pattern != NULL; commands++) {
        int suffixes[SUFFIXES_MOST] = {1, 1, 1, 1};
        if (!scpi_header(commands->pattern, header, length, suffixes, SUFFIXES_MOST))
            continue;
        for (int i = 0; i < SUFFIXES_MOST; i++)
            *suffixed = *suffixed || suffixes[i] != 1;
        return commands;
    }
    return NULL;
}

static const struct command *find(struct parse *parse, struct span header)
{
    char full[HEADER_MOST];
    size_t length;
    bool suffixed = false;
    int fault = header_fault(header);
    if (fault != 0) {
        refuse(parse, fault, header);
        return NULL;
    }
    if (!from_root(parse, header, full, &length))
        return NULL;
    const struct command *command =
        find_in(parse->instrument->kind->commands, full, length, &suffixed);
    if (command == NULL)
        command = find_in(common_commands, full, length, &suffixed);
    if (command == NULL)
        refuse(parse, -113, header);
    else if (suffixed) {
        refuse(parse, -114, header);
        command = NULL;
    }
    return command;
}

/* --- units ----------------------------------------------------------------------------------- */

static bool read_arguments(const struct parse *parse, struct span rest, struct call *call)
{
    size_t at = 0;
    struct argument item;
    call->count = 0;
    if (rest.length == 0)
        return true;
    while (scpi_item(rest.bytes, rest.length, &at, &item.bytes, &item.length)) {
        if (item.length == 0)
            return refuse(parse, -102, rest);
        if (call->count == ARGUMENTS_MOST)
            return refuse(parse, -108, rest);
        call->arguments[call->count++] = item;
        if (item.bytes[0] == '(') { /* an expression: its commas are its own */
            const char *close =
                memchr(item.bytes, ')', (size_t)(rest.bytes + rest.length - item.bytes));
            if (close == NULL)
                return refuse(parse, -171, rest);
            call->arguments[call->count - 1].length = (size_t)(close + 1 - item.bytes);
            at = (size_t)(close + 1 - rest.bytes);
            at += at < rest.length ? strspn(rest.bytes + at, " \t") : 0;
            if (at < rest.length && rest.bytes[at] != ',')
                return refuse(parse, -102, rest);
            at++;
        }
    }
    return at > rest.length || refuse(parse, -151, rest); /* a string that does not end */
}

static bool run(struct parse *parse, const struct command *command, struct call *call,
                struct span unit)
{
    bool asks = strchr(command->pattern, '?') != NULL;
    if (call->count < command->least)
        return refuse(parse, -109, unit);
    if (call->count > command->most)
        return refuse(parse, -108, unit);
    if (asks && parse->identified) /* *IDN? answers what may hold anything (10.14) */
        return refuse(parse, -440, unit);
    size_t before = parse->answer->length;
    if (before > 0)
        text_add(parse->answer, ";");
    size_t start = parse->answer->length;
    call->which = command->which;
    command->run(call);
    if (parse->answer->length == start) /* nothing to say: an error, or no question */
        parse->answer->length = before;
    parse->identified = parse->identified || strcmp(command->pattern, "*IDN?") == 0;
    return true;
}

static bool unit(struct parse *parse, struct span text)
{
    struct call call = {
        .instrument = parse->instrument,
        .set = parse->instrument->sets[0],
        .now = parse->now,
        .answer = parse->answer,
    };
    size_t header = 0;
    while (header < text.length && !is_space(text.bytes[header]))
        header++;
    if (header == 0)
        return refuse(parse, -102, text); /* nothing between two semicolons */
    const struct command *command = find(parse, (struct span){text.bytes, header});
    if (command == NULL)
        return false;
    struct span rest = trimmed(text.bytes + header, text.length - header);
    return read_arguments(parse, rest, &call) && run(parse, command, &call, text);
}

/* Where the unit at `at` ends: its semicolon or the end, strings jumped over. */
static size_t unit_end(const char *bytes, size_t length, size_t at)
{
    char quote = '\0';
    for (; at < length; at++) {
        if (quote != '\0')
            quote = bytes[at] == quote ? '\0' : quote;
        else if (bytes[at] == '"' || bytes[at] == '\'')
            quote = bytes[at];
        else if (bytes[at] == ';')
            break;
    }
    return at;
}

static bool is_text(const char *bytes, size_t length)
{
    for (size_t i = 0; i < length; i++) {
        unsigned char byte = (unsigned char)bytes[i];
        if ((byte < 0x20 && byte != '\t') || byte >= 0x7f)
            return false;
    }
    return true;
}

void message_execute(struct instrument *instrument, const char *bytes, size_t length, utc_us now,
                     struct text *answer)
{
    struct parse parse = {.instrument = instrument, .now = now, .answer = answer};
    struct span whole = trimmed(bytes, length);
    if (whole.length == 0)
        return;
    if (!is_text(whole.bytes, whole.length)) {
        instrument_trouble(instrument, -101, NULL);
        return;
    }
    instrument_advance(instrument, now);
    for (size_t at = 0; at <= whole.length;) {
        size_t end = unit_end(whole.bytes, whole.length, at);
        if (!unit(&parse, trimmed(whole.bytes + at, end - at)))
            return;
        at = end + 1;
    }
}
