/* Working off the twin, and comparing it entry by entry. */
#include "twin.h"

#include <jansson.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"

/* --- working it off --------------------------------------------------------------------------- */

struct copying {
    sqlite3 *book;
    struct scene *twin;
    int64_t *map;
    bool any;
};

/* perdure start SCRIPT --cells LABEL --set NAME=VALUE ... */
static int64_t start(const struct scene *twin, const char *script, const char *label,
                     const char *params)
{
    char path[400], sets[8][80];
    const char *words[WORDS_MOST] = {"--json", "start", path, "--cells", label};
    int count = 5, set = 0;
    const char *name;
    json_t *value, *values = json_loads(params, 0, NULL);
    snprintf(path, sizeof(path), "%s/%s", twin->protocols, script);
    json_object_foreach(values, name, value)
    {
        snprintf(sets[set], sizeof(sets[set]), "%.30s=%.40s", name, json_string_value(value));
        words[count++] = "--set";
        words[count++] = sets[set++];
    }
    char *said = scene_do(twin, words);
    json_t *reply = json_loads(said, 0, NULL);
    json_t *run = json_object_get(json_array_get(reply, 0), "run");
    if (!json_is_integer(run))
        broken("start said: %s", said);
    int64_t id = json_integer_value(run);
    json_decref(reply);
    json_decref(values);
    free(said);
    return id;
}

static void start_one(void *context, sqlite3_stmt *row)
{
    struct copying *copying = context;
    int64_t run = sqlite3_column_int64(row, 0);
    copying->any = true;
    copying->map[run] =
        start(copying->twin, (const char *)sqlite3_column_text(row, 1),
              (const char *)sqlite3_column_text(row, 2), (const char *)sqlite3_column_text(row, 3));
    sqlite3 *db = query_open_to_write(copying->twin->logbook);
    query_run(db, "UPDATE run SET seed = '%s' WHERE id = %lld",
              (const char *)sqlite3_column_text(row, 4), (long long)copying->map[run]);
    sqlite3_close(db);
}

static void answer_one(void *context, sqlite3_stmt *row)
{
    struct copying *copying = context;
    int64_t run = 1;
    char question[24];
    while (copying->map[run] != sqlite3_column_int64(row, 1))
        run++;
    char *answer = query_text(copying->book,
                              "SELECT outcome FROM journal "
                              "WHERE run = %lld AND segment = %d AND n = %lld",
                              (long long)run, sqlite3_column_int(row, 2),
                              (long long)sqlite3_column_int64(row, 3));
    snprintf(question, sizeof(question), "%lld", (long long)sqlite3_column_int64(row, 0));
    /* Where the other run was stopped before it asked, any answer will do. */
    free(scene_do(copying->twin, (const char *const[]){"answer", question, answer ? answer : "1",
                                                       "--who", "a person", NULL}));
    free(answer);
    copying->any = true;
}

void twin_make(sqlite3 *book, struct scene *twin, int64_t *map)
{
    struct copying copying = {book, twin, map, true};
    scene_make(twin);
    /* The n-th run of every cell at once: a cell takes part in one at a time. */
    for (int wave = 1; copying.any; wave++) {
        copying.any = false;
        query_each(book, start_one, &copying,
                   "SELECT id, script_name, label, params, seed FROM "
                   "(SELECT run.*, label, row_number() OVER (PARTITION BY cell ORDER BY run.id) AS "
                   "wave FROM run JOIN cell ON cell.id = run.cell) WHERE wave = %d AND "
                   "script_name <> 'glance.lua' ORDER BY id",
                   wave);
        for (bool more = copying.any || wave == 1; more; more = copying.any) {
            free(scene_do(twin, (const char *const[]){"engine", "--bench", twin->bench,
                                                      "--until-idle", NULL}));
            copying.any = false;
            sqlite3 *db = query_open(twin->logbook);
            query_each(db, answer_one, &copying,
                       "SELECT id, run, segment, n FROM question WHERE NOT EXISTS "
                       "(SELECT 1 FROM answer WHERE question = question.id) ORDER BY id");
            sqlite3_close(db);
        }
        copying.any = query_number(book, "SELECT max(runs) FROM (SELECT count(*) AS runs FROM run "
                                         "GROUP BY cell)") > wave;
    }
}

/* --- comparing -------------------------------------------------------------------------------- */

#define TEXT_MOST 600

/* One journal entry, with its step if it has one. */
struct entry {
    int segment;
    int64_t n;
    char name[24], args[TEXT_MOST], ended_by[24];
    bool has_outcome, is_step, has_drop;
    double charge, energy, duration; /* of the step, SI */
    double hidden;                   /* A.s that may have moved unobserved in it */
};

struct entries {
    struct entry *list;
    int count, room;
};

static void text_of(char *to, size_t size, sqlite3_stmt *row, int column)
{
    const char *text = (const char *)sqlite3_column_text(row, column);
    snprintf(to, size, "%s", text ? text : "");
}

static void add_entry(void *context, sqlite3_stmt *row)
{
    struct entries *entries = context;
    if (entries->count == entries->room) {
        entries->room = entries->room ? 2 * entries->room : 64;
        entries->list = xrealloc(entries->list, (size_t)entries->room * sizeof(*entries->list));
    }
    struct entry *entry = &entries->list[entries->count++];
    *entry = (struct entry){
        .segment = sqlite3_column_int(row, 0),
        .n = sqlite3_column_int64(row, 1),
        .has_outcome = sqlite3_column_int(row, 4),
        .is_step = sqlite3_column_type(row, 5) != SQLITE_NULL,
        .charge = sqlite3_column_double(row, 6),
        .energy = sqlite3_column_double(row, 7),
        .duration = sqlite3_column_double(row, 8),
        .hidden = sqlite3_column_double(row, 9),
        .has_drop = sqlite3_column_int(row, 10),
    };
    text_of(entry->name, sizeof(entry->name), row, 2);
    text_of(entry->args, sizeof(entry->args), row, 3);
    text_of(entry->ended_by, sizeof(entry->ended_by), row, 5);
}

static void read_entries(sqlite3 *book, int64_t run, struct entries *entries)
{
    query_each(book, add_entry, entries,
               "SELECT journal.segment, journal.n, name, args, outcome IS NOT NULL, ended_by, "
               "charge, energy, duration, iif(step.kind IN ('charge', 'discharge', "
               "'pulse'), " STEP_CURRENT_MOST
               " * max(0, (outcome_at - started_at) / 1e6 - duration), 0), "
               "plan ->> '$.drop' IS NOT NULL "
               "FROM journal LEFT JOIN step USING (run, segment, n) LEFT JOIN outcome "
               "ON outcome.step = step.id WHERE run = %lld ORDER BY segment, n",
               (long long)run);
}

struct comparing {
    struct findings *findings;
    struct twin_report *report;
    int64_t run;
    const char *script;
    double hidden; /* A.s, in both runs up to here */
    int levels;    /* steps that ended by voltage so far: after two the cell's state is known */
};

static void differ(const struct comparing *c, const struct entry *a, const char *what, double is,
                   double was)
{
    found(c->findings, "twin",
          "run %lld (%s), segment %d, entry %lld, %s: %s is %.9g, %.9g in the "
          "run that was not interrupted",
          (long long)c->run, c->script, a->segment, (long long)a->n, a->name, what, is, was);
}

static void must_equal(const struct comparing *c, const struct entry *a, const char *what,
                       double is, double was)
{
    if (!(fabs(is - was) <= 3e-6 * (1 + fabs(was))))
        differ(c, a, what, is, was);
}

/* How far apart two charges may be: what moved unseen, and a little. */
static double room_of(const struct comparing *c, double was)
{
    return c->hidden + 1e-3 + 1e-4 * was;
}

/* Between the same two levels the same charge moves, but for what moved unseen. */
static void must_be_near(const struct comparing *c, const struct entry *a, double is, double was)
{
    double used = fabs(is - was) / room_of(c, was);
    c->report->bounded++;
    if (used > c->report->used)
        c->report->used = used;
    if (!(used <= 1))
        differ(c, a, "charge, A.s,", is, was);
}

/* What moved unseen may have left so much to make good that the time was up before. */
static bool may_run_out_of_time(const struct comparing *c, const struct entry *a,
                                const struct entry *b)
{
    return strcmp(a->ended_by, "time") == 0 && a->charge > b->charge &&
           a->charge - b->charge <= room_of(c, b->charge);
}

static void compare_step(struct comparing *c, const struct entry *a, const struct entry *b)
{
    c->hidden += a->hidden + b->hidden;
    if (a->has_drop)
        return; /* a gap may hide the peak */
    if (strcmp(a->ended_by, b->ended_by) != 0) {
        if (may_run_out_of_time(c, a, b))
            return;
        found(c->findings, "twin",
              "run %lld (%s), entry %lld: ended by %s, and by %s in the run "
              "that was not interrupted",
              (long long)c->run, c->script, (long long)a->n, a->ended_by, b->ended_by);
        return;
    }
    /* A rest counts its gaps, and a pulse changes its level when the channel gets to it. */
    bool by_active = strcmp(a->name, "charge") == 0 || strcmp(a->name, "discharge") == 0;
    if (strcmp(a->ended_by, "time") == 0 && by_active)
        must_equal(c, a, "duration, s,", a->duration, b->duration);
    if (strcmp(a->ended_by, "charge") == 0)
        must_equal(c, a, "charge, A.s,", a->charge, b->charge);
    if (strcmp(a->ended_by, "energy") == 0)
        must_equal(c, a, "energy, J,", a->energy, b->energy);
    if (strcmp(a->ended_by, "voltage") == 0 && c->levels++ >= 2)
        must_be_near(c, a, a->charge, b->charge);
}

static void compare_record(struct comparing *c, const struct entry *a, const struct entry *b)
{
    json_t *was = json_loads(b->args, 0, NULL), *is = json_loads(a->args, 0, NULL);
    const char *name = json_string_value(json_object_get(is, "name"));
    double here = json_number_value(json_object_get(is, "value"));
    double there = json_number_value(json_object_get(was, "value"));
    if (!name || strcmp(name, json_string_value(json_object_get(was, "name"))) != 0)
        found(c->findings, "twin",
              "run %lld (%s), entry %lld: recorded %s, and %s in the run that "
              "was not interrupted",
              (long long)c->run, c->script, (long long)a->n, a->args, b->args);
    else if (strcmp(name, "moved") == 0)
        must_be_near(c, a, here * 3600, there * 3600);
    else if (strcmp(name, "clock") != 0)
        must_equal(c, a, name, here, there);
    json_decref(is);
    json_decref(was);
}

static void compare_entry(struct comparing *c, const struct entry *a, const struct entry *b)
{
    bool record = strcmp(a->name, "record") == 0;
    c->report->entries++;
    /* A date is made from now(): it cannot be the same. */
    bool dated = strcmp(a->name, "wait_until") == 0;
    if (a->segment != b->segment || a->n != b->n || strcmp(a->name, b->name) != 0 ||
        (!record && !dated && strcmp(a->args, b->args) != 0))
        found(c->findings, "twin",
              "run %lld (%s), segment %d, entry %lld: %s %s, and %s %s in the "
              "run that was not interrupted",
              (long long)c->run, c->script, a->segment, (long long)a->n, a->name, a->args, b->name,
              b->args);
    else if (record)
        compare_record(c, a, b);
    else if (a->is_step && b->is_step && a->has_outcome)
        compare_step(c, a, b);
}

struct walk {
    sqlite3 *book, *twin;
    const int64_t *map;
    struct findings *findings;
    struct twin_report *report;
};

static void compare_run(void *context, sqlite3_stmt *row)
{
    const struct walk *walk = context;
    int64_t run = sqlite3_column_int64(row, 0);
    bool done = strcmp((const char *)sqlite3_column_text(row, 1), "done") == 0;
    struct comparing c = {.findings = walk->findings,
                          .report = walk->report,
                          .run = run,
                          .script = (const char *)sqlite3_column_text(row, 2)};
    struct entries here = {0}, there = {0};
    read_entries(walk->book, run, &here);
    read_entries(walk->twin, walk->map[run], &there);
    walk->report->runs++;
    if (done ? here.count != there.count : here.count > there.count)
        found(walk->findings, "twin",
              "run %lld (%s): %d journal entries, %d in the run that was not interrupted",
              (long long)run, c.script, here.count, there.count);
    for (int i = 0; i < here.count && i < there.count; i++)
        compare_entry(&c, &here.list[i], &there.list[i]);
    free(here.list);
    free(there.list);
}

void twin_compare(sqlite3 *book, sqlite3 *twin, const int64_t *map, struct findings *findings,
                  struct twin_report *report)
{
    struct walk walk = {book, twin, map, findings, report};
    *report = (struct twin_report){0};
    query_each(book, compare_run, &walk,
               "SELECT id, state, script_name FROM run WHERE script_name <> 'glance.lua' "
               "ORDER BY id");
}
