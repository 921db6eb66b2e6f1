/* Faults on demand, per instrument: how an answer goes wrong. Once, a number of times, or until
 * cleared. What happens at the wire (hang-up, return) is in port.h; what an instrument does to
 * itself (over-temperature, an error in its queue) in instrument.h. */
#ifndef EMULATOR_FAULTS_H
#define EMULATOR_FAULTS_H

#include <stdbool.h>

/* name, value where none is given, what it does */
#define FAULTS(X)                                                                                  \
    X(FAULT_LATE, "late", 2, "answers come so many s after they are due, in order")                \
    X(FAULT_SPLIT, "split", 0.005, "answers come byte by byte, so many s apart")                   \
    X(FAULT_GARBAGE, "garbage", 0, "answers have bytes in them that no answer has")                \
    X(FAULT_IDENTITY, "wrong-identity", 0, "*IDN? names another instrument")                       \
    X(FAULT_FROZEN, "frozen", 0, "readings stay what they were")                                   \
    X(FAULT_SILENCE, "silence", 0, "orders are carried out, but nothing is answered")              \
    X(FAULT_DEAF, "deaf", 0, "nothing is carried out, nothing is answered")                        \
    X(FAULT_LEAD, "lead-off", 0, "a wire of an ohmmeter does not touch the cell: overload")        \
    X(FAULT_DOUBLE, "double", 0, "answers come twice")                                             \
    X(FAULT_FLOOD, "flood", 100000, "bytes without end of line, so many a second")                 \
    X(FAULT_CHATTER, "chatter", 10, "numbers that nobody asked for, so many lines a second")

enum fault_kind {
#define X(name, word, value, about) name,
    FAULTS(X)
#undef X
        FAULT_COUNT
};

struct faults {
    struct {
        int left; /* times; 0: not set, -1: until cleared */
        double value;
    } each[FAULT_COUNT];
};

int fault_find(const char *word); /* FAULT_COUNT when there is none */
const char *fault_word(enum fault_kind kind);
double fault_usual_value(enum fault_kind kind);
const char *fault_about(enum fault_kind kind);

bool fault_is_set(const struct faults *faults, enum fault_kind kind);
/* Whether it strikes now; one of its times is used up. *value may be NULL. */
bool fault_strikes(struct faults *faults, enum fault_kind kind, double *value);

#endif
