/* Pseudo-terminals as instruments, and an engine in a process of its own to be killed or
 * stopped. */
#ifndef PERDURE_TESTS_BENCH_GUARDIAN_RIG_H
#define PERDURE_TESTS_BENCH_GUARDIAN_RIG_H

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <netinet/in.h>
#include <poll.h>
#include <setjmp.h>
#include <signal.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/prctl.h>
#include <sys/socket.h>
#include <sys/wait.h>
#include <termios.h>
#include <time.h>
#include <unistd.h>

#include <cmocka.h>

#include "bench/guardian.h"

#define LINES_MOST 64
#define QUICK      0.3 /* s, the patience of tests that need no true one */
#define SAFE       "OUTP OFF\n"
#define SAFE_ROUND "\nOUTP OFF\n" /* with the terminator that ends what was begun */

static inline double now_s(void)
{
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)now.tv_sec + (double)now.tv_nsec / 1e9;
}

static inline void sleep_s(double seconds)
{
    usleep((useconds_t)(seconds * 1e6));
}

/* --- instruments ------------------------------------------------------------------------------ */

struct line {
    int ours, theirs; /* the instrument's end, the link's end; -1 */
    char got[8192];
    size_t length;
    double first_s; /* when the first safe bytes were whole; 0: not yet */
    int rounds;
};

static struct line lines[LINES_MOST];
static int line_count;

static inline void add_line(int ours, int theirs)
{
    assert_true(ours >= 0 && theirs >= 0 && line_count < LINES_MOST);
    lines[line_count] = (struct line){.ours = ours, .theirs = theirs};
    line_count++;
}

static inline void add_pty(void)
{
    char name[64];
    struct termios settings;
    int ours = posix_openpt(O_RDWR | O_NOCTTY | O_NONBLOCK | O_CLOEXEC);
    assert_int_equal(grantpt(ours) | unlockpt(ours) | ptsname_r(ours, name, sizeof name), 0);
    int theirs = open(name, O_RDWR | O_NOCTTY | O_NONBLOCK | O_CLOEXEC);
    assert_int_equal(tcgetattr(theirs, &settings), 0);
    cfmakeraw(&settings);
    assert_int_equal(tcsetattr(theirs, TCSANOW, &settings), 0);
    add_line(ours, theirs);
}

static inline void add_ptys(int count)
{
    for (int i = 0; i < count; i++)
        add_pty();
}

static inline void add_tcp(void)
{
    struct sockaddr_in address = {.sin_family = AF_INET, .sin_addr.s_addr = htonl(INADDR_LOOPBACK)};
    socklen_t size = sizeof address;
    int listening = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
    int theirs = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
    assert_int_equal(bind(listening, (struct sockaddr *)&address, size), 0);
    assert_int_equal(listen(listening, 1), 0);
    assert_int_equal(getsockname(listening, (struct sockaddr *)&address, &size), 0);
    assert_int_equal(connect(theirs, (struct sockaddr *)&address, size), 0);
    add_line(accept4(listening, NULL, NULL, SOCK_CLOEXEC | SOCK_NONBLOCK), theirs);
    assert_int_equal(fcntl(theirs, F_SETFL, O_NONBLOCK), 0);
    close(listening);
}

/* Lines of which nobody takes anything: `blocking` or not, a write finds no room. */
static inline void add_jammed(bool blocking)
{
    static const char junk[4096];
    int ends[2];
    if (blocking)
        assert_int_equal(pipe2(ends, O_CLOEXEC | O_NONBLOCK), 0);
    else
        assert_int_equal(socketpair(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC | SOCK_NONBLOCK, 0, ends),
                         0);
    while (write(ends[1], junk, sizeof junk) > 0)
        continue;
    assert_int_equal(errno, EAGAIN);
    if (blocking)
        assert_int_equal(fcntl(ends[1], F_SETFL, 0), 0);
    add_line(ends[0], ends[1]);
}

static inline void hang_up(int number)
{
    close(lines[number].ours);
    lines[number].ours = -1;
}

static inline void close_ours(void)
{
    for (int i = 0; i < line_count; i++)
        if (lines[i].ours >= 0)
            hang_up(i);
}

static inline void close_theirs(void)
{
    for (int i = 0; i < line_count; i++) {
        if (lines[i].theirs >= 0)
            close(lines[i].theirs);
        lines[i].theirs = -1;
    }
}

/* Like strstr, for bytes with NULs. Counts how often the safe bytes are in what came. */
static inline int count_rounds(const struct line *line, const char *safe)
{
    int count = 0;
    size_t length = strlen(safe);
    for (size_t i = 0; i + length <= line->length; i++)
        count += memcmp(line->got + i, safe, length) == 0;
    return count;
}

/* Reads all lines until each has its safe bytes `rounds` times, or `seconds` have passed. Junk that
 * fills the buffer is thrown away but for its end. */
static inline bool all_safe(int rounds, double seconds)
{
    double end = now_s() + seconds;
    for (;;) {
        struct pollfd watched[LINES_MOST];
        int left = 0;
        for (int i = 0; i < line_count; i++) {
            struct line *line = &lines[i];
            ssize_t count = 0;
            if (line->length > sizeof line->got / 2) {
                memmove(line->got, line->got + line->length - 64, 64);
                line->length = 64;
            }
            if (line->ours >= 0)
                count = read(line->ours, line->got + line->length, 2048);
            if (count > 0)
                line->length += (size_t)count;
            line->rounds = count_rounds(line, SAFE);
            if (line->rounds && line->first_s == 0)
                line->first_s = now_s();
            watched[i] = (struct pollfd){.fd = -1, .events = POLLIN};
            if (line->ours >= 0 && line->rounds < rounds) {
                watched[i].fd = line->ours;
                left++;
            }
        }
        if (!left || now_s() >= end)
            return !left;
        poll(watched, (nfds_t)line_count, 5);
    }
}

/* When the last line was safe. */
static inline double last_safe_s(void)
{
    double last = 0;
    for (int i = 0; i < line_count; i++)
        if (lines[i].first_s > last)
            last = lines[i].first_s;
    return last;
}

static inline void forget_lines(void)
{
    for (int i = 0; i < line_count; i++) {
        lines[i].length = 0;
        lines[i].first_s = 0;
    }
}

/* --- processes -------------------------------------------------------------------------------- */

static inline int count_files(pid_t pid)
{
    char path[64];
    int count = 0;
    snprintf(path, sizeof path, "/proc/%d/fd", (int)pid);
    DIR *folder = opendir(path);
    for (struct dirent *entry; folder && (entry = readdir(folder));)
        count += entry->d_name[0] != '.';
    if (folder)
        closedir(folder);
    return pid == getpid() ? count - 1 : count; /* not the folder itself */
}

/* A number from /proc/PID/status, such as "VmRSS:" in kB. */
static inline long status_of(pid_t pid, const char *name)
{
    char path[64], row[256];
    long value = -1;
    snprintf(path, sizeof path, "/proc/%d/status", (int)pid);
    FILE *in = fopen(path, "r");
    while (in && fgets(row, sizeof row, in))
        if (strncmp(row, name, strlen(name)) == 0)
            value = atol(row + strlen(name));
    if (in)
        fclose(in);
    return value;
}

/* Waits until the process sleeps, as a guardian does when it has read all that was sent; 5 s at
 * most, which a busy machine may need. */
static inline void until_asleep(pid_t pid)
{
    char path[64];
    snprintf(path, sizeof path, "/proc/%d/stat", (int)pid);
    for (double end = now_s() + 5; now_s() < end; sleep_s(0.001)) {
        char state = 'S';
        FILE *in = fopen(path, "r");
        if (in && fscanf(in, "%*d %*s %c", &state) != 1)
            state = 'S';
        if (in)
            fclose(in);
        if (state == 'S')
            return;
    }
}

/* How the process `pid` ended, within `seconds`; -1 when it did not. */
static inline int ending_of(pid_t pid, double seconds)
{
    int status = -1;
    for (double end = now_s() + seconds; now_s() < end; sleep_s(0.002))
        if (waitpid(pid, &status, WNOHANG) == pid)
            return status;
    return -1;
}

/* What the engine's process tells about its guardian, whenever something is new. */
struct news {
    enum guardian_state state;
    struct guardian_counts counts;
};

struct engine {
    pid_t pid;
    int news; /* to read from */
    pid_t guardian;
    pid_t sharer; /* 0: none */
};

/* Beats until it is killed. `settles`: says after each trip that all is safe. */
static inline void beat_for_ever(struct guardian *guardian, int out, bool settles)
{
    struct news last = {0};
    for (;;) {
        struct news news;
        memset(&news, 0, sizeof news);
        news.state = guardian_beat(guardian);
        news.counts = guardian_count(guardian);
        if (memcmp(&news, &last, sizeof news) != 0 && write(out, &news, sizeof news) < 0)
            _exit(3);
        last = news;
        if (settles && news.state == GUARDIAN_TRIPPED)
            guardian_settle(guardian);
        usleep(20000);
    }
}

/* An engine that holds all lines. `shares`: leaves a child of its own behind, which keeps all its
 * descriptors open. */
static inline struct engine engine_begin(double patience, bool settles, bool shares)
{
    struct engine engine = {.sharer = 0};
    struct news news;
    int ends[2];
    assert_int_equal(pipe2(ends, O_CLOEXEC), 0);
    engine.pid = fork();
    if (engine.pid == 0) {
        struct guardian *guardian = guardian_open(patience);
        struct error error;
        close(ends[0]);
        close_ours();
        for (int i = 0; i < line_count; i++)
            if (guardian_hold(guardian, i, lines[i].theirs, SAFE, strlen(SAFE), &error))
                _exit(2);
        pid_t sharer = shares ? fork() : -1;
        if (sharer == 0)
            for (;;)
                pause();
        if (shares && write(ends[1], &sharer, sizeof sharer) < 0)
            _exit(3);
        beat_for_ever(guardian, ends[1], settles);
    }
    close(ends[1]);
    close_theirs();
    engine.news = ends[0];
    if (shares)
        assert_int_equal(read(engine.news, &engine.sharer, sizeof engine.sharer),
                         (ssize_t)sizeof engine.sharer);
    assert_int_equal(read(engine.news, &news, sizeof news), (ssize_t)sizeof news);
    assert_int_equal(news.state, GUARDIAN_WATCHING);
    assert_int_equal(news.counts.holds, line_count);
    engine.guardian = news.counts.pid;
    return engine;
}

/* Whether the engine's guardian comes to `state`; *news is then the last told. */
static inline bool engine_tells(const struct engine *engine, enum guardian_state state,
                                double seconds, struct news *news)
{
    for (double end = now_s() + seconds; now_s() < end;) {
        struct pollfd wait = {.fd = engine->news, .events = POLLIN};
        if (poll(&wait, 1, 20) > 0 && read(engine->news, news, sizeof *news) == sizeof *news &&
            news->state == state)
            return true;
    }
    return false;
}

static inline void engine_kill(struct engine *engine)
{
    kill(engine->pid, SIGKILL);
    assert_int_equal(waitpid(engine->pid, NULL, 0), engine->pid);
    close(engine->news);
}

/* The guardian, left behind, comes to us (we are its subreaper), and ended well. */
static inline void assert_guardian_ended(const struct engine *engine, double seconds)
{
    assert_int_equal(ending_of(engine->guardian, seconds), 0);
}

/* --- a guardian in this process --------------------------------------------------------------- */

static inline void hold_all(struct guardian *guardian)
{
    struct error error;
    for (int i = 0; i < line_count; i++)
        assert_int_equal(guardian_hold(guardian, i, lines[i].theirs, SAFE, strlen(SAFE), &error),
                         0);
}

/* Beats for `seconds`, or until it is in `state`; whether it is at the end. */
static inline bool beats_until(struct guardian *guardian, enum guardian_state state, double seconds)
{
    double end = now_s() + seconds;
    while (guardian_beat(guardian) != state && now_s() < end)
        sleep_s(0.005);
    return guardian_state(guardian) == state;
}

static inline void beats(struct guardian *guardian, double seconds)
{
    for (double end = now_s() + seconds; now_s() < end; sleep_s(0.005))
        guardian_beat(guardian);
}

static inline int rig_begin(void **state)
{
    (void)state;
    line_count = 0;
    return prctl(PR_SET_CHILD_SUBREAPER, 1);
}

static inline int rig_end(void **state)
{
    (void)state;
    close_theirs();
    close_ours();
    int status;
    if (waitpid(-1, &status, WNOHANG) >= 0) {
        print_error("a process was left behind\n");
        return -1;
    }
    return 0;
}

#endif
