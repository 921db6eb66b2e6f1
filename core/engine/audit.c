/* The audit of a logbook. */
#include "engine/audit.h"

#include <inttypes.h>
#include <math.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

#include "base/rows.h"
#include "base/text.h"
#include "engine/replay.h"
#include "logbook/facts.h"
#include "logbook/runs.h"
#include "logbook/steps.h"

/* The record is thinned: between two rows the current may have moved by what did not make a row (2
 * % of the drive, but at least 1 mA; see step_plan_init), and each row is rounded to 1 uA. */
#define UNSEEN_RATIO  0.02
#define UNSEEN_AMPERE 0.001

static void finding(struct audit *audit, const char *format, ...)
    __attribute__((format(printf, 2, 3)));

static void finding(struct audit *audit, const char *format, ...)
{
    char text[1024];
    va_list list;
    va_start(list, format);
    vsnprintf(text, sizeof text, format, list);
    va_end(list);
    json_array_append_new(audit->findings, json_string(text));
}

/* --- steps ------------------------------------------------------------------------------------ */

struct stretch {
    double from, to; /* s from the step's start */
};

struct sums {
    double charge, slack; /* A.s, signed; what thinning may hide */
    double seen;          /* s that the samples span, without gaps */
    int64_t count, next;
    bool hole;
    struct sample last;
    struct stretch *gaps;       /* of this step, in their order; owned */
    size_t gap_count, gap_next; /* those before gap_next ended before the last sample */
};

static int read_gaps(struct sums *sums, struct logbook *logbook, int64_t step, struct error *error)
{
    struct listing_filter filter = {.step = step};
    json_t *rows = NULL, *row;
    size_t i;
    if (logbook_list(logbook, LIST_GAPS, &filter, &rows, error))
        return error->code;
    sums->gap_count = json_array_size(rows);
    sums->gaps = sums->gap_count ? xcalloc(sums->gap_count, sizeof *sums->gaps) : NULL;
    json_array_foreach(rows, i, row)
    {
        sums->gaps[i] = (struct stretch){json_number_value(json_object_get(row, "from_s")),
                                         json_number_value(json_object_get(row, "to_s"))};
    }
    json_decref(rows);
    return 0;
}

/* Nothing is integrated over a stretch that was not observed. */
static bool in_gap(struct sums *sums, const struct sample *a, const struct sample *b)
{
    const double from = (double)a->t_us / 1e6, to = (double)b->t_us / 1e6;
    while (sums->gap_next < sums->gap_count && sums->gaps[sums->gap_next].to < from - 1e-6)
        sums->gap_next++;
    for (size_t i = sums->gap_next; i < sums->gap_count && sums->gaps[i].from < to; i++)
        if (from <= sums->gaps[i].from + 1e-6 && to >= sums->gaps[i].to - 1e-6)
            return true;
    return false;
}

static int add_sample(void *context, int64_t k, const struct sample *sample)
{
    struct sums *sums = context;
    sums->hole |= k != sums->next;
    sums->next = k + 1;
    if (sums->count++ && !(sums->gap_count && in_gap(sums, &sums->last, sample))) {
        double dt = (double)(sample->t_us - sums->last.t_us) / 1e6;
        double mean = (sample->current + sums->last.current) / 2;
        sums->charge += mean * dt;
        sums->slack += dt * (fabs(mean) * UNSEEN_RATIO + UNSEEN_AMPERE);
        sums->seen += dt;
    }
    sums->last = *sample;
    return 0;
}

/* The sums of an open step, or of one that was stopped while no engine was at work, go on to its
 * latest reading, which was no row yet. */
static void add_rest(struct sums *sums, const json_t *row)
{
    const char *ended_by = json_string_value(json_object_get(row, "ended_by"));
    double span = json_number_value(json_object_get(row, "duration_s")) - sums->seen;
    if ((ended_by && strcmp(ended_by, "stopped") != 0) || !(span > 0))
        return;
    sums->charge += sums->last.current * span;
    sums->slack += span * (fabs(sums->last.current) * UNSEEN_RATIO + UNSEEN_AMPERE);
}

static int audit_step(struct audit *audit, struct logbook *logbook, const json_t *row,
                      struct error *error)
{
    int64_t step = json_integer_value(json_object_get(row, "step"));
    const json_t *charge = json_object_get(row, "charge_Ah");
    struct sums sums = {.gaps = NULL};
    int code = read_gaps(&sums, logbook, step, error);
    if (!code)
        code = logbook_samples(logbook, step, add_sample, &sums, error);
    free(sums.gaps);
    if (code)
        return code;
    if (!sums.count && strcmp(row_text(row, "how"), "by hand") == 0)
        audit->typed++;
    else
        audit->steps++;
    audit->samples += sums.count;
    if (sums.hole)
        finding(audit, "step %" PRId64 ": its samples are not numbered without a hole", step);
    if (!json_is_number(charge) || !sums.count)
        return 0;
    add_rest(&sums, row);
    double on_record = json_number_value(charge) * 3600;
    double difference = fabs(fabs(sums.charge) - on_record);
    if (on_record > 1 && difference / on_record > audit->worst_charge)
        audit->worst_charge = difference / on_record;
    if (difference > sums.slack + 1e-3)
        finding(audit, "step %" PRId64 ": %.6f Ah on record, but its samples come to %.6f Ah", step,
                on_record / 3600, fabs(sums.charge) / 3600);
    return 0;
}

struct auditing {
    struct audit *audit;
    struct logbook *logbook;
    struct error *error;
};

static int visit_step(void *context, json_t *row)
{
    struct auditing *auditing = context;
    return audit_step(auditing->audit, auditing->logbook, row, auditing->error);
}

int audit_charges(struct audit *audit, struct logbook *logbook, struct error *error)
{
    struct auditing auditing = {audit, logbook, error};
    logbook_each(logbook, LIST_STEPS, NULL, visit_step, &auditing, error);
    return error->code;
}

/* --- runs ------------------------------------------------------------------------------------- */

static int audit_text(struct audit *audit, struct logbook *logbook, const char *hash,
                      struct error *error)
{
    char *text = NULL, found[SHA256_HEX];
    size_t length = 0;
    if (logbook_script(logbook, hash, &text, &length, error))
        return error->code;
    sha256_hex(text, length, found);
    free(text);
    audit->scripts++;
    if (strcmp(found, hash) != 0)
        finding(audit, "script %.12s: its text now has the hash %.12s", hash, found);
    return 0;
}

static int audit_run(struct audit *audit, struct logbook *logbook, const struct script_ops *scripts,
                     int64_t run, struct error *error)
{
    struct run_record record = {0};
    struct replay_report report;
    struct error difference;
    if (logbook_run(logbook, run, &record, error))
        return error->code;
    int code = audit_text(audit, logbook, record.script_hash, error);
    const bool imported = strcmp(record.kind, "import") == 0; /* its script is a map: no replay */
    run_record_free(&record);
    if (code)
        return code;
    audit->runs++;
    if (imported)
        return 0;
    if (replay_dry(logbook, scripts, run, NULL, &report, &difference))
        finding(audit, "run %" PRId64 ": %s: %s", run, difference.what, difference.why);
    audit->entries += report.replayed;
    return 0;
}

int audit(struct logbook *logbook, const struct script_ops *scripts, struct audit *out,
          struct error *error)
{
    *out = (struct audit){.findings = json_array()};
    struct error broken;
    error_clear(&broken);
    if (logbook_check(logbook, &broken))
        finding(out, "%s: %s", broken.what, broken.why);
    if (audit_charges(out, logbook, error))
        return error->code;

    json_t *rows = NULL, *row;
    size_t i;
    if (logbook_list(logbook, LIST_RUNS, &(struct listing_filter){0}, &rows, error))
        return error->code;
    json_array_foreach(rows, i, row)
    {
        if (audit_run(out, logbook, scripts, json_integer_value(json_object_get(row, "run")),
                      error))
            break;
    }
    json_decref(rows);
    return error->code;
}
