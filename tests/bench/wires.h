/* Instruments for tests: a driver in C whose tasks are lists of lines, and a far end that hears
 * them, over TCP on the same loop. What all far ends hear is kept in one record, in order. */
#ifndef PERDURE_TESTS_BENCH_WIRES_H
#define PERDURE_TESTS_BENCH_WIRES_H

#include "support/cmocka_setup.h"

#include <stdlib.h>
#include <string.h>
#include <uv.h>

#include "base/text.h"
#include "bench/instrument.h"
#include "bench/wired.h"
#include "link/loop.h"

#define FARS_MOST 6

/* --- the far end ----------------------------------------------------------------------------- */

struct wires;

struct far {
    struct wires *wires;
    char name;      /* in the record: "S:OFF " */
    const char *is; /* who it says it is */
    uv_tcp_t server;
    uv_tcp_t *peer; /* NULL: nobody is connected */
    char line[256];
    size_t length;
    int port;
    /* NULL: speaks the language of the driver below. */
    void (*hear)(struct far *far, const char *line);

    bool on, closed[8];
    double volts, amps, degrees, ohms;

    const char *silent_on; /* lines that it does not answer: ... */
    int silences;          /* ... so often; -1: always */
    const char *garbage_on;
    const char *hang_up_on;
    const char *later_on; /* answers 180 ms late, once */
    uv_timer_t timer;
    char later[64];
    bool stuck; /* does not go off */
    bool error; /* ERR? answers -222, once */
};

struct wires {
    void *loop;
    struct clock clock;
    struct far far[FARS_MOST];
    int count;
    char record[8192];
    char told[2048];           /* by instruments: "S:warning:text\n" */
    struct guardian *guardian; /* of instruments that are opened; NULL: none */
    int both_on;               /* times that a source and a sink were on at once */
    int both_closed;           /* times that two relays of one board were */
};

static inline void far_write(struct far *far, const char *text)
{
    uv_buf_t buffer = uv_buf_init((char *)(uintptr_t)text, (unsigned)strlen(text));
    if (far->peer)
        uv_try_write((uv_stream_t *)far->peer, &buffer, 1);
}

static inline void far_freed(uv_handle_t *handle)
{
    free(handle);
}

static inline void far_hang_up(struct far *far)
{
    if (far->peer)
        uv_close((uv_handle_t *)far->peer, far_freed);
    far->peer = NULL;
    far->length = 0;
}

static inline void far_say_late(uv_timer_t *timer)
{
    struct far *far = timer->data;
    far_write(far, far->later);
}

static inline bool far_is(const char *line, const char *what)
{
    return what && strcmp(line, what) == 0;
}

static inline void far_look(struct wires *wires)
{
    int on = 0;
    for (int i = 0; i < wires->count; i++) {
        on += wires->far[i].on;
        int closed = 0;
        for (int k = 0; k < 8; k++)
            closed += wires->far[i].closed[k];
        wires->both_closed += closed > 1;
    }
    wires->both_on += on > 1;
}

static inline void far_hear(struct far *far, const char *line)
{
    struct wires *wires = far->wires;
    char answer[64] = "";
    size_t used = strlen(wires->record);
    snprintf(wires->record + used, sizeof wires->record - used, "%c:%s ", far->name, line);
    if (far_is(line, far->hang_up_on)) {
        far->hang_up_on = NULL;
        far_hang_up(far);
        return;
    }
    if (strcmp(line, "ID?") == 0)
        snprintf(answer, sizeof answer, "%s", far->is);
    else if (strcmp(line, "OFF") == 0)
        far->on = far->stuck;
    else if (strcmp(line, "ON") == 0)
        far->on = true;
    else if (strcmp(line, "ON?") == 0)
        snprintf(answer, sizeof answer, "%d", far->on);
    else if (strncmp(line, "SET ", 4) == 0)
        far->amps = atof(line + 4);
    else if (strcmp(line, "ERR?") == 0)
        snprintf(answer, sizeof answer, "%d", far->error ? -222 : 0);
    else if (strcmp(line, "V?") == 0)
        snprintf(answer, sizeof answer, "%g", far->volts);
    else if (strcmp(line, "I?") == 0)
        snprintf(answer, sizeof answer, "%g", far->on ? far->amps : 0.0);
    else if (strcmp(line, "R?") == 0)
        snprintf(answer, sizeof answer, "%g", far->ohms);
    else if (strcmp(line, "T?") == 0)
        snprintf(answer, sizeof answer, "%g", far->degrees);
    else if (strncmp(line, "CLOSE ", 6) == 0)
        far->closed[atoi(line + 6) & 7] = true;
    else if (strncmp(line, "OPEN ", 5) == 0)
        far->closed[atoi(line + 5) & 7] = false;
    else if (strcmp(line, "OPENALL") == 0)
        memset(far->closed, 0, sizeof far->closed);
    far_look(wires);
    if (strcmp(line, "ERR?") == 0)
        far->error = false;
    if (!answer[0])
        return;
    if (far_is(line, far->silent_on) && far->silences != 0) {
        far->silences -= far->silences > 0;
        return;
    }
    if (far_is(line, far->garbage_on)) {
        far->garbage_on = NULL;
        far_write(far, "\x01\x80?\n");
        return;
    }
    strcat(answer, "\n");
    if (far_is(line, far->later_on)) {
        far->later_on = NULL;
        string_copy(far->later, sizeof far->later, answer);
        uv_timer_start(&far->timer, far_say_late, 180, 0);
        return;
    }
    far_write(far, answer);
}

static inline void far_room(uv_handle_t *handle, size_t wanted, uv_buf_t *buffer)
{
    static char room[4096];
    (void)handle, (void)wanted;
    *buffer = uv_buf_init(room, sizeof room);
}

static inline void far_read(uv_stream_t *stream, ssize_t count, const uv_buf_t *buffer)
{
    struct far *far = stream->data;
    if (count < 0 && far->peer == (uv_tcp_t *)stream)
        far_hang_up(far);
    for (ssize_t i = 0; i < count && far->peer; i++) {
        if (buffer->base[i] != '\n') {
            assert_true(far->length + 1 < sizeof far->line);
            far->line[far->length++] = buffer->base[i];
            continue;
        }
        far->line[far->length] = '\0';
        far->length = 0;
        if (far->hear)
            far->hear(far, far->line);
        else
            far_hear(far, far->line);
    }
}

static inline void far_accept(uv_stream_t *server, int status)
{
    struct far *far = server->data;
    assert_int_equal(status, 0);
    uv_tcp_t *peer = malloc(sizeof *peer);
    uv_tcp_init(server->loop, peer);
    peer->data = far;
    uv_accept(server, (uv_stream_t *)peer);
    if (far->peer) {
        uv_close((uv_handle_t *)peer, far_freed);
        return;
    }
    far->peer = peer;
    uv_read_start((uv_stream_t *)peer, far_room, far_read);
}

/* --- the driver ------------------------------------------------------------------------------ */

/* Each task: lines, '?' asks, '!' tells, '~' waits 10 ms. An answer other than the one wanted
 * fails; what READ asks becomes its result. */
struct fake_driver {
    struct driver driver; /* first */
    const char *lines[7][8];
    const struct driver_order *order;
    char out[64];
    int at;
    int begun[7], forgotten;
    bool forever; /* READ never ends */
};

static inline enum driver_status fake_next(struct fake_driver *fake, struct driver_call *call)
{
    const struct driver_order *order = fake->order;
    const char *line = fake->lines[order->task][fake->at];
    if (!line)
        return DRIVER_DONE;
    if (strcmp(line, "!SET") == 0)
        snprintf(fake->out, sizeof fake->out, "SET %g\n", fabs(order->drive.amount));
    else if (strstr(line, "#"))
        snprintf(fake->out, sizeof fake->out, "%.*s%d\n", (int)strlen(line) - 2, line + 1,
                 order->point);
    else
        snprintf(fake->out, sizeof fake->out, "%s\n", line + 1);
    enum driver_want want = line[0] == '?'   ? DRIVER_ASK
                            : line[0] == '!' ? DRIVER_TELL
                                             : DRIVER_WAIT;
    *call =
        (struct driver_call){want, fake->out, strlen(fake->out), want == DRIVER_WAIT ? 0.01 : 0};
    return DRIVER_AWAITS;
}

static inline enum driver_status fake_begin(struct driver *driver, const struct driver_order *order,
                                            struct driver_call *call, struct driver_result *result,
                                            struct error *error)
{
    struct fake_driver *fake = (struct fake_driver *)driver;
    (void)result, (void)error;
    fake->order = order;
    fake->at = 0;
    fake->begun[order->task]++;
    return fake_next(fake, call);
}

static inline enum driver_status fake_resume(struct driver *driver, const struct link_reply *reply,
                                             struct driver_call *call, struct driver_result *result,
                                             struct error *error)
{
    static const char *const statuses[] = {"", "no answer in time", "the line went",
                                           "no sense in the answer", "abandoned"};
    struct fake_driver *fake = (struct fake_driver *)driver;
    const enum driver_task task = fake->order->task;
    const char *line = fake->lines[task][fake->at];
    if (reply && reply->status != LINK_OK) {
        error_set(error, ERROR_BENCH, "", "look at it", "%s to %s", statuses[reply->status],
                  line + 1);
        return DRIVER_FAILED;
    }
    if (line[0] == '?') {
        double value = atof(reply->bytes);
        bool bad = task == DRIVER_IDENTIFY
                       ? !scpi_identity(reply->bytes, reply->length, &result->identity)
                   : task == DRIVER_OFF   ? value != 0
                   : task == DRIVER_DRIVE ? value != (strcmp(line, "?ON?") == 0)
                                          : false;
        if (bad) {
            error_set(error, ERROR_BENCH, "", "look at it", "it answered %s to %s", reply->bytes,
                      line + 1);
            return DRIVER_FAILED;
        }
        if (line[1] == 'V')
            result->voltage = value;
        else if (line[1] == 'I' && task == DRIVER_READ)
            result->current = value;
        else if (line[1] == 'R' && task == DRIVER_READ)
            result->resistance = value;
        else if (line[1] == 'T')
            result->temperature = value;
    }
    if (!(task == DRIVER_READ && fake->forever))
        fake->at++;
    return fake_next(fake, call);
}

static inline void fake_forget(struct driver *driver)
{
    ((struct fake_driver *)driver)->forgotten++;
}

static inline void fake_close(struct driver *driver)
{
    free(driver);
}

static const struct driver_ops fake_ops = {fake_begin, fake_resume, fake_forget, fake_close};

static inline struct fake_driver *fake_new(unsigned can)
{
    struct fake_driver *fake = calloc(1, sizeof *fake);
    fake->driver = (struct driver){.ops = &fake_ops, .can = can, .sync = "ID?\n"};
    fake->driver.name = "fake";
    fake->lines[DRIVER_IDENTIFY][0] = "?ID?";
    fake->lines[DRIVER_PREPARE][0] = "!PREP";
    if (can & (CAN_SOURCE | CAN_SINK)) {
        static const char *const off[] = {"!OFF", "?ON?"};
        static const char *const drive[] = {"!SET", "?ERR?", "!ON", "?ON?"};
        fake->driver.safe = "OFF\n";
        memcpy(fake->lines[DRIVER_OFF], off, sizeof off);
        memcpy(fake->lines[DRIVER_DRIVE], drive, sizeof drive);
        fake->lines[DRIVER_READ][0] = "?V?";
        fake->lines[DRIVER_READ][1] = "?I?";
    }
    if (can & CAN_METER)
        fake->lines[DRIVER_READ][0] = "?V?";
    if (can & CAN_OHMMETER)
        fake->lines[DRIVER_READ][can & CAN_METER ? 1 : 0] = "?R?";
    if (can & CAN_THERMOMETER)
        fake->lines[DRIVER_READ][0] = "?T?";
    if (can & CAN_RELAY) {
        fake->driver.safe = "OPENALL\n";
        fake->lines[DRIVER_CONNECT][0] = "!CLOSE #";
        fake->lines[DRIVER_DISCONNECT][0] = "!OPEN #";
    }
    return fake;
}

/* --- putting together ------------------------------------------------------------------------ */

static inline void wires_open(struct wires *wires)
{
    memset(wires, 0, sizeof *wires);
    wires->loop = loop_new();
    clock_open_real(&wires->clock);
}

static inline struct far *wires_far(struct wires *wires, char name, const char *is)
{
    struct far *far = &wires->far[wires->count++];
    struct sockaddr_in address;
    int length = sizeof address;
    far->wires = wires;
    far->name = name;
    far->is = is;
    far->volts = 1.25;
    far->ohms = 0.0234;
    far->degrees = 21.5;
    uv_tcp_init(wires->loop, &far->server);
    uv_timer_init(wires->loop, &far->timer);
    far->server.data = far->timer.data = far;
    uv_ip4_addr("127.0.0.1", 0, &address);
    uv_tcp_bind(&far->server, (const struct sockaddr *)&address, 0);
    assert_int_equal(uv_listen((uv_stream_t *)&far->server, 8, far_accept), 0);
    uv_tcp_getsockname(&far->server, (struct sockaddr *)&address, &length);
    far->port = ntohs(address.sin_port);
    return far;
}

static inline void wires_tell(void *owner, const char *name, const char *level, const char *text)
{
    struct wires *wires = owner;
    size_t used = strlen(wires->told);
    snprintf(wires->told + used, sizeof wires->told - used, "%s:%s:%s\n", name, level, text);
}

static inline struct instrument *wires_instrument(struct wires *wires, struct far *far,
                                                  struct fake_driver *fake, const char *serial)
{
    struct instrument *instrument;
    struct error error;
    char name[] = {far->name, '\0'};
    const struct link_spec link = {
        .kind = LINK_TCP, .path = "127.0.0.1", .port = far->port, .patience = 0.12, .quiet = 0.003};
    struct instrument_spec spec = {.name = name,
                                   .link = &link,
                                   .driver = &fake->driver,
                                   .limits = LIMITS_NONE,
                                   .resolution = NAN,
                                   .clock = &wires->clock,
                                   .guardian = wires->guardian,
                                   .guardian_id = far->name,
                                   .tell = wires_tell,
                                   .owner = wires};
    string_copy(spec.expected.serial, sizeof spec.expected.serial, serial);
    if (instrument_open(wires->loop, &spec, &instrument, &error))
        fail_msg("%s: %s", error.what, error.why);
    return instrument;
}

static inline void wires_run(struct wires *wires, double seconds)
{
    loop_run(wires->loop, seconds, NULL);
}

/* Runs until the state is as wanted; fails after 3 s. */
static inline void wires_until(struct wires *wires, const struct instrument *instrument,
                               enum instrument_state wanted)
{
    for (int i = 0; i < 3000 && instrument_state(instrument) != wanted; i++)
        loop_run(wires->loop, 0.001, NULL);
    if (instrument_state(instrument) != wanted)
        fail_msg("%s is %s and not %s: %s", instrument_name(instrument),
                 instrument_state_name(instrument_state(instrument)), instrument_state_name(wanted),
                 instrument_trouble(instrument)->why);
}

/* Instruments must be closed already. */
static inline void wires_close(struct wires *wires)
{
    for (int i = 0; i < wires->count; i++) {
        far_hang_up(&wires->far[i]);
        uv_close((uv_handle_t *)&wires->far[i].server, NULL);
        uv_close((uv_handle_t *)&wires->far[i].timer, NULL);
    }
    loop_free(wires->loop);
}

/* The record since it was last looked at; forgets it. */
static inline void wires_heard(struct wires *wires, const char *wanted)
{
    if (strcmp(wires->record, wanted) != 0)
        fail_msg("heard \"%s\" and not \"%s\"", wires->record, wanted);
    wires->record[0] = '\0';
}

static inline void wires_forget(struct wires *wires)
{
    wires->record[0] = '\0';
    wires->told[0] = '\0';
}

#define assert_says(text, part)                                                                    \
    do {                                                                                           \
        if (!strstr((text), (part)))                                                               \
            fail_msg("\"%s\" does not say \"%s\"", (text), (part));                                \
    } while (0)

#endif
