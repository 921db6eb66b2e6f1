/* The writer's side: stands between the engine and the logbook. */
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/text.h"
#include "cut_facts.h"
#include "cut_hash.h"
#include "logbook/facts.h"
#include "logbook/runs.h"
#include "logbook/steps.h"

static int pipe_end = -1;
static struct facts written; /* since the last commit */

void facts_tell(int fd)
{
    pipe_end = fd;
}

static void keep(enum fact_kind kind, int64_t a, int64_t b, int64_t c, uint64_t hash)
{
    if (pipe_end < 0)
        return;
    if (written.count == written.room) {
        written.room = written.room == 0 ? 256 : 2 * written.room;
        written.fact = xrealloc(written.fact, written.room * sizeof *written.fact);
    }
    written.fact[written.count++] = (struct fact){kind, a, b, c, hash};
}

static void acknowledge(void)
{
    keep(FACT_COMMIT, 0, 0, 0, 0);
    const char *at = (const char *)written.fact;
    size_t left = written.count * sizeof *written.fact;
    while (pipe_end >= 0 && left > 0) {
        ssize_t count = write(pipe_end, at, left);
        if (count <= 0)
            abort();
        at += count;
        left -= (size_t)count;
    }
    written.count = 0;
}

/* --- transactions ----------------------------------------------------------------------------- */

/* The linker's names for what was wrapped and what stands in its place. */
#define WRAPPED(name, ...) __real_##name(__VA_ARGS__), __wrap_##name(__VA_ARGS__)

int WRAPPED(logbook_commit, struct logbook *logbook, struct error *error);
void WRAPPED(logbook_rollback, struct logbook *logbook);

int __wrap_logbook_commit(struct logbook *logbook, struct error *error)
{
    int failed = __real_logbook_commit(logbook, error);
    if (!failed)
        acknowledge();
    else
        written.count = 0;
    return failed;
}

void __wrap_logbook_rollback(struct logbook *logbook)
{
    written.count = 0;
    __real_logbook_rollback(logbook);
}

/* --- what is written -------------------------------------------------------------------------- */

int WRAPPED(logbook_add_samples, struct logbook *logbook, int64_t step, int64_t k,
            const struct sample *samples, int count, struct error *error);
int WRAPPED(logbook_journal_intent, struct logbook *logbook, int64_t run, int segment,
            const struct journal_entry *entry, struct error *error);
int WRAPPED(logbook_journal_outcome, struct logbook *logbook, int64_t run, int segment, int64_t n,
            const char *outcome, utc_us at, struct error *error);
int WRAPPED(logbook_add_result, struct logbook *logbook, const struct result_record *result,
            struct error *error);
int WRAPPED(logbook_add_step, struct logbook *logbook, struct step_record *record,
            struct error *error);
int WRAPPED(logbook_checkpoint_step, struct logbook *logbook, int64_t step,
            const struct step_sums *sums, const char *progress, utc_us at, struct error *error);
int WRAPPED(logbook_end_step, struct logbook *logbook, int64_t step, const struct step_sums *sums,
            utc_us at, struct error *error);
int WRAPPED(logbook_add_gap, struct logbook *logbook, int64_t step, utc_us from, utc_us to,
            const char *why, struct error *error);
int WRAPPED(logbook_add_event, struct logbook *logbook, utc_us at, int64_t run, int64_t step,
            const char *level, const char *text, struct error *error);
int WRAPPED(logbook_set_run_state, struct logbook *logbook, int64_t id, enum run_state state,
            utc_us at, const char *why, struct error *error);
int WRAPPED(logbook_set_run_segment, struct logbook *logbook, int64_t id, int segment,
            const char *state, utc_us at, struct error *error);

int __wrap_logbook_add_samples(struct logbook *logbook, int64_t step, int64_t k,
                               const struct sample *samples, int count, struct error *error)
{
    int failed = __real_logbook_add_samples(logbook, step, k, samples, count, error);
    for (int i = 0; i < count && !failed; i++)
        keep(FACT_SAMPLE, step, k + i, 0,
             hash_sample(samples[i].t_us, llround(samples[i].voltage * 1e6),
                         llround(samples[i].current * 1e6)));
    return failed;
}

int __wrap_logbook_journal_intent(struct logbook *logbook, int64_t run, int segment,
                                  const struct journal_entry *entry, struct error *error)
{
    int failed = __real_logbook_journal_intent(logbook, run, segment, entry, error);
    if (!failed)
        keep(FACT_INTENT, run, segment, entry->n,
             hash_text(hash_text(HASH_BASIS, entry->name), entry->args));
    return failed;
}

int __wrap_logbook_journal_outcome(struct logbook *logbook, int64_t run, int segment, int64_t n,
                                   const char *outcome, utc_us at, struct error *error)
{
    int failed = __real_logbook_journal_outcome(logbook, run, segment, n, outcome, at, error);
    if (!failed)
        keep(FACT_OUTCOME, run, segment, n, hash_integer(hash_text(HASH_BASIS, outcome), at));
    return failed;
}

int __wrap_logbook_add_result(struct logbook *logbook, const struct result_record *result,
                              struct error *error)
{
    int failed = __real_logbook_add_result(logbook, result, error);
    if (!failed)
        keep(FACT_RESULT, result->run, result->segment, result->n,
             hash_real(hash_text(HASH_BASIS, result->name), result->value));
    return failed;
}

int __wrap_logbook_add_step(struct logbook *logbook, struct step_record *record,
                            struct error *error)
{
    int failed = __real_logbook_add_step(logbook, record, error);
    if (!failed)
        keep(FACT_STEP, record->id, 0, 0,
             hash_integer(hash_text(HASH_BASIS, record->kind), record->run));
    return failed;
}

int __wrap_logbook_checkpoint_step(struct logbook *logbook, int64_t step,
                                   const struct step_sums *sums, const char *progress, utc_us at,
                                   struct error *error)
{
    int failed = __real_logbook_checkpoint_step(logbook, step, sums, progress, at, error);
    if (!failed)
        keep(FACT_CHECKPOINT, step, at, 0, hash_real(HASH_BASIS, sums->charge));
    return failed;
}

int __wrap_logbook_end_step(struct logbook *logbook, int64_t step, const struct step_sums *sums,
                            utc_us at, struct error *error)
{
    int failed = __real_logbook_end_step(logbook, step, sums, at, error);
    if (!failed)
        keep(FACT_END, step, 0, 0,
             hash_real(hash_text(hash_integer(HASH_BASIS, at), sums->ended_by), sums->charge));
    return failed;
}

int __wrap_logbook_add_gap(struct logbook *logbook, int64_t step, utc_us from, utc_us to,
                           const char *why, struct error *error)
{
    int failed = __real_logbook_add_gap(logbook, step, from, to, why, error);
    if (!failed)
        keep(FACT_GAP, step, from, 0, hash_integer(hash_text(HASH_BASIS, why), to));
    return failed;
}

int __wrap_logbook_add_event(struct logbook *logbook, utc_us at, int64_t run, int64_t step,
                             const char *level, const char *text, struct error *error)
{
    int failed = __real_logbook_add_event(logbook, at, run, step, level, text, error);
    if (!failed)
        keep(FACT_EVENT, at, run, 0, hash_text(HASH_BASIS, text));
    return failed;
}

int __wrap_logbook_set_run_state(struct logbook *logbook, int64_t id, enum run_state state,
                                 utc_us at, const char *why, struct error *error)
{
    int failed = __real_logbook_set_run_state(logbook, id, state, at, why, error);
    if (!failed && (state == RUN_DONE || state == RUN_FAILED || state == RUN_STOPPED))
        keep(FACT_OVER, id, 0, 0, hash_text(HASH_BASIS, run_state_name(state)));
    return failed;
}

int __wrap_logbook_set_run_segment(struct logbook *logbook, int64_t id, int segment,
                                   const char *state, utc_us at, struct error *error)
{
    int failed = __real_logbook_set_run_segment(logbook, id, segment, state, at, error);
    if (!failed)
        keep(FACT_SEGMENT, id, segment, 0, hash_text(HASH_BASIS, state));
    return failed;
}
