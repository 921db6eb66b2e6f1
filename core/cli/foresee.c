/* A projection for its failure alone. */
#include "cli/foresee.h"

#include <inttypes.h>
#include <stdio.h>

#include "bindings/script.h"
#include "cli/workplace.h"
#include "engine/project.h"

/* Nothing shipped lasts longer; what goes on for ever must come to an end here. */
#define AHEAD (3 * 366 * 86400 * US_PER_S)

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
