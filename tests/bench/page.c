/* What the page costs the channels: how late readings are with nobody looking and with 20 browsers
 * that listen, turn by turn in the same run. Prints the figures and the ratio; no pass or fail.
 *
 *   page PERDURE FOLDER [SECONDS [CHANNELS]]      default: 4 s a turn, 6 turns of each; 48 channels
 *
 * Simulated channels are read ten times a second on the real clock. Lateness: the time between two
 * readings of a channel beyond the tenth of a second that was asked for. The browsers are a process
 * of their own that reads whatever comes; PERDURE makes the lists, as the page has it done. */
#include <arpa/inet.h>
#include <math.h>
#include <netinet/in.h>
#include <poll.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/socket.h>
#include <sys/wait.h>
#include <unistd.h>

#include "base/text.h"
#include "bench/simulated.h"
#include "bindings/script.h"
#include "engine/acts.h"
#include "engine/engine.h"
#include "page/page.h"

#define BROWSERS      20
#define TURNS         6
#define TICK_US       100000
#define SETTLE_US     1000000 /* at the beginning of a turn: not counted */
#define CHANNELS_MOST 2000

static const char protocol[] =
    "return protocol { title = 'Long', run = function(cell)\n"
    "  cell:charge { current = '0.1 It', stop = { time = '16 h' } } end }\n";

static void stop_on(int code, const struct error *error)
{
    if (!code)
        return;
    error_print(stderr, error);
    exit(1);
}

/* --- the browsers ----------------------------------------------------------------------------- */

static int join(int port)
{
    char request[100];
    struct sockaddr_in address = {.sin_family = AF_INET,
                                  .sin_port = htons((uint16_t)port),
                                  .sin_addr.s_addr = htonl(INADDR_LOOPBACK)};
    int fd = socket(AF_INET, SOCK_STREAM, 0);
    int length = snprintf(request, sizeof request,
                          "GET /events HTTP/1.1\r\nHost: 127.0.0.1:%d\r\n\r\n", port);
    if (fd < 0 || connect(fd, (struct sockaddr *)&address, sizeof address) ||
        write(fd, request, (size_t)length) != length)
        exit(1);
    return fd;
}

/* A byte on `orders`: 1 all come, 0 all leave. Tells what it has read when all is over. */
static void browse(int orders, int port)
{
    struct pollfd fds[1 + BROWSERS] = {{.fd = orders, .events = POLLIN}};
    static char bytes[65536];
    double read_bytes = 0;
    int count = 0;
    char order;
    for (;;) {
        poll(fds, 1 + (nfds_t)count, -1);
        for (int i = 1; i <= count; i++)
            if (fds[i].revents) {
                ssize_t got = read(fds[i].fd, bytes, sizeof bytes);
                if (got <= 0) { /* dropped: it would not count as a browser */
                    fputs("a browser was dropped\n", stderr);
                    _exit(1);
                }
                read_bytes += (double)got;
            }
        if (!fds[0].revents)
            continue;
        if (read(orders, &order, 1) != 1)
            break;
        for (; order == 0 && count > 0; count--)
            close(fds[count].fd);
        for (; order == 1 && count < BROWSERS; count++)
            fds[count + 1] = (struct pollfd){.fd = join(port), .events = POLLIN};
    }
    printf("browsers: %.1f MB taken by %d\n", read_bytes / 1e6, BROWSERS);
    fflush(stdout);
    _exit(0);
}

/* --- measuring -------------------------------------------------------------------------------- */

struct figures {
    double *late; /* us */
    size_t count, room;
    double cpu, wall; /* s */
};

static struct {
    enum channel_reply (*read)(struct channel *channel, struct reading *out, struct error *error);
    bench_us last[CHANNELS_MOST];
    bench_us turn_began;
    double turn_us;
    int turn; /* -1: warming up; even: nobody looks; odd: all do */
    int orders;
    double cpu_began;
    struct figures kind[2];
    struct engine *engine;
} m;

static double cpu(void)
{
    struct rusage used;
    getrusage(RUSAGE_SELF, &used);
    return (double)(used.ru_utime.tv_sec + used.ru_stime.tv_sec) +
           (double)(used.ru_utime.tv_usec + used.ru_stime.tv_usec) / 1e6;
}

static void next_turn(bench_us now)
{
    if (m.turn >= 0 && m.turn < 2 * TURNS) {
        struct figures *f = &m.kind[m.turn % 2];
        f->cpu += cpu() - m.cpu_began;
        f->wall += (double)(now - m.turn_began) / 1e6;
    }
    m.turn++;
    m.turn_began = now;
    m.cpu_began = cpu();
    char order = (char)(m.turn % 2);
    if (m.turn > 2 * TURNS) /* after a moment in which the browsers have left */
        engine_stop(m.engine, "measured");
    else if (write(m.orders, &order, 1) != 1)
        exit(1);
}

static void add(struct figures *f, double late)
{
    if (f->count == f->room) {
        f->room = f->room ? 2 * f->room : 65536;
        f->late = xrealloc(f->late, f->room * sizeof *f->late);
    }
    f->late[f->count++] = late;
}

static enum channel_reply timed_read(struct channel *channel, struct reading *out,
                                     struct error *error)
{
    enum channel_reply reply = m.read(channel, out, error);
    int i = atoi(channel->name + 1);
    if (m.turn >= 0 && m.turn < 2 * TURNS && m.last[i] && out->at - m.turn_began > SETTLE_US)
        add(&m.kind[m.turn % 2], (double)(out->at - m.last[i] - TICK_US));
    m.last[i] = out->at;
    if ((double)(out->at - m.turn_began) > (m.turn < 2 * TURNS ? m.turn_us : 5e5) &&
        m.turn <= 2 * TURNS)
        next_turn(out->at);
    return reply;
}

static int rising(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static double part(const struct figures *f, double p)
{
    return f->count ? f->late[(size_t)(p * (double)(f->count - 1))] : NAN;
}

/* Puts them in order; returns the mean. */
static double print(const char *who, struct figures *f)
{
    double sum = 0;
    qsort(f->late, f->count, sizeof *f->late, rising);
    for (size_t i = 0; i < f->count; i++)
        sum += f->late[i];
    printf("%s: %zu readings, late by %.0f us in the mean, %.0f us median, %.0f us at 99 %%, %.0f "
           "us at most; %.1f %% of a core\n",
           who, f->count, sum / (double)f->count, part(f, 0.5), part(f, 0.99), part(f, 1),
           100 * f->cpu / f->wall);
    return sum / (double)f->count;
}

/* --- the engine ------------------------------------------------------------------------------- */

static void queue(struct logbook *logbook, int channels)
{
    struct error error;
    json_t *labels = json_array(), *reply = NULL;
    error_clear(&error);
    for (int i = 0; i < channels; i++)
        json_array_append_new(labels, json_sprintf("C-%04d", i + 1));
    json_t *request = json_pack("{s:s, s:[{s:s, s:s, s:f, s:O}]}", "act", "enrol", "models", "name",
                                "Model", "chemistry", "NiMH", "rated_Ah", 2.0, "cells", labels);
    stop_on(act(logbook, NULL, lua_script_ops(), 1, request, &reply, &error), &error);
    json_decref(request);
    json_decref(reply);
    request = json_pack("{s:s, s:s, s:s, s:s, s:{}, s:{}, s:o}", "act", "start", "kind", "protocol",
                        "name", "long", "text", protocol, "modules", "params", "cells", labels);
    stop_on(act(logbook, NULL, lua_script_ops(), 1, request, &reply, &error), &error);
    json_decref(request);
    json_decref(reply);
}

int main(int argc, char **argv)
{
    struct error error;
    char path[512];
    struct logbook *logbook;
    struct world *world;
    struct clock clock;
    struct bench bench = {0};
    struct page *page;
    static struct channel_ops timed;
    int orders[2], channels = argc > 4 ? atoi(argv[4]) : 48;
    if (argc < 3 || channels < 1 || channels >= CHANNELS_MOST || pipe(orders)) {
        fputs("page PERDURE FOLDER [SECONDS [CHANNELS]]\n", stderr);
        return 2;
    }
    m.turn = -1;
    m.turn_us = (argc > 3 ? atof(argv[3]) : 4) * 1e6;
    error_clear(&error);
    snprintf(path, sizeof path, "%s/page-%d.perdure", argv[2], (int)getpid());
    struct logbook_birth birth = {.created = 1, .seed = 7, .clock = "real"};
    struct page_options asked = {.address = "127.0.0.1:0", .program = argv[1], .logbook = path};
    stop_on(page_new(&page, &asked, &error), &error);
    pid_t browsers = fork();
    if (browsers == 0) {
        close(orders[1]);
        browse(orders[0], atoi(strrchr(page_url(page), ':') + 1));
    }
    close(orders[0]);
    m.orders = orders[1];

    stop_on(logbook_create(path, &birth, &error), &error);
    stop_on(logbook_open(&logbook, path, LOGBOOK_WRITE, &error), &error);
    stop_on(world_open(&world, NULL, &error), &error);
    clock_open_real(&clock);
    for (int i = 0; i < channels; i++) {
        char name[16];
        snprintf(name, sizeof name, "S%d", i + 1);
        struct channel *channel = simulated_channel(name, &clock, world, NULL);
        channel->tick_least = channel->tick_most = channel->rest_most = TICK_US / 1e6;
        m.read = channel->ops->read;
        timed = *channel->ops;
        timed.read = timed_read;
        channel->ops = &timed;
        stop_on(bench_add(&bench, channel, &error), &error);
    }
    queue(logbook, channels);
    struct engine_options options = {.logbook = logbook,
                                     .clock = &clock,
                                     .bench = &bench,
                                     .scripts = lua_script_ops(),
                                     .bench_name = "bench",
                                     .bench_hash = "",
                                     .face = page_face(page)};
    stop_on(engine_open(&m.engine, &options, &error), &error);
    m.turn_began = clock_bench(&clock);
    stop_on(engine_work(m.engine, &error), &error);
    engine_close(m.engine);
    page_free(page);
    close(orders[1]);
    int status = 0;
    waitpid(browsers, &status, 0);

    printf("%d channels, 10 readings a second each, %d turns of %g s\n", channels, TURNS,
           m.turn_us / 1e6);
    double alone = print("nobody looks", &m.kind[0]), watched = print("20 browsers ", &m.kind[1]);
    printf("ratio: %.2f in the mean, %.2f at the median, %.2f at 99 %%\n", watched / alone,
           part(&m.kind[1], 0.5) / part(&m.kind[0], 0.5),
           part(&m.kind[1], 0.99) / part(&m.kind[0], 0.99));
    bench_close(&bench);
    world_close(world);
    logbook_close(logbook);
    static const char *const ends[] = {"", "-wal", "-shm", "-lock", "-ballast"};
    for (size_t i = 0; i < sizeof ends / sizeof *ends; i++) {
        char name[540];
        snprintf(name, sizeof name, "%s%s", path, ends[i]);
        unlink(name);
    }
    free(m.kind[0].late);
    free(m.kind[1].late);
    return status != 0;
}
