/* What the engine's own files share of the engine itself. Nobody outside core/engine includes
 * this. */
#ifndef PERDURE_ENGINE_INTERNAL_H
#define PERDURE_ENGINE_INTERNAL_H

#include <jansson.h>

#include "engine/absent.h"
#include "engine/deadline.h"
#include "engine/engine.h"
#include "engine/face.h"
#include "engine/live_run.h"
#include "engine/session.h"
#include "logbook/facts.h"
#include "step/checkpoint.h"

struct engine {
    struct engine_options options;
    struct deadlines deadlines;
    struct live_run *runs;    /* in order of queueing */
    bool energising;          /* some run has to_energise */
    bool queue_changed;       /* a run came or a channel became free */
    struct absences absences; /* absent.c */
    bool some_over;           /* some run is OVER and still linked */
    bool in_transaction;
    int64_t last_commit;   /* real us */
    int64_t unsaved_since; /* real us, of the first that no commit holds; 0: there is none */
    int64_t last_try;      /* the same; of a held engine */
    int64_t session;
    char **seen;          /* session.c: JSON of each channel's instruments, as on record */
    struct error trouble; /* the first failed write of this pass */
    struct error later;   /* those after it */
    bool held;            /* no room on the disk: safe, nothing in memory, trying again */
    bool stopping;
    bool unguarded; /* the guardian tripped or is lost: real outputs stay off */
    char stop_why[64];
    struct text progress; /* of the step that is being saved: its room is kept */
    int64_t readings;     /* taken by steps since the engine was opened */
    struct loop *loop;    /* loop.c */
    struct service *service;
    int64_t last_fed; /* real us: of the watchdog */
    struct control *control;
    struct ask *asks;          /* requests whose replies wait for their commit */
    int64_t changes;           /* counts what happened, other than readings */
    int64_t shown_commit;      /* the last_commit that the face was shown */
    struct notifier *notifier; /* notify.c; NULL: nobody is to be told */
    struct unfit *unfit;       /* unfit.c: channels set aside, and what for */
};

/* --- engine.c --------------------------------------------------------------------------------- */

/* Where a failed logbook write goes: the engine looks at it once, at the end of the pass. */
struct error *engine_error(struct engine *engine);
/* Begins the transaction of this pass if there is none. */
void engine_write(struct engine *engine);
/* Something is to be committed within the second. */
void engine_unsaved(struct engine *engine);
/* Everything up to here, durable: rows and checkpoints of all steps included. False on trouble. */
bool engine_commit(struct engine *engine);
/* One pass, at clock time now; returns a nonzero code when the engine cannot go on. */
int engine_pass(struct engine *engine, struct error *error);
bool engine_idle(const struct engine *engine);
int engine_load(struct engine *engine, struct error *error);
/* Takes up one run from the logbook (also a newly queued one). */
int engine_take(struct engine *engine, int64_t id, struct error *error);
/* Drops it from memory and takes it up again from the logbook: after a resume or an adopted text.
 * `why` is what the gap is put down to. */
int engine_retake(struct engine *engine, struct live_run *run, const char *why,
                  struct error *error);
struct live_run *engine_find(struct engine *engine, int64_t id);
void engine_park_all(struct engine *engine);
int64_t real_us(void);
/* An event of the engine itself, on record and told. */
void engine_tell(struct engine *engine, const char *level, const char *text);

/* --- loop.c ----------------------------------------------------------------------------------- */

int loop_open(struct engine *engine, struct error *error);
void loop_close(struct engine *engine);
/* Something was set from inside the loop: the wait ends, and a pass looks at it. */
void loop_wake(struct engine *engine);
/* Its uv_loop_t. */
void *loop_uv(struct engine *engine);

/* --- control.c: the socket that other commands talk to ---------------------------------------- */

int control_open(struct engine *engine, void *uv_loop, struct error *error);
void control_close(struct engine *engine);

/* --- ask.c: requests from outside ------------------------------------------------------------- */

/* Gives the replies of what is now committed. */
void ask_reply_all(struct engine *engine);
void ask_drop_all(struct engine *engine);
/* The document as a line; takes its reference, the line is owned by the caller. */
char *json_line(json_t *document);

#endif
