/* The loop of `runs --follow`. */
#include "cli/follow.h"

#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <time.h>
#include <unistd.h>

#include "base/rows.h"
#include "bindings/script.h"
#include "cli/follow_screen.h"
#include "cli/workplace.h"
#include "engine/overview.h"
#include "logbook/facts.h"
#include "logbook/runs.h"

#define EVERY 1.0  /* s between two looks */
#define OLD   60.0 /* s after which expected ends are worked out again unasked */
#define SHARE 4    /* ... and never sooner than this many times as long as it took */
#define NICER 10   /* whoever measures goes first */
#define WEEKS 8    /* as `overview` has them */

struct following {
    const struct arguments *arguments;
    int64_t id;
    bool screen;
    struct watch *watch;
    struct overview_options overview;
    json_t *known; /* the last overview */
    double known_at, known_took;
    bool changed; /* since that one */
};

static double seconds_now(void)
{
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)now.tv_sec + (double)now.tv_nsec / 1e9;
}

/* --- lines ------------------------------------------------------------------------------------ */

static void print_change(const struct following *f, const json_t *row, const struct zone *zone)
{
    char civil[48];
    struct text line = TEXT_EMPTY;
    if (f->arguments->json) {
        json_dumpf(row, stdout, JSON_COMPACT | JSON_REAL_PRECISION(12));
        putchar('\n');
        return;
    }
    utc_us at = row_instant(row, "at");
    zone_format(zone, at - at % US_PER_S, civil, sizeof civil);
    text_addf(&line, "%.10s %.8s%s", civil, civil + 11, civil + 19);
    if (json_is_integer(json_object_get(row, "run")))
        text_addf(&line, "  run %" JSON_INTEGER_FORMAT,
                  json_integer_value(json_object_get(row, "run")));
    if (row_text(row, "cell")[0]) {
        text_add(&line, "  ");
        screen_add_plain(&line, row_text(row, "cell"));
    }
    text_add(&line, "  ");
    screen_add_plain(&line, row_text(row, "text"));
    puts(line.bytes);
    text_free(&line);
}

/* --- the screen ------------------------------------------------------------------------------- */

/* Expected ends hold until something happens: they are worked out then, and now and then. */
static int look_over(struct following *f, struct logbook *logbook, utc_us now, struct error *error)
{
    double age = seconds_now() - f->known_at;
    json_t *whole = NULL;
    if (f->known && (age < SHARE * f->known_took || (!f->changed && age < OLD)))
        return 0;
    double began = seconds_now();
    f->overview.logbook = logbook;
    f->overview.now = now;
    if (overview(&f->overview, &whole, error))
        return error->code;
    json_decref(f->known);
    f->known = whole;
    f->known_at = seconds_now();
    f->known_took = f->known_at - began;
    f->changed = false;
    return 0;
}

static int draw(struct following *f, struct logbook *logbook, utc_us now, struct error *error)
{
    json_t *steps = NULL;
    struct text lines = TEXT_EMPTY;
    int pid = 0;
    utc_us since;
    if (look_over(f, logbook, now, error) ||
        logbook_holder(logbook_path(logbook), &pid, &since, error) ||
        logbook_list(logbook, LIST_STEPS_NOW, NULL, &steps, error))
        return error->code;
    struct follow_sight sight = {.overview = f->known,
                                 .steps = steps,
                                 .watch = f->watch,
                                 .zone = logbook_zone(logbook),
                                 .clock = logbook_clock(logbook),
                                 .now = now,
                                 .at_work = pid != 0};
    follow_lines(&sight, screen_size(), &lines);
    screen_draw(lines.bytes);
    text_free(&lines);
    json_decref(steps);
    return 0;
}

/* --- the loop --------------------------------------------------------------------------------- */

static int look(struct following *f, struct error *error)
{
    struct logbook *logbook = NULL;
    struct clock clock;
    json_t *changes = NULL, *row;
    size_t i;
    if (logbook_open(&logbook, f->arguments->logbook, LOGBOOK_READ, error))
        return error->code;
    if (clock_of_logbook(&clock, logbook, NULL, false, error))
        goto out;
    utc_us now = clock_utc(&clock);
    if (!f->watch && watch_new(&f->watch, logbook, f->id, error))
        goto out;
    if (watch_look(f->watch, logbook, now, &changes, error))
        goto out;
    f->changed |= json_array_size(changes) > 0;
    if (f->screen)
        draw(f, logbook, now, error);
    else
        json_array_foreach(changes, i, row)
        {
            print_change(f, row, logbook_zone(logbook));
        }
out:
    json_decref(changes);
    logbook_close(logbook);
    return error->code;
}

/* In the end: how the one run ended, or that none is open. */
static int conclude(const struct following *f, struct error *error)
{
    struct logbook *logbook = NULL;
    struct run_record record = {0};
    char what[32], todo[80];
    const bool say = !f->arguments->json;
    if (!f->id) {
        if (say)
            puts("no run is open any more");
        return 0;
    }
    if (!logbook_open(&logbook, f->arguments->logbook, LOGBOOK_READ, error) &&
        !logbook_run(logbook, f->id, &record, error)) {
        snprintf(what, sizeof what, "run %" PRId64, f->id);
        snprintf(todo, sizeof todo, "perdure runs %" PRId64 " shows what happened", f->id);
        if (record.state != RUN_DONE)
            error_set(error, ERROR_FAILED, what, todo, "%s%s%s", run_state_name(record.state),
                      record.why ? ", " : "", record.why ? record.why : "");
        else if (say)
            printf("run %" PRId64 " is over: done\n", f->id);
    }
    run_record_free(&record);
    if (logbook)
        logbook_close(logbook);
    return error->code;
}

/* Whether nothing is left of what there was at the start. */
static bool finished(const struct following *f, bool any)
{
    return f->id ? !watch_has(f->watch, f->id) : any && !watch_open(f->watch);
}

static int check_run(const struct arguments *arguments, int64_t id, struct error *error)
{
    struct logbook *logbook = NULL;
    struct run_record record = {0};
    if (logbook_open(&logbook, arguments->logbook, LOGBOOK_READ, error))
        return error->code;
    if (id && !logbook_run(logbook, id, &record, error))
        run_record_free(&record);
    logbook_close(logbook);
    return error->code;
}

int follow(const struct arguments *arguments, int64_t id, struct error *error)
{
    struct following f = {.arguments = arguments,
                          .id = id,
                          .screen = !arguments->json && screen_is_there(),
                          .overview = {.scripts = lua_script_ops(), .weeks = WEEKS}};
    bool any = false, over = false;
    if (check_run(arguments, id, error))
        return error->code;
    if (nice(NICER) < 0)
        clearerr(stderr); /* it may not be nicer than it is: no harm */
    f.overview.estimates = estimates_new(f.overview.scripts);
    screen_heed_signals();
    if (f.screen)
        screen_enter();
    do {
        const bool first = !f.watch;
        if (look(&f, error))
            break;
        if (first)
            any = watch_open(f.watch) > 0;
        if (fflush(stdout) || ferror(stdout))
            break; /* whoever listened is gone */
        over = finished(&f, any);
    } while (!over && screen_wait(EVERY));
    screen_leave();
    if (!error->code && over)
        conclude(&f, error);
    json_decref(f.known);
    watch_free(f.watch);
    estimates_free(f.overview.estimates);
    return error->code;
}
