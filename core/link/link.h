/* A byte link to one instrument: serial line, TCP, USBTMC or pseudo-terminal, on a libuv loop. One
 * question at a time, from a queue; an answer is only ever given to the question that it belongs
 * to, as far as anyone can tell from this end.
 *
 * Ownership: link_open's caller owns the link until link_close; strings of the spec are copied. All
 * hooks and callbacks come from the loop, never from inside a call below (trace alone does), and
 * may call any function here. Bytes handed to them live as long as the call.
 *
 * Times in seconds. Patience is real time, whatever clock the bench runs on. */
#ifndef PERDURE_LINK_LINK_H
#define PERDURE_LINK_LINK_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/error.h"

enum link_kind { LINK_SERIAL, LINK_TCP, LINK_USBTMC, LINK_PTY };
enum link_parity { LINK_PARITY_NONE, LINK_PARITY_EVEN, LINK_PARITY_ODD };
enum link_flow { LINK_FLOW_NONE, LINK_FLOW_RTS_CTS, LINK_FLOW_XON_XOFF };

/* 0 and NULL mean the default in brackets. */
struct link_spec {
    enum link_kind kind;
    const char *path; /* stable path of the device, such as one in /dev/serial/by-id; or the host */
    int port;         /* TCP [5025, registered by IANA as scpi-raw] */
    int speed;        /* serial, Bd [9600] */
    int bits;         /* serial [8] */
    int stop_bits;    /* serial [1] */
    enum link_parity parity;
    enum link_flow flow;
    const char
        *terminator;   /* ends an answer ["\n"]; 1 or 2 bytes, never part of what is handed on */
    size_t line_most;  /* bytes of a line [4096] */
    size_t block_most; /* bytes of a block [1 MiB] */
    double patience;   /* s for one exchange that names none, and for connecting [1] */
    double quiet;      /* s without a byte that count as silence [0.05] */
};

struct link;

/* A question that may be asked at any time, changes nothing, and whose answer is known. */
struct link_sync {
    const char *ask; /* terminator included; NULL: none, silence alone is trusted then */
    bool (*match)(void *owner, const char *answer, size_t length);
};

struct link_hooks {
    /* Open and flushed, and a stranger: verify who it is (link_verify), then link_trust. */
    void (*up)(struct link *link, void *owner);
    /* Hung up, or the first attempt to open failed: `why`. Attempts go on until link_close. */
    void (*down)(struct link *link, void *owner, const struct error *why);
    void (*closed)(void *owner); /* the last call of all; the link is gone */
    /* Every byte: 'o' out, 'i' in, 'x' in but thrown away; at_us on the monotonic clock. */
    void (*trace)(void *owner, char way, const char *bytes, size_t length, int64_t at_us);
    struct link_sync sync;
    void *owner;
};

enum link_answer { LINK_NONE, LINK_LINE, LINK_BLOCK };

enum link_status {
    LINK_OK,
    LINK_TIMEOUT,  /* no answer in time: it was sent and may have been carried out */
    LINK_HANGUP,   /* the line went, before or after it was sent */
    LINK_GARBLED,  /* no text of 7-bit ASCII, too long, no block, or more than one answer */
    LINK_ABANDONED /* by link_send_now: may have been sent and carried out */
};

struct link_reply {
    enum link_status status;
    const char *bytes; /* LINK_OK: the line, or the content of the block; a NUL follows */
    size_t length;
};

typedef void link_answered(void *owner, const struct link_reply *reply);

/* Refuses only a spec that makes no sense; whether it can be opened is told by up or down. */
int link_open(void *uv_loop, const struct link_spec *spec, const struct link_hooks *hooks,
              struct link **out, struct error *error);

/* Once. No callback comes after it but `closed`; what is still queued is dropped unsent. */
void link_close(struct link *link);

/* Queues a question or (LINK_NONE) an order, sent as it is: put the terminator in. `patience` runs
 * from when it is sent; 0 is the spec's. Never sent twice: after LINK_TIMEOUT the caller decides.
 * An error, and no callback, when the link is down or still a stranger, or the queue is full. */
int link_ask(struct link *link, const char *bytes, size_t length, enum link_answer answer,
             double patience, link_answered *callback, void *owner, struct error *error);

/* The same for a stranger (and anyone else): a question about its identity, one line. */
int link_verify(struct link *link, const char *bytes, size_t length, double patience,
                link_answered *callback, void *owner, struct error *error);
/* It is the one we know: link_ask works from here to the next hang-up. */
void link_trust(struct link *link);
/* It is not, or talks nonsense: hangs up (`down` with `why`) and tries again later. */
void link_refuse(struct link *link, const struct error *why);

/* Safe bytes, at once, before all else and to strangers too: abandons the exchange in progress and
 * all that `owner` still has in the queue (NULL: all of it), so that nothing asked before is sent
 * after. An error when the link is down. USBTMC: the kernel's driver cannot be interrupted, so they
 * go when the read in progress ends, at the latest after its patience: keep that short. */
int link_send_now(struct link *link, const char *bytes, size_t length, void *owner,
                  struct error *error);

/* `owner` goes away: drops what it has in the queue and in progress, without a callback. */
void link_forget(struct link *link, void *owner);

/* An answer made no sense where it was read: drain and synchronise before the next exchange. The
 * link sees by itself what comes between two questions; but a stray answer that comes after the
 * second question was sent is taken for that one's, for nothing on the wire tells them apart: only
 * what is asked can, by an answer unlike all that comes unasked (`ends` of a driver's reading). */
void link_resync(struct link *link);

bool link_is_up(const struct link *link); /* open and trusted */

/* What bytes to the instrument are written to (of USBTMC: the device), for whoever must reach it
 * when this process cannot; -1 while it is not open. Valid until `down`; to be duplicated, not
 * used. */
int link_fd(const struct link *link);

/* Since link_open. */
struct link_counts {
    uint64_t asked, ok, timeouts, garbled, hangups, abandoned;
    uint64_t strays; /* bytes that came uninvited or too late, and were thrown away */
    uint64_t syncs;  /* synchronisation questions asked */
};
const struct link_counts *link_counts(const struct link *link);

#endif
