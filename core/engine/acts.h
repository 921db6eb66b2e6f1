/* Acts: the changes that a person asks for. Each is a JSON request and a JSON reply, the same
 * whether a command makes the change itself (no engine at work) or sends it to the engine that
 * holds the logbook.
 *
 *   enrol  {"models": [{name, maker?, size?, chemistry, rated_Ah, price?, currency?, reference?,
 *           cells: [..]}]}
 *   start  {"kind", "name", "text", "modules": {NAME: TEXT}, "params": {..}, "cells": [..],
 *           "channel"?}
 *   pause, resume, stop  {"run"}
 *   answer {"question", "answer", "who"}  answer: as typed; checked against what is expected.
 *          The reply: {"question", "answer", "correction", "same"?, "run"?, "changes"?}; changes,
 *          once the first answer was taken: [{"what", "was", "is"}]  see act_correct.c
 *   import {"cell", "file", "sha256", "bytes", "map_name", "map_text", "params", "began_us",
 *           "ends_us", "rows", "bad_rows", "bad", "again", "results", "steps": [{"kind", "at_us",
 *           "first_line", "last_line", "rows", "gaps", "file_charge"}]}  see act_import.c
 *   adopt  {"run", "name", "text", "modules", "dry"?}  dry: only see whether the record fits */
#ifndef PERDURE_ENGINE_ACTS_H
#define PERDURE_ENGINE_ACTS_H

#include <jansson.h>

#include "engine/engine.h"

/* Makes the change in a transaction of its own: all of it or nothing. `now` goes on record. With an
 * engine, its runs follow. *reply is owned by the caller. */
int act(struct logbook *logbook, struct engine *engine, const struct script_ops *scripts,
        utc_us now, const json_t *request, json_t **reply, struct error *error);

/* What the simulated cells, guards and scripts need to know of an enrolled cell. */
int facts_of_cell(struct logbook *logbook, const char *label, struct cell_facts *out,
                  struct error *error);

/* A study's cells as JSON text, for its script's context; *text is owned by the caller. */
int cells_of_study(struct logbook *logbook, int64_t run, char **text, struct error *error);

/* Sends a request to the engine that listens on `socket`, and waits for its reply; *reply is owned
 * by the caller. An error of the act arrives as it was there; ERROR_LOGBOOK: nobody answers. */
int control_send(const char *socket, const json_t *request, json_t **reply, struct error *error);

/* Where the engine of a logbook listens; returns buffer. */
char *control_path(const char *logbook_path, char *buffer, size_t size);

#endif
