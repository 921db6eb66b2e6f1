/* What asking many instruments costs: links on a loop, beside a bare loop that does the same
 * waiting, reading and writing on the same number of pseudo-terminals, in the same process and the
 * same run. All channels are asked at each beat, and every answer's two numbers are read. Prints
 * one line a case; no pass or fail.
 *
 *   links [SECONDS]     for each measurement [5]
 *
 * Processor time is this process's; the instruments answer from one of their own. Late: from when a
 * question was due to when its answer is in hand. Both sides are measured in turns, so that neither
 * has the quieter machine. */
#include <sys/timerfd.h>
#include <uv.h>

#include "link/link.h"
#include "link/scpi.h"
#include "ptys.h"

#define ROUNDS    3
#define MOST      PTYS_MOST
#define QUESTION  "MEAS:VOLT?;CURR?\n"
#define ANSWER    "+1.23450E+00,-4.00000E-01\n"
#define LATE_MOST 4000000

struct measured {
    double processor; /* s */
    long answers, failed;
    double *late; /* s, LATE_MOST of them */
};

static void note(struct measured *measured, double due)
{
    if (measured->answers < LATE_MOST)
        measured->late[measured->answers++] = seconds(CLOCK_MONOTONIC) - due;
}

static size_t answer(int index, const char *line, char *out, size_t room)
{
    (void)index, (void)line, (void)room;
    memcpy(out, ANSWER, sizeof ANSWER - 1);
    return sizeof ANSWER - 1;
}

/* Beats at `rate` Hz, the first after a tenth of a second. */
static int beat_begin(double rate, double *first)
{
    long ns = (long)(1e9 / rate);
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    now.tv_nsec += 100000000;
    now.tv_sec += now.tv_nsec / 1000000000;
    now.tv_nsec %= 1000000000;
    struct itimerspec timer = {{ns / 1000000000, ns % 1000000000}, now};
    int fd = timerfd_create(CLOCK_MONOTONIC, TFD_NONBLOCK);
    if (fd < 0 || timerfd_settime(fd, TFD_TIMER_ABSTIME, &timer, NULL))
        fail("no timer");
    *first = (double)now.tv_sec + (double)now.tv_nsec / 1e9;
    return fd;
}

/* --- the bare loop ---------------------------------------------------------------------------- */

static void bare_answer(int fd, struct measured *measured, double due)
{
    char bytes[256], *end;
    ssize_t length = read(fd, bytes, sizeof bytes - 1);
    if (length <= 0 || bytes[length - 1] != '\n') {
        measured->failed++;
        return;
    }
    bytes[length] = '\0';
    double voltage = strtod(bytes, &end), current = strtod(end + 1, NULL);
    measured->failed += voltage != 1.2345 || current != -0.4;
    note(measured, due);
}

static void bare(struct ptys *instruments, double rate, long beats, struct measured *measured)
{
    int epoll = epoll_create1(0), *lines = instruments->held, waiting = 0;
    struct epoll_event events[MOST + 1];
    double due;
    for (int i = 0; i < instruments->count; i++) {
        struct epoll_event event = {.events = EPOLLIN, .data = {.fd = lines[i]}};
        fcntl(lines[i], F_SETFL, O_NONBLOCK);
        epoll_ctl(epoll, EPOLL_CTL_ADD, lines[i], &event);
    }
    int timer = beat_begin(rate, &due);
    struct epoll_event event = {.events = EPOLLIN, .data = {.fd = timer}};
    epoll_ctl(epoll, EPOLL_CTL_ADD, timer, &event);
    due -= 1 / rate;
    double began = seconds(CLOCK_PROCESS_CPUTIME_ID);
    for (long beat = 0; beat < beats || waiting > 0;) {
        int ready = epoll_wait(epoll, events, MOST + 1, -1);
        for (int i = 0; i < ready; i++) {
            uint64_t expired;
            if (events[i].data.fd != timer) {
                bare_answer(events[i].data.fd, measured, due);
                waiting--;
            } else if (read(timer, &expired, sizeof expired) == sizeof expired && beat < beats) {
                due += (double)expired / rate;
                beat++;
                for (int k = 0; k < instruments->count; k++)
                    if (write(lines[k], QUESTION, sizeof QUESTION - 1) != sizeof QUESTION - 1)
                        fail("a question could not be put");
                waiting += instruments->count;
            }
        }
    }
    measured->processor += seconds(CLOCK_PROCESS_CPUTIME_ID) - began;
    close(timer);
    close(epoll);
}

/* --- ours ------------------------------------------------------------------------------------- */

struct ours {
    uv_loop_t loop;
    uv_poll_t beat;
    int timer, count, up, waiting, closed;
    double rate, due;
    long left; /* beats */
    struct link *links[MOST];
    struct measured *measured;
};

static void on_up(struct link *link, void *owner)
{
    struct ours *ours = owner;
    link_trust(link);
    if (++ours->up == ours->count)
        uv_stop(&ours->loop);
}

static void on_down(struct link *link, void *owner, const struct error *why)
{
    (void)link, (void)owner;
    error_print(stderr, why);
    exit(1);
}

static void on_closed(void *owner)
{
    ((struct ours *)owner)->closed++;
}

static bool read_two(const struct link_reply *reply)
{
    double values[2];
    size_t at = 0, length;
    const char *item;
    for (int i = 0; i < 2; i++)
        if (!scpi_item(reply->bytes, reply->length, &at, &item, &length) ||
            scpi_number(item, length, &values[i]) != SCPI_NUMBER)
            return false;
    return values[0] == 1.2345 && values[1] == -0.4;
}

static void on_answer(void *owner, const struct link_reply *reply)
{
    struct ours *ours = owner;
    ours->measured->failed += reply->status != LINK_OK || !read_two(reply);
    note(ours->measured, ours->due);
    if (--ours->waiting == 0 && ours->left == 0)
        uv_stop(&ours->loop);
}

static void on_beat(uv_poll_t *poll, int status, int events)
{
    struct ours *ours = poll->data;
    struct error error;
    uint64_t expired;
    (void)status, (void)events;
    if (read(ours->timer, &expired, sizeof expired) != sizeof expired || ours->left == 0)
        return;
    ours->due += (double)expired / ours->rate;
    ours->left--;
    ours->waiting += ours->count;
    for (int i = 0; i < ours->count; i++)
        if (link_ask(ours->links[i], QUESTION, sizeof QUESTION - 1, LINK_LINE, 1, on_answer, ours,
                     &error)) {
            error_print(stderr, &error);
            exit(1);
        }
}

static void ours(struct ptys *instruments, double rate, long beats, struct measured *measured)
{
    struct ours *ours = calloc(1, sizeof *ours);
    struct link_hooks hooks = {.up = on_up, .down = on_down, .closed = on_closed, .owner = ours};
    struct error error;
    if (!ours)
        fail("no memory");
    uv_loop_init(&ours->loop);
    ours->count = instruments->count;
    ours->measured = measured;
    ours->rate = rate;
    ours->left = beats;
    for (int i = 0; i < ours->count; i++) {
        struct link_spec spec = {.kind = LINK_PTY, .path = instruments->paths[i]};
        if (link_open(&ours->loop, &spec, &hooks, &ours->links[i], &error)) {
            error_print(stderr, &error);
            exit(1);
        }
    }
    uv_run(&ours->loop, UV_RUN_DEFAULT);
    ours->timer = beat_begin(rate, &ours->due);
    ours->due -= 1 / rate;
    uv_poll_init(&ours->loop, &ours->beat, ours->timer);
    ours->beat.data = ours;
    uv_poll_start(&ours->beat, UV_READABLE, on_beat);
    double began = seconds(CLOCK_PROCESS_CPUTIME_ID);
    uv_run(&ours->loop, UV_RUN_DEFAULT);
    measured->processor += seconds(CLOCK_PROCESS_CPUTIME_ID) - began;
    for (int i = 0; i < ours->count; i++)
        link_close(ours->links[i]);
    uv_close((uv_handle_t *)&ours->beat, NULL);
    uv_run(&ours->loop, UV_RUN_DEFAULT);
    close(ours->timer);
    if (ours->closed != ours->count || uv_loop_close(&ours->loop))
        fail("a link was left open");
    free(ours);
}

/* --- both ------------------------------------------------------------------------------------- */

static void compare(int count, double rate, double length)
{
    static struct ptys instruments;
    struct measured us = {.late = malloc(LATE_MOST * sizeof(double))};
    struct measured limit = {.late = malloc(LATE_MOST * sizeof(double))};
    long beats = (long)(rate * length);
    if (!us.late || !limit.late)
        fail("no memory");
    for (int round = 0; round < ROUNDS; round++) {
        ptys_begin(&instruments, count, answer);
        bare(&instruments, rate, beats, &limit);
        ptys_end(&instruments);
        ptys_begin(&instruments, count, answer);
        ours(&instruments, rate, beats, &us);
        ptys_end(&instruments);
    }
    double time = ROUNDS * length, late = late_99(us.late, us.answers),
           bare_late = late_99(limit.late, limit.answers);
    printf("links, %3d at %g Hz: %.2f us an exchange (bare %.2f us, ratio %.2f); %.2f %% of a core "
           "(bare %.2f %%); 99 %% late by under %.2f ms (bare %.2f ms, ratio %.2f); %ld answers, "
           "%ld failed\n",
           count, rate, us.processor / (double)us.answers * 1e6,
           limit.processor / (double)limit.answers * 1e6, us.processor / limit.processor,
           us.processor / time * 100, limit.processor / time * 100, late * 1e3, bare_late * 1e3,
           late / bare_late, us.answers, us.failed + limit.failed);
    fflush(stdout);
    free(us.late);
    free(limit.late);
}

int main(int argc, char **argv)
{
    double length = argc > 1 ? atof(argv[1]) : 5;
    if (!(length >= 1))
        length = 1;
    compare(64, 1, length);
    compare(200, 10, length);
    return 0;
}
