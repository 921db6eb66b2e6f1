/* The process that makes the lists, its two pipes, and when it is asked. */
#include "page/lists.h"

#include <errno.h>
#include <fcntl.h>
#include <signal.h>
#include <spawn.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>
#include <uv.h>

#include "base/text.h"
#include "page/server.h"

#define LEAST_US  1000000LL  /* between two lists */
#define SHARE     4          /* ... and this many times as long as the last one took */
#define MOST_US   60000000LL /* after that they are asked for unasked */
#define HANGS_US  60000000LL
#define RETRY_US  10000000LL /* after one that ended or hung */
#define LINE_MOST (8 * 1024 * 1024)

extern char **environ;

struct lists {
    struct lists_options options;
    pid_t pid; /* 0: none */
    int to;
    uv_pipe_t *from;
    struct text line;
    bool wanted, busy;
    int64_t asked_us, done_us, next_us;
};

struct lists *lists_open(const struct lists_options *options)
{
    struct lists *lists = xcalloc(1, sizeof *lists);
    lists->options = *options;
    lists->wanted = true;
    lists->to = -1;
    return lists;
}

static void pipe_closed(uv_handle_t *handle)
{
    free(handle);
}

/* Whatever it was doing: it only reads, so it may be ended at any point. */
static void end(struct lists *lists, int64_t next_us)
{
    if (!lists->pid)
        return;
    close(lists->to);
    kill(lists->pid, SIGKILL);
    waitpid(lists->pid, NULL, 0);
    lists->pid = 0;
    lists->to = -1;
    uv_close((uv_handle_t *)lists->from, pipe_closed);
    lists->from = NULL;
    text_clear(&lists->line);
    lists->busy = false;
    lists->wanted = true;
    lists->next_us = next_us;
}

void lists_close(struct lists *lists)
{
    if (!lists)
        return;
    end(lists, 0);
    text_free(&lists->line);
    free(lists);
}

static void room(uv_handle_t *handle, size_t suggested, uv_buf_t *buffer)
{
    (void)handle;
    *buffer = uv_buf_init(xmalloc(suggested), (unsigned)suggested);
}

static void line_is_whole(struct lists *lists)
{
    int64_t now = server_now(), took = now - lists->asked_us;
    lists->busy = false;
    lists->done_us = now;
    lists->next_us = now + (took * SHARE > LEAST_US ? took * SHARE : LEAST_US);
    lists->options.take(lists->options.owner, lists->line.bytes, lists->line.length);
    text_clear(&lists->line);
}

static void on_read(uv_stream_t *stream, ssize_t count, const uv_buf_t *buffer)
{
    struct lists *lists = stream->data;
    if (count > 0) {
        const char *stop = memchr(buffer->base, '\n', (size_t)count);
        text_add_bytes(&lists->line, buffer->base,
                       stop ? (size_t)(stop - buffer->base) : (size_t)count);
        if (stop)
            line_is_whole(lists);
        else if (lists->line.length > LINE_MOST)
            end(lists, server_now() + MOST_US);
    } else if (count < 0) {
        end(lists, server_now() + RETRY_US);
    }
    free(buffer->base);
}

/* It is no service of its own: what it says to systemd must not be taken for the engine's word. */
static char **environment(void)
{
    static const char *const ours[] = {"NOTIFY_SOCKET=", "WATCHDOG_USEC=", "WATCHDOG_PID="};
    size_t count = 0, kept = 0;
    while (environ[count])
        count++;
    char **copy = xcalloc(count + 1, sizeof *copy);
    for (size_t i = 0; i < count; i++) {
        bool left_out = false;
        for (size_t k = 0; k < sizeof ours / sizeof *ours; k++)
            left_out |= strncmp(environ[i], ours[k], strlen(ours[k])) == 0;
        if (!left_out)
            copy[kept++] = environ[i];
    }
    return copy;
}

static int spawn(struct lists *lists, int stdin_end, int stdout_end)
{
    char channels[16];
    snprintf(channels, sizeof channels, "%d",
             lists->options.channels > 0 ? lists->options.channels : 1);
    const char *words[] = {"perdure",    "--logbook", lists->options.logbook, "overview",
                           "--channels", channels,    "--on-request",         NULL};
    posix_spawn_file_actions_t actions;
    char **copy = environment();
    posix_spawn_file_actions_init(&actions);
    posix_spawn_file_actions_adddup2(&actions, stdin_end, STDIN_FILENO);
    posix_spawn_file_actions_adddup2(&actions, stdout_end, STDOUT_FILENO);
    int code =
        posix_spawn(&lists->pid, lists->options.program, &actions, NULL, (char **)words, copy);
    posix_spawn_file_actions_destroy(&actions);
    free(copy);
    if (code)
        lists->pid = 0;
    return code;
}

static bool begin(struct lists *lists)
{
    int in[2] = {-1, -1}, out[2] = {-1, -1};
    if (pipe2(in, O_CLOEXEC) || pipe2(out, O_CLOEXEC) || spawn(lists, in[0], out[1])) {
        close(in[1]);
        close(out[0]);
    } else {
        lists->to = in[1];
        fcntl(lists->to, F_SETFL, O_NONBLOCK);
        lists->from = xcalloc(1, sizeof *lists->from);
        uv_pipe_init(lists->options.uv_loop, lists->from, 0);
        lists->from->data = lists;
        uv_pipe_open(lists->from, out[0]);
        uv_read_start((uv_stream_t *)lists->from, room, on_read);
    }
    close(in[0]);
    close(out[1]);
    return lists->pid != 0;
}

void lists_want(struct lists *lists)
{
    lists->wanted = true;
}

void lists_tick(struct lists *lists, int64_t now_us)
{
    if (lists->busy) {
        if (now_us - lists->asked_us > HANGS_US)
            end(lists, now_us + RETRY_US);
        return;
    }
    if (now_us < lists->next_us || (!lists->wanted && now_us - lists->done_us < MOST_US))
        return;
    if (!lists->pid && !begin(lists)) {
        lists->next_us = now_us + RETRY_US;
        return;
    }
    if (write(lists->to, "\n", 1) != 1) {
        end(lists, now_us + RETRY_US);
        return;
    }
    lists->busy = true;
    lists->wanted = false;
    lists->asked_us = now_us;
}
