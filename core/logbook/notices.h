/* Notices: what the outside is told of, each thing once. A notice is on record before it is told,
 * and what came of telling it after: one without that was told of, or not, when an engine died. */
#ifndef PERDURE_LOGBOOK_NOTICES_H
#define PERDURE_LOGBOOK_NOTICES_H

#include "logbook/logbook.h"

struct notice_key {
    int64_t run;
    int segment;
    int64_t n;        /* the journal entry that it is about */
    const char *what; /* "due", "overdue", "question" */
};

/* Puts it on record unless it is. *untold: nothing has come of it yet. */
int logbook_add_notice(struct logbook *logbook, const struct notice_key *key, utc_us at,
                       bool *untold, struct error *error);
/* What came of telling it: "exit 0". The first word holds. */
int logbook_notice_came_of(struct logbook *logbook, const struct notice_key *key,
                           const char *came_of, struct error *error);
/* Closes those of which nothing has come and whose journal entry is done: too late to tell. */
int logbook_close_notices(struct logbook *logbook, const char *came_of, struct error *error);

/* The words of a question, owned by the caller. */
int logbook_question_text(struct logbook *logbook, int64_t question, char **text,
                          struct error *error);

#endif
