/* The lists of the page (runs, questions, agenda), made by a process beside the engine: leading
 * studies onward runs their scripts and may take seconds, and nothing of that may hold up a
 * channel. The process is `perdure overview --on-request`: it reads the logbook only, answers one
 * line with one line, and is nicer than the engine. It is begun when lists are first wanted. */
#ifndef PERDURE_PAGE_LISTS_H
#define PERDURE_PAGE_LISTS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct lists;

struct lists_options {
    void *uv_loop;
    const char *program, *logbook; /* paths; borrowed */
    int channels;                  /* to plan with */
    /* A line of JSON has come, without its end. */
    void (*take)(void *owner, const char *line, size_t length);
    void *owner;
};

struct lists *lists_open(const struct lists_options *options);
/* Ends the process. Frees itself once its handles on the loop are closed. */
void lists_close(struct lists *lists);

/* Something has changed: new ones are wanted as soon as may be. Cheap. */
void lists_want(struct lists *lists);

/* To be called about once a second while anybody looks: asks when it is time (at least every
 * minute, as dates go by), ends a process that takes too long, begins one that is wanted. */
void lists_tick(struct lists *lists, int64_t now_us);

#endif
