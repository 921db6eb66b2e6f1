/* A child process by libuv. */
#include "engine/notify_command.h"

#include <linux/close_range.h>
#include <signal.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>
#include <uv.h>

#include "base/text.h"

/* Real ms that a command is given to end when the engine ends. */
#define GRACE_MS 5000

extern char **environ;

struct notify_command {
    uv_loop_t *loop;
    char *line;         /* its words, each ended by a NUL */
    char **words;       /* into `line`, ended by NULL */
    double limit;       /* s */
    struct child *runs; /* NULL: none */
    int left;           /* children whose handles are not all closed yet */
    bool finishing;
    notify_ended *ended;
    void *owner;
};

/* One start of it. */
struct child {
    struct notify_command *command;
    uv_process_t process;
    uv_pipe_t input;
    uv_timer_t limit;
    uv_write_t write;
    char *text;
    int handles; /* that are not closed yet */
    bool killed;
};

static void split(struct notify_command *command)
{
    size_t count = 0;
    char *rest = command->line, *word;
    command->words = xcalloc(strlen(command->line) / 2 + 2, sizeof *command->words);
    while ((word = strsep(&rest, " \t\n")))
        if (*word)
            command->words[count++] = word;
}

/* Where the shell would look for it. */
static bool is_program(const char *name)
{
    const char *path = getenv("PATH");
    char *copy, *rest, *folder;
    bool found = false;
    if (strchr(name, '/'))
        return access(name, X_OK) == 0;
    copy = rest = xstrdup(path ? path : "/usr/bin:/bin");
    while (!found && (folder = strsep(&rest, ":"))) {
        struct text file = TEXT_EMPTY;
        text_addf(&file, "%s/%s", *folder ? folder : ".", name);
        found = access(file.bytes, X_OK) == 0;
        text_free(&file);
    }
    free(copy);
    return found;
}

int notify_command_open(struct notify_command **out, void *uv_loop, const char *line, double limit,
                        notify_ended *ended, void *owner, struct error *error)
{
    struct notify_command *command = xcalloc(1, sizeof *command);
    *command = (struct notify_command){
        .loop = uv_loop, .line = xstrdup(line), .limit = limit, .ended = ended, .owner = owner};
    split(command);
    if (!command->words[0] || !is_program(command->words[0])) {
        error_set(error, ERROR_USAGE, "--on-due",
                  "name a program and its words, as in --on-due \"sh tell.sh\"",
                  "%s is no program that can be started here",
                  command->words[0] ? command->words[0] : "nothing");
        notify_command_close(command);
        return error->code;
    }
    *out = command;
    return 0;
}

bool notify_command_runs(const struct notify_command *command)
{
    return command->runs != NULL;
}

/* --- one child -------------------------------------------------------------------------------- */

static void closed(uv_handle_t *handle)
{
    struct child *child = handle->data;
    if (--child->handles)
        return;
    child->command->left--;
    free(child->text);
    free(child);
}

static void close_child(struct child *child)
{
    uv_close((uv_handle_t *)&child->process, closed);
    uv_close((uv_handle_t *)&child->limit, closed);
    if (!uv_is_closing((uv_handle_t *)&child->input))
        uv_close((uv_handle_t *)&child->input, closed);
    if (child->command->runs == child)
        child->command->runs = NULL;
}

static void child_ended(uv_process_t *process, int64_t status, int number)
{
    struct child *child = process->data;
    struct notify_command *command = child->command;
    char came_of[48];
    if (child->killed)
        snprintf(came_of, sizeof came_of, "killed after %g s", command->limit);
    else if (number)
        snprintf(came_of, sizeof came_of, "signal %d", number);
    else
        snprintf(came_of, sizeof came_of, "exit %d", (int)status);
    bool well = !child->killed && !number && !status;
    bool cut_short = child->killed && command->finishing;
    close_child(child);
    if (!cut_short)
        command->ended(command->owner, came_of, well);
}

/* With all that it started: it leads a group of its own. */
static void kill_group(struct child *child)
{
    child->killed = true;
    kill(-child->process.pid, SIGKILL);
}

static void on_limit(uv_timer_t *timer)
{
    kill_group(timer->data);
}

/* A child that does not read its input is no fault of its own. */
static void on_written(uv_write_t *write, int status)
{
    struct child *child = write->data;
    (void)status;
    if (!uv_is_closing((uv_handle_t *)&child->input))
        uv_close((uv_handle_t *)&child->input, closed);
}

/* The engine's environment without what the service manager says to the engine alone, and with the
 * facts. The strings are borrowed; the array is the caller's. */
static char **environment(const char *const *facts)
{
    static const char *const own[] = {
        "NOTIFY_SOCKET=", "WATCHDOG_USEC=", "WATCHDOG_PID=", "LISTEN_FDS=", "LISTEN_PID="};
    size_t room = 1, count = 0;
    for (char **at = environ; *at; at++)
        room++;
    for (const char *const *at = facts; *at; at++)
        room++;
    char **all = xcalloc(room, sizeof *all);
    for (char **at = environ; *at; at++) {
        bool keep = true;
        for (size_t i = 0; i < sizeof own / sizeof *own; i++)
            keep &= strncmp(*at, own[i], strlen(own[i])) != 0;
        if (keep)
            all[count++] = *at;
    }
    for (const char *const *at = facts; *at; at++)
        all[count++] = (char *)*at;
    return all;
}

static void hand_over(struct child *child)
{
    uv_buf_t buffer = uv_buf_init(child->text, (unsigned)strlen(child->text));
    child->write.data = child;
    if (uv_write(&child->write, (uv_stream_t *)&child->input, &buffer, 1, on_written))
        on_written(&child->write, 0);
}

void notify_command_start(struct notify_command *command, const char *const *facts,
                          const char *text)
{
    struct child *child = xcalloc(1, sizeof *child);
    char **all = environment(facts);
    uv_stdio_container_t files[3] = {
        {.flags = UV_CREATE_PIPE | UV_READABLE_PIPE, .data.stream = (uv_stream_t *)&child->input},
        {.flags = UV_IGNORE},
        {.flags = UV_INHERIT_FD, .data.fd = STDERR_FILENO},
    };
    uv_process_options_t options = {.exit_cb = child_ended,
                                    .file = command->words[0],
                                    .args = command->words,
                                    .env = all,
                                    .flags = UV_PROCESS_DETACHED,
                                    .stdio_count = 3,
                                    .stdio = files};
    child->command = command;
    child->text = xstrdup(text);
    child->process.data = child->input.data = child->limit.data = child;
    child->handles = 3;
    command->left++;
    uv_pipe_init(command->loop, &child->input, 0);
    uv_timer_init(command->loop, &child->limit);
    /* Whatever a library has left open to be inherited (the line of an instrument) is not. */
    close_range(3, ~0U, CLOSE_RANGE_CLOEXEC);
    int code = uv_spawn(command->loop, &child->process, &options);
    free(all);
    if (code) {
        char came_of[96];
        snprintf(came_of, sizeof came_of, "not started: %s", uv_strerror(code));
        close_child(child);
        command->ended(command->owner, came_of, false);
        return;
    }
    command->runs = child;
    uv_update_time(command->loop);
    uv_timer_start(&child->limit, on_limit, (uint64_t)(command->limit * 1e3), 0);
    hand_over(child);
}

void notify_command_finish(struct notify_command *command)
{
    command->finishing = true;
    if (command->runs) {
        uv_update_time(command->loop);
        uv_timer_start(&command->runs->limit, on_limit, GRACE_MS, 0);
    }
    while (command->runs)
        uv_run(command->loop, UV_RUN_ONCE);
}

void notify_command_close(struct notify_command *command)
{
    if (!command)
        return;
    notify_command_finish(command);
    while (command->left)
        uv_run(command->loop, UV_RUN_ONCE);
    free(command->words);
    free(command->line);
    free(command);
}
