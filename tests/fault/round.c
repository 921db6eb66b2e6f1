/* One round: worked on, killed, brought to its end, and looked through. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "round.h"
#include "shape.h"

#define FINISH_SECONDS 120.0

/* --- the end of a round ----------------------------------------------------------------------- */

/* Lets everything come to its end: nobody is killed any more. */
static void finish(struct round *round)
{
    round->supply = false;
    for (int turn = 0; turn < 12; turn++) {
        struct process engine;
        for (int i = 0; i < 2 * CELLS && order_do(round, ORDER_RESUME, false); i++)
            check_now(round, false);
        scene_engine(&round->scene, &engine, true);
        if (!process_wait(&engine, FINISH_SECONDS * round->settings->slow)) {
            found(round->findings, "program", "the engine does not come to the end of its runs");
            process_kill(&engine);
            return;
        }
        scene_judge(&round->scene, &engine, "the engine", false);
        interruption_add(&round->interruptions,
                         &(struct interruption){.from = scene_now(&round->scene),
                                                .to = scene_now(&round->scene)});
        check_now(round, true);
        if (round->open_count == 0)
            return;
        while (order_do(round, ORDER_ANSWER, false))
            check_now(round, false);
    }
    found(round->findings, "runs", "%d runs do not come to an end", round->open_count);
}

static void check_audit(const struct round *round)
{
    char *said = scene_do(&round->scene, (const char *const[]){"audit", NULL});
    if (!strstr(said, ": 0 findings"))
        found(round->findings, "audit", "%s", said);
    free(said);
}

static void add_totals(struct totals *totals, const struct round *round, int kills,
                       const struct account_report *account, const struct twin_report *twin,
                       double closest)
{
    totals->kills += kills;
    totals->commands_killed += round->commands_killed;
    totals->facts += ledger_facts(round->ledger);
    totals->runs += twin->runs;
    totals->steps += account->steps;
    totals->interrupted += account->interrupted;
    totals->samples += account->samples;
    if (twin->used > totals->used)
        totals->used = twin->used;
    if (account->worst_charge > totals->worst_charge)
        totals->worst_charge = account->worst_charge;
    if (closest < totals->closest)
        totals->closest = closest;
}

static void close_round(struct round *round, int kills, struct totals *totals)
{
    struct account_report account = {0};
    struct truth_report truth = {0};
    struct twin_report report = {0};
    struct scene *scene = &round->scene;
    struct scene twin_scene = *scene;
    int before = round->findings->count;

    finish(round);
    if (ledger_pin(round->ledger, scene->logbook))
        ledger_take(round->ledger);
    check_now(round, true);
    check_audit(round);
    sqlite3 *book = query_open(scene->check);
    if (!book)
        broken("%s cannot be opened", scene->check);
    account_samples(book, round->findings, &account);
    account_gaps(book, &round->interruptions, (utc_us)(2000 * scene->scale), round->findings);
    truth_check(book, scene->check_world, round->findings, &truth);

    int64_t *map = xcalloc((size_t)query_number(book, "SELECT max(id) FROM run") + 1, sizeof(*map));
    snprintf(twin_scene.folder, sizeof(twin_scene.folder), "%.180s/twin", scene->folder);
    twin_scene.scale = 0;
    twin_make(book, &twin_scene, map);
    sqlite3 *twin = query_open(twin_scene.logbook);
    twin_compare(book, twin, map, round->findings, &report);
    if (round->settings->controls && round->findings->count == before)
        controls_run(round, twin, map, &totals->controls);
    sqlite3_close(twin);
    sqlite3_close(book);
    free(map);

    printf(
        "        %lld runs, %lld steps, %lld of them interrupted, %lld samples, %lld gaps of "
        "together %.0f s; %lld facts kept\n"
        "        %d commands (%d refused, %d killed), %d backups; worst check %.2f s\n"
        "        %lld entries beside the twin's, %lld within a bound of which at most %.0f %% was "
        "used; worst charge from samples %.1e; least share of true charge on record %.2f\n",
        (long long)report.runs, (long long)account.steps, (long long)account.interrupted,
        (long long)account.samples, (long long)account.gaps, account.gap_time,
        (long long)ledger_facts(round->ledger), round->commands, round->refused,
        round->commands_killed, round->backups, round->worst_check, (long long)report.entries,
        (long long)report.bounded, 100 * report.used, account.worst_charge, truth.closest);
    add_totals(totals, round, kills, &account, &report, truth.closest);
}

/* --- a round ---------------------------------------------------------------------------------- */

static enum death draw_death(struct round *round, int *early)
{
    static const enum death usual[] = {
        DEATH_EARLY,       DEATH_EARLY,       DEATH_AT_WORK,      DEATH_AT_WORK,
        DEATH_AT_WORK,     DEATH_AT_WORK,     DEATH_AMID_COMMAND, DEATH_AMID_COMMAND,
        DEATH_AFTER_REPLY, DEATH_AFTER_REPLY, DEATH_AMID_BACKUP,  DEATH_AMID_SHUTDOWN,
    };
    enum death death = usual[random_range(&round->random, 0, sizeof(usual) / sizeof(usual[0]) - 1)];
    /* After a few that did nothing one must work, or the channels would go on alone for too
     * long. */
    *early = death == DEATH_EARLY ? *early + 1 : 0;
    return *early > 2 ? DEATH_AT_WORK : death;
}

static int all_kills(const struct round *round)
{
    int kills = 0;
    for (int i = 0; i < DEATH_COUNT; i++)
        kills += round->kills[i];
    return kills;
}

static void prepare(struct round *round, int number)
{
    static const double scales[] = {300, 60, 600, 120, 200, 400};
    static const char *const commits[] = {"20 ms", "20 ms", "50 ms", "10 ms", "100 ms"};
    char part[40];
    snprintf(part, sizeof(part), "round %d", number);
    random_seed(&round->random, seed_for(round->settings->seed, part));
    round->scene = (struct scene){.perdure = round->settings->perdure,
                                  .protocols = round->settings->protocols,
                                  .findings = round->findings,
                                  .seed = (uint64_t)random_range(&round->random, 1, 1000000),
                                  .scale = scales[(number - 1) % 6]};
    round->scene.span = 0.25 * round->settings->slow * round->scene.scale;
    snprintf(round->scene.commit_every, sizeof(round->scene.commit_every), "%s",
             commits[random_range(&round->random, 0, 4)]);
    snprintf(round->scene.folder, sizeof(round->scene.folder), "%.150s/round-%d",
             round->settings->folder, number);
    round->ledger = ledger_open();
    round->supply = true;
    scene_make(&round->scene);
    check_now(round, true);
}

void play_round(const struct settings *settings, struct findings *findings, int number, int kills,
                struct totals *totals)
{
    struct round *round = xcalloc(1, sizeof(*round));
    double began = seconds_now();
    int early = 0;
    round->settings = settings;
    round->findings = findings;
    prepare(round, number);
    while (round->open_count < CHANNELS && order_do(round, ORDER_START, false))
        round->open_count++;
    while (all_kills(round) < kills && findings->count < 20) {
        round->supply = all_kills(round) < kills * 4 / 5;
        life(round, draw_death(round, &early));
    }
    printf("round %d: x%g, made durable every %s, %d kills:", number, round->scene.scale,
           round->scene.commit_every, all_kills(round));
    static const char *const names[] = {
#define X(name, text) text,
        DEATHS(X)
#undef X
    };
    for (int i = 0; i < DEATH_COUNT; i++)
        printf(" %d %s%s", round->kills[i], names[i], i + 1 < DEATH_COUNT ? "," : "\n");
    close_round(round, all_kills(round), totals);
    printf("        %.1f s, %d findings so far\n", seconds_now() - began, findings->count);
    fflush(stdout);
    if (!settings->keep && findings->count == 0)
        scene_remove(&round->scene);
    ledger_close(round->ledger);
    free(round->promises.list);
    free(round->interruptions.list);
    free(round);
}
