/* One instrument's thread in the guardian: waits for the order, then writes. */
#include "bench/guardian_keeper.h"

#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <pthread.h>
#include <stdatomic.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <termios.h>
#include <unistd.h>

#include "bench/guardian_wire.h"

#define STACK_SIZE (128 * 1024)
#define RETRY_US   10000 /* after the line took nothing, or not all */

/* Safe bytes go out more than once: the first may meet half a command, a full input buffer, or an
 * instrument busy with its last command. Then the wait before the end, for what is under way. */
static const int64_t pause_us[] = {100000, 200000, 100000};
#define ROUNDS ((int)(sizeof pause_us / sizeof *pause_us))

/* One byte each, through the pipe; but for `obeyed`, nothing else is shared between the two
 * threads. */
enum { ORDER_FIRE = 'f', ORDER_FIRE_LAST = 'l' };

struct keeper_work {
    pthread_t thread;
    int fd;           /* -1 when the line has gone */
    int orders;       /* to read from; end of file: leave */
    int orders_write; /* the owner's */
    int64_t bound_us;
    atomic_int obeyed; /* orders to fire that are carried out, or given up */
    int taken;         /* the same, begun */

    /* A device of messages (USBTMC) takes each write as one: no command can be half sent, so no
     * terminator goes before; and a read would ask it for an answer. */
    bool messages;
    bool drains;  /* reading never blocks, and asks for nothing */
    bool listens; /* for a hang-up */
    bool last;
    int round;      /* ROUNDS: nothing to do */
    size_t sent;    /* of this round */
    int64_t due_us; /* of the next write */
    int64_t give_up_us;

    size_t terminator, length;
    char bytes[2 + GUARDIAN_SAFE_MOST]; /* terminator, safe bytes */
};

/* --- the thread ------------------------------------------------------------------------------- */

static void drop_line(struct keeper_work *work)
{
    int fd = work->fd;
    work->fd = -1;
    work->round = ROUNDS;
    work->due_us = 0;
    if (fd >= 0)
        close(fd);
}

static void begin(struct keeper_work *work, bool last)
{
    work->last |= last;
    work->round = work->fd >= 0 ? 0 : ROUNDS;
    work->sent = 0;
    work->due_us = guardian_now_us();
    work->give_up_us = work->due_us + work->bound_us;
    if (work->fd < 0)
        return;
    if (last) /* keeps the next engine off this device until it is done */
        flock(work->fd, LOCK_EX | LOCK_NB);
}

/* An XOFF whose XON was lost must not keep an output on. TCOON alone undoes only TCOOFF. */
static void round_begins(const struct keeper_work *work)
{
    struct termios settings;
    if (!work->messages && tcgetattr(work->fd, &settings) == 0 && (settings.c_iflag & IXON)) {
        tcflow(work->fd, TCOOFF);
        tcflow(work->fd, TCOON);
    }
}

static void round_over(struct keeper_work *work)
{
    work->due_us = guardian_now_us() + pause_us[work->round];
    work->round++;
    work->sent = 0;
    /* Nobody else reads any more. An answer left unread would turn a socket's close into a reset,
     * which may reach the instrument before the bytes do. */
    char unread[512];
    for (int i = 0; work->last && work->drains && i < 64; i++)
        if (read(work->fd, unread, sizeof unread) <= 0)
            break;
}

static void write_some(struct keeper_work *work)
{
    const char *bytes = work->bytes + (work->messages ? work->terminator : 0);
    size_t length = work->length - (work->messages ? work->terminator : 0);
    if (work->sent == 0)
        round_begins(work);
    ssize_t count = write(work->fd, bytes + work->sent, length - work->sent);
    if (count > 0)
        work->sent += (size_t)count;
    if (work->sent == length)
        round_over(work);
    else if (guardian_now_us() >= work->give_up_us)
        work->round = ROUNDS;
    else
        work->due_us = guardian_now_us() + RETRY_US;
}

static bool is_done(const struct keeper_work *work)
{
    return work->round == ROUNDS && guardian_now_us() >= work->due_us;
}

/* How long to wait for orders and hang-ups, in ms; -1: for ever. */
static int wait_ms(const struct keeper_work *work)
{
    if (work->round == ROUNDS && !(work->last && work->fd >= 0))
        return -1;
    int64_t us = work->due_us - guardian_now_us();
    return us <= 0 ? 0 : (int)((us + 999) / 1000);
}

/* False: leave. */
static bool take_orders(struct keeper_work *work)
{
    char orders[16];
    ssize_t count = read(work->orders, orders, sizeof orders);
    if (count <= 0)
        return count < 0 && errno == EINTR;
    work->taken += (int)count;
    begin(work, memchr(orders, ORDER_FIRE_LAST, (size_t)count) != NULL);
    return true;
}

/* Here and not in the owner's thread: even asking may take a while. */
static void look_at_line(struct keeper_work *work)
{
    struct stat status;
    work->messages = fstat(work->fd, &status) == 0 && S_ISCHR(status.st_mode) && !isatty(work->fd);
    work->drains = !work->messages && (fcntl(work->fd, F_GETFL) & O_NONBLOCK);
    work->listens = true;
}

static void *keep(void *argument)
{
    struct keeper_work *work = argument;
    bool stays = true;
    look_at_line(work);
    while (stays && !(work->last && is_done(work))) {
        struct pollfd watched[2] = {{.fd = work->orders, .events = POLLIN},
                                    {.fd = work->listens ? work->fd : -1}};
        if (poll(watched, 2, wait_ms(work)) < 0 && errno != EINTR)
            break;
        if (watched[1].revents & (POLLHUP | POLLNVAL))
            drop_line(work); /* at once: the device could not come back under its name */
        else if (watched[1].revents)
            work->listens = false; /* an error that is no hang-up would never let poll wait */
        if (watched[0].revents)
            stays = take_orders(work);
        if (stays && work->round < ROUNDS && guardian_now_us() >= work->due_us)
            write_some(work);
        if (work->round == ROUNDS)
            atomic_store(&work->obeyed, work->taken);
    }
    drop_line(work);
    return NULL;
}

/* --- the owner's side ------------------------------------------------------------------------- */

/* The line ends that the bytes end with, at most two: what ends a command on this line. */
static size_t terminator_of(const char *safe, size_t length)
{
    size_t count = 0;
    while (count < 2 && count < length && strchr("\r\n", safe[length - count - 1]) &&
           safe[length - count - 1])
        count++;
    return count;
}

static struct keeper_work *work_new(int fd, const char *safe, size_t length, int64_t bound_us)
{
    struct keeper_work *work = calloc(1, sizeof *work);
    int ends[2];
    if (!work || pipe2(ends, O_CLOEXEC) != 0) {
        free(work);
        return NULL;
    }
    fcntl(ends[1], F_SETFL, O_NONBLOCK);
    work->fd = fd;
    work->orders = ends[0];
    work->orders_write = ends[1];
    work->bound_us = bound_us;
    work->round = ROUNDS;
    work->terminator = terminator_of(safe, length);
    work->length = work->terminator + length;
    memcpy(work->bytes, safe + length - work->terminator, work->terminator);
    memcpy(work->bytes + work->terminator, safe, length);
    return work;
}

static void work_free(struct keeper_work *work)
{
    close(work->orders);
    if (work->orders_write >= 0)
        close(work->orders_write);
    free(work);
}

struct keeper *keeper_start(int id, int fd, const char *safe, size_t length, int64_t bound_us)
{
    struct keeper *keeper = calloc(1, sizeof *keeper);
    struct keeper_work *work = keeper ? work_new(fd, safe, length, bound_us) : NULL;
    pthread_attr_t attributes;
    int code = -1;
    if (work && pthread_attr_init(&attributes) == 0) {
        pthread_attr_setstacksize(&attributes, STACK_SIZE);
        code = pthread_create(&work->thread, &attributes, keep, work);
        pthread_attr_destroy(&attributes);
    }
    if (code != 0) {
        if (work)
            work_free(work);
        free(keeper);
        close(fd);
        return NULL;
    }
    keeper->id = id;
    keeper->work = work;
    return keeper;
}

/* A pipe that is full holds orders enough. */
static void order(struct keeper *keeper, char which)
{
    ssize_t count;
    while ((count = write(keeper->work->orders_write, &which, 1)) < 0 && errno == EINTR)
        continue;
    keeper->orders += count == 1;
}

void keeper_fire(struct keeper *keeper)
{
    order(keeper, ORDER_FIRE);
}

void keeper_fire_last(struct keeper *keeper)
{
    order(keeper, ORDER_FIRE_LAST);
}

bool keeper_fires(const struct keeper *keeper)
{
    return atomic_load(&keeper->work->obeyed) != keeper->orders;
}

void keeper_leave(struct keeper *keeper)
{
    close(keeper->work->orders_write);
    keeper->work->orders_write = -1;
}

bool keeper_ended(struct keeper *keeper)
{
    if (pthread_tryjoin_np(keeper->work->thread, NULL) != 0)
        return false;
    work_free(keeper->work);
    free(keeper);
    return true;
}
