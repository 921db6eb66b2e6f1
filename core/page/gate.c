/* Addresses, tokens, hosts and origins. */
#include "page/gate.h"

#include <arpa/inet.h>
#include <errno.h>
#include <netinet/in.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <sys/random.h>

#include "base/text.h"

#define SCHEME "http://"
#define BEARER "Bearer "

/* Splits "HOST:PORT" or "[HOST]:PORT" at its last colon; the port is 0 to 65535 in plain digits,
 * `usual` where it may be left out (not negative) and is. */
static bool split(const char *text, char *host, size_t size, int usual, int *port)
{
    const char *begin = text, *end, *after;
    if (text[0] == '[') {
        begin = text + 1;
        end = strchr(begin, ']');
        if (!end)
            return false;
        after = end + 1;
    } else {
        end = after = text + strcspn(text, ":");
    }
    size_t length = (size_t)(end - begin);
    if (length == 0 || length >= size)
        return false;
    memcpy(host, begin, length);
    host[length] = '\0';
    if (*after == '\0') {
        *port = usual;
        return usual >= 0;
    }
    size_t digits = strspn(after + 1, "0123456789");
    if (*after != ':' || digits == 0 || digits > 5 || after[1 + digits])
        return false;
    *port = atoi(after + 1);
    return *port <= 65535;
}

static int refuse_address(const char *text, const char *why, struct error *error)
{
    char quoted[80];
    return error_set(error, ERROR_USAGE, "--page", "say 127.0.0.1:8080, with a port of your choice",
                     "%s %s", string_quote(text, quoted, sizeof quoted), why);
}

int gate_address(const char *text, bool open, struct sockaddr_storage *out, bool *loopback,
                 struct error *error)
{
    char host[64];
    int port;
    struct sockaddr_in *four = (struct sockaddr_in *)out;
    struct sockaddr_in6 *six = (struct sockaddr_in6 *)out;
    *out = (struct sockaddr_storage){0};
    if (!split(text, host, sizeof host, -1, &port))
        return refuse_address(text, "is no address and port", error);
    const char *literal = strcasecmp(host, "localhost") == 0 ? "127.0.0.1" : host;
    if (text[0] != '[' && inet_pton(AF_INET, literal, &four->sin_addr) == 1) {
        four->sin_family = AF_INET;
        four->sin_port = htons((uint16_t)port);
        *loopback = ntohl(four->sin_addr.s_addr) >> 24 == 127;
    } else if (text[0] == '[' && inet_pton(AF_INET6, host, &six->sin6_addr) == 1) {
        six->sin6_family = AF_INET6;
        six->sin6_port = htons((uint16_t)port);
        *loopback = IN6_IS_ADDR_LOOPBACK(&six->sin6_addr) != 0;
    } else {
        return refuse_address(text, "is no address: names are not looked up", error);
    }
    if (!*loopback && !open)
        return error_set(error, ERROR_USAGE, text,
                         "say 127.0.0.1:PORT and reach it through an encrypted tunnel, or add "
                         "--page-unencrypted-network if you know the network",
                         "others on the network could read along: the page is not encrypted");
    return 0;
}

int gate_make_token(char token[TOKEN_DIGITS + 1], struct error *error)
{
    unsigned char bytes[TOKEN_DIGITS / 2];
    ssize_t got;
    while ((got = getrandom(bytes, sizeof bytes, 0)) < 0 && errno == EINTR)
        continue;
    if (got != (ssize_t)sizeof bytes)
        return error_set(error, ERROR_INTERNAL, "--page",
                         "use --page-read-only, which needs no token",
                         "the system gives no randomness: %s", strerror(errno));
    for (size_t i = 0; i < sizeof bytes; i++)
        snprintf(token + 2 * i, 3, "%02x", bytes[i]);
    return 0;
}

bool gate_token_fits(const struct gate *gate, const char *authorization)
{
    char given[TOKEN_DIGITS] = {0};
    if (!authorization || strncasecmp(authorization, BEARER, strlen(BEARER)) != 0)
        return false;
    const char *text = authorization + strlen(BEARER);
    size_t length = strlen(text);
    memcpy(given, text, length < sizeof given ? length : sizeof given);
    volatile unsigned char differs = length != TOKEN_DIGITS;
    for (size_t i = 0; i < sizeof given; i++)
        differs = (unsigned char)(differs | (given[i] ^ gate->token[i]));
    return differs == 0 && gate->token[0] != '\0';
}

bool gate_host_fits(const struct gate *gate, const char *host)
{
    char name[64];
    unsigned char address[sizeof(struct in6_addr)];
    int port;
    if (!host || !split(host, name, sizeof name, 80, &port) || port != gate->port)
        return false;
    if (host[0] == '[')
        return gate->open ? inet_pton(AF_INET6, name, address) == 1 : strcmp(name, "::1") == 0;
    if (strcasecmp(name, "localhost") == 0)
        return true;
    return gate->open ? inet_pton(AF_INET, name, address) == 1 : strcmp(name, "127.0.0.1") == 0;
}

bool gate_origin_fits(const char *origin, const char *host)
{
    if (!origin)
        return true;
    return strncasecmp(origin, SCHEME, strlen(SCHEME)) == 0 && host &&
           strcasecmp(origin + strlen(SCHEME), host) == 0;
}
