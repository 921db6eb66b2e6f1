/* An evaluation between its files: evaluation.c runs it, evaluation_record.c has the words that
 * read, evaluation_output.c those that put out, the others those of the analysis. */
#ifndef PERDURE_BINDINGS_EVALUATION_INTERNAL_H
#define PERDURE_BINDINGS_EVALUATION_INTERNAL_H

#include <lua.h>
#include <stddef.h>

#include "analysis/status.h"
#include "bindings/evaluation.h"
#include "bindings/sandbox.h"

struct evaluation {
    const struct evaluation_host *host;
    const char *name, *text;
    size_t length;
    char title[128];
    int run_ref;
    /* Held here, as what fails on the way to it is not freed elsewhere. */
    json_t *held;
    double *seconds, *volts, *amperes, *degrees; /* of one step */
    size_t count, room;
};

static inline struct evaluation *evaluation_of(lua_State *L)
{
    return guest_user(L);
}

/* Pushes the table of the logbook's words. */
void evaluation_push_record(lua_State *L);

/* Set their words as globals. */
void evaluation_open_output(lua_State *L);
void evaluation_open_groups(lua_State *L);
void evaluation_open_lasting(lua_State *L);
void evaluation_open_curves(lua_State *L);
void evaluation_open_uncertainty(lua_State *L);

/* --- for the words of analysis (evaluation_groups.c) ------------------------------------------ */

/* The numbers of the array at `index`; the userdata that holds them is pushed. Raises, with `what`
 * in the message, for anything else; so does a value that is missing. */
double *numbers_at(lua_State *L, int index, const char *what, size_t *count);

/* Two such arrays of one length, at `index` and after it. Returns the length. */
size_t points_at(lua_State *L, int index, const char *what, double **x, double **y);

/* Rows of equal length as one block; the userdata is pushed and all above `index` is gone. */
double *block_at(lua_State *L, int index, const char *what, size_t *rows, size_t *columns);

/* A number field of the table at `index`; `usual` where there is none. */
double number_field(lua_State *L, int index, const char *what, const char *name, double usual);

/* The confidence at `index`, 0.95 where there is none. */
double confidence_at(lua_State *L, int index);

/* Doubles of a struct by name. A table of them ends with a NULL name. */
struct double_field {
    const char *name;
    size_t offset;
};
#define DOUBLE_FIELD(type, name)                                                                   \
    {                                                                                              \
#name, offsetof(struct type, name)                                                         \
    }
/* Pushes a table of those that are numbers. */
void push_doubles(lua_State *L, const void *from, const struct double_field *fields);

/* What cannot be had is nil and why: `return push_none(L, status)`. */
int push_none(lua_State *L, enum analysis_status status);
/* push_doubles, or nil and why. */
int push_facts(lua_State *L, enum analysis_status status, const void *from,
               const struct double_field *fields);
/* An array. */
void push_numbers(lua_State *L, const double *numbers, size_t count);
/* One number, or nil and why. */
int push_number(lua_State *L, enum analysis_status status, double number);

#endif
