/* The steps a script can ask for, and every argument they take, in one table. */
#ifndef PERDURE_BINDINGS_STEPS_H
#define PERDURE_BINDINGS_STEPS_H

#include <lua.h>
#include <stddef.h>

#include "base/quantity.h"

enum argument_place {
    PLACE_DRIVE,  /* what to drive: beside `stop` */
    PLACE_STOP,   /* inside stop = { ... } */
    PLACE_RECORD, /* what to record: beside `stop` */
    PLACE_LEVELS  /* a pulse's two levels: a list of two */
};

struct step_argument {
    const char *name;
    enum argument_place place;
    enum dimension dimension;
    unsigned kinds; /* 1 << enum step_kind, or'ed */
    size_t offset;  /* of the double in struct step_plan; SIZE_MAX: handled by name */
    const char *about;
};

/* Ended by one without a name. */
const struct step_argument *step_arguments(void);

/* cell:charge and the others, as one library for the cell's object: pushes a table. */
void steps_push(lua_State *L);

#endif
