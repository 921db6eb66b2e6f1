/* perdure audit: proves the logbook. perdure backup: copies it while it is in use. */
#include <inttypes.h>
#include <stdio.h>

#include "bindings/script.h"
#include "cli/cli.h"
#include "engine/audit.h"
#include "logbook/facts.h"

static void show(const struct arguments *arguments, const struct audit *a, json_t *channels)
{
    if (arguments->json) {
        json_t *whole =
            json_pack("{s:I, s:I, s:I, s:I, s:I, s:f, s:O, s:O}", "steps", (json_int_t)a->steps,
                      "steps_typed", (json_int_t)a->typed, "samples", (json_int_t)a->samples,
                      "runs", (json_int_t)a->runs, "entries_replayed", (json_int_t)a->entries,
                      "worst_charge_difference", a->worst_charge, "findings", a->findings,
                      "channels", channels);
        print_json(whole);
        json_decref(whole);
        return;
    }
    size_t i;
    json_t *text;
    json_array_foreach(a->findings, i, text)
    {
        puts(json_string_value(text));
    }
    char typed[100] = "";
    if (a->typed)
        snprintf(typed, sizeof typed, "%" PRId64 " step%s by hand with nothing to recompute, ",
                 a->typed, a->typed == 1 ? "" : "s");
    printf("audit: %" PRId64 " step%s recomputed from %" PRId64
           " samples (worst charge difference %.2g), %s%" PRId64 " run%s and %" PRId64
           " journal entries replayed: %zu finding%s\n",
           a->steps, a->steps == 1 ? "" : "s", a->samples, a->worst_charge, typed, a->runs,
           a->runs == 1 ? "" : "s", a->entries, json_array_size(a->findings),
           json_array_size(a->findings) == 1 ? "" : "s");
}

static int run_audit(const struct arguments *arguments, struct error *error)
{
    struct logbook *logbook = NULL;
    struct audit found = {0};
    json_t *channels = NULL;
    if (logbook_open(&logbook, arguments->logbook, LOGBOOK_READ, error))
        return error->code;
    if (!audit(logbook, lua_script_ops(), &found, error) &&
        !logbook_list(logbook, LIST_CHANNELS, NULL, &channels, error)) {
        show(arguments, &found, channels);
        if (json_array_size(found.findings))
            error_set(error, ERROR_FAILED, arguments->logbook,
                      "keep the file as it is and look at each finding",
                      "the audit has %zu findings", json_array_size(found.findings));
    }
    json_decref(channels);
    json_decref(found.findings);
    logbook_close(logbook);
    return error->code;
}

static int run_backup(const struct arguments *arguments, struct error *error)
{
    struct logbook *logbook = NULL;
    if (logbook_open(&logbook, arguments->logbook, LOGBOOK_READ, error))
        return error->code;
    if (!logbook_backup(logbook, arguments->word[0], error) && !arguments->json)
        printf("copied to %s\n", arguments->word[0]);
    else if (!error->code)
        puts("{\"done\": true}");
    logbook_close(logbook);
    return error->code;
}

const struct verb verb_audit = {
    "audit",
    "",
    0,
    0,
    "proves the logbook: every charge from its samples, every journal replayed",
    NULL,
    run_audit};
const struct verb verb_backup = {
    "backup", "FILE",    1, 1, "copies the logbook, also while an engine works on it",
    NULL,     run_backup};
