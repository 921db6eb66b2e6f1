/* What is told, and in which order. The command itself is notify_command.c's. */
#include "engine/notify.h"

#include <inttypes.h>
#include <stdlib.h>
#include <string.h>

#include "engine/answer.h"
#include "engine/notify_command.h"
#include "engine/study.h"
#include "logbook/notices.h"

#define LIMIT        30.0 /* s, real: how long a command may take */
#define WAITING_MOST 256
#define HANGS_MOST   2 /* after so many in a row an engine that is otherwise idle ends */
/* Bytes of labels in one environment variable: the kernel takes 128 KiB in one. */
#define LABELS_MOST 32768

enum { FACTS = 12 };

struct notice {
    struct notice *next;
    struct notice_key key;
    char *fact[FACTS + 1]; /* NAME=VALUE; owned */
    char *summary, *text;
};

struct notifier {
    struct notify_command *command;
    struct notice *first; /* in order of coming; the one being told is none of them */
    struct notice *being_told;
    int waiting;
    int hangs;      /* in a row */
    bool full;      /* said so, since the queue was last empty */
    utc_us look_at; /* when the next window ends */
};

/* --- notices ---------------------------------------------------------------------------------- */

static void notice_free(struct notice *notice)
{
    if (!notice)
        return;
    for (int i = 0; i < FACTS; i++)
        free(notice->fact[i]);
    free(notice->summary);
    free(notice->text);
    free(notice);
}

static bool same(const struct notice *notice, const struct notice_key *key)
{
    return notice && notice->key.run == key->run && notice->key.segment == key->segment &&
           notice->key.n == key->n && strcmp(notice->key.what, key->what) == 0;
}

static bool is_waiting(const struct notifier *notifier, const struct notice_key *key)
{
    const struct notice *notice = notifier->first;
    while (notice && !same(notice, key))
        notice = notice->next;
    return notice || same(notifier->being_told, key);
}

static void append(struct notifier *notifier, struct notice *notice)
{
    struct notice **end = &notifier->first;
    while (*end)
        end = &(*end)->next;
    *end = notice;
    notifier->waiting++;
}

static void came_of(struct engine *engine, const struct notice_key *key, const char *text)
{
    engine_write(engine);
    logbook_notice_came_of(engine->options.logbook, key, text, engine_error(engine));
}

/* Takes the notice over. */
static void put(struct engine *engine, struct notice *notice)
{
    struct notifier *notifier = engine->notifier;
    if (notifier->waiting < WAITING_MOST) {
        append(notifier, notice);
        return;
    }
    char text[64];
    snprintf(text, sizeof text, "not told: %d others were waiting", WAITING_MOST);
    came_of(engine, &notice->key, text);
    if (!notifier->full)
        engine_tell(engine, "warning",
                    "more falls due than the command of --on-due can tell: see the agenda");
    notifier->full = true;
    notice_free(notice);
}

/* Puts it on record; NULL when it was told before, or will be. */
static struct notice *begin(struct live_run *run, int64_t n, const char *what)
{
    struct engine *engine = run->engine;
    struct notice_key key = {run->record.id, run->record.segment, n, what};
    bool untold = false;
    if (is_waiting(engine->notifier, &key))
        return NULL;
    engine_write(engine);
    logbook_add_notice(engine->options.logbook, &key, clock_utc(engine->options.clock), &untold,
                       engine_error(engine));
    if (!untold)
        return NULL;
    struct notice *notice = xcalloc(1, sizeof *notice);
    notice->key = key;
    return notice;
}

/* --- facts ------------------------------------------------------------------------------------ */

static void add_fact(struct notice *notice, const char *name, const char *value)
{
    struct text fact = TEXT_EMPTY;
    int i = 0;
    while (notice->fact[i])
        i++;
    text_addf(&fact, "PERDURE_%s=%s", name, value);
    notice->fact[i] = fact.bytes;
}

static void add_number(struct notice *notice, const char *name, int64_t number)
{
    char text[24];
    snprintf(text, sizeof text, "%" PRId64, number);
    add_fact(notice, name, number ? text : "");
}

/* By the wall clock of the logbook's zone, to the second. */
static char *date_of(const struct engine *engine, utc_us at, char date[40])
{
    return zone_format(logbook_zone(engine->options.logbook), at - at % US_PER_S, date, 40);
}

static void add_instant(const struct engine *engine, struct notice *notice, const char *name,
                        utc_us at)
{
    char date[40];
    add_fact(notice, name, at ? date_of(engine, at, date) : "");
}

/* One line, whatever a script has put into a text: it may become the subject of a message. */
static char *one_line(const struct text *text)
{
    char line[256];
    string_fit(line, sizeof line, text->bytes);
    for (char *at = line; *at; at++)
        if ((unsigned char)*at < ' ' || *at == 127)
            *at = ' ';
    return xstrdup(line);
}

/* Labels hold no blanks, so blanks part them. */
static char *label_list(const json_t *cells)
{
    struct text list = TEXT_EMPTY;
    size_t i;
    json_t *label;
    text_add(&list, "");
    json_array_foreach(cells, i, label)
    {
        if (list.length + json_string_length(label) < LABELS_MOST)
            text_addf(&list, "%s%s", i ? " " : "", json_string_value(label));
    }
    return list.bytes;
}

/* What all have in common; takes `words` (of the line for people) and `text` over. */
static void complete(struct live_run *run, struct notice *notice, struct text *words,
                     struct text *text, json_t *cells)
{
    struct engine *engine = run->engine;
    char *labels = label_list(cells);
    struct text whole = TEXT_EMPTY;
    notice->summary = one_line(words);
    add_fact(notice, "NOTICE", notice->key.what);
    add_fact(notice, "SUMMARY", notice->summary);
    add_fact(notice, "LOGBOOK", logbook_path(engine->options.logbook));
    add_number(notice, "RUN", run->record.id);
    add_fact(notice, "SCRIPT", run->record.script_name);
    add_fact(notice, "CELLS", labels);
    add_number(notice, "CELL_COUNT", (int64_t)json_array_size(cells));
    add_instant(engine, notice, "AT", clock_utc(engine->options.clock));
    text_addf(&whole, "%s\n\n%s", notice->summary, text->bytes);
    if (*labels)
        text_addf(&whole, "Cells: %s\n", labels);
    text_addf(&whole, "Logbook: %s\n", logbook_path(engine->options.logbook));
    notice->text = whole.bytes;
    free(labels);
    json_decref(cells);
    text_free(words);
    text_free(text);
    put(engine, notice);
}

/* --- what is due ------------------------------------------------------------------------------ */

/* The end of a run's window while nobody has looked at its cell: it waits for a channel, to be put
 * in, or for the answer to the very first thing it asks. 0: no window, or it was looked at. */
static utc_us window_end(const struct live_run *study, const struct live_run *run)
{
    bool untouched =
        run->phase == LIVE_QUEUED || (run->phase == LIVE_ASKING && run->journal.n <= 1);
    if (run->record.parent != study->record.id || !study->has_window || !run->record.due_at ||
        !untouched)
        return 0;
    return zone_after(logbook_zone(study->engine->options.logbook), run->record.due_at,
                      &study->late);
}

/* Whether a window has passed; *next is moved forward to the first that has not. */
static bool is_late(const struct live_run *study, utc_us now, utc_us *next)
{
    bool late = false;
    for (const struct live_run *run = study->engine->runs; run; run = run->next) {
        utc_us end = window_end(study, run);
        late |= end && end < now;
        if (end >= now && end < *next)
            *next = end;
    }
    return late;
}

/* The first window to end, or that has ended. */
static utc_us first_end(const struct live_run *study)
{
    utc_us first = 0;
    for (const struct live_run *run = study->engine->runs; run; run = run->next) {
        utc_us end = window_end(study, run);
        if (end && (!first || end < first))
            first = end;
    }
    return first;
}

static void tell_due(struct live_run *study, const char *what)
{
    struct notice *notice = begin(study, study->journal.n, what);
    if (!notice)
        return;
    struct text words = TEXT_EMPTY, text = TEXT_EMPTY;
    json_t *cells = json_loads(study->request.cells, 0, NULL);
    size_t count = json_array_size(cells);
    utc_us latest = first_end(study);
    char date[40];
    text_addf(&words, "%s: %s on %zu cell%s (study %" PRId64 ", %s)", what, study->request.text,
              count, count == 1 ? "" : "s", study->record.id, study->record.script_name);
    text_addf(&text, "Put them on their channels. perdure agenda shows what else is due.\n");
    if (latest)
        text_addf(&text, "At the latest: %s\n", date_of(study->engine, latest, date));
    add_fact(notice, "WHAT", study->request.text);
    add_instant(study->engine, notice, "LATEST", latest);
    complete(study, notice, &words, &text, cells);
}

void notify_due(struct live_run *study)
{
    struct notifier *notifier = study->engine->notifier;
    if (!notifier || !study_has_open_children(study))
        return;
    bool late = is_late(study, clock_utc(study->engine->options.clock), &notifier->look_at);
    tell_due(study, late ? "overdue" : "due");
}

void notify_question(struct live_run *run, int64_t question)
{
    struct engine *engine = run->engine;
    int64_t n = run->asks_own ? run->own_n : run->journal.n;
    struct notice *notice = engine->notifier ? begin(run, n, "question") : NULL;
    char *asked = NULL, *expects = NULL, hint[512];
    int answers;
    if (!notice)
        return;
    if (logbook_question_text(engine->options.logbook, question, &asked, engine_error(engine)) ||
        logbook_question_expects(engine->options.logbook, question, &expects, &answers,
                                 engine_error(engine))) {
        free(asked);
        notice_free(notice);
        return;
    }
    struct text words = TEXT_EMPTY, text = TEXT_EMPTY;
    json_t *cells = json_array();
    if (run->record.cell_label[0])
        json_array_append_new(cells, json_string(run->record.cell_label));
    text_addf(&words, "question %" PRId64 ": %s", question, asked);
    text_addf(&text, "%s\n\nAnswer with: perdure answer %" PRId64 " ... (%s)\n", asked, question,
              answer_hint(expects, hint, sizeof hint));
    add_fact(notice, "WHAT", asked);
    add_number(notice, "QUESTION", question);
    complete(run, notice, &words, &text, cells);
    free(asked);
    free(expects);
}

void notify_lost(struct live_run *run)
{
    struct notice *notice = run->engine->notifier ? begin(run, run->losses.n, "lost") : NULL;
    if (!notice)
        return;
    struct text words = TEXT_EMPTY, text = TEXT_EMPTY;
    json_t *cells = json_pack("[s]", run->record.cell_label);
    text_addf(&words, "run %" PRId64 " %s", run->record.id, run->record.why);
    text_addf(&text, "%sThe run goes on by itself when all instruments of its channel answer.\n",
              run->channel ? "Its channel was made safe. " : "");
    add_fact(notice, "WHAT", run->record.why);
    complete(run, notice, &words, &text, cells);
}

/* --- telling ---------------------------------------------------------------------------------- */

static void ended(void *owner, const char *text, bool well)
{
    struct engine *engine = owner;
    struct notifier *notifier = engine->notifier;
    struct notice *notice = notifier->being_told;
    notifier->being_told = NULL;
    notifier->hangs = strncmp(text, "killed", 6) == 0 ? notifier->hangs + 1 : 0;
    /* Without room on the disk it stays open, and is told again: better twice than never. */
    if (!engine->held && !engine->trouble.code) {
        came_of(engine, &notice->key, text);
        if (!well) {
            struct text warning = TEXT_EMPTY;
            text_addf(&warning, "the command of --on-due failed (%s), telling: %s", text,
                      notice->summary);
            engine_tell(engine, "warning", warning.bytes);
            text_free(&warning);
        }
    }
    notice_free(notice);
    loop_wake(engine);
}

/* What is told has been committed: a notice cannot be heard of and then forgotten. */
static void start_next(struct engine *engine)
{
    struct notifier *notifier = engine->notifier;
    if (engine->in_transaction && !engine_commit(engine))
        return;
    struct notice *notice = notifier->being_told = notifier->first;
    notifier->first = notice->next;
    notifier->full &= --notifier->waiting > 0;
    notify_command_start(notifier->command, (const char *const *)notice->fact, notice->text);
}

void notify_look(struct engine *engine)
{
    struct notifier *notifier = engine->notifier;
    if (!notifier || engine->held || engine->trouble.code)
        return;
    utc_us now = clock_utc(engine->options.clock);
    if (now > notifier->look_at) {
        notifier->look_at = INT64_MAX;
        for (struct live_run *run = engine->runs; run; run = run->next)
            if (run->phase == LIVE_PERFORMING && is_late(run, now, &notifier->look_at))
                tell_due(run, "overdue");
    }
    if (notifier->first && !notify_command_runs(notifier->command) && !engine->stopping)
        start_next(engine);
}

bool notify_waits(const struct engine *engine)
{
    const struct notifier *notifier = engine->notifier;
    return notifier && notifier->hangs < HANGS_MOST && (notifier->first || notifier->being_told);
}

void notify_drop(struct engine *engine)
{
    struct notifier *notifier = engine->notifier;
    while (notifier && notifier->first) {
        struct notice *notice = notifier->first;
        notifier->first = notice->next;
        notifier->waiting--;
        notice_free(notice);
    }
}

/* --- open and close --------------------------------------------------------------------------- */

int notify_open(struct engine *engine, struct error *error)
{
    const struct engine_options *options = &engine->options;
    if (!options->on_due)
        return 0;
    struct notifier *notifier = engine->notifier = xcalloc(1, sizeof *notifier);
    notifier->look_at = INT64_MAX;
    return notify_command_open(&notifier->command, loop_uv(engine), options->on_due,
                               options->on_due_limit > 0 ? options->on_due_limit : LIMIT, ended,
                               engine, error) ||
                   logbook_begin(options->logbook, error) ||
                   logbook_close_notices(options->logbook, "over before it was told", error) ||
                   logbook_commit(options->logbook, error)
               ? error->code
               : 0;
}

void notify_finish(struct engine *engine)
{
    if (engine->notifier)
        notify_command_finish(engine->notifier->command);
}

void notify_close(struct engine *engine)
{
    struct notifier *notifier = engine->notifier;
    if (!notifier)
        return;
    notify_drop(engine);
    notify_command_close(notifier->command);
    notice_free(notifier->being_told);
    free(notifier);
    engine->notifier = NULL;
}
