/* The engine's side of the guardian: starts it, hands over, beats, and replaces one that is
 * lost. */
#include "bench/guardian.h"

#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <signal.h>
#include <spawn.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/wait.h>
#include <unistd.h>

#include "base/text.h"
#include "bench/guardian_wire.h"

#define BEATS_IN_PATIENCE 4
#define UNANSWERED_MOST   8   /* beats: a patience at least, as they come half an interval early */
#define SEND_MS           200 /* the longest an order may wait for room */
#define FIRST_MS          5000
#define CLOSE_MS          1000
#define PAUSE_US          250000 /* between tries when none that was started answered; doubles */
#define PAUSE_MOST_US     8000000
#define DYING_MOST        4

extern char **environ;

struct hold {
    struct hold *next;
    int id;
    int fd; /* a duplicate: the number of the link's own may mean something else by the next restart
             */
    size_t length;
    char safe[];
};

struct guardian {
    double patience; /* s */
    int64_t beat_every_us, beat_due_us;
    struct hold *holds;

    pid_t pid; /* 0: none at work */
    int socket;
    bool begun;     /* one was started, or should have been */
    bool answered;  /* it did, once at least */
    int unanswered; /* beats in a row. Counted and not timed: we may be the one who stood still */
    int32_t trips;  /* it has told us */

    pid_t dying[DYING_MOST]; /* killed, not yet reaped; 0 */
    int64_t try_us, pause_us;
    bool lost, tripped, fires;
    struct error trouble;
    struct guardian_counts counts;
};

/* --- children --------------------------------------------------------------------------------- */

/* One that is stuck in a device's driver dies only when that returns: so none is waited for. */
static bool reap(struct guardian *guardian)
{
    bool room = false;
    for (int i = 0; i < DYING_MOST; i++) {
        pid_t *pid = &guardian->dying[i];
        if (*pid && waitpid(*pid, NULL, WNOHANG) != 0)
            *pid = 0;
        room |= !*pid;
    }
    return room;
}

static void set_trouble(struct guardian *guardian, const char *why, int code)
{
    error_set(&guardian->trouble, ERROR_BENCH, "guardian",
              "keep an eye on the bench; see that this machine has memory, processes and files to "
              "spare",
              "%s%s%s", why, code ? ": " : "", code ? strerror(code) : "");
}

/* Not started, or not alive to its duty. */
static void lose(struct guardian *guardian, const char *why, int code)
{
    set_trouble(guardian, why, code);
    if (guardian->pid) {
        kill(guardian->pid, SIGKILL);
        for (int i = 0; i < DYING_MOST; i++)
            if (!guardian->dying[i]) {
                guardian->dying[i] = guardian->pid;
                break;
            }
        close(guardian->socket);
        guardian->pid = 0;
    }
    if (guardian->answered) {
        guardian->try_us = 0;
        guardian->pause_us = PAUSE_US;
    } else {
        guardian->lost = true;
        guardian->try_us = guardian_now_us() + guardian->pause_us;
        guardian->pause_us *= 2;
        if (guardian->pause_us > PAUSE_MOST_US)
            guardian->pause_us = PAUSE_MOST_US;
    }
    guardian->answered = guardian->fires = false;
}

static int set_up_spawn(posix_spawn_file_actions_t *files, posix_spawnattr_t *attributes,
                        int socket)
{
    sigset_t none, all;
    sigemptyset(&none);
    sigfillset(&all);
    /* Nothing of the engine's stays open in it: no logbook, no socket, no terminal. */
    int code = posix_spawn_file_actions_adddup2(files, socket, GUARDIAN_SOCKET);
    for (int fd = 0; fd < GUARDIAN_SOCKET && !code; fd++)
        code = posix_spawn_file_actions_addopen(files, fd, "/dev/null", O_RDWR, 0);
    if (!code)
        code = posix_spawn_file_actions_addclosefrom_np(files, GUARDIAN_SOCKET + 1);
    /* A session of its own: what a terminal sends to the engine's does not reach it. */
    if (!code)
        code = posix_spawnattr_setflags(attributes, POSIX_SPAWN_SETSID | POSIX_SPAWN_SETSIGMASK |
                                                        POSIX_SPAWN_SETSIGDEF);
    if (!code)
        code = posix_spawnattr_setsigmask(attributes, &none);
    return code ? code : posix_spawnattr_setsigdefault(attributes, &all);
}

static int spawn(pid_t *pid, int socket, double patience)
{
    posix_spawn_file_actions_t files;
    posix_spawnattr_t attributes;
    char name[32], ms[32];
    char *values[] = {name, ms, NULL};
    snprintf(name, sizeof name, "%s", guardian_name);
    snprintf(ms, sizeof ms, "%d", (int)(patience * 1e3));
    if (posix_spawn_file_actions_init(&files) != 0)
        return ENOMEM;
    if (posix_spawnattr_init(&attributes) != 0) {
        posix_spawn_file_actions_destroy(&files);
        return ENOMEM;
    }
    int code = set_up_spawn(&files, &attributes, socket);
    if (!code)
        code = posix_spawn(pid, "/proc/self/exe", &files, &attributes, values, environ);
    posix_spawn_file_actions_destroy(&files);
    posix_spawnattr_destroy(&attributes);
    return code;
}

/* --- talking ---------------------------------------------------------------------------------- */

/* False, and it is lost, when the order could not be sent. A beat finds room or is left out. */
static bool send_order(struct guardian *guardian, struct guardian_order *order, const char *safe,
                       int fd)
{
    union {
        struct cmsghdr head;
        char bytes[CMSG_SPACE(sizeof fd)];
    } extra = {0};
    struct iovec parts[2] = {{order, GUARDIAN_ORDER_HEAD}, {(void *)safe, order->length}};
    struct msghdr message = {.msg_iov = parts, .msg_iovlen = safe ? 2 : 1};
    if (fd >= 0) {
        message.msg_control = &extra;
        message.msg_controllen = sizeof extra;
        struct cmsghdr *head = CMSG_FIRSTHDR(&message);
        head->cmsg_level = SOL_SOCKET;
        head->cmsg_type = SCM_RIGHTS;
        head->cmsg_len = CMSG_LEN(sizeof fd);
        memcpy(CMSG_DATA(head), &fd, sizeof fd);
    }
    for (int tries = 0;; tries++) {
        if (sendmsg(guardian->socket, &message, MSG_DONTWAIT | MSG_NOSIGNAL) >= 0)
            return true;
        if (errno == EAGAIN && order->word == WORD_BEAT)
            return true;
        if (errno != EINTR && errno != EAGAIN) {
            lose(guardian, "it has gone", errno == EPIPE || errno == ECONNRESET ? 0 : errno);
            return false;
        }
        struct pollfd wait = {.fd = guardian->socket, .events = POLLOUT};
        if (errno == EAGAIN && (tries > 0 || poll(&wait, 1, SEND_MS) <= 0)) {
            lose(guardian, "it does not read", 0);
            return false;
        }
    }
}

static bool send_hold(struct guardian *guardian, const struct hold *hold)
{
    struct guardian_order order = {
        .word = WORD_HOLD, .id = hold->id, .length = (uint32_t)hold->length};
    return send_order(guardian, &order, hold->safe, hold->fd);
}

static bool send_beat(struct guardian *guardian)
{
    struct guardian_order order = {.word = WORD_BEAT, .holds = guardian->counts.holds};
    guardian->unanswered++;
    return send_order(guardian, &order, NULL, -1);
}

static void take_report(struct guardian *guardian, const struct guardian_report *report)
{
    if (report->trips != guardian->trips) {
        guardian->counts.trips += report->trips - guardian->trips;
        guardian->trips = report->trips;
        guardian->tripped = true;
    }
    guardian->fires = report->fires;
    if (report->holds != report->expected) {
        guardian->answered = false; /* one like it would do no better, unless later */
        lose(guardian, "it could not take all instruments", 0);
        return;
    }
    guardian->unanswered = 0;
    guardian->answered = true;
    guardian->lost = false;
    guardian->pause_us = PAUSE_US;
}

static void take_reports(struct guardian *guardian)
{
    struct guardian_report report;
    while (guardian->pid) {
        ssize_t count = recv(guardian->socket, &report, sizeof report, MSG_DONTWAIT);
        if (count == (ssize_t)sizeof report)
            take_report(guardian, &report);
        else if (count < 0 && errno == EAGAIN)
            return;
        else if (count >= 0 || errno != EINTR)
            lose(guardian, "it has gone", 0);
    }
}

/* Starts one, and hands everything over: it may take its time to read that. */
static void start(struct guardian *guardian)
{
    int ends[2];
    if (!reap(guardian)) {
        lose(guardian, "those before it are stuck in a device's driver, and do not end", 0);
        return;
    }
    if (socketpair(AF_UNIX, SOCK_SEQPACKET | SOCK_CLOEXEC, 0, ends) != 0) {
        lose(guardian, "it could not be started", errno);
        return;
    }
    int code = spawn(&guardian->pid, ends[1], guardian->patience);
    close(ends[1]);
    if (code) {
        close(ends[0]);
        guardian->pid = 0;
        lose(guardian, "it could not be started", code);
        return;
    }
    guardian->socket = ends[0];
    guardian->unanswered = 0;
    guardian->trips = 0;
    guardian->counts.starts++;
    for (const struct hold *hold = guardian->holds; hold; hold = hold->next)
        if (!send_hold(guardian, hold))
            return;
    send_beat(guardian);
}

enum guardian_state guardian_beat(struct guardian *guardian)
{
    int64_t now = guardian_now_us();
    /* Up to half of it early, when the loop is awake anyway: then it need not wake for this one. */
    if (now < guardian->beat_due_us - guardian->beat_every_us / 2)
        return guardian_state(guardian);
    guardian->beat_due_us = now + guardian->beat_every_us;
    reap(guardian);
    take_reports(guardian);
    if (guardian->pid && guardian->unanswered >= UNANSWERED_MOST)
        lose(guardian, "it does not answer", 0);
    if (guardian->pid)
        send_beat(guardian);
    if (!guardian->pid && guardian->holds && now >= guardian->try_us)
        start(guardian);
    return guardian_state(guardian);
}

/* The first time only: nothing is energised yet, so there is time to see that it can be had. */
static void start_first(struct guardian *guardian)
{
    int64_t end = guardian_now_us() + FIRST_MS * 1000;
    start(guardian);
    while (guardian->pid && !guardian->answered && guardian_now_us() < end) {
        struct pollfd wait = {.fd = guardian->socket, .events = POLLIN};
        poll(&wait, 1, 100);
        take_reports(guardian);
    }
    if (guardian->pid && !guardian->answered)
        lose(guardian, "it does not answer", 0);
}

/* --- holds ------------------------------------------------------------------------------------ */

static bool drop_hold(struct guardian *guardian, int id)
{
    for (struct hold **place = &guardian->holds; *place; place = &(*place)->next) {
        struct hold *hold = *place;
        if (hold->id != id)
            continue;
        *place = hold->next;
        /* Ours first: closing the last duplicate of a serial line may take long, and is then
         * theirs. */
        close(hold->fd);
        free(hold);
        guardian->counts.holds--;
        return true;
    }
    return false;
}

int guardian_hold(struct guardian *guardian, int id, int fd, const char *safe, size_t length,
                  struct error *error)
{
    if (length == 0 || length > GUARDIAN_SAFE_MOST)
        return error_set(error, ERROR_BENCH, "guardian", "mend the driver",
                         "the bytes that make an instrument safe are %zu, not 1 to %d", length,
                         GUARDIAN_SAFE_MOST);
    int duplicate = fcntl(fd, F_DUPFD_CLOEXEC, GUARDIAN_SOCKET + 1);
    if (duplicate < 0)
        return error_set(error, ERROR_BENCH, "guardian", "let this program open more files",
                         "an instrument's line cannot be duplicated: %s", strerror(errno));
    drop_hold(guardian, id); /* theirs is replaced by the order */
    struct hold *hold = xmalloc(sizeof *hold + length);
    *hold = (struct hold){guardian->holds, id, duplicate, length};
    memcpy(hold->safe, safe, length);
    guardian->holds = hold;
    guardian->counts.holds++;
    if (guardian->pid && !send_hold(guardian, hold))
        guardian->beat_due_us = 0; /* the next beat starts another */
    else if (!guardian->pid && !guardian->begun)
        start_first(guardian);
    guardian->begun = true;
    return 0;
}

void guardian_release(struct guardian *guardian, int id)
{
    struct guardian_order order = {.word = WORD_RELEASE, .id = id};
    if (drop_hold(guardian, id) && guardian->pid && !send_order(guardian, &order, NULL, -1))
        guardian->beat_due_us = 0;
}

/* --- open and close --------------------------------------------------------------------------- */

struct guardian *guardian_open(double patience)
{
    struct guardian *guardian = xcalloc(1, sizeof *guardian);
    guardian->patience = patience > 0 ? patience : GUARDIAN_PATIENCE;
    guardian->beat_every_us = (int64_t)(guardian->patience * 1e6 / BEATS_IN_PATIENCE);
    guardian->pause_us = PAUSE_US;
    return guardian;
}

/* Waits for those that were told to go; a second for all is plenty, and those stuck in a driver are
 * left to whoever reaps orphans. */
static void reap_all(struct guardian *guardian)
{
    for (int ms = 0; ms < CLOSE_MS; ms++) {
        bool left = false;
        if (ms == CLOSE_MS / 2 && guardian->pid)
            kill(guardian->pid, SIGKILL);
        if (guardian->pid && waitpid(guardian->pid, NULL, WNOHANG) != 0)
            guardian->pid = 0;
        reap(guardian);
        for (int i = 0; i < DYING_MOST; i++)
            left |= guardian->dying[i] != 0;
        if (!left && !guardian->pid)
            return;
        poll(NULL, 0, 1);
    }
}

void guardian_close(struct guardian *guardian)
{
    struct guardian_order order = {.word = WORD_GOODBYE};
    if (!guardian)
        return;
    if (guardian->pid && send_order(guardian, &order, NULL, -1))
        close(guardian->socket);
    reap_all(guardian);
    while (guardian->holds)
        drop_hold(guardian, guardian->holds->id);
    free(guardian);
}

/* --- asking ----------------------------------------------------------------------------------- */

enum guardian_state guardian_state(const struct guardian *guardian)
{
    if (guardian->lost)
        return GUARDIAN_LOST;
    if (guardian->fires)
        return GUARDIAN_FIRING;
    return guardian->tripped ? GUARDIAN_TRIPPED : GUARDIAN_WATCHING;
}

void guardian_settle(struct guardian *guardian)
{
    if (!guardian->fires)
        guardian->tripped = false;
}

double guardian_beat_in(const struct guardian *guardian)
{
    int64_t us = guardian->beat_due_us - guardian_now_us();
    return us > 0 ? (double)us / 1e6 : 0;
}

const struct error *guardian_trouble(const struct guardian *guardian)
{
    return &guardian->trouble;
}

struct guardian_counts guardian_count(const struct guardian *guardian)
{
    struct guardian_counts counts = guardian->counts;
    counts.pid = guardian->pid;
    return counts;
}
