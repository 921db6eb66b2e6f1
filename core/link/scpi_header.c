/* Matching headers: short and long forms, suffixes, optional nodes (SCPI-1999 vol. 1, 6.2). */
#include <string.h>

#include "link/scpi.h"

/* IEEE 488.2 7.6.1.4: the longest mnemonic. */
#define MNEMONIC_MOST 12

static char upper(char byte)
{
    return byte >= 'a' && byte <= 'z' ? (char)(byte - 'a' + 'A') : byte;
}

static bool is_lower(char byte)
{
    return byte >= 'a' && byte <= 'z';
}

static bool is_digit(char byte)
{
    return byte >= '0' && byte <= '9';
}

/* The digits after the letters; 1 when there are none, -1 when they are no suffix. */
static int read_suffix(const char *bytes, size_t length)
{
    int suffix = 0;
    if (length == 0)
        return 1;
    for (size_t i = 0; i < length; i++) {
        if (!is_digit(bytes[i]) || suffix > 99999)
            return -1;
        suffix = suffix * 10 + (bytes[i] - '0');
    }
    return suffix;
}

/* One node: `pattern` is `size` bytes of the form "VOLTage" or "VOLTage#". */
static bool match_node(const char *pattern, size_t size, const char *bytes, size_t length,
                       int *suffix)
{
    bool numbered = size > 0 && pattern[size - 1] == '#';
    size_t longest = numbered ? size - 1 : size, shortest = 0;
    while (shortest < longest && !is_lower(pattern[shortest]))
        shortest++;
    size_t letters = 0;
    while (letters < length && letters < longest &&
           upper(bytes[letters]) == upper(pattern[letters]))
        letters++;
    /* A short form that goes on with the long form's next letter is neither. */
    if (letters != longest && letters != shortest)
        return false;
    if (length - letters != 0 && !numbered)
        return false;
    int found = read_suffix(bytes + letters, length - letters);
    if (found < 0 || length > MNEMONIC_MOST)
        return false;
    if (suffix != NULL)
        *suffix = found;
    return true;
}

bool scpi_mnemonic(const char *pattern, const char *bytes, size_t length, int *suffix)
{
    return match_node(pattern, strlen(pattern), bytes, length, suffix);
}

struct match {
    int *suffixes;
    int most;
};

/* Length of the mnemonic at `at`: up to a colon, a bracket or the end. */
static size_t node_length(const char *at, const char *end)
{
    size_t length = 0;
    while (at + length < end && strchr(":[]?", at[length]) == NULL)
        length++;
    return length;
}

static void set_suffix(const struct match *match, int index, int value)
{
    if (index < match->most)
        match->suffixes[index] = value;
}

/* The pattern from `pattern` against the header from `at`: `first` until a node of the header was
 * used (no colon stands before the first). A group in brackets is tried with and without. */
static bool match_rest(const struct match *match, const char *pattern, const char *pattern_end,
                       const char *at, const char *end, bool first, int index)
{
    if (pattern < pattern_end && *pattern == ':')
        return match_rest(match, pattern + 1, pattern_end, at, end, first, index);
    if (pattern < pattern_end && *pattern == ']')
        return match_rest(match, pattern + 1, pattern_end, at, end, first, index);
    if (pattern < pattern_end && *pattern == '[') {
        if (match_rest(match, pattern + 1, pattern_end, at, end, first, index))
            return true;
        for (; pattern < pattern_end && *pattern != ']'; pattern++)
            if (*pattern == '#')
                set_suffix(match, index++, 1);
        return match_rest(match, pattern, pattern_end, at, end, first, index);
    }
    if (pattern == pattern_end)
        return at == end && !first;
    if (!first) {
        if (at == end || *at != ':')
            return false;
        at++;
    }
    size_t size = node_length(pattern, pattern_end), length = node_length(at, end);
    bool numbered = size > 0 && pattern[size - 1] == '#';
    int suffix;
    if (length == 0 || !match_node(pattern, size, at, length, &suffix) ||
        !match_rest(match, pattern + size, pattern_end, at + length, end, false, index + numbered))
        return false;
    if (numbered)
        set_suffix(match, index, suffix);
    return true;
}

bool scpi_header(const char *pattern, const char *bytes, size_t length, int *suffixes, int most)
{
    size_t size = strlen(pattern);
    bool asks = size > 0 && pattern[size - 1] == '?';
    if (length == 0 || (bytes[length - 1] == '?') != asks)
        return false;
    struct match match = {suffixes, most};
    size_t root = bytes[0] == ':' && pattern[0] != '*'; /* back to the root: where we are */
    return match_rest(&match, pattern, pattern + size - asks, bytes + root, bytes + length - asks,
                      true, 0);
}
