/* How many questions a second the emulator answers over 64 terminals, beside the bare limit in the
 * same run: a loop that reads a line from a terminal and writes a constant. Each line has one
 * question under way at all times. Prints both, their ratio, and the processor time a question.
 *
 *     emulator_speed [SECONDS]  */
#include <errno.h>
#include <fcntl.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/epoll.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <termios.h>
#include <time.h>
#include <unistd.h>

#define LINES 64

static const char question[] = "MEAS:VOLT?\n";
static const char answer[] = "1.2345E+00\n";

static void must(int result, const char *what)
{
    if (result < 0) {
        perror(what);
        exit(1);
    }
}

static double seconds_now(void)
{
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)now.tv_sec + (double)now.tv_nsec * 1e-9;
}

/* Processor time of children that have ended. */
static double children_seconds(void)
{
    struct rusage usage;
    getrusage(RUSAGE_CHILDREN, &usage);
    return (double)(usage.ru_utime.tv_sec + usage.ru_stime.tv_sec) +
           (double)(usage.ru_utime.tv_usec + usage.ru_stime.tv_usec) * 1e-6;
}

static int watch_all(const int *fds)
{
    int epoll = epoll_create1(EPOLL_CLOEXEC);
    must(epoll, "epoll_create1");
    for (int i = 0; i < LINES; i++) {
        struct epoll_event event = {.events = EPOLLIN, .data.fd = fds[i]};
        must(epoll_ctl(epoll, EPOLL_CTL_ADD, fds[i], &event), "epoll_ctl");
    }
    return epoll;
}

static void put(int fd, const char *bytes, size_t length)
{
    if (write(fd, bytes, length) != (ssize_t)length)
        must(-1, "write");
}

/* --- the two that answer ---------------------------------------------------------------------- */

static void answer_barely(const int *masters)
{
    int epoll = watch_all(masters);
    struct epoll_event events[LINES];
    char bytes[256];
    for (;;) {
        int count = epoll_wait(epoll, events, LINES, -1);
        for (int i = 0; i < count; i++)
            if (read(events[i].data.fd, bytes, sizeof bytes) > 0)
                put(events[i].data.fd, answer, sizeof answer - 1);
    }
}

static pid_t start_bare(int *slaves)
{
    int masters[LINES];
    for (int i = 0; i < LINES; i++) {
        char name[64];
        struct termios raw;
        masters[i] = posix_openpt(O_RDWR | O_NOCTTY);
        must(masters[i], "posix_openpt");
        must(unlockpt(masters[i]), "unlockpt");
        must(ptsname_r(masters[i], name, sizeof name), "ptsname_r");
        slaves[i] = open(name, O_RDWR | O_NOCTTY);
        must(slaves[i], name);
        tcgetattr(slaves[i], &raw);
        cfmakeraw(&raw);
        tcsetattr(slaves[i], TCSANOW, &raw);
    }
    pid_t pid = fork();
    must(pid, "fork");
    if (pid == 0)
        answer_barely(masters);
    for (int i = 0; i < LINES; i++)
        close(masters[i]);
    return pid;
}

static pid_t start_emulator(const char *folder, int *slaves)
{
    char supplies[96], sets[16], ready[65536] = "";
    int out[2];
    size_t length = 0;
    snprintf(supplies, sizeof supplies, "supply=pty:%s/s%%", folder);
    snprintf(sets, sizeof sets, "%d", LINES);
    must(pipe(out), "pipe");
    pid_t pid = fork();
    must(pid, "fork");
    if (pid == 0) {
        dup2(out[1], 1);
        execl(EMULATOR, EMULATOR, "--for", "120", "--sets", sets, supplies, (char *)NULL);
        _exit(127);
    }
    close(out[1]);
    while (strstr(ready, "ready\n") == NULL) {
        ssize_t got = read(out[0], ready + length, sizeof ready - 1 - length);
        if (got <= 0)
            must(-1, "emulator");
        length += (size_t)got;
        ready[length] = '\0';
    }
    close(out[0]);
    for (int i = 0; i < LINES; i++) {
        char path[96];
        snprintf(path, sizeof path, "%s/s%d", folder, i + 1);
        slaves[i] = open(path, O_RDWR | O_NOCTTY);
        must(slaves[i], path);
    }
    return pid;
}

/* --- the one that asks ------------------------------------------------------------------------ */

struct speed {
    double a_second, cpu; /* questions; s of the answerer's processor time for one */
};

static struct speed measure(pid_t pid, const int *slaves, double seconds)
{
    int epoll = watch_all(slaves);
    struct epoll_event events[LINES];
    char bytes[256];
    long answers = 0;
    double before = children_seconds(), begin = seconds_now(), took;
    for (int i = 0; i < LINES; i++)
        put(slaves[i], question, sizeof question - 1);
    do {
        int count = epoll_wait(epoll, events, LINES, 1000);
        if (count <= 0) {
            fprintf(stderr, "no answer within a second\n");
            exit(1);
        }
        for (int i = 0; i < count; i++) {
            ssize_t length = read(events[i].data.fd, bytes, sizeof bytes);
            if (length <= 0 || bytes[length - 1] != '\n')
                continue; /* the rest comes */
            answers++;
            put(events[i].data.fd, question, sizeof question - 1);
        }
        took = seconds_now() - begin;
    } while (took < seconds);
    kill(pid, SIGTERM);
    waitpid(pid, NULL, 0);
    close(epoll);
    for (int i = 0; i < LINES; i++)
        close(slaves[i]);
    return (struct speed){(double)answers / took, (children_seconds() - before) / (double)answers};
}

int main(int argc, char **argv)
{
    double seconds = argc > 1 ? atof(argv[1]) : 3;
    char folder[] = "/tmp/emulator-speed-XXXXXX";
    int slaves[LINES];
    if (mkdtemp(folder) == NULL)
        must(-1, folder);
    pid_t pid = start_bare(slaves);
    struct speed bare = measure(pid, slaves, seconds);
    pid = start_emulator(folder, slaves);
    struct speed emulator = measure(pid, slaves, seconds);
    rmdir(folder);
    printf("%d terminals, one question under way on each\n", LINES);
    printf("bare loop   %8.0f questions/s  %6.2f us of processor time each\n", bare.a_second,
           bare.cpu * 1e6);
    printf("emulator    %8.0f questions/s  %6.2f us of processor time each\n", emulator.a_second,
           emulator.cpu * 1e6);
    printf("ratio       %8.2f               %6.2f\n", bare.a_second / emulator.a_second,
           emulator.cpu / bare.cpu);
    return 0;
}
