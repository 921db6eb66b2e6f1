/* The emulator as a process of its own, for tests: started, asked over its lines, ordered about,
 * ended. Everything lives in a folder of its own below /tmp. */
#ifndef EMULATOR_SERVED_H
#define EMULATOR_SERVED_H

#include <errno.h>
#include <fcntl.h>
#include <netinet/in.h>
#include <poll.h>
#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <sys/wait.h>
#include <termios.h>
#include <time.h>
#include <unistd.h>

#include "support/cmocka_setup.h"

#define SERVED_ARGUMENTS 24

struct served {
    char folder[32];
    pid_t pid;
    char said[65536]; /* on standard output, up to "ready" */
};

static inline double seconds_now(void)
{
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)now.tv_sec + (double)now.tv_nsec * 1e-9;
}

static inline void served_read_ready(struct served *served, int fd)
{
    size_t length = 0;
    while (strstr(served->said, "ready\n") == NULL) {
        ssize_t got = read(fd, served->said + length, sizeof served->said - 1 - length);
        if (got <= 0)
            fail_msg("the emulator ended: %s", served->said);
        length += (size_t)got;
        served->said[length] = '\0';
    }
}

/* `words` (up to a NULL) come after the socket and the record; @ in them is the folder. */
static inline void served_start(struct served *served, const char *const *words)
{
    static char room[SERVED_ARGUMENTS][160];
    const char *arguments[SERVED_ARGUMENTS + 8] = {EMULATOR, "--for", "60", "--control"};
    int out[2], count = 4;
    memset(served, 0, sizeof *served);
    strcpy(served->folder, "/tmp/emulator-XXXXXX");
    assert_non_null(mkdtemp(served->folder));
    snprintf(room[0], sizeof room[0], "%s/control", served->folder);
    snprintf(room[1], sizeof room[1], "%s/record", served->folder);
    arguments[count++] = room[0];
    arguments[count++] = "--log";
    arguments[count++] = room[1];
    for (int i = 0; words[i] != NULL; i++) {
        const char *at = strchr(words[i], '@');
        snprintf(room[i + 2], sizeof room[0], "%.*s%s%s",
                 at ? (int)(at - words[i]) : (int)strlen(words[i]), words[i],
                 at ? served->folder : "", at ? at + 1 : "");
        arguments[count++] = room[i + 2];
    }
    assert_int_equal(pipe(out), 0);
    served->pid = fork();
    assert_true(served->pid >= 0);
    if (served->pid == 0) {
        dup2(out[1], 1);
        close(out[0]);
        close(out[1]);
        execv(EMULATOR, (char *const *)(uintptr_t)arguments);
        _exit(127);
    }
    close(out[1]);
    served_read_ready(served, out[0]);
    close(out[0]);
}

static inline void served_end(struct served *served)
{
    char command[64];
    int status = -1;
    kill(served->pid, SIGTERM);
    assert_int_equal(waitpid(served->pid, &status, 0), served->pid);
    assert_true(WIFEXITED(status) && WEXITSTATUS(status) == 0);
    snprintf(command, sizeof command, "rm -rf %s", served->folder);
    assert_int_equal(system(command), 0);
}

static inline const char *served_path(const struct served *served, const char *name)
{
    static char path[96];
    snprintf(path, sizeof path, "%s/%s", served->folder, name);
    return path;
}

/* --- lines ------------------------------------------------------------------------------------ */

static inline int line_to(const struct served *served, const char *name)
{
    return open(served_path(served, name), O_RDWR | O_NOCTTY | O_NONBLOCK);
}

static inline int connect_to(const struct served *served, const char *name)
{
    char want[40];
    struct sockaddr_in address = {.sin_family = AF_INET, .sin_addr.s_addr = htonl(INADDR_LOOPBACK)};
    snprintf(want, sizeof want, "%s tcp 127.0.0.1:", name);
    const char *at = strstr(served->said, want);
    assert_non_null(at);
    address.sin_port = htons((uint16_t)atoi(at + strlen(want)));
    int fd = socket(AF_INET, SOCK_STREAM, 0);
    if (connect(fd, (struct sockaddr *)&address, sizeof address) == 0)
        return fd;
    close(fd);
    return -1;
}

/* What comes within so many seconds, or the first `lines` lines of it; "" for nothing. */
static inline const char *hear(int fd, int lines, double seconds)
{
    static char bytes[65536];
    size_t length = 0;
    double end = seconds_now() + seconds;
    for (;;) {
        double left = end - seconds_now();
        struct pollfd poller = {.fd = fd, .events = POLLIN};
        bytes[length] = '\0';
        int ended = 0;
        for (size_t i = 0; i < length; i++)
            ended += bytes[i] == '\n';
        if (ended >= lines || left <= 0 || length == sizeof bytes - 1 ||
            poll(&poller, 1, (int)(left * 1000) + 1) <= 0)
            return bytes;
        ssize_t got = read(fd, bytes + length, sizeof bytes - 1 - length);
        if (got <= 0)
            return bytes;
        length += (size_t)got;
    }
}

static inline void say(int fd, const char *message)
{
    assert_int_equal(write(fd, message, strlen(message)), (ssize_t)strlen(message));
}

/* One question, one line: without its end. */
static inline const char *query(int fd, const char *message)
{
    static char answer[65536];
    say(fd, message);
    say(fd, "\n");
    snprintf(answer, sizeof answer, "%s", hear(fd, 1, 5));
    answer[strcspn(answer, "\n")] = '\0';
    return answer;
}

/* --- orders and the record -------------------------------------------------------------------- */

static inline const char *try_order(const struct served *served, const char *words)
{
    struct sockaddr_un address = {.sun_family = AF_UNIX};
    strcpy(address.sun_path, served_path(served, "control"));
    int fd = socket(AF_UNIX, SOCK_STREAM, 0);
    assert_int_equal(connect(fd, (struct sockaddr *)&address, sizeof address), 0);
    say(fd, words);
    say(fd, "\n");
    const char *reply = "";
    for (int lines = 1; !strstr(reply, "ok\n") && !strstr(reply, "error: ") && lines < 100; lines++)
        reply = hear(fd, 1, 5);
    close(fd);
    return reply;
}

static inline void order(const struct served *served, const char *words)
{
    const char *reply = try_order(served, words);
    if (strstr(reply, "ok\n") == NULL)
        fail_msg("%s: %s", words, reply);
}

/* How many lines of the record have `words` in them. */
static inline int recorded(const struct served *served, const char *words)
{
    char line[512];
    int count = 0;
    order(served, "list"); /* the record is whole once this is answered */
    FILE *file = fopen(served_path(served, "record"), "r");
    assert_non_null(file);
    while (fgets(line, sizeof line, file) != NULL)
        count += strstr(line, words) != NULL;
    fclose(file);
    return count;
}

/* Waits until a line of the record has `words` in it; fails after 10 s. */
static inline void until_recorded(const struct served *served, const char *words)
{
    for (double end = seconds_now() + 10; recorded(served, words) == 0; usleep(2000))
        if (seconds_now() >= end)
            fail_msg("never recorded: %s", words);
}

#endif
