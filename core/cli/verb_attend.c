/* perdure attend: shows what the engine asks, and takes the answers at the terminal, one by one.
 *
 * A label typed or scanned at the prompt (a scanner types it and presses ENTER) picks the question
 * of that cell; where the question is which cell was put in, it is the answer. Where the input is
 * no terminal it only lists, unless --lines says that the answers come from there. */
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <unistd.h>

#include "base/rows.h"
#include "cli/workplace.h"
#include "engine/answer.h"

static const struct column columns[] = {
    {"question", "question", 'r'},  {"cell", "cell", 'l'},         {"asked_text", "asked", 'l'},
    {"text", "what is asked", 'l'}, {"hint", "an answer is", 'l'}, {NULL, NULL, 0},
};

/* By the logbook's clock, as every other table has it. */
static void say_when(json_t *rows, const struct zone *zone)
{
    size_t i;
    json_t *row;
    json_array_foreach(rows, i, row)
    {
        char text[48];
        json_object_set_new(
            row, "asked_text",
            json_string(shown_time(row_text(row, "asked_at"), zone, text, sizeof text)));
    }
}

static int open_questions(const struct arguments *arguments, json_t **rows, struct error *error)
{
    struct logbook *logbook = NULL;
    if (logbook_open(&logbook, arguments->logbook, LOGBOOK_READ, error))
        return error->code;
    if (!answer_open_questions(logbook, rows, error) && !arguments->json)
        say_when(*rows, logbook_zone(logbook));
    logbook_close(logbook);
    return error->code;
}

static json_t *of_cell(json_t *rows, const char *label)
{
    size_t i;
    json_t *row;
    json_array_foreach(rows, i, row)
    {
        if (strcasecmp(row_text(row, "cell"), label) == 0)
            return row;
    }
    return NULL;
}

/* Asks for a label: then one that is scanned answers, and never leads to another question, which
 * a person with the next cell in hand would not notice. */
static bool wants_label(const json_t *row)
{
    return strcmp(row_text(json_object_get(row, "expects"), "kind"), "label") == 0;
}

static void show(const json_t *row, size_t left)
{
    printf("\n%s  (question %" JSON_INTEGER_FORMAT ", asked %s; %zu open)\n", row_text(row, "text"),
           json_integer_value(json_object_get(row, "question")), row_text(row, "asked_text"), left);
    printf("    an answer is %s; ENTER passes, %sq ends\n%s> ", row_text(row, "hint"),
           wants_label(row) ? "" : "a label picks its cell, ", row_text(row, "cell"));
    fflush(stdout);
}

/* Sends one answer; a refusal is told and the question stays open. */
static void send(const struct arguments *arguments, const json_t *row, const char *typed)
{
    struct error refused;
    json_t *reply = NULL;
    json_t *request =
        answer_request(arguments, json_integer_value(json_object_get(row, "question")), typed);
    error_clear(&refused);
    if (change(arguments, request, &reply, &refused))
        printf("%s: %s; %s\n", refused.what, refused.why, refused.todo);
    else
        puts("on record");
    json_decref(request);
    json_decref(reply);
}

/* Goes round the open questions until none is left or the person has had enough. */
static int go_round(const struct arguments *arguments, char **line, size_t *room,
                    struct error *error)
{
    int64_t passed = 0; /* questions up to this one have been passed over in this round */
    char picked[64] = "";
    for (;;) {
        json_t *rows = NULL, *row = NULL, *candidate;
        size_t i;
        if (open_questions(arguments, &rows, error)) {
            json_decref(rows);
            return error->code;
        }
        if (picked[0])
            row = of_cell(rows, picked);
        picked[0] = '\0';
        json_array_foreach(rows, i, candidate)
        {
            if (!row && json_integer_value(json_object_get(candidate, "question")) > passed)
                row = candidate;
        }
        if (!row) {
            puts(json_array_size(rows) ? "\nthat was the last one" : "\nnothing is asked");
            json_decref(rows);
            return 0;
        }
        show(row, json_array_size(rows));
        if (getline(line, room, stdin) < 0 || strcmp(*line, "q\n") == 0) {
            json_decref(rows);
            return 0;
        }
        char *typed = *line;
        typed[strcspn(typed, "\r\n")] = '\0';
        const json_t *expects = json_object_get(row, "expects");
        bool only_enter = strcmp(row_text(expects, "kind"), "done") == 0;
        if (!wants_label(row) && of_cell(rows, typed))
            string_copy(picked, sizeof picked, typed);
        else if (typed[0])
            send(arguments, row, typed);
        else
            passed = json_integer_value(json_object_get(row, "question"));
        if (!typed[0] && only_enter)
            puts("passed over; type done once it is done");
        json_decref(rows);
    }
}

static int attend(const struct arguments *arguments, struct error *error)
{
    char *line = NULL; /* as long as the person likes: a rest would answer the next question */
    size_t room = 0;
    int status = go_round(arguments, &line, &room, error);
    free(line);
    return status;
}

static int run(const struct arguments *arguments, struct error *error)
{
    if (!arguments->json && (isatty(STDIN_FILENO) || argument(arguments, "lines")))
        return attend(arguments, error);
    json_t *rows = NULL;
    if (open_questions(arguments, &rows, error))
        return error->code;
    if (!arguments->json && !json_array_size(rows))
        puts("nothing is asked");
    else
        print_rows(arguments, rows, columns);
    json_decref(rows);
    return error->code;
}

static const struct option_spec options[] = {
    {"who", "NAME", "who answers; else $USER", false},
    {"lines", NULL, "takes the answers from the input, a line each, also if it is no terminal",
     false},
    {NULL, NULL, NULL, false},
};

const struct verb verb_attend = {"attend", "", 0, 0, "shows and takes the engine's questions",
                                 options,  run};
