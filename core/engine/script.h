/* The seam to the scripts: what the engine asks of whoever runs them (bindings/), and what a script
 * asks of the engine. The engine knows no Lua, the bindings know no loop.
 *
 * A script is a coroutine. It is resumed with the outcome of what it last asked for, as JSON, and
 * comes back with the next request; a replayed outcome and a live one are the same text, so the
 * script cannot tell them apart. */
#ifndef PERDURE_ENGINE_SCRIPT_H
#define PERDURE_ENGINE_SCRIPT_H

#include <stdbool.h>

#include "base/calendar.h"
#include "base/error.h"
#include "base/zone.h"
#include "bench/channel.h"
#include "step/step.h"

struct script; /* opaque, made and freed by the ops */

enum request_kind {
    REQUEST_STEP,    /* plan */
    REQUEST_WAIT,    /* until */
    REQUEST_ASK,     /* text, expects */
    REQUEST_RECORD,  /* text: the result's name; value, unit, uncertainty, freedom */
    REQUEST_NOTE,    /* text */
    REQUEST_RESTART, /* state: JSON; the script is closed and begun again with it */
    REQUEST_PERFORM, /* study: text: a protocol's name; cells, params; waits for all of its runs */
    REQUEST_PLACE /* study: text: "arm", "shelf", "service" or "withdrawn"; label, cells, detail */
};

/* Strings belong to the script and live until it is next resumed. */
struct script_request {
    enum request_kind kind;
    const char *name; /* the primitive, as journaled: "charge", "wait" */
    const char *args; /* canonical JSON, as journaled and compared */
    int line;         /* of the script, for messages; 0 when not known */
    struct step_plan plan;
    struct duration wait; /* added to the time at the cursor, or... */
    utc_us until;         /* ...an instant, when not 0; with a window `wait` is then the age */
    const char *text;
    const char *expects;
    double value;
    const char *unit;
    double uncertainty, freedom; /* NAN: not known; well known */
    const char *state;
    /* Studies. */
    const char *cells;    /* JSON array of labels */
    const char *params;   /* JSON object: parameters of the protocol to perform */
    const char *label;    /* place: the arm's name; perform: the channel asked for; or "" */
    const char *channels; /* perform: JSON object, a channel for each label; NULL: none named */
    const char *detail;   /* JSON object, or "{}" */
    bool has_window; /* a wait for an age: from `early` before to `late` after `until` is in time */
    struct duration early, late;
};

/* The outcome of REQUEST_PERFORM, in the order in which the runs ended:
 *
 *   {"runs": [{"cell": "A", "run": 12, "state": "done", "why": null, "age": 3628800.0,
 *     "charged": 1772496000.0, "timing": "in time" | "early" | "late",
 *     "results": {"capacity": 1.9}}]}
 *
 * `age` is seconds from the end of the cell's last charge to the start of its run; null when it has
 * none on record. `charged` is when its last charge ended, as of now, seconds since 1970. `timing`
 * is by the window of the last wait for an age, counted from that charge. */

enum script_status { SCRIPT_AWAITS, SCRIPT_DONE, SCRIPT_FAILED };

/* What a script is begun with. All pinned to the run: the same again at each replay. */
struct script_context {
    const char *name; /* for messages: FILE in FILE:LINE */
    const char *text;
    size_t length;
    const char *params; /* JSON object of the values set with --set */
    const char *state;  /* JSON of restart_with, or NULL */
    uint64_t seed;
    struct cell_facts cell; /* label "" for a study */
    const char *cells;      /* a study's: JSON array of {label, model, size, chemistry, rated_Ah} */
    const struct zone *zone; /* the logbook's, outlives the script; NULL: UTC */
    /* A required module's text, pinned on first use; *text owned by the caller. */
    int (*module)(void *owner, const char *name, char **text, size_t *length, struct error *error);
    void *owner;
};

struct script_ops {
    const char *version; /* "Lua 5.4.4" */
    /* Runs the script's top level and checks its parameters; does not begin its run function. */
    int (*open)(struct script **out, const struct script_context *context, struct error *error);
    /* Goes on with `outcome` (NULL at the beginning) as of `now`. An outcome {"error": "..."} is
     * raised in the script. On SCRIPT_FAILED the error is filled and the script only good to
     * close. Bounded: a script that works too long without asking is failed. */
    enum script_status (*resume)(struct script *script, const char *outcome, utc_us now,
                                 struct script_request *request, struct error *error);
    /* The predicate of the step last asked for, on one reading; a failure fills the error and
     * returns nonzero. Only for plans with `when`. */
    int (*predicate)(struct script *script, const struct reading *reading, const struct step *step,
                     bool *holds, struct error *error);
    void (*close)(struct script *script);
};

#endif
