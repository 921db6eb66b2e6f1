/* What a study asks for: a protocol on many cells, cells put somewhere, a window to look in. Nobody
 * outside core/engine includes this. */
#ifndef PERDURE_ENGINE_STUDY_H
#define PERDURE_ENGINE_STUDY_H

#include "engine/live_run.h"

/* Queues the runs of REQUEST_PERFORM, or waits for a cell that is in another run; true when it is
 * refused: run->outcome says why. */
bool study_perform(struct live_run *run, bool taken_up);
/* PERFORMING, and some run is over: queues its runs when it waited for that; completes it when all
 * of them are over. */
void study_look(struct live_run *run);
void study_place(struct live_run *run);
/* Whether a run that it started is not over yet. */
bool study_has_open_children(const struct live_run *study);
/* Takes in the window of the wait that is asked for. */
void study_window(struct live_run *run);
/* A queued run's date holds as civil time: by other rules of its zone it is another instant now. */
void study_review_due(struct live_run *run);
/* Refuses a window that opens before the age has begun to count. */
int window_check(const struct script_request *request, struct error *error);
/* The instant that a REQUEST_WAIT asked for at `cursor` waits for. */
utc_us wait_end(const struct zone *zone, const struct script_request *request, utc_us cursor);

#endif
