/* perdure start: queues a run for each cell named. */
#include <stdlib.h>

#include "cli/foresee.h"
#include "cli/source.h"
#include "cli/workplace.h"

static const struct column columns[] = {
    {"run", "run", 'r'}, {"cell", "cell", 'l'}, {NULL, NULL, 0}};

static int run(const struct arguments *arguments, struct error *error)
{
    struct source source = {0};
    json_t *params = NULL, *request = NULL, *reply = NULL;
    if (argument_params(arguments, &params, error))
        return error->code;
    if (!source_read(&source, arguments->word[0], NULL, params, error)) {
        request = source_request("start", &source);
        json_object_set(request, "params", params);
        json_object_set_new(request, "cells", argument_list(argument(arguments, "cells")));
        if (argument(arguments, "channel"))
            json_object_set_new(request, "channel", json_string(argument(arguments, "channel")));
        if (argument(arguments, "also"))
            json_object_set_new(request, "also", json_true());
        if (!change(arguments, request, &reply, error)) {
            json_t *runs = json_object_get(reply, "runs");
            print_rows(arguments, runs, columns);
            if (source.is_study)
                foresee(arguments,
                        json_integer_value(json_object_get(json_array_get(runs, 0), "run")));
            else
                foresee_protocol(arguments, &source, params, json_object_get(request, "cells"));
        }
    }
    source_free(&source);
    json_decref(params);
    json_decref(request);
    json_decref(reply);
    return error->code;
}

static const struct option_spec options[] = {
    {"cells", "A,B", "the cells, a run for each", false},
    {"channel", "NAME", "the channel; else the first that is free", false},
    {"set", "NAME=VALUE", "a parameter of the script, such as --set rate=\"500 mA\"", true},
    {"also", NULL,
     "although a study that is going on has the cells; it fails if it needs one meanwhile", false},
    {NULL, NULL, NULL, false},
};

const struct verb verb_start = {"start", "SCRIPT --cells A,B", 1, 1, "queues a run", options, run};
