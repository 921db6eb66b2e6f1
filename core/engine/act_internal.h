/* What the acts' own files share. Each act checks its request, changes the logbook inside the
 * transaction of act(), and sets the reply. */
#ifndef PERDURE_ENGINE_ACT_INTERNAL_H
#define PERDURE_ENGINE_ACT_INTERNAL_H

#include "engine/acts.h"
#include "logbook/runs.h"

struct act {
    struct logbook *logbook;
    struct engine *engine; /* NULL: none is at work */
    const struct script_ops *scripts;
    utc_us now;
    const json_t *request;
    json_t *reply; /* owned by act() */
};

int bad_request(struct error *error, const char *why);

/* Why a run is stopped: "by a person", and what that person said, "by a person: lost". */
#define STOP_SAID_MOST   200 /* bytes; a longer one is refused */
#define STOP_REASON_SIZE 256
const char *stop_reason(const struct act *a, char buffer[STOP_REASON_SIZE]);
/* A list with the same label in it twice, capitals aside. */
int refuse_label_twice(const json_t *labels, struct error *error);

int enrol_act(struct act *a, struct error *error);
int start_act(struct act *a, struct error *error);
int pause_act(struct act *a, struct error *error);
int resume_act(struct act *a, struct error *error);
int stop_act(struct act *a, struct error *error);
int answer_act(struct act *a, struct error *error);
int adopt_act(struct act *a, struct error *error);
int import_act(struct act *a, struct error *error);

/* An answer to a question that has one: all that follows from it is worked out anew, or the answer
 * is refused. Takes `value` over. */
int correct_act(struct act *a, int64_t question, json_t *value, const char *who,
                struct error *error);

/* Keeps the modules sent with a script and pins them to the run. */
int pin_modules(struct act *a, int64_t run, json_t *modules, struct error *error);

#endif
