/* A driver without a line: its tasks begun and resumed by hand, with answers from a list. */
#ifndef PERDURE_TESTS_BINDINGS_TALK_H
#define PERDURE_TESTS_BINDINGS_TALK_H

#include "support/cmocka_setup.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "bindings/driver.h"

struct task {
    enum driver_status status;
    struct driver_result result;
    struct error error;
    char all[1400];  /* the whole message */
    char sent[2000]; /* what it asked '?', told '!' and waited '~', in order */
};

/* Answers: "LINE=ANSWER" each, ended by NULL; the first that fits is used up unless it begins with
 * '*'. A line without one gets no answer in time. */
static const char *answer_to(const char *line, const char **answers, bool *used)
{
    size_t length = strcspn(line, "\r\n");
    for (int i = 0; answers && answers[i]; i++) {
        const char *entry = answers[i];
        bool lasts = entry[0] == '*' && entry[1] == ' ';
        const char *key = lasts ? entry + 2 : entry;
        if (used[i] || strncmp(key, line, length) != 0 || key[length] != '=')
            continue;
        used[i] = !lasts;
        return key + length + 1;
    }
    return NULL;
}

static inline struct task run(struct driver *driver, const struct driver_order *order,
                              const char **answers)
{
    struct task task = {.result = {NAN, NAN, NAN, NAN, {"", "", "", ""}}};
    struct driver_call call;
    bool used[64] = {false};
    task.status = driver->ops->begin(driver, order, &call, &task.result, &task.error);
    for (int i = 0; task.status == DRIVER_AWAITS; i++) {
        struct link_reply reply = {.status = LINK_OK, .bytes = ""};
        size_t length = strlen(task.sent);
        assert_true(i < 200);
        if (call.want == DRIVER_WAIT) {
            snprintf(task.sent + length, sizeof task.sent - length, "~%g ", call.seconds);
            task.status = driver->ops->resume(driver, NULL, &call, &task.result, &task.error);
            continue;
        }
        assert_true(call.length == strlen(call.bytes));
        snprintf(task.sent + length, sizeof task.sent - length, "%c%.*s ",
                 call.want == DRIVER_TELL ? '!' : '?', (int)strcspn(call.bytes, "\r\n"),
                 call.bytes);
        if (call.want != DRIVER_TELL) {
            const char *answer = answer_to(call.bytes, answers, used);
            reply.bytes = answer ? answer : "";
            reply.status = answer ? LINK_OK : LINK_TIMEOUT;
            if (answer && strcmp(answer, "(hang-up)") == 0)
                reply.status = LINK_HANGUP;
            if (answer && strcmp(answer, "(garbled)") == 0)
                reply.status = LINK_GARBLED;
            reply.length = strlen(reply.bytes);
        }
        task.status = driver->ops->resume(driver, &reply, &call, &task.result, &task.error);
    }
    if (task.status == DRIVER_FAILED) {
        assert_true(task.error.code == ERROR_BENCH || task.error.code == ERROR_LOST);
        snprintf(task.all, sizeof task.all, "%s; %s", task.error.why, task.error.todo);
        driver->ops->forget(driver); /* as the instrument does */
    }
    return task;
}

static inline struct task run_task(struct driver *driver, enum driver_task what,
                                   const char **answers)
{
    struct driver_order order = {.task = what, .point = 3};
    return run(driver, &order, answers);
}

static inline struct task run_drive(struct driver *driver, enum drive_mode mode, double amount,
                                    double voltage_most, double voltage_least, const char **answers)
{
    struct driver_order order = {.task = DRIVER_DRIVE,
                                 .drive = {mode, amount, NAN},
                                 .voltage_most = voltage_most,
                                 .voltage_least = voltage_least};
    return run(driver, &order, answers);
}

static inline void says(const char *where, const char *text, const char *part)
{
    if (!strstr(text, part))
        fail_msg("%s: expected \"%s\" in \"%s\"", where, part, text);
}

static inline void is_done(const struct task *task)
{
    if (task->status != DRIVER_DONE)
        fail_msg("failed: %s", task->all);
}

static inline struct driver *open_text(const char *text, const char *settings)
{
    struct driver *driver = NULL;
    struct error error;
    if (lua_driver_open(&driver, "test.lua", text, strlen(text), settings, &error))
        fail_msg("%s: %s; %s", error.what, error.why, error.todo);
    return driver;
}

static inline void close_driver(struct driver *driver)
{
    driver->ops->close(driver);
}

#endif
