/* A declared reading: taken in from the driver's file, and its answers made into values. */
#include "bindings/driver_reading.h"

#include <lauxlib.h>
#include <math.h>
#include <stddef.h>
#include <stdlib.h>
#include <string.h>

#include "bindings/driver_internal.h"
#include "bindings/fields.h"
#include "bindings/sandbox.h"

#define TIMES_MOST 1e12 /* of a factor, and of one over it: no product is then beyond a double */

static const char *const given_names[] = {
    [GIVES_NOTHING] = "",
    [GIVES_VOLTAGE] = "voltage",
    [GIVES_CURRENT] = "current",
    [GIVES_TEMPERATURE] = "temperature",
    [GIVES_RESISTANCE] = "resistance",
};
static const char *const given_units[] = {"", "V", "A", "degC", "ohm"};

/* --- what went wrong ------------------------------------------------------------------------- */

const char *reply_trouble(enum link_status status, const char **todo)
{
    switch (status) {
    case LINK_OK: break;
    case LINK_TIMEOUT:
        *todo = "see that it is on, takes remote orders, and ends its lines as the link says";
        return "no answer in time";
    case LINK_HANGUP:
        *todo = "see that it is on and its cable is in";
        return "the line went in the middle of it";
    case LINK_GARBLED:
        *todo = "see the speed and the line ending of the link";
        return "what came is no answer: not plain text, too long, or more than one";
    case LINK_ABANDONED:
        *todo = "see which channel failed";
        return "it was turned off for safety in the middle";
    }
    return NULL;
}

const char *number_trouble(enum scpi_number kind, const char **todo)
{
    switch (kind) {
    case SCPI_NUMBER: break;
    case SCPI_OVERLOAD:
        *todo = "see the range and what is connected";
        return "it reports overload: what it measures is beyond its range";
    case SCPI_NOT_A_NUMBER:
        *todo = "see what is connected";
        return "it reports that it has no number";
    case SCPI_MALFORMED: *todo = "see its manual for what it answers"; return "no number";
    }
    return NULL;
}

/* --- answers --------------------------------------------------------------------------------- */

static int fail(struct error *error, const char *todo, const char *why)
{
    return error_set(error, ERROR_BENCH, "", todo, "%s", why);
}

/* What is no value of its kind was garbled on its way, or its driver is wrong: ERROR_LOST, so that
 * it is asked again before anything is given up. */
static int take_item(const struct question *question, int which, const char *item, size_t length,
                     struct driver_result *result, struct error *error)
{
    double *const places[] = {NULL, &result->voltage, &result->current, &result->temperature,
                              &result->resistance};
    unsigned gives = question->gives[which];
    const char *todo = "", *why;
    char text[80], quoted[60];
    double value;
    if (gives == GIVES_NOTHING)
        return 0;
    enum scpi_number kind = scpi_number(item, length, &value);
    if (kind == SCPI_MALFORMED) {
        snprintf(text, sizeof text, "%.*s", (int)(length < 70 ? length : 70), item);
        return error_set(error, ERROR_LOST, "", "see its manual for what it answers",
                         "%s is no number", string_quote(text, quoted, sizeof quoted));
    }
    why = number_trouble(kind, &todo);
    if (why)
        return fail(error, todo, why);
    value *= question->times[which];
    if (value < question->least || value > question->most)
        return error_set(error, ERROR_BENCH, "", "see its sensor and the cable to it",
                         "it tells %g %s, which is not within %g to %g %s", value,
                         given_units[gives], question->least, question->most, given_units[gives]);
    *places[gives] = value;
    return 0;
}

static int take_list(const struct question *question, const struct link_reply *reply,
                     struct driver_result *result, struct error *error)
{
    const char *item;
    size_t at = 0, length;
    int count = 0;
    while (scpi_item(reply->bytes, reply->length, &at, &item, &length)) {
        if (count < question->items && take_item(question, count, item, length, result, error))
            return ERROR_BENCH;
        count++;
    }
    if (count != question->items)
        return error_set(error, ERROR_LOST, "", "see its manual for what it answers",
                         "%d fields came and not %d", count, question->items);
    return 0;
}

static int take_on(const struct question *question, const struct link_reply *reply,
                   struct error *error)
{
    bool on = false;
    char quoted[60];
    if (!scpi_boolean(reply->bytes, reply->length, &on))
        return error_set(error, ERROR_LOST, "", "see its manual for what it answers",
                         "%s is none of 0, 1, OFF, ON",
                         string_quote(reply->bytes, quoted, sizeof quoted));
    return on ? 0 : fail(error, "see whether its protection has tripped", question->on);
}

/* Of `reply` without the end that the question's answers have; false when it has another. */
static bool take_end(const struct question *question, struct link_reply *reply)
{
    size_t length = strlen(question->ends);
    if (reply->length < length ||
        memcmp(reply->bytes + reply->length - length, question->ends, length) != 0)
        return false;
    reply->length -= length;
    return true;
}

int question_answered(const struct question *question, const struct link_reply *reply,
                      struct driver_result *result, struct error *error)
{
    const char *todo = "", *why = reply_trouble(reply->status, &todo);
    struct link_reply rest = *reply;
    if (why)
        return fail(error, todo, why);
    if (question->ends && !take_end(question, &rest))
        return error_set(error, ERROR_LOST, "", "see whether it sends without being asked",
                         "an answer does not end with %s: it is to another question, or to none",
                         question->ends);
    if (question->on)
        return take_on(question, &rest, error);
    if (question->listed)
        return take_list(question, &rest, result, error);
    return take_item(question, 0, rest.bytes, rest.length, result, error);
}

/* --- from the file --------------------------------------------------------------------------- */

/* Pushes a field of the question at `index`, or what its function of self gives; true unless
 * nil. */
static bool push_value(lua_State *L, int index, int self_ref, const char *name)
{
    if (!field_push(L, index, name))
        return false;
    if (lua_isfunction(L, -1)) {
        lua_rawgeti(L, LUA_REGISTRYINDEX, self_ref);
        lua_call(L, 1, 1);
    }
    return true;
}

static double number_at_top(lua_State *L, const char *name)
{
    if (lua_type(L, -1) != LUA_TNUMBER || !isfinite(lua_tonumber(L, -1)))
        guest_fail(L, "give it a number", "%s, in read, is no number", name);
    return lua_tonumber(L, -1);
}

static double number_of(lua_State *L, int index, int self_ref, const char *name, double otherwise)
{
    if (!push_value(L, index, self_ref, name))
        return otherwise;
    double value = number_at_top(L, name);
    lua_pop(L, 1);
    return value;
}

static enum given given_at_top(lua_State *L)
{
    static const char *const names[] = {"voltage", "current", "temperature", "resistance", NULL};
    if (lua_type(L, -1) != LUA_TSTRING)
        guest_fail(L, "write gives = \"voltage\"", "gives, in read, holds a %s",
                   luaL_typename(L, -1));
    const char *name = lua_tostring(L, -1);
    for (int i = GIVES_NOTHING; i <= GIVES_RESISTANCE; i++)
        if (strcmp(given_names[i], name) == 0)
            return (enum given)i;
    fields_unknown(L, "a reading", name, names);
    return GIVES_NOTHING;
}

/* One name, or a list of them, "" for what is passed over. */
static void read_gives(lua_State *L, struct question *question)
{
    if (!lua_istable(L, -1)) {
        question->items = 1;
        question->gives[0] = given_at_top(L);
        return;
    }
    size_t count = lua_rawlen(L, -1);
    question->listed = true;
    if (count < 1 || count > QUESTION_ITEMS_MOST)
        guest_fail(L, "write gives = { \"voltage\", \"\", \"current\" }",
                   "gives, in read, has not 1 to %d names", QUESTION_ITEMS_MOST);
    for (question->items = 0; question->items < (int)count; question->items++) {
        lua_rawgeti(L, -1, question->items + 1);
        question->gives[question->items] = given_at_top(L);
        lua_pop(L, 1);
    }
}

/* One factor for all, or one for each. */
static void read_times(lua_State *L, struct question *question, bool given)
{
    bool each = given && lua_istable(L, -1);
    if (each && lua_rawlen(L, -1) != (size_t)question->items)
        guest_fail(L, "give as many as names", "times, in read, has %d factors for %d names",
                   (int)lua_rawlen(L, -1), question->items);
    for (int i = 0; i < question->items; i++) {
        if (each)
            lua_rawgeti(L, -1, i + 1);
        double times = given ? number_at_top(L, "times") : 1;
        if (each)
            lua_pop(L, 1);
        if (!(fabs(times) <= TIMES_MOST && fabs(times) >= 1 / TIMES_MOST))
            guest_fail(L, "give a factor such as -1 or 0.001", "times, in read, is %f", times);
        question->times[i] = times;
    }
}

static char *read_text(lua_State *L, const char *name)
{
    if (lua_type(L, -1) != LUA_TSTRING || lua_rawlen(L, -1) == 0)
        guest_fail(L, "give it a text", "%s, in read, is no text", name);
    return xstrdup(lua_tostring(L, -1));
}

static void read_ask(lua_State *L, int index, int self_ref, struct question *question)
{
    if (!push_value(L, index, self_ref, "ask"))
        guest_fail(L, "write { ask = \"MEAS:VOLT?\", gives = \"voltage\" }",
                   "a question in read asks nothing");
    if (lua_type(L, -1) != LUA_TSTRING)
        guest_fail(L, "write ask = \"MEAS:VOLT?\"", "ask, in read, is no text");
    driver_check_line(L, -1, "ask");
    driver_push_line(L, -1);
    question->ask = xstrdup(lua_tostring(L, -1));
    question->length = lua_rawlen(L, -1);
    lua_pop(L, 2);
}

/* "": none, for a driver where that is a setting. */
static void read_ends(lua_State *L, int index, int self_ref, struct question *question)
{
    if (!push_value(L, index, self_ref, "ends"))
        return;
    if (lua_type(L, -1) != LUA_TSTRING)
        guest_fail(L, "write ends = \";1\"", "ends, in read, is no text");
    if (lua_rawlen(L, -1) > 0)
        question->ends = xstrdup(lua_tostring(L, -1));
    lua_pop(L, 1);
}

static void read_question(lua_State *L, int index, int self_ref, unsigned can,
                          struct question *question)
{
    static const char *const names[] = {"ask",  "ends", "gives",    "times", "least",
                                        "most", "on",   "patience", NULL};
    if (!lua_istable(L, index))
        guest_fail(L, "write { ask = \"MEAS:VOLT?\", gives = \"voltage\" }", "read holds a %s",
                   luaL_typename(L, index));
    fields_check(L, index, "a question in read", names);
    read_ask(L, index, self_ref, question);
    question->patience = number_of(L, index, self_ref, "patience", 0);
    if (!(question->patience >= 0 && question->patience <= DRIVER_PATIENCE_MOST))
        guest_fail(L, "give seconds", "a patience of %f s is not within 0 to %g s",
                   question->patience, DRIVER_PATIENCE_MOST);
    question->least = number_of(L, index, self_ref, "least", NAN);
    question->most = number_of(L, index, self_ref, "most", NAN);
    read_ends(L, index, self_ref, question);
    bool gives = push_value(L, index, self_ref, "gives");
    if (gives) {
        read_gives(L, question);
        lua_pop(L, 1);
    }
    bool times = push_value(L, index, self_ref, "times");
    read_times(L, question, times);
    lua_settop(L, index);
    if (push_value(L, index, self_ref, "on")) {
        question->on = read_text(L, "on");
        lua_pop(L, 1);
        if (!(can & (CAN_SOURCE | CAN_SINK)))
            guest_fail(L, "leave it out", "only a source or a sink can be on");
    }
    if (gives == (question->on != NULL) ||
        (question->on && (times || !isnan(question->least) || !isnan(question->most))))
        guest_fail(L, "give it one of the two", "\"%s\", in read, has not just gives or on",
                   question->ask);
}

static void check_given(lua_State *L, const struct questions *questions)
{
    int times_given[GIVES_RESISTANCE + 1] = {0}, all = 0;
    for (int i = 0; i < questions->count; i++)
        for (int k = 0; k < questions->all[i].items; k++)
            if (questions->all[i].gives[k] != GIVES_NOTHING) {
                all++;
                if (++times_given[questions->all[i].gives[k]] == 2)
                    guest_fail(L, "leave one out", "read gives a %s twice",
                               given_names[questions->all[i].gives[k]]);
            }
    if (!all)
        guest_fail(L, "write { ask = \"MEAS:VOLT?\", gives = \"voltage\" }", "read gives nothing");
}

/* --- kept once ------------------------------------------------------------------------------- */

/* Instruments of one kind ask the same. Each list is kept once for all of them: with hundreds, what
 * is asked next is then still in the processor's cache. */
struct kept_list {
    struct kept_list *next;
    struct question *all;
    int count, users;
};

static struct kept_list *kept_lists;

static bool same_text(const char *a, const char *b)
{
    return a && b ? strcmp(a, b) == 0 : a == b;
}

static bool same_question(const struct question *a, const struct question *b)
{
    size_t values =
        offsetof(struct question, least); /* from there on: zeroed before it is filled */
    return same_text(a->on, b->on) && same_text(a->ends, b->ends) && same_text(a->ask, b->ask) &&
           a->patience == b->patience &&
           memcmp((const char *)a + values, (const char *)b + values, sizeof *a - values) == 0;
}

static bool same_list(const struct kept_list *list, const struct questions *questions)
{
    bool same = list->count == questions->count;
    for (int i = 0; same && i < list->count; i++)
        same = same_question(&list->all[i], &questions->all[i]);
    return same;
}

static void free_questions(struct question *all, int count)
{
    for (int i = 0; i < count; i++) {
        free(all[i].ask);
        free(all[i].on);
        free(all[i].ends);
    }
    free(all);
}

static void keep(struct questions *questions)
{
    struct kept_list *list = kept_lists;
    while (list && !same_list(list, questions))
        list = list->next;
    if (list) {
        free_questions(questions->all, questions->count);
    } else {
        list = xmalloc(sizeof *list);
        *list = (struct kept_list){kept_lists, questions->all, questions->count, 0};
        kept_lists = list;
    }
    list->users++;
    questions->kept = list;
    questions->all = list->all;
}

static void let_go(struct kept_list *list)
{
    struct kept_list **place = &kept_lists;
    if (--list->users)
        return;
    while (*place != list)
        place = &(*place)->next;
    *place = list->next;
    free_questions(list->all, list->count);
    free(list);
}

void questions_read(lua_State *L, int index, int self_ref, unsigned can,
                    struct questions *questions)
{
    index = lua_absindex(L, index);
    questions_free(questions);
    size_t count = lua_rawlen(L, index);
    if (count > QUESTIONS_MOST)
        guest_fail(L, "read by a function", "read has more than %d questions", QUESTIONS_MOST);
    questions->all = xcalloc(count + 1, sizeof *questions->all);
    for (size_t i = 0; i < count; i++) {
        lua_rawgeti(L, index, (lua_Integer)i + 1);
        questions->count++;
        read_question(L, lua_gettop(L), self_ref, can, &questions->all[i]);
        lua_settop(L, index);
    }
    check_given(L, questions);
    keep(questions);
}

void questions_free(struct questions *questions)
{
    if (questions->kept)
        let_go(questions->kept);
    else
        free_questions(questions->all, questions->count);
    *questions = (struct questions){0};
}
