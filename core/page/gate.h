/* Who may come in: what is decided about a request before anything is done for it. Pure functions.
 *
 * A page that is served to this machine alone can still be reached by what a browser here is made
 * to do. So: the Host must be one of ours, or a name elsewhere made to point here would be let in
 * (DNS rebinding); the Origin, where there is one, must be the very same; and whatever changes
 * something needs the token that the engine printed when it began. */
#ifndef PERDURE_PAGE_GATE_H
#define PERDURE_PAGE_GATE_H

#include <stdbool.h>
#include <sys/socket.h>

#include "base/error.h"

/* 32 bytes of the system's randomness, as hexadecimal digits. */
#define TOKEN_DIGITS 64

struct gate {
    int port;
    bool open;      /* reached from other machines too: any address literal is a good Host */
    bool read_only; /* nothing is changed, token or not */
    char token[TOKEN_DIGITS + 1];
};

/* Reads "127.0.0.1:8080", "[::1]:8080" or "localhost:8080"; names of other hosts are refused. An
 * address other than loopback is refused unless `open`. *loopback says which it is. */
int gate_address(const char *text, bool open, struct sockaddr_storage *out, bool *loopback,
                 struct error *error);

int gate_make_token(char token[TOKEN_DIGITS + 1], struct error *error);

/* The value of the header Authorization, "Bearer TOKEN" (RFC 6750); NULL: there is none. Takes the
 * same time wherever the first difference is. */
bool gate_token_fits(const struct gate *gate, const char *authorization);

/* The value of the header Host (RFC 9110, 7.2). */
bool gate_host_fits(const struct gate *gate, const char *host);

/* The value of the header Origin (RFC 6454, 7): "http://" and the very Host of the request. NULL:
 * there is none, which fits. */
bool gate_origin_fits(const char *origin, const char *host);

#endif
