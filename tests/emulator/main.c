/* The emulator: a bench of virtual instruments in one process, for tests and for trying out.
 *
 *     emulator supply=pty:/tmp/bench/supply load=tcp:0 meter=pty:/tmp/bench/meter --speed 100
 *
 * Prints where each instrument is reached, then "ready". Ends on SIGTERM, SIGINT, `quit` on the
 * control socket, or after --for; its links and sockets go with it. */
#include <math.h>
#include <signal.h>
#include <string.h>
#include <sys/signalfd.h>
#include <unistd.h>

#include "bench_words.h"
#include "control.h"
#include "house.h"

#define ADVANCE_US 250000 /* between two looks at what nobody asks about */

struct ending {
    struct watch watch; /* first; signals */
    bool now;
};

static void signalled(struct watch *watch, uint32_t events)
{
    (void)events;
    ((struct ending *)watch)->now = true;
}

static void watch_signals(struct ending *ending, struct loop *loop)
{
    sigset_t set;
    sigemptyset(&set);
    sigaddset(&set, SIGTERM);
    sigaddset(&set, SIGINT);
    sigprocmask(SIG_BLOCK, &set, NULL);
    signal(SIGPIPE, SIG_IGN);
    *ending = (struct ending){{signalfd(-1, &set, SFD_CLOEXEC), signalled}, false};
    loop_watch(loop, &ending->watch, EPOLLIN);
}

static int wait_ms(int64_t now, int64_t until)
{
    int64_t left = until > now ? (until - now + 999) / 1000 : 0;
    return left < 1000 ? (int)left : 1000;
}

static void serve(struct house *house, const struct control *control, const struct ending *ending)
{
    int64_t advance = 0, end = INT64_MAX;
    if (house->plan->duration > 0)
        end = monotonic_us() + (int64_t)(house->plan->duration * 1e6);
    while (!ending->now && !control_quit(control)) {
        int64_t now = monotonic_us(), due = ports_due(house->ports, now);
        if (now >= end)
            break;
        if (now >= advance) {
            house_advance(house);
            advance = now + ADVANCE_US;
        }
        record_flush(house->record);
        int64_t next = due < advance ? due : advance;
        loop_turn(house->loop, wait_ms(now, next < end ? next : end));
    }
    record_flush(house->record);
}

static int open_all(const struct plan *plan, struct house *house, struct loop *loop,
                    struct control **control, struct error *error)
{
    int failed = house_open(house, plan, loop, error);
    if (failed)
        return failed;
    if (plan->control != NULL)
        failed = control_open(control, plan->control, house, error);
    if (!failed && plan->bench_file != NULL)
        failed = bench_words_write(house, plan->bench_file, error);
    if (failed) {
        control_close(*control);
        house_close(house);
    }
    return failed;
}

int main(int argc, char **argv)
{
    struct plan plan;
    struct house house;
    struct loop loop;
    struct ending ending;
    struct control *control = NULL;
    struct error error;

    if (argc > 2 && strcmp(argv[1], "--tell") == 0)
        return tell(argv[2], argc - 3, argv + 3);
    if (argc < 2 || strcmp(argv[1], "--help") == 0) {
        plan_help(argc < 2 ? stderr : stdout);
        return argc < 2 ? 2 : 0;
    }
    if (plan_read(&plan, argc, argv, &error)) {
        fprintf(stderr, "emulator: %s: %s; %s\n", error.what, error.why, error.todo);
        return 2;
    }
    loop_open(&loop);
    watch_signals(&ending, &loop);
    if (open_all(&plan, &house, &loop, &control, &error)) {
        fprintf(stderr, "emulator: %s: %s; %s\n", error.what, error.why, error.todo);
        return 1;
    }
    house_print(&house, stdout);
    puts("ready");
    fflush(stdout);
    serve(&house, control, &ending);
    control_close(control);
    house_close(&house);
    loop_unwatch(&loop, &ending.watch);
    close(ending.watch.fd);
    loop_close(&loop);
    return 0;
}
