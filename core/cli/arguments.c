/* The command line: global options, a verb, its options and words. */
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "cli/cli.h"

static const struct option_spec global[] = {
    {"logbook", "FILE", "the logbook (else $PERDURE_LOGBOOK, else ./logbook.perdure)", false},
    {"json", NULL, "one JSON document on standard output", false},
    {NULL, NULL, NULL, false},
};

static int usage(struct error *error, const char *what, const char *why)
{
    return error_set(error, ERROR_USAGE, what, "perdure help shows how", "%s", why);
}

static const struct option_spec *find(const struct option_spec *specs, const char *name,
                                      size_t length)
{
    for (; specs && specs->name; specs++)
        if (strlen(specs->name) == length && strncmp(specs->name, name, length) == 0)
            return specs;
    return NULL;
}

/* One option with its value, from "--name=value" or "--name" "value"; *used counts the words. */
static int take_option(struct arguments *out, const struct verb *verb, char **values, int left,
                       int *used, struct error *error)
{
    const char *name = values[0] + 2;
    const char *equals = strchr(name, '=');
    size_t length = equals ? (size_t)(equals - name) : strlen(name);
    const struct option_spec *spec = find(global, name, length);
    if (!spec && verb)
        spec = find(verb->options, name, length);
    if (!spec)
        return usage(error, values[0], verb ? "the verb has no such option" : "no such option");

    const char *value = "";
    *used = 1;
    if (spec->value && equals) {
        value = equals + 1;
    } else if (spec->value) {
        if (left < 2)
            return usage(error, values[0], "a value is missing");
        value = values[1];
        *used = 2;
    } else if (equals) {
        return usage(error, values[0], "it takes no value");
    }
    if (spec == &global[0]) {
        out->logbook = value;
    } else if (spec == &global[1]) {
        out->json = true;
    } else {
        if (out->options == ARGUMENTS_MOST)
            return usage(error, values[0], "too many options");
        if (!spec->repeats && argument(out, spec->name))
            return usage(error, values[0], "it is given twice");
        out->option[out->options].name = spec->name;
        out->option[out->options++].value = value;
    }
    return 0;
}

/* "-o FILE", the one option with a single dash: for verbs that list an option named "o". */
static int take_output(struct arguments *out, const struct verb *verb, char **values, int left,
                       int *used, struct error *error)
{
    const struct option_spec *spec = verb ? find(verb->options, "o", 1) : NULL;
    if (!spec)
        return usage(error, values[0], "this verb writes no file");
    if (left < 2)
        return usage(error, values[0], "a value is missing");
    if (argument(out, "o"))
        return usage(error, values[0], "it is given twice");
    if (out->options == ARGUMENTS_MOST)
        return usage(error, values[0], "too many options");
    out->option[out->options].name = spec->name;
    out->option[out->options++].value = values[1];
    *used = 2;
    return 0;
}

static const struct verb *find_verb(const char *name)
{
    for (int i = 0; verbs[i]; i++)
        if (strcmp(verbs[i]->name, name) == 0)
            return verbs[i];
    return NULL;
}

int arguments_parse(int count, char **values, struct arguments *out, const struct verb **verb,
                    struct error *error)
{
    *out = (struct arguments){0};
    *verb = NULL;
    bool only_words = false;
    for (int i = 0; i < count;) {
        int used = 1;
        if (!only_words && strcmp(values[i], "--") == 0) {
            only_words = true;
        } else if (!only_words && strncmp(values[i], "--", 2) == 0) {
            if (take_option(out, *verb, values + i, count - i, &used, error))
                return error->code;
        } else if (!only_words && strcmp(values[i], "-o") == 0) {
            if (take_output(out, *verb, values + i, count - i, &used, error))
                return error->code;
        } else if (!*verb) {
            *verb = find_verb(values[i]);
            if (!*verb)
                return error_set(error, ERROR_USAGE, values[i], "perdure help lists them",
                                 "there is no such verb");
        } else if (out->words < ARGUMENTS_MOST) {
            out->word[out->words++] = values[i];
        }
        i += used;
    }
    if (!out->logbook)
        out->logbook = getenv("PERDURE_LOGBOOK");
    if (!out->logbook || !out->logbook[0])
        out->logbook = "logbook.perdure";
    if (*verb && (out->words < (*verb)->least || out->words > (*verb)->most)) {
        char why[128];
        snprintf(why, sizeof why, "write perdure %s%s%s", (*verb)->name,
                 (*verb)->words[0] ? " " : "", (*verb)->words);
        return error_set(error, ERROR_USAGE, (*verb)->name, why, "%s",
                         out->words < (*verb)->least ? "something is missing"
                                                     : "too much is given");
    }
    return 0;
}

const char *argument(const struct arguments *arguments, const char *option)
{
    for (int i = 0; i < arguments->options; i++)
        if (strcmp(arguments->option[i].name, option) == 0)
            return arguments->option[i].value;
    return NULL;
}

json_t *argument_list(const char *text)
{
    json_t *list = json_array();
    while (text && *text) {
        size_t length = strcspn(text, ",");
        if (length)
            json_array_append_new(list, json_stringn(text, length));
        text += length + (text[length] == ',');
    }
    return list;
}

int argument_params(const struct arguments *arguments, json_t **params, struct error *error)
{
    *params = json_object();
    for (int i = 0; i < arguments->options; i++) {
        if (strcmp(arguments->option[i].name, "set") != 0)
            continue;
        const char *pair = arguments->option[i].value;
        const char *equals = strchr(pair, '=');
        if (!equals || equals == pair) {
            json_decref(*params);
            return usage(error, pair, "write --set NAME=VALUE, such as --set rate=\"500 mA\"");
        }
        char *name = xstrdup(pair);
        name[equals - pair] = '\0';
        json_object_set_new(*params, name, json_string(equals + 1));
        free(name);
    }
    return 0;
}

int argument_number(const struct arguments *arguments, const char *option, int usual, int *out,
                    struct error *error)
{
    const char *text = argument(arguments, option);
    char *end;
    long number = text ? strtol(text, &end, 10) : usual;
    if (text && (*end || end == text || number < 1 || number > 100000))
        return error_set(error, ERROR_USAGE, option, "give a whole number from 1",
                         "\"%s\" is no such number", text);
    *out = (int)number;
    return 0;
}

int argument_run(const char *word, int64_t *id, struct error *error)
{
    char *end;
    *id = strtoll(word, &end, 10);
    if (*end || *id <= 0)
        return error_set(error, ERROR_USAGE, word, "perdure runs lists the runs and their numbers",
                         "a run is named by its number");
    return 0;
}
