/* What the guardian's beat costs the engine, beside a bare loop in the same run, and how soon a new
 * guardian answers. Prints one line a case; no pass or fail.
 *
 *   beat [BEATS]
 *
 * Between beats: guardian_beat only looks at the clock; bare is that look. A beat: a report read, a
 * beat sent, and the wait for its answer; bare is one byte to and from a child over a
 * socketpair. */
#include <poll.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <sys/resource.h>
#include <sys/socket.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#include "bench/guardian.h"

static double now_ns(void)
{
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)now.tv_sec * 1e9 + (double)now.tv_nsec;
}

static double own_ns(void)
{
    struct rusage used;
    getrusage(RUSAGE_SELF, &used);
    return (double)(used.ru_utime.tv_sec + used.ru_stime.tv_sec) * 1e9 +
           (double)(used.ru_utime.tv_usec + used.ru_stime.tv_usec) * 1e3;
}

/* Processor time of this side for one exchange with a child that echoes. */
static double bare_exchange(long beats)
{
    int ends[2];
    char byte = 0;
    if (socketpair(AF_UNIX, SOCK_SEQPACKET | SOCK_CLOEXEC, 0, ends) != 0)
        exit(1);
    pid_t pid = fork();
    if (pid == 0) {
        close(ends[0]);
        while (read(ends[1], &byte, 1) == 1 && write(ends[1], &byte, 1) == 1)
            continue;
        _exit(0);
    }
    close(ends[1]);
    double began = own_ns();
    for (long i = 0; i < beats; i++) {
        if (write(ends[0], &byte, 1) != 1 || read(ends[0], &byte, 1) != 1)
            exit(1);
        poll(NULL, 0, 2);
    }
    double cost = (own_ns() - began) / (double)beats;
    close(ends[0]);
    waitpid(pid, NULL, 0);
    return cost;
}

static double pause_only(long beats)
{
    double began = own_ns();
    for (long i = 0; i < beats; i++)
        poll(NULL, 0, 2);
    return (own_ns() - began) / (double)beats;
}

static double beat_often(struct guardian *guardian, long beats)
{
    double began = own_ns();
    for (long i = 0; i < beats; i++) {
        poll(NULL, 0, 2);
        guardian_beat(guardian);
    }
    return (own_ns() - began) / (double)beats;
}

/* One that holds something, and so is at work. */
static struct guardian *begin(double patience)
{
    struct error error;
    struct guardian *guardian = guardian_open(patience);
    if (guardian_hold(guardian, 1, 0, "\n", 1, &error)) {
        error_print(stderr, &error);
        exit(1);
    }
    return guardian;
}

int main(int argc, char **argv)
{
    long beats = argc > 1 ? atol(argv[1]) : 1000;
    double began = now_ns();
    struct guardian *guardian = begin(0);
    printf("guardian: started and answered in %.1f ms\n", (now_ns() - began) / 1e6);

    const long looks = 10000000;
    volatile double bare = 0;
    began = now_ns();
    for (long i = 0; i < looks; i++)
        bare = now_ns();
    bare = (now_ns() - began) / (double)looks;
    began = now_ns();
    for (long i = 0; i < looks; i++)
        guardian_beat(guardian);
    double ours = (now_ns() - began) / (double)looks;
    printf("between beats: %.1f ns; bare %.1f ns; ratio %.2f\n", ours, bare, ours / bare);
    guardian_close(guardian);

    /* A patience of 6 ms makes every call 2 ms apart a beat; nothing is held, so nothing trips. */
    guardian = begin(0.006);
    guardian_release(guardian, 1);
    double pause = pause_only(beats);
    ours = beat_often(guardian, beats) - pause;
    bare = bare_exchange(beats) - pause;
    printf("a beat: %.1f us of processor time; bare %.1f us; ratio %.2f\n", ours / 1e3, bare / 1e3,
           ours / bare);
    guardian_close(guardian);
    return 0;
}
