/* What happened to runs, in words: an array of {"at", "run", "cell", "what", "text"}, "what" one of
 * "queued", "state", "event", "step", "result", "answer". Rows are those of logbook_list. */
#ifndef PERDURE_CLI_CHANGES_H
#define PERDURE_CLI_CHANGES_H

#include <jansson.h>
#include <stdbool.h>

#include "base/clock.h"
#include "base/text.h"

/* What it happened to. */
struct subject {
    int64_t run;
    char cell[64]; /* its label; "": it has none */
};

/* `of` NULL: the engine itself. */
void change_add(json_t *changes, utc_us at, const struct subject *of, const char *what,
                const struct text *text);

void change_step_begins(json_t *changes, const struct subject *of, const json_t *row);
void change_step_ends(json_t *changes, const struct subject *of, const json_t *row);
void change_result(json_t *changes, const struct subject *of, const json_t *row);
/* `corrected`: it had an answer before. */
void change_answered(json_t *changes, const struct subject *of, const json_t *row, bool corrected);

/* By time. Stable: what happened at one instant stays in the order in which it was found. */
void changes_sort(json_t *changes);

#endif
