/* Sums from samples; gaps from interruptions. */
#include "account.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"

/* Between two rows of the thinned record the current may have moved by 2 % of the drive, or 1 mA,
 * without a row; each row is rounded to 1 uA. A constant current leaves only the rounding. */
#define UNSEEN_RATIO  0.02
#define UNSEEN_AMPERE 0.001
#define ROUNDING      1e-6

void interruption_add(struct interruptions *interruptions, const struct interruption *one)
{
    if (interruptions->count == interruptions->room) {
        interruptions->room = interruptions->room ? 2 * interruptions->room : 64;
        interruptions->list = xrealloc(interruptions->list,
                                       (size_t)interruptions->room * sizeof(*interruptions->list));
    }
    interruptions->list[interruptions->count++] = *one;
}

/* --- samples ---------------------------------------------------------------------------------- */

struct gap {
    utc_us from, to;
};

struct summing {
    sqlite3 *book;
    struct findings *findings;
    struct account_report *report;
    utc_us started;
    struct gap gap[512]; /* of this step, in order */
    int gaps;
    bool constant, any;
    int64_t t_us;   /* of the sample before */
    double current; /* A, the same */
    double charge, slack;
};

static void add_gap(void *context, sqlite3_stmt *row)
{
    struct summing *sum = context;
    if (sum->gaps == sizeof(sum->gap) / sizeof(sum->gap[0]))
        broken("a step has more gaps than there is room for");
    sum->gap[sum->gaps++] = (struct gap){sqlite3_column_int64(row, 0) - sum->started,
                                         sqlite3_column_int64(row, 1) - sum->started};
}

/* Time between two samples that a gap covers. */
static double unobserved(const struct summing *sum, int64_t from, int64_t to)
{
    int64_t us = 0;
    for (int i = 0; i < sum->gaps; i++) {
        int64_t begin = sum->gap[i].from > from ? sum->gap[i].from : from;
        int64_t end = sum->gap[i].to < to ? sum->gap[i].to : to;
        us += end > begin ? end - begin : 0;
    }
    return (double)us * 1e-6;
}

static void add_sample(void *context, sqlite3_stmt *row)
{
    struct summing *sum = context;
    int64_t t_us = sqlite3_column_int64(row, 0);
    double current = (double)sqlite3_column_int64(row, 1) * 1e-6;
    sum->report->samples++;
    if (sum->any) {
        double mean = (current + sum->current) / 2;
        double dt = (double)(t_us - sum->t_us) * 1e-6 - unobserved(sum, sum->t_us, t_us);
        sum->charge += mean * dt;
        sum->slack += dt * (sum->constant ? ROUNDING : fabs(mean) * UNSEEN_RATIO + UNSEEN_AMPERE);
    }
    sum->any = true;
    sum->t_us = t_us;
    sum->current = current;
}

static void sum_step(void *context, sqlite3_stmt *row)
{
    struct summing *sum = context;
    int64_t step = sqlite3_column_int64(row, 0);
    const char *kind = (const char *)sqlite3_column_text(row, 1);
    sum->started = sqlite3_column_int64(row, 2);
    sum->constant = sqlite3_column_int(row, 6);
    sum->gaps = 0;
    sum->any = false;
    sum->charge = sum->slack = 0;
    query_each(sum->book, add_gap, sum,
               "SELECT from_at, to_at FROM gap WHERE step = %lld ORDER BY from_at",
               (long long)step);
    query_each(sum->book, add_sample, sum,
               "SELECT microsecond, microampere, k FROM sample WHERE step = %lld UNION "
               "SELECT microsecond, microampere, k FROM recent WHERE step = %lld ORDER BY k",
               (long long)step, (long long)step);
    sum->report->steps++;
    sum->report->interrupted += sum->gaps > 0;
    sum->report->gaps += sum->gaps;
    sum->report->gap_time += sqlite3_column_double(row, 4);
    if (sqlite3_column_type(row, 3) == SQLITE_NULL)
        return;

    double charge = sqlite3_column_double(row, 3);
    double summed = strcmp(kind, "charge") == 0 ? sum->charge : -sum->charge;
    /* Since the last row kept, an open step may have gone on; and one that was stopped while no
     * engine lived had. */
    double behind = sqlite3_column_double(row, 5) - (double)sum->t_us * 1e-6;
    double slack = sum->slack + 1e-5;
    if (sqlite3_column_int(row, 7) && behind > 0)
        slack += behind * fabs(sum->current) * (1 + UNSEEN_RATIO) + behind * UNSEEN_AMPERE;
    if (!(fabs(charge - summed) <= slack))
        found(sum->findings, "sums",
              "step %lld, a %s: %.6f A.s on record, its samples come to %.6f A.s, and may be off "
              "by %.6f A.s",
              (long long)step, kind, charge, summed, slack);
    if (charge > 1 && fabs(charge - summed) / charge > sum->report->worst_charge &&
        !sqlite3_column_int(row, 7))
        sum->report->worst_charge = fabs(charge - summed) / charge;
}

void account_samples(sqlite3 *book, struct findings *findings, struct account_report *report)
{
    struct summing *sum = xcalloc(1, sizeof(*sum));
    sum->book = book;
    sum->findings = findings;
    sum->report = report;
    *report = (struct account_report){0};
    query_each(
        book, sum_step, sum,
        "SELECT id, kind, started_at, charge, gap_time, (at - started_at) / 1e6, "
        "plan ->> '$.current' IS NOT NULL AND plan ->> '$.ceiling' IS NULL, "
        "ended_at IS NULL OR ended_by = 'stopped' FROM step JOIN outcome ON outcome.step = id");
    free(sum);
}

/* --- gaps ------------------------------------------------------------------------------------- */

struct covering {
    sqlite3 *book;
    struct findings *findings;
    const struct interruptions *interruptions;
    utc_us slack;
};

static void cover_step(void *context, sqlite3_stmt *row)
{
    const struct covering *covering = context;
    int64_t step = sqlite3_column_int64(row, 0), run = sqlite3_column_int64(row, 3);
    utc_us started = sqlite3_column_int64(row, 1), ended = sqlite3_column_int64(row, 2);
    for (int i = 0; i < covering->interruptions->count; i++) {
        const struct interruption *one = &covering->interruptions->list[i];
        utc_us from = one->from - covering->slack, to = one->to + covering->slack;
        if (!one->sure || (one->run && one->run != run) || from <= started || to >= ended)
            continue;
        if (!query_number(covering->book,
                          "SELECT count(*) FROM gap WHERE step = %lld AND from_at <= %lld "
                          "AND to_at >= %lld",
                          (long long)step, (long long)to, (long long)from))
            found(covering->findings, "gaps",
                  "step %lld was interrupted %.3f s after its start, and no gap says so",
                  (long long)step, (double)(one->from - started) * 1e-6);
    }
}

static void explain_gap(void *context, sqlite3_stmt *row)
{
    const struct covering *covering = context;
    utc_us gap_from = sqlite3_column_int64(row, 1), gap_to = sqlite3_column_int64(row, 2);
    int64_t run = sqlite3_column_int64(row, 4);
    for (int i = 0; i < covering->interruptions->count; i++) {
        const struct interruption *one = &covering->interruptions->list[i];
        if ((!one->run || one->run == run) && one->to + covering->slack >= gap_from &&
            one->from - covering->slack <= gap_to)
            return;
    }
    found(covering->findings, "gaps", "step %lld has a gap of %.3f s (%s) that nothing explains",
          (long long)sqlite3_column_int64(row, 0), (double)(gap_to - gap_from) * 1e-6,
          (const char *)sqlite3_column_text(row, 3));
}

void account_gaps(sqlite3 *book, const struct interruptions *interruptions, utc_us slack,
                  struct findings *findings)
{
    struct covering covering = {book, findings, interruptions, slack};
    query_each(book, cover_step, &covering,
               "SELECT id, started_at, ended_at, run FROM step JOIN outcome ON outcome.step = id "
               "WHERE ended_at IS NOT NULL AND ended_by <> 'stopped'");
    query_each(book, explain_gap, &covering,
               "SELECT step, from_at, to_at, why, run FROM gap JOIN step ON step.id = gap.step");
}
