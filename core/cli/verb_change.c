/* perdure stop, pause, resume, answer, adopt: changes to a run that may be going on. */
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "cli/foresee.h"
#include "cli/source.h"
#include "cli/workplace.h"

/* Sends the request; says what was done, or shows the reply with --json. `promise`: an engine at
 * work makes the output safe before it replies, and only it can say so. */
static int say(const struct arguments *arguments, const json_t *request, const char *what,
               const char *done, bool promise, struct error *error)
{
    json_t *reply = NULL;
    if (change(arguments, request, &reply, error))
        return error->code;
    const char *more = !promise ? ""
                       : json_is_true(json_object_get(reply, "engine"))
                           ? ", its output is safe"
                           : "; no engine is at work: see for yourself that nothing is driven";
    if (arguments->json)
        print_json(reply);
    else
        printf("%s %s %s%s\n", what, arguments->word[0], done, more);
    json_decref(reply);
    return 0;
}

static int on_run(const struct arguments *arguments, const char *act, const char *done,
                  bool promise, struct error *error)
{
    int64_t id;
    if (argument_run(arguments->word[0], &id, error))
        return error->code;
    json_t *request = json_pack("{s:s, s:I}", "act", act, "run", (json_int_t)id);
    if (strcmp(act, "stop") == 0 && argument(arguments, "why"))
        json_object_set_new(request, "why", json_string(argument(arguments, "why")));
    int code = say(arguments, request, "run", done, promise, error);
    json_decref(request);
    return code;
}

static int run_stop(const struct arguments *arguments, struct error *error)
{
    return on_run(arguments, "stop", "stopped", true, error);
}

static int run_pause(const struct arguments *arguments, struct error *error)
{
    return on_run(arguments, "pause", "paused", true, error);
}

static int run_resume(const struct arguments *arguments, struct error *error)
{
    return on_run(arguments, "resume", "goes on", false, error);
}

static const struct column changed[] = {
    {"what", "result", 'l'}, {"was", "was", 'l'}, {"is", "is", 'l'}, {NULL, NULL, 0}};

/* What became of an answer to a question that had one. */
static void say_correction(const struct arguments *arguments, const json_t *reply)
{
    const json_t *changes = json_object_get(reply, "changes");
    const char *id = arguments->word[0];
    if (json_object_get(reply, "same")) {
        printf("question %s has this answer already: nothing is changed\n", id);
    } else if (!changes) {
        printf("question %s corrected; nothing has been worked out from it yet\n", id);
    } else if (!json_array_size(changes)) {
        printf("question %s corrected; no figure follows from it\n", id);
    } else {
        printf("question %s corrected; run %" JSON_INTEGER_FORMAT " keeps the old figures as "
               "events\n\n",
               id, json_integer_value(json_object_get(reply, "run")));
        print_rows(arguments, changes, changed);
    }
}

static int run_answer(const struct arguments *arguments, struct error *error)
{
    int64_t id;
    json_t *reply = NULL;
    if (argument_run(arguments->word[0], &id, error))
        return error_set(error, ERROR_USAGE, arguments->word[0],
                         "perdure attend lists the questions and their numbers",
                         "a question is named by its number");
    json_t *request = answer_request(arguments, id, arguments->word[1]);
    if (!change(arguments, request, &reply, error)) {
        if (arguments->json)
            print_json(reply);
        else if (json_is_true(json_object_get(reply, "correction")))
            say_correction(arguments, reply);
        else
            printf("question %s answered\n", arguments->word[0]);
    }
    json_decref(request);
    json_decref(reply);
    return error->code;
}

/* A dry run says what would happen; a person at a terminal is asked, a script says --yes. */
static int agreed(const struct arguments *arguments, struct error *error)
{
    if (argument(arguments, "yes"))
        return 0;
    char line[16];
    if (isatty(STDIN_FILENO)) {
        fprintf(stderr, "the record fits the edited text. Move run %s to it? [y/N] ",
                arguments->word[0]);
        if (fgets(line, sizeof line, stdin) && (line[0] == 'y' || line[0] == 'Y'))
            return 0;
    }
    char what[40];
    snprintf(what, sizeof what, "run %.30s", arguments->word[0]);
    return error_set(error, ERROR_FAILED, what, "say --yes to move the run",
                     "nothing was changed: the record fits the edited text");
}

static int run_adopt(const struct arguments *arguments, struct error *error)
{
    int64_t id;
    struct source source = {0};
    json_t *params = json_object();
    if (!argument_run(arguments->word[0], &id, error) &&
        !source_read(&source, arguments->word[1], NULL, params, error)) {
        json_t *request = source_request("adopt", &source);
        json_object_set_new(request, "run", json_integer(id));
        json_object_set_new(request, "dry", json_true());
        json_t *reply = NULL;
        if (!change(arguments, request, &reply, error) && !agreed(arguments, error)) {
            json_object_del(request, "dry");
            if (!say(arguments, request, "run", "moved to the edited text", false, error) &&
                source.is_study)
                foresee(arguments, id);
        }
        json_decref(reply);
        json_decref(request);
    }
    source_free(&source);
    json_decref(params);
    return error->code;
}

static const struct option_spec answer_options[] = {
    {"who", "NAME", "who answers; else $USER", false}, {NULL, NULL, NULL, false}};
static const struct option_spec adopt_options[] = {{"yes", NULL, "do it without asking", false},
                                                   {NULL, NULL, NULL, false}};

static const struct option_spec stop_options[] = {
    {"why", "TEXT", "goes on record, such as \"the cell is lost\"", false},
    {NULL, NULL, NULL, false},
};
const struct verb verb_stop = {"stop",       "ID",    1, 1, "ends a run; its output is safe first",
                               stop_options, run_stop};
const struct verb verb_pause = {"pause", "ID",     1, 1, "holds a run; its output is safe first",
                                NULL,    run_pause};
const struct verb verb_resume = {"resume", "ID",      1, 1, "goes on with a paused run",
                                 NULL,     run_resume};
const struct verb verb_answer = {
    "answer",       "ID VALUE", 2, 2, "answers a question of the engine, or corrects the answer",
    answer_options, run_answer};
const struct verb verb_adopt = {
    "adopt",       "ID SCRIPT", 2, 2, "moves a run to an edited script, if its record fits",
    adopt_options, run_adopt};
