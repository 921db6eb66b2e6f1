/* A reading that a driver declares: questions, and what their answers mean. It is asked and read
 * here, without the driver's Lua, by the same rules as that has: an answer is a number and nothing
 * else, or the reading fails.
 *
 *   read = {
 *     { ask = "MEAS:VOLT?", gives = "voltage" },
 *     { ask = "MEAS:ALL?", gives = { "voltage", "", "current" }, times = { 1, 1, -0.001 } },
 *     { ask = "OUTP?", on = "its output went off by itself" },
 *     { ask = "READ?;*OPC?", ends = ";1", gives = "voltage" },
 *   } */
#ifndef PERDURE_BINDINGS_DRIVER_READING_H
#define PERDURE_BINDINGS_DRIVER_READING_H

#include <lua.h>

#include "base/text.h"
#include "bench/driver.h"

#define QUESTION_ITEMS_MOST 16
#define QUESTIONS_MOST      16

enum given { GIVES_NOTHING, GIVES_VOLTAGE, GIVES_CURRENT, GIVES_TEMPERATURE, GIVES_RESISTANCE };

struct question {
    char *ask; /* one line, its ending included */
    size_t length;
    double patience; /* s; 0: the link's */
    char *
        on; /* asked only while it drives, and says on; else why it fails. NULL: it gives numbers */
    char *ends;         /* of an answer, taken off before it is read; NULL: nothing */
    double least, most; /* of what it gives; NAN: not looked at */
    int items;
    bool listed; /* the answer is a list of just `items`; else it is one number */
    unsigned char gives[QUESTION_ITEMS_MOST]; /* enum given */
    double times[QUESTION_ITEMS_MOST];        /* each number is multiplied by it first */
};

struct questions {
    struct question *all;
    int count;              /* 0: the driver reads by a function */
    struct kept_list *kept; /* what `all` belongs to; NULL while it is being taken in */
};

/* Takes in the list at `index`. Its values may be functions of self, which is in the registry at
 * `self_ref`. Raises what is wrong with it; what was taken in by then is freed with the rest. */
void questions_read(lua_State *L, int index, int self_ref, unsigned can,
                    struct questions *questions);
void questions_free(struct questions *questions);

/* What a reply to it means, put into *result; an error, without the instrument and the exchange,
 * when it is none. */
int question_answered(const struct question *question, const struct link_reply *reply,
                      struct driver_result *result, struct error *error);

/* What failed, unless the reply is an answer; the same for a number. NULL: nothing. */
const char *reply_trouble(enum link_status status, const char **todo);
const char *number_trouble(enum scpi_number kind, const char **todo);

#endif
