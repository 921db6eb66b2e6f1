/* The control socket: a Unix socket beside the logbook, mode 0600. One request a connection, one
 * reply, each one line of JSON; when a reply goes out is settled in ask.c. */
#include <errno.h>
#include <inttypes.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/un.h>
#include <unistd.h>
#include <uv.h>

#include "engine/acts.h"
#include "engine/engine_internal.h"

#define REQUEST_MOST (8 * 1024 * 1024)

struct control {
    uv_pipe_t pipe;
    struct engine *engine;
    struct caller *callers;
    char path[128];
};

struct caller {
    uv_pipe_t pipe;
    uv_write_t write;
    struct control *control;
    struct caller *next;
    struct text request;
    char *reply;
    bool asked; /* its request is being performed, or was */
    bool done;  /* replied or closed */
};

char *control_path(const char *logbook_path, char *buffer, size_t size)
{
    snprintf(buffer, size, "%s-socket", logbook_path);
    return buffer;
}

/* --- replies ---------------------------------------------------------------------------------- */

static void closed(uv_handle_t *handle)
{
    struct caller *caller = handle->data, **place = &caller->control->callers;
    while (*place && *place != caller)
        place = &(*place)->next;
    if (*place)
        *place = caller->next;
    engine_forget(caller->control->engine, caller);
    text_free(&caller->request);
    free(caller->reply);
    free(caller);
}

static void hang_up(struct caller *caller)
{
    caller->done = true;
    if (!uv_is_closing((uv_handle_t *)&caller->pipe))
        uv_close((uv_handle_t *)&caller->pipe, closed);
}

static void written(uv_write_t *write, int status)
{
    (void)status;
    hang_up(write->data);
}

static void send_reply(void *owner, const char *reply)
{
    struct caller *caller = owner;
    if (caller->done)
        return;
    caller->reply = xstrdup(reply);
    uv_buf_t buffer = uv_buf_init(caller->reply, (unsigned)strlen(caller->reply));
    caller->done = true;
    caller->write.data = caller;
    if (uv_write(&caller->write, (uv_stream_t *)&caller->pipe, &buffer, 1, written))
        hang_up(caller);
}

/* --- requests --------------------------------------------------------------------------------- */

static void room(uv_handle_t *handle, size_t suggested, uv_buf_t *buffer)
{
    (void)handle;
    *buffer = uv_buf_init(xmalloc(suggested), (unsigned)suggested);
}

static void on_read(uv_stream_t *stream, ssize_t count, const uv_buf_t *buffer)
{
    struct caller *caller = stream->data;
    if (count > 0 && !caller->asked) {
        text_add_bytes(&caller->request, buffer->base, (size_t)count);
        if (memchr(buffer->base, '\n', (size_t)count)) {
            caller->asked = true;
            engine_ask(caller->control->engine, caller->request.bytes, caller->request.length,
                       send_reply, caller);
        } else if (caller->request.length > REQUEST_MOST) {
            hang_up(caller);
        }
    } else if (count < 0) {
        hang_up(caller);
    }
    free(buffer->base);
}

static void on_connection(uv_stream_t *server, int status)
{
    struct control *control = server->data;
    if (status < 0)
        return;
    struct caller *caller = xcalloc(1, sizeof *caller);
    caller->control = control;
    caller->next = control->callers;
    control->callers = caller;
    uv_pipe_init(server->loop, &caller->pipe, 0);
    caller->pipe.data = caller;
    if (uv_accept(server, (uv_stream_t *)&caller->pipe) ||
        uv_read_start((uv_stream_t *)&caller->pipe, room, on_read))
        hang_up(caller);
}

int control_open(struct engine *engine, void *uv_loop, struct error *error)
{
    const char *path = engine->options.socket;
    if (strlen(path) >= sizeof((struct sockaddr_un *)0)->sun_path)
        return error_set(error, ERROR_LOGBOOK, path, "keep the logbook under a shorter path",
                         "the path of the control socket is longer than a socket's may be");
    struct control *control = xcalloc(1, sizeof *control);
    control->engine = engine;
    string_copy(control->path, sizeof control->path, path);
    engine->control = control;
    uv_pipe_init(uv_loop, &control->pipe, 0);
    control->pipe.data = control;
    unlink(path); /* left by an engine that was killed: the logbook's lock says that it is ours */
    mode_t mask = umask(0177);
    int code = uv_pipe_bind(&control->pipe, path);
    umask(mask);
    if (!code)
        code = uv_listen((uv_stream_t *)&control->pipe, 16, on_connection);
    if (code)
        return error_set(error, ERROR_LOGBOOK, path, "see that its folder can be written to",
                         "the control socket cannot be opened: %s", uv_strerror(code));
    return 0;
}

static void server_closed(uv_handle_t *handle)
{
    struct control *control = handle->data;
    free(control);
}

void control_close(struct engine *engine)
{
    struct control *control = engine->control;
    if (!control)
        return;
    engine->control = NULL;
    unlink(control->path);
    /* Replies on their way are let go first. */
    for (struct caller *caller = control->callers; caller; caller = caller->next)
        if (!caller->done)
            hang_up(caller);
    while (control->callers)
        uv_run(control->pipe.loop, UV_RUN_ONCE);
    uv_close((uv_handle_t *)&control->pipe, server_closed);
}

/* --- the other side --------------------------------------------------------------------------- */

static int no_engine(struct error *error, const char *socket_path)
{
    return error_set(error, ERROR_LOGBOOK, socket_path,
                     "see whether the engine still runs, and try again",
                     "the engine does not answer: %s", strerror(errno));
}

static int read_reply(int fd, struct text *reply)
{
    char part[4096];
    ssize_t count;
    while ((count = read(fd, part, sizeof part)) > 0) {
        text_add_bytes(reply, part, (size_t)count);
        if (memchr(part, '\n', (size_t)count))
            return 0;
    }
    return -1;
}

static int open_reply(const struct text *text, json_t **reply, struct error *error)
{
    json_t *document = json_loadb(text->bytes, text->length, 0, NULL);
    json_t *failure = json_object_get(document, "error");
    int code = 0;
    if (failure) {
        const char *what = "", *why = "", *todo = "";
        json_unpack(failure, "{s:i, s:s, s:s, s:s}", "code", &code, "what", &what, "why", &why,
                    "todo", &todo);
        error_set(error, (enum error_code)code, what, todo, "%s", why);
    } else {
        *reply = json_incref(json_object_get(document, "reply"));
    }
    json_decref(document);
    return code;
}

int control_send(const char *socket_path, const json_t *request, json_t **reply,
                 struct error *error)
{
    struct sockaddr_un address = {.sun_family = AF_UNIX};
    string_copy(address.sun_path, sizeof address.sun_path, socket_path);
    int fd = socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0);
    if (fd < 0 || connect(fd, (struct sockaddr *)&address, sizeof address)) {
        no_engine(error, socket_path);
        if (fd >= 0)
            close(fd);
        return error->code;
    }
    char *line = json_line(json_incref((json_t *)request));
    size_t left = strlen(line);
    const char *at = line;
    ssize_t count = 0;
    while (left && (count = send(fd, at, left, MSG_NOSIGNAL)) > 0) {
        at += count;
        left -= (size_t)count;
    }
    free(line);
    struct text text = TEXT_EMPTY;
    if (count < 0 || read_reply(fd, &text))
        no_engine(error, socket_path);
    else
        open_reply(&text, reply, error);
    text_free(&text);
    close(fd);
    return error->code;
}
