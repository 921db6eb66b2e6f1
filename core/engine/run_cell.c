/* The cell in the channel, and the person who handles it: asked to put the cell in before a run
 * starts, and to look at it when what the channel reads cannot be this cell.
 *
 * These questions are the engine's own, no script asks for them: they stand in the journal under
 * numbers that no script comes to (logbook_journal_own), so a replay does not meet them and a
 * restart finds them again. While one is open nothing is driven. */
#include <inttypes.h>
#include <math.h>
#include <string.h>

#include "bench/by_hand.h"
#include "engine/engine_internal.h"

/* Sizes of this project's own choice. */
#define REVERSED   -0.05 /* V; nearer to zero it may be a meter's offset */
#define EMPTY      0.05  /* V; a meter on open leads */
#define ROOM_ABOVE 0.05  /* V over the most that a cell of this chemistry stands at */
#define ROOM_SAME  0.25  /* of the nominal voltage: how far a cell's own may move over a gap */

/* --- asking ----------------------------------------------------------------------------------- */

static void ask_own(struct live_run *run, const char *name, const char *words)
{
    struct engine *engine = run->engine;
    struct text args = TEXT_EMPTY, expects = TEXT_EMPTY;
    text_addf(&args, "{\"channel\":\"%s\"", run->channel->name);
    if (run->step)
        text_addf(&args, ",\"entry\":%" PRId64, run->journal.n);
    text_add(&args, "}");
    text_addf(&expects, "{\"kind\":\"label\",\"label\":\"%s\",\"channel\":\"%s\"}", run->cell.label,
              run->channel->name);
    struct journal_entry entry = {
        .name = name, .args = args.bytes, .intent_at = clock_utc(engine->options.clock)};
    engine_write(engine);
    logbook_journal_own(engine->options.logbook, run->record.id, run->record.segment, &entry,
                        &run->own_n, engine_error(engine));
    run->asks_own = true;
    run->phase = LIVE_ASKING;
    perform_ask(run, run->own_n, words, expects.bytes);
    text_free(&args);
    text_free(&expects);
}

bool cell_asked(struct live_run *run)
{
    struct engine *engine = run->engine;
    int64_t n = 1;
    if (run->channel->simulated ||
        logbook_journal_own_open(engine->options.logbook, run->record.id, run->record.segment, &n,
                                 engine_error(engine)) ||
        n > 0)
        return false;
    run->asks_own = true;
    run->own_n = n;
    run->phase = LIVE_ASKING;
    perform_answered(run);
    return true;
}

void cell_answered(struct live_run *run, const char *answer)
{
    struct engine *engine = run->engine;
    engine_write(engine);
    logbook_journal_outcome(engine->options.logbook, run->record.id, run->record.segment,
                            run->own_n, answer, clock_utc(engine->options.clock),
                            engine_error(engine));
    run->asks_own = false;
    run->vouched = true;
    if (run->step)
        run_step_go_on(run);
    else
        run_start(run);
}

/* --- putting it in ---------------------------------------------------------------------------- */

/* "slot 1 of the charger (H1)" */
static void add_place(const struct live_run *run, struct text *out)
{
    const char *name = run->channel->name, *title = channel_title(run->channel);
    text_add(out, title);
    if (title != name)
        text_addf(out, " (%s)", name);
}

bool cell_ask_for(struct live_run *run)
{
    struct engine *engine = run->engine;
    struct logbook *logbook = engine->options.logbook;
    bool placed = false;
    char where[32];
    if (!run->channel || run->channel->simulated)
        return false;
    if (cell_asked(run))
        return true;
    if ((run->channel->placed || engine->options.placed) && !run->moved)
        return false;
    if (logbook_where_is_cell(logbook, run->record.id, where, engine_error(engine)) ||
        logbook_cell_is_placed(logbook, run->record.id, &placed, engine_error(engine)))
        return true; /* the pass meets the trouble */
    if (!run->moved && (placed || strcmp(where, run->channel->name) == 0))
        return false;
    struct text words = TEXT_EMPTY;
    text_addf(&words, "Put %s into ", run->cell.label);
    add_place(run, &words);
    text_add(&words, ", + to +: a cell the wrong way round can vent or leak.");
    ask_own(run, "insert", words.bytes);
    text_free(&words);
    return true;
}

/* --- looking at it ---------------------------------------------------------------------------- */

static enum step_guard judge(const struct live_run *run, double voltage)
{
    const struct step *step = run->step;
    if (!isfinite(voltage))
        return GUARD_IMPOSSIBLE;
    if (voltage < REVERSED)
        return GUARD_REVERSED;
    if (voltage < step->present_least)
        return GUARD_MISSING;
    return voltage > step->limits.voltage_most + ROOM_ABOVE ? GUARD_OVER_VOLTAGE : GUARD_NONE;
}

/* A step that goes on after a gap: the cell stands about where it stood. */
static bool another_cell(const struct live_run *run, double voltage)
{
    const struct step *step = run->step;
    return step->row_count && !run->vouched &&
           fabs(voltage - step->last.voltage) > ROOM_SAME * run->cell.profile->nominal_voltage;
}

static void say_wrong(const struct live_run *run, enum step_guard guard, double voltage,
                      struct text *out)
{
    const char *label = run->cell.label;
    const struct profile *profile = run->cell.profile;
    text_addf(out, "%s reads %.3f V: ", run->channel->name, voltage);
    if (guard == GUARD_REVERSED)
        text_addf(out,
                  "%s looks reversed, and a reversed cell can vent or leak. The output is off: "
                  "let a hot cell cool, then put it in the right way round",
                  label);
    else if (guard == GUARD_MISSING && voltage < EMPTY)
        text_addf(out, "the slot looks empty. The output is off: put %s in, + to +", label);
    else if (guard == GUARD_MISSING)
        text_addf(out,
                  "too little for a sound %s cell (%.2f V or more). The output is off: see that "
                  "it is %s and that its contacts are clean",
                  profile->chemistry, run->step->present_least, label);
    else if (guard == GUARD_OVER_VOLTAGE)
        text_addf(out,
                  "too much for a %s cell here (%.2f V or less). The output is off: see that it is "
                  "%s and no cell of another chemistry",
                  profile->chemistry, run->step->limits.voltage_most, label);
    else
        text_addf(out,
                  "%s stood at %.3f V when it was last looked at. The output is off: see that it "
                  "is still %s",
                  label, run->step->last.voltage, label);
    text_addf(out, ". Then scan its label or answer yes; or stop the run: perdure stop %" PRId64,
              run->record.id);
}

bool cell_is_wrong(struct live_run *run, const struct reading *reading, enum step_guard *guard)
{
    struct text words = TEXT_EMPTY;
    *guard = judge(run, reading->voltage);
    if (run->channel->simulated || *guard == GUARD_IMPOSSIBLE)
        return false;
    if (*guard == GUARD_NONE && !another_cell(run, reading->voltage))
        return false;
    say_wrong(run, *guard, reading->voltage, &words);
    ask_own(run, *guard == GUARD_NONE ? "recognise" : "look", words.bytes);
    text_free(&words);
    return true;
}
