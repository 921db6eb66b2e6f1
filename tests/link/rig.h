/* A link on a loop, and the far end of it: a scripted instrument on the same loop. The far end is a
 * descriptor (the master of a pseudo-terminal, an accepted connection); it hears lines and says
 * what its script makes of them. */
#ifndef PERDURE_TESTS_LINK_RIG_H
#define PERDURE_TESTS_LINK_RIG_H

#include <errno.h>
#include <fcntl.h>
#include <pty.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <termios.h>
#include <unistd.h>
#include <uv.h>

#include "link/link.h"
#include "support/cmocka_setup.h"

#define ANSWERS_MOST 64
#define TICK_MS      2

struct rig;

struct far {
    struct rig *rig;
    uv_poll_t *poll; /* NULL: hung up */
    int fd;
    char heard[8192]; /* all of it since the last far_forget */
    size_t length, begun;
    int lines;
    void (*hear)(struct far *far, const char *line);
    char later[4096]; /* said when the timer fires */
    char path[128];   /* of the link to its terminal; "" for another kind */
    uv_timer_t timer;
};

struct answer {
    enum link_status status;
    char text[256];
    size_t length;
};

struct rig {
    uv_loop_t loop;
    uv_timer_t tick;
    uint64_t ticks;
    struct link *link;
    struct link_spec spec;
    struct far far;
    bool no_trust; /* a link that comes up stays a stranger */
    int ups, downs, closed;
    struct error why;
    struct answer answers[ANSWERS_MOST];
    int answered;
    char order[4 * ANSWERS_MOST];         /* of events: u up, d down, a answer, c closed */
    char out[8192], in[8192], lost[8192]; /* what the trace saw */
};

/* --- the far end ------------------------------------------------------------------------- */

static inline void far_say_bytes(struct far *far, const char *bytes, size_t length)
{
    while (length > 0) {
        ssize_t count = write(far->fd, bytes, length);
        assert_true(count > 0);
        bytes += count;
        length -= (size_t)count;
    }
}

static inline void far_say(struct far *far, const char *text)
{
    far_say_bytes(far, text, strlen(text));
}

static inline void far_on_timer(uv_timer_t *timer)
{
    struct far *far = timer->data;
    if (far->poll != NULL)
        far_say(far, far->later);
}

static inline void far_say_later(struct far *far, unsigned ms, const char *text)
{
    snprintf(far->later, sizeof far->later, "%s", text);
    uv_timer_start(&far->timer, far_on_timer, ms, 0);
}

static inline void far_free_poll(uv_handle_t *handle)
{
    free(handle);
}

static inline void far_hang_up(struct far *far)
{
    if (far->poll == NULL)
        return;
    /* Before the terminal's number goes to whoever asks for one next: the link tries again by
     * path. */
    if (far->path[0])
        unlink(far->path);
    far->path[0] = '\0';
    uv_close((uv_handle_t *)far->poll, far_free_poll);
    close(far->fd);
    far->poll = NULL;
    far->fd = -1;
}

static inline void far_forget(struct far *far)
{
    far->length = far->begun = 0;
    far->lines = 0;
    far->heard[0] = '\0';
}

static inline void far_on_read(uv_poll_t *poll, int status, int events)
{
    struct far *far = poll->data;
    (void)events;
    ssize_t count =
        status < 0 ? -1
                   : read(far->fd, far->heard + far->length, sizeof far->heard - 1 - far->length);
    if (count <= 0) {
        if (count == 0) /* a connection whose other end closed */
            uv_poll_stop(poll);
        else if (status < 0 || errno == EIO) /* nobody has the terminal open: keep quiet a while */
            uv_sleep(1);
        return;
    }
    far->length += (size_t)count;
    far->heard[far->length] = '\0';
    for (char *end; far->poll != NULL && (end = strchr(far->heard + far->begun, '\n')) != NULL;) {
        char line[512];
        size_t length = (size_t)(end - far->heard) - far->begun;
        assert_true(length < sizeof line);
        memcpy(line, far->heard + far->begun, length);
        line[length] = '\0';
        far->begun += length + 1;
        far->lines++;
        if (far->hear != NULL)
            far->hear(far, line);
    }
}

static inline void far_begin(struct rig *rig, int fd)
{
    rig->far.rig = rig;
    rig->far.fd = fd;
    rig->far.poll = calloc(1, sizeof *rig->far.poll);
    assert_int_equal(uv_poll_init(&rig->loop, rig->far.poll, fd), 0);
    rig->far.poll->data = &rig->far;
    uv_poll_start(rig->far.poll, UV_READABLE, far_on_read);
}

/* A new pseudo-terminal as the far end; `path` (a symbolic link) is pointed to it, as a stable path
 * is to a device that came back under another number. */
static inline void far_begin_pty(struct rig *rig, const char *path)
{
    int master = posix_openpt(O_RDWR | O_NOCTTY | O_CLOEXEC);
    struct termios settings;
    char name[64];
    assert_true(master >= 0);
    assert_int_equal(grantpt(master), 0);
    assert_int_equal(unlockpt(master), 0);
    assert_int_equal(ptsname_r(master, name, sizeof name), 0);
    assert_int_equal(tcgetattr(master, &settings), 0);
    cfmakeraw(&settings);
    assert_int_equal(tcsetattr(master, TCSANOW, &settings), 0);
    unlink(path);
    assert_int_equal(symlink(name, path), 0);
    far_begin(rig, master);
    snprintf(rig->far.path, sizeof rig->far.path, "%s", path);
}

/* --- the near end ------------------------------------------------------------------------ */

static inline void rig_mark(struct rig *rig, char event)
{
    size_t length = strlen(rig->order);
    assert_true(length + 1 < sizeof rig->order);
    rig->order[length] = event;
}

static inline void rig_on_up(struct link *link, void *owner)
{
    struct rig *rig = owner;
    rig->ups++;
    rig_mark(rig, 'u');
    assert_false(link_is_up(link));
    if (!rig->no_trust)
        link_trust(link);
}

static inline void rig_on_down(struct link *link, void *owner, const struct error *why)
{
    struct rig *rig = owner;
    rig->downs++;
    rig->why = *why;
    rig_mark(rig, 'd');
    assert_false(link_is_up(link));
}

static inline void rig_on_closed(void *owner)
{
    struct rig *rig = owner;
    rig->closed++;
    rig->link = NULL;
    rig_mark(rig, 'c');
}

static inline void rig_on_trace(void *owner, char way, const char *bytes, size_t length, int64_t at)
{
    struct rig *rig = owner;
    char *all = way == 'o' ? rig->out : way == 'i' ? rig->in : rig->lost;
    size_t have = strlen(all);
    (void)at;
    if (have + length < sizeof rig->out)
        memcpy(all + have, bytes, length);
}

static inline void rig_on_answer(void *owner, const struct link_reply *reply)
{
    struct rig *rig = owner;
    struct answer *answer = &rig->answers[rig->answered++];
    assert_true(rig->answered < ANSWERS_MOST);
    answer->status = reply->status;
    answer->length = reply->length;
    size_t kept = reply->length < sizeof answer->text ? reply->length : sizeof answer->text - 1;
    memcpy(answer->text, reply->bytes, kept);
    rig_mark(rig, 'a');
}

static inline void rig_on_tick(uv_timer_t *timer)
{
    struct rig *rig = timer->data;
    rig->ticks++;
}

static inline void rig_begin(struct rig *rig)
{
    memset(rig, 0, sizeof *rig);
    rig->far.fd = -1;
    rig->spec = (struct link_spec){.kind = LINK_PTY, .patience = 0.5, .quiet = 0.03};
    uv_loop_init(&rig->loop);
    uv_timer_init(&rig->loop, &rig->tick);
    uv_timer_init(&rig->loop, &rig->far.timer);
    rig->far.timer.data = &rig->far;
    rig->tick.data = rig;
    uv_timer_start(&rig->tick, rig_on_tick, TICK_MS, TICK_MS); /* so that waiting ends */
}

/* Whether an answer is the instrument's name, in the tests that have a synchronisation question. */
static inline bool rig_is_name(void *owner, const char *answer, size_t length)
{
    (void)owner;
    return length == 4 && memcmp(answer, "NAME", 4) == 0;
}

static inline int rig_open(struct rig *rig, const char *sync, struct error *error)
{
    struct link_hooks hooks = {.up = rig_on_up,
                               .down = rig_on_down,
                               .closed = rig_on_closed,
                               .trace = rig_on_trace,
                               .sync = {sync, rig_is_name},
                               .owner = rig};
    return link_open(&rig->loop, &rig->spec, &hooks, &rig->link, error);
}

/* Seconds since the beginning, counted in ticks of the loop: a machine that is busy with something
 * else counts slower. */
static inline double rig_seconds(const struct rig *rig)
{
    return (double)rig->ticks * TICK_MS / 1e3;
}

/* Turns the loop until `condition`, which must come within `seconds` of its own. */
#define rig_until(rig, condition, seconds)                                                         \
    do {                                                                                           \
        double rig_end = rig_seconds(rig) + (seconds);                                             \
        while (!(condition) && rig_seconds(rig) < rig_end)                                         \
            uv_run(&(rig)->loop, UV_RUN_ONCE);                                                     \
        assert_true(condition);                                                                    \
    } while (0)

static inline void rig_wait(struct rig *rig, double seconds)
{
    uint64_t end = uv_hrtime() + (uint64_t)(seconds * 1e9);
    while (uv_hrtime() < end)
        uv_run(&rig->loop, UV_RUN_ONCE);
}

static inline void rig_ask(struct rig *rig, const char *question, enum link_answer answer)
{
    struct error error = {.code = ERROR_NONE};
    if (link_ask(rig->link, question, strlen(question), answer, 0, rig_on_answer, rig, &error))
        fail_msg("%s: %s", question, error.why);
}

/* Asks and waits; the answer. */
static inline const struct answer *rig_hear(struct rig *rig, const char *question)
{
    int before = rig->answered;
    rig_ask(rig, question, LINK_LINE);
    rig_until(rig, rig->answered > before, 3);
    return &rig->answers[before];
}

#define assert_answer(is, want)                                                                    \
    do {                                                                                           \
        const struct answer *rig_given = (is);                                                     \
        assert_int_equal(rig_given->status, LINK_OK);                                              \
        assert_string_equal(rig_given->text, (want));                                              \
    } while (0)

/* Fails for a handle left open. */
static inline void rig_end(struct rig *rig)
{
    if (rig->link != NULL) {
        int before = rig->answered;
        link_close(rig->link);
        rig_until(rig, rig->closed == 1, 1);
        assert_int_equal(rig->answered, before);
    }
    far_hang_up(&rig->far);
    uv_close((uv_handle_t *)&rig->tick, NULL);
    uv_close((uv_handle_t *)&rig->far.timer, NULL);
    uv_run(&rig->loop, UV_RUN_DEFAULT);
    assert_int_equal(uv_loop_close(&rig->loop), 0);
}

/* A path for the stable name of a device, of this test alone. */
static inline const char *rig_path(const char *name)
{
    static char path[128];
    snprintf(path, sizeof path, "/tmp/perdure-link-%d-%s", (int)getpid(), name);
    return path;
}

/* The whole of a common beginning: a pseudo-terminal, a script, a link that is up. */
static inline void rig_begin_up(struct rig *rig, void (*hear)(struct far *, const char *),
                                const char *sync)
{
    struct error error;
    rig_begin(rig);
    rig->spec.path = rig_path("pty");
    far_begin_pty(rig, rig->spec.path);
    rig->far.hear = hear;
    assert_int_equal(rig_open(rig, sync, &error), 0);
    rig_until(rig, rig->ups == 1, 2);
}

static inline void rig_end_all(struct rig *rig)
{
    rig_end(rig);
    unlink(rig_path("pty"));
}

#endif
