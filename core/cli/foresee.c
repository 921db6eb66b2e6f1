/* A projection, or a rehearsal, for its failure alone. */
#include "cli/foresee.h"

#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>

#include "base/text.h"
#include "bindings/script.h"
#include "cli/workplace.h"
#include "engine/acts.h"
#include "engine/project.h"

/* Nothing shipped lasts longer; what goes on for ever must come to an end here. */
#define AHEAD (3 * 366 * 86400 * US_PER_S)
/* s that a person who starts a run waits for a warning at most: the shipped protocols take some
 * hundredths for each model, and one that never ends would take for ever. */
#define MOMENT 2

void foresee_failure(int64_t run, struct error *error)
{
    if (error->code != ERROR_SCRIPT && error->code != ERROR_FAILED)
        return;
    fprintf(stderr, "warning: study %" PRId64 " is going to fail: %s: %s%s%s\n", run, error->what,
            error->why, error->todo[0] ? "; " : "", error->todo);
    error_clear(error);
}

static void pass_by(void *context, const struct due *due)
{
    (void)context, (void)due;
}

static void told(void *context, int64_t run, const struct error *error)
{
    struct error failure = *error;
    (void)context;
    foresee_failure(run, &failure);
}

void foresee(const struct arguments *arguments, int64_t run)
{
    struct logbook *logbook = NULL;
    struct clock clock;
    struct error error;
    error_clear(&error);
    if (logbook_open(&logbook, arguments->logbook, LOGBOOK_READ, &error))
        return;
    if (!clock_of_logbook(&clock, logbook, NULL, false, &error)) {
        struct estimates *estimates = estimates_new(lua_script_ops());
        struct projection projection = {.logbook = logbook,
                                        .scripts = lua_script_ops(),
                                        .estimates = estimates,
                                        .now = clock_utc(&clock),
                                        .horizon = clock_utc(&clock) + AHEAD,
                                        .visit = pass_by,
                                        .failed = told};
        project(&projection, &run, 1, &error);
        estimates_free(estimates);
    }
    logbook_close(logbook);
}

/* --- a protocol ------------------------------------------------------------------------------- */

static int module_of_source(void *owner, const char *name, char **text, size_t *length,
                            struct error *error)
{
    const json_t *module = json_object_get(((const struct source *)owner)->modules, name);
    if (!json_is_string(module))
        return error_set(error, ERROR_SCRIPT, name, "put NAME.lua beside the script",
                         "the script requires a module that was not found");
    *text = xstrdup(json_string_value(module));
    *length = json_string_length(module);
    return 0;
}

/* One cell of each model; the caller's to free. */
static struct cell_facts *models_of(const struct arguments *arguments, const json_t *cells,
                                    size_t *count)
{
    struct cell_facts *models = xcalloc(json_array_size(cells) + 1, sizeof *models);
    struct logbook *logbook = NULL;
    struct error unread;
    size_t i, k;
    json_t *label;
    *count = 0;
    error_clear(&unread);
    if (logbook_open(&logbook, arguments->logbook, LOGBOOK_READ, &unread))
        return models;
    json_array_foreach(cells, i, label)
    {
        struct cell_facts *cell = &models[*count];
        if (facts_of_cell(logbook, json_string_value(label), cell, &unread))
            continue;
        for (k = 0; k < *count && strcmp(models[k].model, cell->model) != 0;)
            k++;
        *count += k == *count;
    }
    logbook_close(logbook);
    return models;
}

static void warn_of_each(const struct source *source, const json_t *params,
                         const struct cell_facts *models, size_t count)
{
    struct estimates *estimates = estimates_new(lua_script_ops());
    char *values = json_dumps(params, JSON_SORT_KEYS | JSON_COMPACT);
    for (size_t i = 0; i < count; i++) {
        struct script_context context = {.name = source->name,
                                         .text = source->text,
                                         .length = source->length,
                                         .params = values,
                                         .seed = 1,
                                         .cell = models[i],
                                         .module = module_of_source,
                                         .owner = (struct source *)source};
        const struct estimate *found = estimate(estimates, &context);
        if (found->why)
            fprintf(stderr,
                    "warning: rehearsed on a usual %s in a simulated channel, it fails: %s\n",
                    models[i].model, found->why);
    }
    free(values);
    estimates_free(estimates);
}

/* In a process of its own, which the alarm ends wherever it is. */
void foresee_protocol(const struct arguments *arguments, const struct source *source,
                      const json_t *params, const json_t *cells)
{
    size_t count;
    struct cell_facts *models = models_of(arguments, cells, &count);
    fflush(stdout);
    pid_t child = count ? fork() : -1;
    if (child == 0) {
        alarm(MOMENT);
        warn_of_each(source, params, models, count);
        _exit(0);
    }
    if (child > 0)
        waitpid(child, NULL, 0);
    free(models);
}
