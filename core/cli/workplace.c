/* Putting a workplace together, and making changes with or without an engine. */
#include "cli/workplace.h"

#include <stdlib.h>
#include <string.h>

#include "base/descriptors.h"
#include "bench/guardian.h"
#include "bench/instrument.h"
#include "bindings/script.h"
#include "engine/acts.h"
#include "link/loop.h"

#define BENCH_FILE_MOST (1024 * 1024)
/* s that instruments are given to come up before work begins. */
#define REACH_PATIENCE 10.0
/* Open files beside one for each instrument, which is the least that a link needs. */
#define FILES_OF_ITS_OWN 32

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

int clock_is_known(const char *wanted, struct error *error)
{
    if (wanted && strcmp(wanted, "real") != 0 && strcmp(wanted, "virtual") != 0 &&
        scale_of(wanted) == 0)
        return error_set(error, ERROR_USAGE, wanted, "say real, virtual, or xN such as x60",
                         "there is no such clock");
    return 0;
}

int clock_of_logbook(struct clock *clock, struct logbook *logbook, const char *wanted,
                     bool writable, struct error *error)
{
    if (clock_is_known(wanted, error))
        return error->code;
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
    *out = (struct workplace){.bench_name = "", .uv_loop = loop_new()};
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

int workplace_rehearsal(struct workplace *out, utc_us from, const char *zone, uint64_t seed,
                        struct error *error)
{
    *out = (struct workplace){.bench_name = ""};
    struct logbook_birth birth = {.created = from, .seed = seed, .clock = "virtual", .zone = zone};
    if (logbook_open_memory(&out->logbook, &birth, error) || world_open(&out->world, NULL, error)) {
        workplace_close(out);
        return error->code;
    }
    clock_open_virtual(&out->clock, from);
    return 0;
}

static void tell(void *owner, const char *name, const char *level, const char *text)
{
    (void)owner;
    if (strcmp(level, "info") != 0)
        fprintf(stderr, "%s: %s\n", name, text);
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
    string_copy(workplace->bench_folder, sizeof workplace->bench_folder, slash ? path : "");
    if (slash && (size_t)(slash - path) < sizeof workplace->bench_folder)
        workplace->bench_folder[slash - path] = '\0';
    workplace->access.uv_loop = workplace->uv_loop;
    workplace->access.folder = workplace->bench_folder;
    workplace->access.tell = tell;
    if (workplace->uv_loop)
        workplace->access.guardian = workplace->guardian = guardian_open(0);
    int code = bench_file_read(workplace->bench_name, text, length, &workplace->clock,
                               workplace->world, &workplace->access, &workplace->bench, error);
    workplace->bench.guardian = workplace->guardian;
    free(text);
    if (code || !workplace->bench.instrument_count)
        return code;
    return descriptors_need(workplace->bench.instrument_count + FILES_OF_ITS_OWN,
                            workplace->bench_name, error);
}

void workplace_close(struct workplace *workplace)
{
    bench_close(&workplace->bench);
    guardian_close(workplace->guardian);
    if (workplace->uv_loop)
        loop_free(workplace->uv_loop);
    if (workplace->world)
        world_close(workplace->world);
    if (workplace->logbook)
        logbook_close(workplace->logbook);
    *workplace = (struct workplace){0};
}

static int reach(struct workplace *workplace, struct error *error)
{
    struct bench *bench = &workplace->bench;
    if (!bench_reach(bench, REACH_PATIENCE))
        return 0;
    for (int i = 0; i < bench->instrument_count; i++) {
        const struct instrument *instrument = bench->instruments[i];
        if (instrument_state(instrument) == INSTRUMENT_READY)
            continue;
        if (instrument_trouble(instrument)->code)
            *error = *instrument_trouble(instrument);
        else
            error_set(error, ERROR_BENCH, instrument_name(instrument),
                      "see that it is on and its cable is in", "it is still %s after %g s at %s",
                      instrument_state_name(instrument_state(instrument)), REACH_PATIENCE,
                      instrument_place(instrument));
        break;
    }
    return ERROR_BENCH;
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
    options->uv_loop = workplace->uv_loop;
    /* It watches over instruments: a simulated bench need not beat in every pass. */
    options->guardian = workplace->bench.instrument_count ? workplace->guardian : NULL;
    /* Who waits for the end of this is told what is missing. An engine that is to work for months
     * begins with what is there. */
    if (reach(workplace, error) && (options->until_idle || options->until_run))
        return error->code;
    error_clear(error);
    if (engine_open(&engine, options, error))
        return error->code;
    engine_work(engine, error);
    engine_close(engine);
    return error->code;
}

json_t *answer_request(const struct arguments *arguments, int64_t question, const char *typed)
{
    const char *who = argument(arguments, "who");
    if (!who)
        who = getenv("USER");
    return json_pack("{s:s, s:I, s:s, s:s}", "act", "answer", "question", (json_int_t)question,
                     "answer", typed, "who", who ? who : "");
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
