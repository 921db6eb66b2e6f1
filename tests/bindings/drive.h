/* Drives a script through the seam with invented outcomes, and keeps what it asked for. */
#ifndef TESTS_BINDINGS_DRIVE_H
#define TESTS_BINDINGS_DRIVE_H

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include <cmocka.h>

#include "base/text.h"
#include "bindings/script.h"

#define DRIVE_NOW  (1767225600LL * US_PER_S) /* 2026-01-01T00:00:00Z */
#define DRIVE_MOST 200000                    /* requests before a test gives up */

/* A discharge of 1.95 Ah at 0.4 A to 1.0 V: outcome as the engine writes it, in bench units. */
#define DRIVE_OUTCOME                                                                              \
    "{\"ended_by\":\"voltage\",\"quality\":\"good\",\"gaps\":0,\"charge\":1.95,\"energy\":2.4,"    \
    "\"duration\":17550,\"first_voltage\":1.35,\"last_voltage\":1,\"mean_voltage\":1.23,"          \
    "\"mid_voltage\":1.25,\"peak_voltage\":1.35,\"last_current\":-0.4,\"max_temperature\":23.5}"

struct drive_case {
    const char *params, *state;
    const char *(*answer)(const struct script_request *request, int n); /* NULL: the usual */
    int (*module)(void *owner, const char *name, char **text, size_t *length, struct error *error);
    const char *chemistry; /* NULL: NiMH */
    uint64_t seed;
    utc_us start; /* 0: DRIVE_NOW */
    const struct zone *zone;
};

struct drive_end {
    enum script_status status;
    int requests;
    struct text asked; /* one line a request: NAME ARGS */
    struct error error;
    char all[1400]; /* the whole message */
    double ms;
};

/* Processor time: what else the machine does does not count. */
static inline double drive_ms(void)
{
    struct timespec now;
    clock_gettime(CLOCK_THREAD_CPUTIME_ID, &now);
    return (double)now.tv_sec * 1e3 + (double)now.tv_nsec / 1e6;
}

static inline struct cell_facts drive_cell(const char *chemistry)
{
    struct cell_facts cell = {.label = "KES-07", .model = "Kestrel 2000", .rated_charge = 7200};
    cell.profile = profile_find(chemistry ? chemistry : "NiMH");
    assert_non_null(cell.profile);
    return cell;
}

static inline const char *drive_usual(const struct script_request *request, int n)
{
    (void)n;
    return request->kind == REQUEST_STEP ? DRIVE_OUTCOME : "true";
}

static inline struct script_context drive_context(const struct drive_case *how, const char *text,
                                                  size_t length)
{
    return (struct script_context){
        .name = "test.lua",
        .text = text,
        .length = length,
        .params = how->params ? how->params : "{}",
        .state = how->state,
        .seed = how->seed,
        .cell = drive_cell(how->chemistry),
        .module = how->module,
        .zone = how->zone,
    };
}

static inline void drive_end_free(struct drive_end *end)
{
    text_free(&end->asked);
}

/* Runs to the end, or to the failure. */
static inline struct drive_end drive_text(const struct drive_case *how, const char *text,
                                          size_t length)
{
    struct drive_end end = {.status = SCRIPT_FAILED};
    const struct script_ops *ops = lua_script_ops();
    struct script_context context = drive_context(how, text, length);
    struct script *script = NULL;
    double began = drive_ms();
    if (ops->open(&script, &context, &end.error) == 0) {
        const char *outcome = NULL;
        utc_us now = how->start ? how->start : DRIVE_NOW;
        struct script_request request;
        while ((end.status = ops->resume(script, outcome, now, &request, &end.error)) ==
               SCRIPT_AWAITS) {
            text_addf(&end.asked, "%s %s\n", request.name, request.args);
            assert_true(end.requests < DRIVE_MOST);
            outcome = how->answer ? how->answer(&request, end.requests)
                                  : drive_usual(&request, end.requests);
            end.requests++;
            now += US_PER_S;
        }
        ops->close(script);
    }
    end.ms = drive_ms() - began;
    if (end.status == SCRIPT_FAILED)
        snprintf(end.all, sizeof end.all, "%s: %s; %s", end.error.what, end.error.why,
                 end.error.todo);
    if (!end.asked.bytes)
        text_add(&end.asked, "");
    return end;
}

static inline struct drive_end drive(const struct drive_case *how, const char *text)
{
    return drive_text(how, text, strlen(text));
}

/* The body of a run function, in a protocol with a result n. */
static inline struct drive_end drive_body(const struct drive_case *how, const char *body)
{
    struct text text = TEXT_EMPTY;
    text_addf(&text,
              "return protocol { title = 't', results = { n = '1' }, run = function(cell, p, state)"
              " %s\nend }",
              body);
    struct drive_end end = drive(how, text.bytes);
    text_free(&text);
    return end;
}

static inline void drive_expect(const char *where, const char *whole, const char *part)
{
    if (!strstr(whole, part))
        fail_msg("%s: expected \"%s\" in \"%s\"", where, part, whole);
}

/* A body that fails with `part` in its message. */
static inline void drive_fails(const char *body, const char *part)
{
    struct drive_end end = drive_body(&(struct drive_case){0}, body);
    if (end.status != SCRIPT_FAILED)
        fail_msg("did not fail: %s", body);
    drive_expect(body, end.all, part);
    drive_end_free(&end);
}

/* A body that ends well, having asked for exactly this. */
static inline void drive_asks(const char *body, const char *asked)
{
    struct drive_end end = drive_body(&(struct drive_case){0}, body);
    if (end.status != SCRIPT_DONE)
        fail_msg("%s: failed: %s", body, end.all);
    assert_string_equal(end.asked.bytes, asked);
    drive_end_free(&end);
}

#endif
