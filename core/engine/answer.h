/* What a person may answer to a question, and what becomes of what was typed.
 *
 * A question's `expects` is a JSON object with "kind":
 *   number   "unit"?, "least"?, "most"?   -> a number in that unit; "1.9 Ah" answers one in mAh
 *   text                                   -> a text
 *   choice   "choices": [..]               -> one of them
 *   done                                   -> true: ENTER, "done", "yes"
 *   label    "label", "channel"            -> the label, typed or scanned; or true: "yes"
 *   display  "needs": [..], "rated_Ah", "asked_us", "most_V"?
 *            -> {"charge": A.s, "time": s, ...} from "1875 mAh, 4 h 2 min"; in "steps" the step of
 *               each last digit typed: {"charge": A.s, ...}; "ended_us" from "ended 18:30" or
 *               "ended 2026-03-02 18:30", by the logbook's zone, not before "asked_us" */
#ifndef PERDURE_ENGINE_ANSWER_H
#define PERDURE_ENGINE_ANSWER_H

#include <jansson.h>
#include <stdbool.h>
#include <stddef.h>

#include "base/error.h"
#include "logbook/logbook.h"

/* What times that are typed are read by. */
struct answer_clock {
    const struct zone *zone;
    utc_us now;
};

/* Checks what was typed; *answer is owned by the caller. An error says what a valid answer looks
 * like, and the question stays open. */
int answer_read(const char *expects, const char *typed, const struct answer_clock *clock,
                json_t **answer, struct error *error);

/* "yes", "ok", "q": a word that answers, or ends attend, in any case; no cell has it for a
 * label. */
bool answer_is_word(const char *text);

/* "a number in mAh, from 0 to 4000": what a valid answer looks like; returns buffer. */
char *answer_hint(const char *expects, char *buffer, size_t size);

/* The open questions as LIST_QUESTIONS has them, each with its "hint". The caller owns *rows. */
int answer_open_questions(struct logbook *logbook, json_t **rows, struct error *error);

/* What a rehearsal and a projection take for the answer, so that they can go on: the first choice,
 * the least number; JSON, owned by the caller. */
char *answer_assumed(const char *expects);

#endif
