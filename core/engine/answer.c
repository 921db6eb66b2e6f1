/* Reading answers. */
#include "engine/answer.h"

#include <math.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "base/quantity.h"
#include "base/text.h"
#include "bench/reading.h"
#include "logbook/facts.h"

/* What a display may show: how it is told apart by its unit, and what is plausible for one small
 * cell, SI. */
static const struct shown {
    const char *name;
    enum dimension dimension;
    double least, most;
    const char *example;
} displays[] = {
    {"charge", DIM_CHARGE, 0, NAN /* from the rating */, "1875 mAh"},
    {"energy", DIM_ENERGY, 0, 3600 * 1000, "2.3 Wh"},
    {"time", DIM_TIME, 0, 60 * 86400, "4 h 2 min"},
    {"voltage", DIM_VOLTAGE, -0.1, 5, "1.32 V"},
    {"resistance", DIM_RESISTANCE, RESISTANCE_LEAST, RESISTANCE_MOST, "23 mohm"},
    {"temperature", DIM_TEMPERATURE, -40, 100, "24 degC"},
};
#define DISPLAYS (sizeof displays / sizeof *displays)

#define ENDED "ended "

/* A cell that gives this much more than its rating was misread or mislabelled. */
#define RATING_MOST 2.0

static const char *text_of(const json_t *expects, const char *key)
{
    const char *text = json_string_value(json_object_get(expects, key));
    return text ? text : "";
}

/* --- hints ---------------------------------------------------------------------------------- */

static void hint_number(const json_t *expects, struct text *out)
{
    const json_t *least = json_object_get(expects, "least"),
                 *most = json_object_get(expects, "most");
    text_add(out, "a number");
    if (text_of(expects, "unit")[0])
        text_addf(out, " in %s", text_of(expects, "unit"));
    if (json_is_number(least))
        text_addf(out, ", %g or more", json_number_value(least));
    if (json_is_number(most))
        text_addf(out, ", %g or less", json_number_value(most));
}

static void hint_choices(const json_t *expects, struct text *out)
{
    size_t i;
    json_t *choice;
    text_add(out, "one of");
    json_array_foreach(json_object_get(expects, "choices"), i, choice)
    {
        text_addf(out, "%s %s", i ? "," : "", json_string_value(choice));
    }
}

static const struct shown *find_display(const char *name)
{
    for (size_t i = 0; i < DISPLAYS; i++)
        if (strcmp(displays[i].name, name) == 0)
            return &displays[i];
    return NULL;
}

static void hint_display(const json_t *expects, struct text *out)
{
    size_t i;
    json_t *name;
    text_add(out, "what the display says, such as \"");
    json_array_foreach(json_object_get(expects, "needs"), i, name)
    {
        const struct shown *shown = find_display(json_string_value(name));
        text_addf(out, "%s%s", i ? ", " : "", shown ? shown->example : "");
    }
    text_add(out, "\"; more, in any order, after commas; \"ended 18:30\" if not just now");
}

static void hint(const json_t *expects, struct text *out)
{
    const char *kind = text_of(expects, "kind");
    if (strcmp(kind, "number") == 0)
        hint_number(expects, out);
    else if (strcmp(kind, "choice") == 0)
        hint_choices(expects, out);
    else if (strcmp(kind, "display") == 0)
        hint_display(expects, out);
    else if (strcmp(kind, "label") == 0)
        text_addf(out, "%s, typed or scanned, or yes", text_of(expects, "label"));
    else
        text_add(out, strcmp(kind, "text") == 0 ? "a text" : "done, once it is done");
}

char *answer_hint(const char *expects, char *buffer, size_t size)
{
    json_t *document = json_loads(expects, 0, NULL);
    struct text out = TEXT_EMPTY;
    hint(document, &out);
    string_copy(buffer, size, out.bytes);
    text_free(&out);
    json_decref(document);
    return buffer;
}

int answer_open_questions(struct logbook *logbook, json_t **rows, struct error *error)
{
    size_t i;
    json_t *row;
    *rows = NULL;
    if (logbook_list(logbook, LIST_QUESTIONS, NULL, rows, error))
        return error->code;
    json_array_foreach(*rows, i, row)
    {
        struct text out = TEXT_EMPTY;
        hint(json_object_get(row, "expects"), &out);
        json_object_set_new(row, "hint", json_string(out.bytes));
        text_free(&out);
    }
    return 0;
}

/* --- assuming --------------------------------------------------------------------------------- */

char *answer_assumed(const char *expects)
{
    json_t *document = json_loads(expects, 0, NULL), *value;
    const char *kind = text_of(document, "kind");
    if (strcmp(kind, "choice") == 0)
        value = json_incref(json_array_get(json_object_get(document, "choices"), 0));
    else if (strcmp(kind, "number") == 0)
        value = json_real(json_number_value(json_object_get(document, "least")));
    else if (strcmp(kind, "text") == 0)
        value = json_string("");
    else
        value = json_true();
    if (!value) /* a choice of nothing */
        value = json_null();
    char *text = json_dumps(value, JSON_ENCODE_ANY | JSON_COMPACT);
    json_decref(value);
    json_decref(document);
    return text;
}

/* --- reading ---------------------------------------------------------------------------------- */

static int refuse(const json_t *expects, const char *typed, const char *why, struct error *error)
{
    char todo[240];
    struct text out = TEXT_EMPTY;
    text_add(&out, "type ");
    hint(expects, &out);
    string_copy(todo, sizeof todo, out.bytes);
    text_free(&out);
    char what[100], quoted[80];
    snprintf(what, sizeof what, "the answer %s", string_quote(typed, quoted, sizeof quoted));
    return error_set(error, ERROR_FAILED, what, todo, "%s", why);
}

/* What is no quantity: beside why, the unit that may be meant, or how a display's time is typed. */
static int refuse_quantity(const json_t *expects, const char *typed, const struct error *unread,
                           struct error *error)
{
    char why[sizeof unread->why + sizeof unread->todo + 4];
    int hours, minutes;
    if (sscanf(typed, "%d:%d", &hours, &minutes) == 2)
        snprintf(why, sizeof why, "a time is typed with its units, such as 4 h 2 min");
    else if (strncmp(unread->todo, "did you mean", 12) == 0)
        snprintf(why, sizeof why, "%s, %s", unread->why, unread->todo);
    else
        snprintf(why, sizeof why, "%s", unread->why);
    return refuse(expects, typed, why, error);
}

/* In the question's unit: "1.9 Ah" and "1900" both answer one that asks in mAh. */
static int read_number(const json_t *expects, const char *typed, json_t **answer,
                       struct error *error)
{
    const char *unit = text_of(expects, "unit");
    enum dimension dimension = DIM_NUMBER;
    double factor = 1, value;
    struct error unused;
    char *end;
    if (unit[0] && strcmp(unit, "1") != 0)
        unit_find(unit, &dimension, &factor);
    value = strtod(typed, &end);
    if (end == typed || *end) {
        if (quantity_read(typed, dimension, 0, &value, &unused))
            return refuse_quantity(expects, typed, &unused, error);
        value /= factor;
    }
    const json_t *least = json_object_get(expects, "least"),
                 *most = json_object_get(expects, "most");
    if (!isfinite(value))
        return refuse(expects, typed, "it is no finite number", error);
    if ((json_is_number(least) && value < json_number_value(least)) ||
        (json_is_number(most) && value > json_number_value(most)))
        return refuse(expects, typed, "it is out of range", error);
    *answer = json_real(value);
    return 0;
}

static int read_choice(const json_t *expects, const char *typed, json_t **answer,
                       struct error *error)
{
    size_t i;
    json_t *choice;
    json_array_foreach(json_object_get(expects, "choices"), i, choice)
    {
        if (strcasecmp(json_string_value(choice), typed) == 0) {
            *answer = json_incref(choice);
            return 0;
        }
    }
    return refuse(expects, typed, "it is none of the choices", error);
}

static bool says_yes(const char *typed)
{
    static const char *const words[] = {"done", "yes", "y", "ok"};
    for (size_t i = 0; i < sizeof words / sizeof *words; i++)
        if (strcasecmp(typed, words[i]) == 0)
            return true;
    return false;
}

bool answer_is_word(const char *text)
{
    static const char *const others[] = {"no", "n", "q", "quit"};
    for (size_t i = 0; i < sizeof others / sizeof *others; i++)
        if (strcasecmp(text, others[i]) == 0)
            return true;
    return says_yes(text);
}

/* The cell that was scanned is the one that belongs there. */
static int read_label(const json_t *expects, const char *typed, json_t **answer,
                      struct error *error)
{
    char why[240], given[64];
    if (says_yes(typed)) {
        *answer = json_true();
        return 0;
    }
    if (strcasecmp(typed, text_of(expects, "label")) == 0) {
        *answer = json_incref(json_object_get(expects, "label"));
        return 0;
    }
    string_fit(given, sizeof given, *typed ? typed : "nothing");
    snprintf(why, sizeof why, "%s was given, and %s belongs in %s", given,
             text_of(expects, "label"), text_of(expects, "channel"));
    return refuse(expects, typed, why, error);
}

static int read_done(const json_t *expects, const char *typed, json_t **answer, struct error *error)
{
    if (*typed && !says_yes(typed))
        return refuse(expects, typed, "it does not say that it is done", error);
    *answer = json_true();
    return 0;
}

static int refuse_implausible(const json_t *expects, const char *part, const struct shown *shown,
                              double most, struct error *error)
{
    char why[160], from[32], to[32];
    snprintf(why, sizeof why, "it is not plausible, misread? The %s of this cell is %s to %s",
             shown->name, quantity_format(shown->least, shown->dimension, from, sizeof from),
             quantity_format(most, shown->dimension, to, sizeof to));
    return refuse(expects, part, why, error);
}

/* "18:30" is the latest there was. */
static int read_time(const char *typed, const struct answer_clock *clock, utc_us *at,
                     struct error *error)
{
    char today[40], whole[64];
    bool of_day = strlen(typed) == 5 && typed[2] == ':';
    if (!of_day) {
        string_copy(whole, sizeof whole, typed);
        if (strlen(whole) > 11 && whole[10] == ' ')
            whole[10] = 'T'; /* as people write it */
        return zone_parse(clock->zone, whole, at, error);
    }
    for (int days = 0; days >= -1; days--) {
        zone_format(clock->zone, zone_day(clock->zone, clock->now, days), today, sizeof today);
        snprintf(whole, sizeof whole, "%.10sT%s:00", today, typed);
        if (zone_parse(clock->zone, whole, at, error) || *at <= clock->now)
            break;
    }
    return error->code;
}

/* When it ended, where that was not just now. */
static int read_ended(const json_t *expects, const char *part, const struct answer_clock *clock,
                      json_t *values, struct error *error)
{
    struct error unread;
    char asked[40];
    utc_us at = 0, since = json_integer_value(json_object_get(expects, "asked_us"));
    error_clear(&unread);
    if (read_time(part + strlen(ENDED), clock, &at, &unread))
        return refuse(expects, part, unread.why, error);
    if (at > clock->now)
        return refuse(expects, part, "that is still to come", error);
    if (at < since && since - at < 60 * US_PER_S)
        at = since; /* typed to the minute */
    if (at < since) {
        char why[120];
        snprintf(why, sizeof why, "it was asked for after that, at %s",
                 zone_format(clock->zone, since - since % US_PER_S, asked, sizeof asked));
        return refuse(expects, part, why, error);
    }
    json_object_set_new(values, "ended_us", json_integer(at));
    return 0;
}

/* One part of a display's text: which of its values it is follows from its unit. */
static int read_part(const json_t *expects, const char *part, json_t *values, struct error *error)
{
    struct quantity quantity;
    struct error unread;
    if (quantity_parse(part, &quantity, &unread))
        return refuse_quantity(expects, part, &unread, error);
    for (size_t i = 0; i < DISPLAYS; i++) {
        const struct shown *shown = &displays[i];
        double most = shown->most;
        if (shown->dimension != quantity.dimension)
            continue;
        if (isnan(most))
            most = RATING_MOST * 3600 * json_number_value(json_object_get(expects, "rated_Ah"));
        const json_t *volts = json_object_get(expects, "most_V");
        if (shown->dimension == DIM_VOLTAGE && json_is_number(volts))
            most = json_number_value(volts);
        if (quantity.value < shown->least || quantity.value > most)
            return refuse_implausible(expects, part, shown, most, error);
        if (json_object_get(values, shown->name))
            return refuse(expects, part, "it is there twice", error);
        json_object_set_new(values, shown->name, json_real(quantity.value));
        json_object_set_new(json_object_get(values, "steps"), shown->name,
                            json_real(quantity_step(part)));
        return 0;
    }
    return refuse(expects, part,
                  quantity.dimension == DIM_NUMBER
                      ? "its unit is missing; decimals stand behind a point"
                      : "no display shows this of a cell",
                  error);
}

static int read_display(const json_t *expects, const char *typed, const struct answer_clock *clock,
                        json_t **answer, struct error *error)
{
    json_t *values = json_pack("{s:{}}", "steps"), *name;
    char *copy = xstrdup(typed), *rest = copy, *part;
    size_t i;
    while ((part = strsep(&rest, ",;")) && !error->code) {
        part += strspn(part, " \t");
        if (strncasecmp(part, ENDED, strlen(ENDED)) == 0)
            read_ended(expects, part, clock, values, error);
        else if (*part)
            read_part(expects, part, values, error);
    }
    free(copy);
    json_array_foreach(json_object_get(expects, "needs"), i, name)
    {
        if (!error->code && !json_object_get(values, json_string_value(name))) {
            char why[64];
            snprintf(why, sizeof why, "the %s is missing", json_string_value(name));
            refuse(expects, typed, why, error);
        }
    }
    if (error->code)
        json_decref(values);
    else
        *answer = values;
    return error->code;
}

int answer_read(const char *expects, const char *typed, const struct answer_clock *clock,
                json_t **answer, struct error *error)
{
    json_t *document = json_loads(expects, 0, NULL);
    const char *kind = text_of(document, "kind");
    char trimmed[1024];
    error_clear(error);
    string_copy(trimmed, sizeof trimmed, typed + strspn(typed, " \t\r\n"));
    for (size_t n = strlen(trimmed); n && strchr(" \t\r\n", trimmed[n - 1]); n--)
        trimmed[n - 1] = '\0';
    if (strcmp(kind, "number") == 0)
        read_number(document, trimmed, answer, error);
    else if (strcmp(kind, "choice") == 0)
        read_choice(document, trimmed, answer, error);
    else if (strcmp(kind, "display") == 0)
        read_display(document, trimmed, clock, answer, error);
    else if (strcmp(kind, "label") == 0)
        read_label(document, trimmed, answer, error);
    else if (strcmp(kind, "text") == 0)
        *answer = json_string(trimmed);
    else
        read_done(document, trimmed, answer, error);
    json_decref(document);
    return error->code;
}
