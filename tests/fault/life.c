/* The life and death of one engine. */
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "round.h"
#include "shape.h"

static double draw_us(struct round *round, double low_ms, double high_ms)
{
    double ms = low_ms + random_unit(&round->random) * (high_ms - low_ms);
    return ms * 1e3 * round->settings->slow;
}

/* --- what is looked at after a death ---------------------------------------------------------- */

static int cell_of(const char *label)
{
    for (int i = 0; i < CELLS; i++)
        if (strcmp(scene_label(i), label) == 0)
            return i;
    broken("a cell %s that was never enrolled has a run", label);
}

static void note_open(void *context, sqlite3_stmt *row)
{
    struct round *round = context;
    struct open_run *run = &round->open[round->open_count++];
    if (round->open_count == (int)(sizeof(round->open) / sizeof(round->open[0])))
        broken("more open runs than cells");
    run->id = sqlite3_column_int64(row, 0);
    run->cell = cell_of((const char *)sqlite3_column_text(row, 1));
    run->paused = strcmp((const char *)sqlite3_column_text(row, 2), "paused") == 0;
    round->busy[run->cell] = true;
}

static void look_at_runs(struct round *round, sqlite3 *book)
{
    round->open_count = 0;
    memset(round->busy, 0, sizeof(round->busy));
    query_each(book, note_open, round,
               "SELECT run.id, label, state FROM run JOIN cell ON cell.id = cell "
               "WHERE ended_at IS NULL ORDER BY run.id");
}

void check_now(struct round *round, bool whole)
{
    struct scene *scene = &round->scene;
    struct findings *findings = round->findings;
    double began = seconds_now();
    int before = findings->count;
    scene_copy(scene);
    sqlite3 *book = query_open(scene->check);
    if (!book) {
        found(findings, "file", "%s cannot be opened", scene->logbook);
        return;
    }
    query_sound(book, findings, whole ? "integrity_check" : "quick_check");
    if (findings->count == before) {
        struct truth_report truth = {0};
        struct account_report account = {0};
        query_none(book, findings, "file", "SELECT * FROM pragma_foreign_key_check");
        ledger_compare(round->ledger, scene->check, findings);
        shape_check(book, findings);
        truth_check(book, scene->check_world, findings, &truth);
        account_samples(book, findings, &account);
        promises_check(&round->promises, book, scene->check_world, findings);
        look_at_runs(round, book);
    }
    sqlite3_close(book);
    if (seconds_now() - began > round->worst_check)
        round->worst_check = seconds_now() - began;
}

/* --- dying ------------------------------------------------------------------------------------ */

/* Takes notice of all that can be seen, then kills at once. */
static void die(struct round *round, struct process *engine, bool look, bool politely)
{
    bool pinned = look && ledger_pin(round->ledger, round->scene.logbook);
    struct interruption interruption = {.from = scene_now(&round->scene), .sure = true};
    if (politely) {
        kill(engine->pid, SIGTERM);
        process_wait(engine, draw_us(round, 0, 12) * 1e-6);
    }
    process_kill(engine);
    interruption.to = scene_now(&round->scene);
    interruption_add(&round->interruptions, &interruption);
    if (pinned)
        ledger_take(round->ledger);
}

/* An engine that is to be killed must not have ended by itself, unless it was asked to. */
static void judge_engine(struct round *round, const struct process *engine, enum death death)
{
    if (engine->signal == SIGKILL) {
        round->kills[death]++;
        return;
    }
    round->clean_ends++;
    scene_judge(&round->scene, engine, "the engine", false);
    if (death != DEATH_AMID_SHUTDOWN)
        found(round->findings, "program", "the engine ended by itself, see %s", engine->log);
}

/* What a person may do while an engine works. */
static enum order_kind draw_order(struct round *round)
{
    static const enum order_kind often[] = {ORDER_PAUSE,  ORDER_PAUSE, ORDER_RESUME, ORDER_RESUME,
                                            ORDER_ANSWER, ORDER_START, ORDER_START,  ORDER_ENROL,
                                            ORDER_PAUSE,  ORDER_STOP,  ORDER_RESUME};
    return often[random_range(&round->random, 0, sizeof(often) / sizeof(often[0]) - 1)];
}

static void die_amid(struct round *round, struct process *engine, enum order_kind kind)
{
    struct order order;
    if (!order_begin(round, &order, kind)) {
        die(round, engine, true, false);
        return;
    }
    pause_us(draw_us(round, 0, 14));
    die(round, engine, kind != ORDER_BACKUP, false);
    if (!process_wait(&order.process, 30)) {
        found(round->findings, "program", "a command waits for ever for an engine that is dead");
        process_kill(&order.process);
    }
    order_end(round, &order, kind != ORDER_BACKUP);
}

static void die_after_reply(struct round *round, struct process *engine)
{
    struct order order;
    if (!order_begin(round, &order, draw_order(round))) {
        die(round, engine, true, false);
        return;
    }
    if (!process_wait(&order.process, 30)) {
        found(round->findings, "program", "a command has no reply from a living engine");
        process_kill(&order.process);
    }
    order.by_engine = true;
    die(round, engine, true, false);
    order_end(round, &order, false);
}

/* --- while none lives ------------------------------------------------------------------------- */

/* A command that holds the lock itself, killed as it works. */
static void kill_order(struct round *round, enum order_kind kind)
{
    struct order order;
    if (!order_begin(round, &order, kind))
        return;
    pause_us(draw_us(round, 0, 16));
    round->commands_killed++;
    process_kill(&order.process);
    order_end(round, &order, true);
}

static void idle(struct round *round)
{
    static const enum order_kind kinds[] = {ORDER_START,  ORDER_ENROL,  ORDER_PAUSE, ORDER_RESUME,
                                            ORDER_BACKUP, ORDER_ANSWER, ORDER_STOP};
    if (random_range(&round->random, 0, 2) == 0)
        kill_order(round, kinds[random_range(&round->random, 0, 6)]);
    if (random_range(&round->random, 0, 3) == 0)
        order_do(round, ORDER_PAUSE, false);
    if (random_range(&round->random, 0, 12) == 0)
        order_do(round, ORDER_STOP, false);
    if (random_range(&round->random, 0, 3) == 0)
        order_do(round, ORDER_LOOK, false);
    if (random_range(&round->random, 0, 1) == 0)
        order_do(round, ORDER_ANSWER, false);
    if (random_range(&round->random, 0, 1) == 0)
        order_do(round, ORDER_RESUME, false);
    while (round->supply && round->open_count < CHANNELS + 2 && order_do(round, ORDER_START, false))
        round->open_count++;
    pause_us(draw_us(round, 0, 150));
}

/* --- a life ----------------------------------------------------------------------------------- */

void life(struct round *round, enum death death)
{
    struct process engine;
    scene_engine(&round->scene, &engine, false);
    if (death == DEATH_EARLY) {
        pause_us(draw_us(round, 0, 35));
        die(round, &engine, false, false);
    } else if (!scene_wait_engine(&round->scene, &engine)) {
        death = DEATH_AT_WORK; /* it ended by itself: judged below */
    } else {
        pause_us(draw_us(round, 30, 220));
        if (random_range(&round->random, 0, 1) == 0)
            order_do(round, draw_order(round), true);
        pause_us(draw_us(round, 0, 170));
        if (death == DEATH_AMID_COMMAND)
            die_amid(round, &engine, draw_order(round));
        else if (death == DEATH_AMID_BACKUP)
            die_amid(round, &engine, ORDER_BACKUP);
        else if (death == DEATH_AFTER_REPLY)
            die_after_reply(round, &engine);
        else
            die(round, &engine, true, death == DEATH_AMID_SHUTDOWN);
    }
    judge_engine(round, &engine, death);
    if (round->settings->controls && round->log_cuts >= 0 && control_cut_log(round))
        round->log_cuts = -1;
    check_now(round, round->interruptions.count % 10 == 0);
    idle(round);
}
