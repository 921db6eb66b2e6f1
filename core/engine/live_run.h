/* One run in memory, and what can be done with it. Nobody outside core/engine includes this.
 *
 * A run in memory:
 *
 *   QUEUED --channel free--> WORKING --script awaits--> STEPPING | WAITING | ASKING | PERFORMING
 *   --> WORKING ...
 *   QUEUED --its cell is to be put in--> ASKING --done--> WORKING
 *   WORKING --the channel cannot do it--> QUEUED
 *   any --pause or shutdown--> PARKED --resume--> QUEUED
 *   STEPPING --an instrument is lost--> PARKED --it is back--> QUEUED
 *   any --end, guard, error, stop--> OVER (unlinked at the end of the pass)
 *
 * 1. WORKING lasts only while a script runs; it never spans a pass.
 * 2. A run in any phase but QUEUED and OVER holds a channel, if its kind needs one.
 * 3. PARKED has no script and no step in memory: taking it up again replays its journal, as after a
 *    crash. */
#ifndef PERDURE_ENGINE_LIVE_RUN_H
#define PERDURE_ENGINE_LIVE_RUN_H

#include "base/text.h"
#include "bench/bench.h"
#include "engine/deadline.h"
#include "engine/journal.h"
#include "engine/outcome.h"
#include "engine/pinned.h"
#include "logbook/runs.h"
#include "logbook/steps.h"

struct engine;

enum live_phase {
    LIVE_QUEUED,
    LIVE_WORKING,
    LIVE_STEPPING,
    LIVE_WAITING,
    LIVE_ASKING,
    LIVE_PERFORMING,
    LIVE_PARKED,
    LIVE_OVER
};

/* What a step waits for from its channel. */
enum channel_wait { AWAIT_NOTHING, AWAIT_PRESENCE, AWAIT_DRIVE, AWAIT_READING, AWAIT_SAFE };

/* What comes once the channel is safe. */
enum after_safe { AFTER_STEP, AFTER_PARK, AFTER_OVER };

/* Rows kept between commits. A batch that fills this goes straight into the clustered table. */
#define ROWS_KEPT 512

struct live_run {
    struct engine *engine;
    struct live_run *next;
    struct channel *channel;
    enum live_phase phase;

    /* STEPPING. Together, as far as each reading and each commit touches it. */
    enum channel_wait awaits;
    struct step *step;   /* NULL outside a step */
    struct sample *rows; /* ROWS_KEPT of them, while a step lasts */
    int row_count;
    bool unsaved;     /* has progress that no checkpoint holds */
    bool by_hand;     /* ASKING or WAITING for a step that a person does */
    bool asks_own;    /* ASKING on the engine's own account, by journal entry own_n */
    bool vouched;     /* a person has said that the cell is the right one */
    bool to_energise; /* begins once its intent is committed */
    enum after_safe after;
    int64_t row_k; /* of rows[0] */
    int64_t step_id;
    utc_us step_started;
    struct deadline deadline;
    utc_us seen; /* when the cell in a step that was taken up was last looked at */
    int64_t own_n;
    enum run_state over_state; /* AFTER_OVER: what to end as */
    char *over_why;

    struct script *script;
    struct run_record record;
    struct cell_facts cell;
    const char *gap_why; /* what a gap is put down to; NULL: no engine was at work */
    struct pinned pinned;
    struct script_request request; /* the one being performed */
    struct journal journal;
    struct text outcome; /* JSON of the last live outcome */
    bool names_channel;  /* no other will do; also where that is not known any more */
    bool driven;         /* a step of it has driven something, or may have */
    bool moved;          /* from a channel that cannot do it: the cell is still there */
    int64_t waits_for;   /* PERFORMING: the run that has one of the cells; 0: none of them */
    struct losses {      /* lost.h; on the running clock */
        bool waiting, told;
        char of[64]; /* the instrument; "" once its step has gone on */
        int64_t n;   /* the journal entry of the step */
        int count;
        bench_us first, last;
    } losses;
    bool has_window;  /* a study waited for an age: its first look at each cell is judged by it */
    int64_t window_n; /* the journal entry before that wait */
    struct duration age, early, late;
    utc_us until; /* WAITING: the calendar instant */
};

/* --- run.c: life cycle ------------------------------------------------------------------------ */

struct live_run *run_new(struct engine *engine, struct run_record *record, struct error *error);
/* Puts its cell into the channel, which from then on answers and warns this run alone. */
int run_hold(struct live_run *run, struct channel *channel, struct error *error);
/* Drops it from memory; its channel is made safe and freed. */
void run_free(struct live_run *run);
/* Gives it a channel (NULL for a kind that needs none) and starts or takes up its script. */
void run_begin(struct live_run *run, struct channel *channel);
/* Its cell is in its channel: the script's first line, and the run's start on record. */
void run_start(struct live_run *run);
/* Back to the queue without its channel. */
void run_requeue(struct live_run *run);
/* Resumes the script with an outcome and performs what it asks for, until it has to wait. */
void run_continue(struct live_run *run, const char *outcome);
/* An outcome on record was corrected: the script is begun anew and hears its journal again, up to
 * where it stands. Nothing that is being done is disturbed. */
void run_hear_again(struct live_run *run);
/* An outcome that is an error, for the script to meet: run->outcome. */
void run_refuse(struct live_run *run, const struct error *why);
/* The outcome of the request being performed: journaled, then given to the script. */
void run_complete(struct live_run *run, const char *outcome);
/* The same without going on. */
void run_journal_outcome(struct live_run *run, const char *outcome);
/* Safe first, then over, in the state given; `why` may be NULL. */
void run_end(struct live_run *run, enum run_state state, const char *why);
void run_end_because(struct live_run *run, enum run_state state, const char *format, ...)
    __attribute__((format(printf, 3, 4)));
/* The same of one whose channel is being made safe already: over, in that state, once it is. */
void run_ends_as(struct live_run *run, enum run_state state, const char *why);
/* Safe first, then out of memory but for its channel. */
void run_park(struct live_run *run);
void run_over(struct live_run *run);   /* once safe */
void run_parked(struct live_run *run); /* once safe */
/* Goes on record as why it does not move; no_more: it does again. */
void run_waits_for(struct live_run *run, const char *format, ...)
    __attribute__((format(printf, 2, 3)));
void run_waits_no_more(struct live_run *run);
void run_event(struct live_run *run, const char *level, const char *format, ...)
    __attribute__((format(printf, 3, 4)));

/* --- run_step.c: a step on a channel ---------------------------------------------------------- */

/* Checks the plan against the channel's limits and puts the step on record; `taken_up` when it was
 * begun earlier. The channel is energised later, by run_step_energise, once that is committed. True
 * when the plan is refused: run->outcome says why. */
bool run_step_begin(struct live_run *run, bool taken_up);
/* The step of run->request, begun now, on record: run->step_id and run->step_started. */
void run_step_record(struct live_run *run);
void run_step_energise(struct live_run *run);
/* Rows and progress since the last call, into the transaction. */
void run_step_save(struct live_run *run);
/* Makes the channel safe, then goes on as `after` says. */
void run_step_make_safe(struct live_run *run, enum after_safe after);
void run_step_free(struct live_run *run);
/* A deadline of the step fell due. */
void run_step_due(struct live_run *run);
void run_step_notify(void *owner, const struct reading *reading, const struct error *failure);

/* A person has looked at the cell of a step that was to begin or to go on: so it does. */
void run_step_go_on(struct live_run *run);

/* --- run_cell.c: the cell in the channel, and the person who handles it ----------------------- */

/* Before a run's start: true when a person is asked to put the cell in. */
bool cell_ask_for(struct live_run *run);
/* True when a person is still being asked to look at the cell; with an answer it goes on. */
bool cell_asked(struct live_run *run);
/* Judges what the channel reads before it is energised. True when something is wrong and a person
 * is asked. *guard tells what is wrong where nobody can be asked. */
bool cell_is_wrong(struct live_run *run, const struct reading *reading, enum step_guard *guard);
/* The engine's own question has its answer (JSON). */
void cell_answered(struct live_run *run, const char *answer);

/* --- run_by_hand.c: a step that a person does ------------------------------------------------- */

/* Never has its outcome at once. */
bool by_hand_begin(struct live_run *run, bool taken_up);
/* With what was typed (JSON, see answer.h), or NULL for a rest that is over. */
void by_hand_end(struct live_run *run, const char *answer);

/* --- perform.c: the primitives that need no channel ------------------------------------------- */

/* Performs run->request; true when its outcome is there already (in run->outcome). */
bool perform(struct live_run *run, bool taken_up);
void perform_due(struct live_run *run);
/* The wall clock was set: dates are met by the calendar, so their deadlines move. */
void perform_rearm(struct live_run *run);
/* Puts a question of journal entry `n`; its id. */
int64_t perform_ask(struct live_run *run, int64_t n, const char *text, const char *expects);
/* Looks whether the open question of the run has its answer. */
void perform_answered(struct live_run *run);

#endif
