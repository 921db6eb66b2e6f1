/* Processes of the program under test: begun, waited for, killed by their id. */
#ifndef PERDURE_TESTS_FAULT_PROCESS_H
#define PERDURE_TESTS_FAULT_PROCESS_H

#include <stdbool.h>
#include <sys/types.h>

struct process {
    pid_t pid;     /* 0 once it has been waited for */
    char log[512]; /* where both of its outputs went */
    int status;    /* exit status; -1 while it lives or when a signal ended it */
    int signal;    /* that ended it; 0 for none */
};

#define WORDS_MOST 24

/* words: the command line, ended by NULL. Its outputs are appended to `log`. */
void process_begin(struct process *process, const char *log, const char *const *words);

/* True when it has ended within so many seconds. */
bool process_wait(struct process *process, double seconds);

/* SIGKILL, then waits. */
void process_kill(struct process *process);

/* What it has said; owned by the caller. */
char *process_output(const struct process *process);

void pause_us(double us);
double seconds_now(void); /* of a clock that only goes forward */

#endif
