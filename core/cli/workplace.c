/* Putting a workplace together, and making changes with or without an engine. */
#include "cli/workplace.h"

#include <stdlib.h>
#include <string.h>

#include "bindings/bench_file.h"
#include "bindings/script.h"
#include "engine/acts.h"

#define BENCH_FILE_MOST (1024 * 1024)

/* "x60" -> 60; 0 for anything else. */
static double scale_of(const char *clock)
{
    char *end;
    if (clock[0] != 'x')
        return 0;
    double scale = strtod(clock + 1, &end);
    return *end == '\0' && scale >= 1 && scale <= 1e6 ? scale : 0;
}

static int decide_clock(struct logbook *logbook, const char *wanted, struct error *error)
{
    struct clock real;
    clock_open_real(&real);
    utc_us now = clock_utc(&real), latest = 0;
    if (logbook_latest(logbook, &latest, error))
        return error->code;
    utc_us origin = strcmp(wanted, "virtual") == 0 ? latest : now;
    return logbook_begin(logbook, error) ||
                   logbook_set_clock(logbook, wanted, origin, now, error) ||
                   logbook_commit(logbook, error)
               ? error->code
               : 0;
}

int clock_of_logbook(struct clock *clock, struct logbook *logbook, const char *wanted,
                     bool writable, struct error *error)
{
    if (wanted && strcmp(wanted, "real") != 0 && strcmp(wanted, "virtual") != 0 &&
        scale_of(wanted) == 0)
        return error_set(error, ERROR_USAGE, wanted, "say real, virtual, or xN such as x60",
                         "there is no such clock");
    const char *kept = logbook_clock(logbook);
    if (kept[0] && wanted && strcmp(kept, wanted) != 0)
        return error_set(error, ERROR_LOGBOOK, logbook_path(logbook),
                         "leave --clock out, or make another logbook",
                         "it keeps the clock \"%s\": simulated days and real ones never mix", kept);
    if (!kept[0] && writable) {
        if (decide_clock(logbook, wanted ? wanted : "real", error))
            return error->code;
        kept = logbook_clock(logbook);
    }
    utc_us origin = 0, real_origin = 0;
    if (strcmp(kept, "virtual") == 0) {
        if (logbook_latest(logbook, &origin, error))
            return error->code;
        clock_open_virtual(clock, origin);
    } else if (scale_of(kept) > 0) {
        if (logbook_clock_origin(logbook, &origin, &real_origin, error))
            return error->code;
        clock_open_scaled(clock, scale_of(kept), origin, real_origin);
    } else {
        clock_open_real(clock);
    }
    return 0;
}

int workplace_open(struct workplace *out, const struct arguments *arguments, struct error *error)
{
    *out = (struct workplace){.bench_name = ""};
    char path[600];
    snprintf(path, sizeof path, "%s-world", arguments->logbook);
    if (logbook_open(&out->logbook, arguments->logbook, LOGBOOK_WRITE, error) ||
        clock_of_logbook(&out->clock, out->logbook, argument(arguments, "clock"), true, error) ||
        world_open(&out->world, path, error)) {
        workplace_close(out);
        return error->code;
    }
    /* What happened to the simulated cells stays happened: time does not begin before it. */
    if (out->clock.face == CLOCK_VIRTUAL && world_latest(out->world) > clock_utc(&out->clock))
        clock_open_virtual(&out->clock, world_latest(out->world));
    world_make_safe(out->world, clock_utc(&out->clock));
    control_path(arguments->logbook, out->socket, sizeof out->socket);
    return 0;
}

int workplace_rehearsal(struct workplace *out, utc_us from, uint64_t seed, struct error *error)
{
    *out = (struct workplace){.bench_name = ""};
    struct logbook_birth birth = {.created = from, .seed = seed, .clock = "virtual"};
    if (logbook_open_memory(&out->logbook, &birth, error) || world_open(&out->world, NULL, error)) {
        workplace_close(out);
        return error->code;
    }
    clock_open_virtual(&out->clock, from);
    return 0;
}

int workplace_read_bench(struct workplace *workplace, const char *path, struct error *error)
{
    char *text = NULL;
    size_t length = 0;
    if (file_read(path, BENCH_FILE_MOST, &text, &length, error)) {
        error->code = ERROR_BENCH;
        return error->code;
    }
    sha256_hex(text, length, workplace->bench_hash);
    const char *slash = strrchr(path, '/');
    workplace->bench_name = slash ? slash + 1 : path;
    int code = bench_file_read(workplace->bench_name, text, length, &workplace->clock,
                               workplace->world, &workplace->bench, error);
    free(text);
    return code;
}

void workplace_close(struct workplace *workplace)
{
    bench_close(&workplace->bench);
    if (workplace->world)
        world_close(workplace->world);
    if (workplace->logbook)
        logbook_close(workplace->logbook);
    *workplace = (struct workplace){0};
}

int workplace_work(struct workplace *workplace, struct engine_options *options, struct error *error)
{
    struct engine *engine = NULL;
    options->logbook = workplace->logbook;
    options->clock = &workplace->clock;
    options->bench = &workplace->bench;
    options->scripts = lua_script_ops();
    options->bench_name = workplace->bench_name;
    options->bench_hash = workplace->bench_hash;
    options->socket = workplace->socket[0] ? workplace->socket : NULL;
    if (engine_open(&engine, options, error))
        return error->code;
    engine_work(engine, error);
    engine_close(engine);
    return error->code;
}

int change(const struct arguments *arguments, const json_t *request, json_t **reply,
           struct error *error)
{
    struct logbook *logbook = NULL;
    if (logbook_open(&logbook, arguments->logbook, LOGBOOK_WRITE, error)) {
        if (error->code != ERROR_BUSY)
            return error->code;
        char socket[600];
        error_clear(error);
        return control_send(control_path(arguments->logbook, socket, sizeof socket), request, reply,
                            error);
    }
    struct clock clock;
    if (!clock_of_logbook(&clock, logbook, NULL, false, error))
        act(logbook, NULL, lua_script_ops(), clock_utc(&clock), request, reply, error);
    logbook_close(logbook);
    return error->code;
}
