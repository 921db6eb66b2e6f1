/* Fake instruments on pseudo-terminals, answered from a process of their own, and what benchmarks
 * over them share: clocks and the lateness that 99 in 100 stay within. Whatever fails ends the
 * program. */
#ifndef PERDURE_TESTS_BENCH_PTYS_H
#define PERDURE_TESTS_BENCH_PTYS_H

#include <errno.h>
#include <fcntl.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/epoll.h>
#include <sys/prctl.h>
#include <sys/wait.h>
#include <termios.h>
#include <time.h>
#include <unistd.h>

#define PTYS_MOST 1000

static inline void fail(const char *why)
{
    fprintf(stderr, "%s: %s\n", why, strerror(errno));
    exit(1);
}

static inline double seconds(clockid_t clock)
{
    struct timespec now;
    clock_gettime(clock, &now);
    return (double)now.tv_sec + (double)now.tv_nsec / 1e9;
}

static inline int ascending(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* Sorts them. */
static inline double late_99(double *late, long count)
{
    if (count == 0)
        return 0;
    qsort(late, (size_t)count, sizeof(double), ascending);
    return late[count * 99 / 100];
}

/* --- the instruments ------------------------------------------------------------------------- */

/* What instrument `index` answers to a line (without its end), its own end included; 0: nothing. */
typedef size_t pty_answer(int index, const char *line, char *answer, size_t room);

struct ptys {
    pid_t process;
    int count;
    char paths[PTYS_MOST][32];
    int held[PTYS_MOST]; /* one end kept open, so that none hangs up before it is asked */
};

static inline void pty_hear(int fd, int index, char *bytes, pty_answer *answer)
{
    char out[256];
    char *end;
    for (char *line = bytes; *line; line = end + 1) {
        end = strchr(line, '\n');
        if (!end) {
            errno = EPROTO;
            fail("half a line came");
        }
        *end = '\0';
        size_t length = answer(index, line, out, sizeof out);
        if (length && write(fd, out, length) != (ssize_t)length)
            fail("an answer could not be given");
    }
}

static inline void ptys_answer_for_ever(const int *masters, int count, pty_answer *answer)
{
    int epoll = epoll_create1(0);
    struct epoll_event events[PTYS_MOST];
    char bytes[256];
    for (int i = 0; i < count; i++) {
        struct epoll_event event = {.events = EPOLLIN, .data = {.u32 = (unsigned)i}};
        epoll_ctl(epoll, EPOLL_CTL_ADD, masters[i], &event);
    }
    for (;;) {
        int ready = epoll_wait(epoll, events, PTYS_MOST, -1);
        for (int i = 0; i < ready; i++) {
            int index = (int)events[i].data.u32;
            ssize_t length = read(masters[index], bytes, sizeof bytes - 1);
            bytes[length > 0 ? length : 0] = '\0';
            pty_hear(masters[index], index, bytes, answer);
        }
    }
}

static inline void ptys_begin(struct ptys *ptys, int count, pty_answer *answer)
{
    int masters[PTYS_MOST];
    ptys->count = count;
    for (int i = 0; i < count; i++) {
        struct termios settings;
        masters[i] = posix_openpt(O_RDWR | O_NOCTTY | O_CLOEXEC);
        if (masters[i] < 0 || grantpt(masters[i]) || unlockpt(masters[i]) ||
            ptsname_r(masters[i], ptys->paths[i], sizeof ptys->paths[i]))
            fail("no pseudo-terminal (/proc/sys/kernel/pty/max, ulimit -n)");
        ptys->held[i] = open(ptys->paths[i], O_RDWR | O_NOCTTY | O_CLOEXEC);
        if (ptys->held[i] < 0)
            fail("no pseudo-terminal (ulimit -n)");
        tcgetattr(masters[i], &settings);
        cfmakeraw(&settings);
        tcsetattr(masters[i], TCSANOW, &settings);
    }
    ptys->process = fork();
    if (ptys->process == 0) {
        prctl(PR_SET_PDEATHSIG, SIGKILL);
        ptys_answer_for_ever(masters, count, answer);
    }
    for (int i = 0; i < count; i++)
        close(masters[i]);
}

static inline void ptys_end(struct ptys *ptys)
{
    kill(ptys->process, SIGKILL);
    waitpid(ptys->process, NULL, 0);
    for (int i = 0; i < ptys->count; i++)
        close(ptys->held[i]);
}

#endif
