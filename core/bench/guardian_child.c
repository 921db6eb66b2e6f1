/* The guardian's own process: watches the engine's beats, and has every keeper write when they
 * stop.
 *
 *              no beat for the patience: trip            the engine is gone
 *   WATCHING ---------------------------------> TRIPPED -------------------+
 *     |  ^                                         |                       |
 *     |  +-------------- any order ----------------+                       v
 *     +-- the engine is gone --------------------------------------> fire_last, exit
 *     +-- GOODBYE: exit, nothing is written
 *
 * 1. It reads all that came before it judges: one that was itself kept from running trips for
 *    nothing that the engine did.
 * 2. It ends only when the engine is gone; signals that can be ignored are.
 *
 * The program starts itself anew for this (/proc/self/exe by posix_spawn) rather than fork: a fork
 * would keep a copy of all the engine's memory alive as that changes, could not take memory or
 * threads after a fork from a process with threads (which a restart is), and may fail for want of
 * memory just when it is needed. What must not happen is that a program started anew does its usual
 * work, test programs included: so it is caught in a constructor, before main, wherever this file
 * is linked. */
#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/prctl.h>
#include <sys/resource.h>
#include <sys/socket.h>
#include <unistd.h>

#include "bench/guardian_keeper.h"
#include "bench/guardian_wire.h"

const char guardian_name[] = "perdure-guardian";

#define BOUND_PATIENCES 4   /* how long a keeper tries, and how long the end waits for it */
#define LOOK_MS         500 /* while tripped: whether the engine still lives */

struct child {
    pid_t engine;
    int64_t patience_us, heard_us, tripped_us;
    bool tripped, goodbye, gone;
    int32_t trips, holds;
    struct keeper *keepers, *leaving;
};

/* --- keepers ---------------------------------------------------------------------------------- */

static void release(struct child *child, int id)
{
    for (struct keeper **place = &child->keepers; *place; place = &(*place)->next) {
        struct keeper *keeper = *place;
        if (keeper->id != id)
            continue;
        *place = keeper->next;
        keeper->next = child->leaving;
        child->leaving = keeper;
        child->holds--;
        keeper_leave(keeper);
        return;
    }
}

static void hold(struct child *child, const struct guardian_order *order, int fd)
{
    struct keeper *keeper = keeper_start(order->id, fd, order->safe, order->length,
                                         BOUND_PATIENCES * child->patience_us);
    if (!keeper)
        return; /* one hold too few: the next report tells */
    keeper->next = child->keepers;
    child->keepers = keeper;
    child->holds++;
}

static void free_ended(struct keeper **place)
{
    while (*place) {
        struct keeper *keeper = *place, *next = keeper->next;
        if (keeper_ended(keeper))
            *place = next;
        else
            place = &keeper->next;
    }
}

static void fire_last(struct child *child)
{
    int64_t end = guardian_now_us() + BOUND_PATIENCES * child->patience_us + 1000000;
    for (struct keeper *keeper = child->keepers; keeper; keeper = keeper->next)
        keeper_fire_last(keeper);
    while (child->keepers && guardian_now_us() < end) {
        free_ended(&child->keepers);
        poll(NULL, 0, 10);
    }
}

/* --- talking ---------------------------------------------------------------------------------- */

/* A keeper that is stuck for longer than it tries counts no more. */
static bool fires(const struct child *child)
{
    bool some = false;
    for (const struct keeper *keeper = child->keepers; keeper; keeper = keeper->next)
        some |= keeper_fires(keeper);
    return some && guardian_now_us() < child->tripped_us + BOUND_PATIENCES * child->patience_us;
}

/* Never waits: an engine that hangs does not read. */
static void report(const struct child *child, int32_t expected)
{
    struct guardian_report report = {expected, child->holds, child->trips, fires(child)};
    send(GUARDIAN_SOCKET, &report, sizeof report, MSG_DONTWAIT | MSG_NOSIGNAL);
}

static void obey(struct child *child, const struct guardian_order *order, int fd)
{
    child->heard_us = guardian_now_us();
    child->tripped = false;
    switch (order->word) {
    case WORD_BEAT: report(child, order->holds); break;
    case WORD_HOLD:
        release(child, order->id);
        if (fd >= 0) /* none: one open file too many */
            hold(child, order, fd);
        return;
    case WORD_RELEASE: release(child, order->id); break;
    case WORD_GOODBYE: child->goodbye = true; break;
    }
    if (fd >= 0)
        close(fd);
}

static int descriptor_in(struct msghdr *message)
{
    int fd = -1;
    struct cmsghdr *extra = CMSG_FIRSTHDR(message);
    if (extra && extra->cmsg_level == SOL_SOCKET && extra->cmsg_type == SCM_RIGHTS &&
        extra->cmsg_len == CMSG_LEN(sizeof fd))
        memcpy(&fd, CMSG_DATA(extra), sizeof fd);
    return fd;
}

/* All that has come. */
static void listen_to(struct child *child)
{
    while (!child->goodbye && !child->gone) {
        struct guardian_order order = {0};
        union {
            struct cmsghdr head;
            char bytes[CMSG_SPACE(sizeof(int))];
        } extra = {0};
        struct iovec place = {&order, sizeof order};
        struct msghdr message = {.msg_iov = &place,
                                 .msg_iovlen = 1,
                                 .msg_control = &extra,
                                 .msg_controllen = sizeof extra};
        ssize_t count = recvmsg(GUARDIAN_SOCKET, &message, MSG_DONTWAIT | MSG_CMSG_CLOEXEC);
        if (count < 0 && (errno == EINTR || errno == ECONNRESET))
            continue; /* reset: it closed with a report unread; orders may still be here */
        if (count < 0 && errno == EAGAIN)
            return;
        if (count <= 0)
            child->gone = true;
        else
            obey(child, &order, descriptor_in(&message));
    }
}

/* --- watching --------------------------------------------------------------------------------- */

static int wait_ms(const struct child *child)
{
    if (child->tripped || !child->keepers)
        return LOOK_MS;
    int64_t left = child->patience_us - (guardian_now_us() - child->heard_us);
    return left <= 0 ? 0 : (int)((left + 999) / 1000);
}

static void trip(struct child *child)
{
    for (struct keeper *keeper = child->keepers; keeper; keeper = keeper->next)
        keeper_fire(keeper);
    child->tripped = true;
    child->tripped_us = guardian_now_us();
    child->trips++;
    report(child, child->holds);
}

static void watch(struct child *child)
{
    child->heard_us = guardian_now_us();
    while (!child->goodbye && !child->gone) {
        struct pollfd wait = {.fd = GUARDIAN_SOCKET, .events = POLLIN};
        poll(&wait, 1, wait_ms(child));
        listen_to(child);
        free_ended(&child->leaving);
        if (child->goodbye || child->gone)
            break;
        bool late = guardian_now_us() - child->heard_us >= child->patience_us;
        if (late && getppid() != child->engine)
            child->gone = true; /* somebody else has its end of the socketpair */
        else if (late && !child->tripped && child->keepers)
            trip(child);
    }
    if (child->gone)
        fire_last(child);
}

/* --- beginning -------------------------------------------------------------------------------- */

static void ignore_signals(void)
{
    static const int faults[] = {SIGSEGV, SIGBUS,  SIGILL, SIGFPE,
                                 SIGABRT, SIGTRAP, SIGSYS, SIGCHLD};
    for (int number = 1; number < SIGSYS; number++) {
        bool fault = false;
        for (size_t i = 0; i < sizeof faults / sizeof *faults; i++)
            fault |= faults[i] == number;
        if (!fault)
            signal(number, SIG_IGN);
    }
}

/* An engine may hang because the machine is short of memory, processor or descriptors: where the
 * system lets it, the guardian is not. */
static void stand_fast(void)
{
    struct rlimit limit;
    FILE *out = fopen("/proc/self/oom_score_adj", "w");
    if (out) {
        fputs("-1000", out);
        fclose(out);
    }
    if (getrlimit(RLIMIT_NOFILE, &limit) == 0) {
        limit.rlim_cur = limit.rlim_max;
        setrlimit(RLIMIT_NOFILE, &limit);
    }
    setpriority(PRIO_PROCESS, 0, -10);
    if (geteuid() == 0) /* for others, a thread over their limit would be refused */
        mlockall(MCL_CURRENT | MCL_FUTURE | MCL_ONFAULT);
}

/* Fires at nothing: what that takes is found, read from disk and kept in memory now, and not in the
 * middle of the trouble. */
static void rehearse(struct child *child)
{
    int fd = open("/dev/null", O_RDWR | O_CLOEXEC);
    struct keeper *keeper = fd < 0 ? NULL : keeper_start(0, fd, "\n", 1, child->patience_us);
    if (!keeper)
        return;
    keeper_fire_last(keeper);
    keeper->next = child->leaving;
    child->leaving = keeper;
}

__attribute__((constructor)) static void become_guardian(int count, char **values)
{
    if (count != 2 || strcmp(values[0], guardian_name) != 0)
        return;
    struct child child = {.engine = getppid(), .patience_us = atol(values[1]) * 1000};
    int kind = 0;
    socklen_t size = sizeof kind;
    if (child.patience_us <= 0 ||
        getsockopt(GUARDIAN_SOCKET, SOL_SOCKET, SO_TYPE, &kind, &size) != 0 ||
        kind != SOCK_SEQPACKET)
        exit(2);
    ignore_signals();
    prctl(PR_SET_NAME, guardian_name); /* cut to 15 bytes */
    if (chdir("/") != 0)
        exit(2); /* would keep a file system from being unmounted */
    stand_fast();
    rehearse(&child);
    watch(&child);
    exit(0);
}
