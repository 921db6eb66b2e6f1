/* Composing the screen: what has to be seen comes first, and what does not fit is counted. */
#include "cli/follow_screen.h"

#include <inttypes.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/rows.h"

#define COLUMNS     7
#define WIDE        100 /* columns from which whole dates and a bar are shown */
#define BAR         10
#define COMING_MOST 4

/* --- small help ------------------------------------------------------------------------------- */

static int64_t number_of(const json_t *row, const char *key)
{
    return json_integer_value(json_object_get(row, key));
}

static const json_t *row_of(const json_t *rows, int64_t run)
{
    size_t i;
    json_t *row;
    json_array_foreach(rows, i, row)
    {
        if (number_of(row, "run") == run)
            return row;
    }
    return NULL;
}

/* "2026-11-25 15:02", by the wall clock of the zone; "11-25 15:02" where there is little room. */
static void add_time(const struct follow_sight *sight, utc_us at, bool wide, struct text *out)
{
    char civil[48];
    if (!at)
        return;
    zone_format(sight->zone, at, civil, sizeof civil);
    text_addf(out, "%.*s %.5s", wide ? 10 : 5, wide ? civil : civil + 5, civil + 11);
}

static void add_amount(const json_t *row, const char *key, int decimals, const char *unit,
                       struct text *out)
{
    double value = row_number(row, key);
    if (isfinite(value))
        text_addf(out, ", %.*f %s", decimals, value, unit);
}

/* s that the step has gone on, pauses left out where that is on record; NAN: not known. */
static double elapsed(const struct follow_sight *sight, const json_t *step)
{
    double counted = row_number(step, "duration_s");
    return isfinite(counted) ? counted
                             : (double)(sight->now - row_instant(step, "started_at")) / 1e6;
}

/* --- one run ---------------------------------------------------------------------------------- */

struct line {
    int64_t run;
    struct text field[COLUMNS]; /* run, cell, channel, script, state, progress, expected end */
    struct text detail;
};

/* By what is not there: an instrument that does not answer. */
static bool is_held_up(const json_t *run)
{
    return json_is_string(json_object_get(run, "why"));
}

static void say_state(const struct follow_sight *sight, const json_t *run, const json_t *step,
                      struct text *out)
{
    static const struct {
        const char *kind, *words;
    } doing[] = {{"charge", "charging"},
                 {"discharge", "discharging"},
                 {"rest", "resting"},
                 {"pulse", "pulsing"},
                 {"read", "reading"}};
    const char *state = row_text(run, "state"), *kind = step ? row_text(step, "kind") : "";
    if (strcmp(state, "paused") == 0 || strcmp(state, "attention") == 0) {
        text_add(out, state[0] == 'p' ? state : "needs attention");
    } else if (row_of(json_object_get(sight->overview, "questions"), number_of(run, "run"))) {
        text_add(out, "waits for an answer");
    } else if (is_held_up(run)) {
        text_add(out, "waits");
    } else {
        for (size_t i = 0; i < sizeof doing / sizeof *doing; i++)
            if (strcmp(kind, doing[i].kind) == 0)
                state = doing[i].words;
        text_add(out, state);
    }
}

static void say_progress(const struct follow_sight *sight, const json_t *run, bool wide,
                         struct text *out)
{
    double expected = row_number(run, "expected_s");
    utc_us started = row_instant(run, "started_at");
    const bool longer = json_is_true(json_object_get(run, "longer_than_expected"));
    if (!longer && (!(expected > 0) || !started))
        return;
    double part = longer ? 1 : (double)(sight->now - started) / 1e6 / expected;
    if (part >= 1) {
        text_add(out, wide ? "longer than expected" : "> 100 %");
        return;
    }
    int done = part > 0 ? (int)(part * BAR) : 0;
    if (wide)
        text_addf(out, "[%.*s%.*s] ", done, "##########", BAR - done, "..........");
    text_addf(out, "%d %%", part > 0 ? (int)(part * 100) : 0);
}

static void say_step(const struct follow_sight *sight, const json_t *step, struct text *out)
{
    const json_t *plan = json_object_get(step, "plan");
    double limit = row_number(plan, "time");
    char buffer[48];
    text_addf(out, "%s for %s", row_text(step, "kind"),
              span_format(floor(elapsed(sight, step)), buffer, sizeof buffer));
    if (isfinite(limit))
        text_addf(out, ", at most %s", span_format(round(limit), buffer, sizeof buffer));
    add_amount(step, "voltage_V", 4, "V", out);
    add_amount(step, "current_A", 4, "A", out);
    add_amount(step, "charge_Ah", 4, "Ah", out);
    add_amount(step, "energy_Wh", 4, "Wh", out);
    add_amount(step, "temperature_degC", 1,
               "\xc2\xb0"
               "C",
               out);
}

/* Of a study, the next that its agenda asks for; of a run that waits for its day, the day. */
static void say_next(const struct follow_sight *sight, const json_t *run, struct text *out)
{
    size_t i;
    json_t *row;
    utc_us due = row_instant(run, "due_at");
    if (due && !row_instant(run, "started_at")) {
        text_add(out, "not before ");
        add_time(sight, due, true, out);
    }
    if (strcmp(row_text(run, "kind"), "study") != 0)
        return;
    json_array_foreach(json_object_get(sight->overview, "agenda"), i, row)
    {
        if (number_of(row, "study") != number_of(run, "run") ||
            strcmp(row_text(row, "when"), "going on") == 0)
            continue;
        text_add(out, "next: ");
        screen_add_plain(out, row_text(row, "what"));
        text_add(out, ", ");
        add_time(sight, number_of(row, "from_us"), true, out);
        if (strcmp(row_text(row, "when"), "overdue") == 0)
            text_add(out, ", overdue");
        return;
    }
}

static void say_run(const struct follow_sight *sight, const json_t *run, bool wide,
                    struct line *line)
{
    const json_t *step = row_of(sight->steps, number_of(run, "run"));
    line->run = number_of(run, "run");
    text_addf(&line->field[0], "%" PRId64, line->run);
    screen_add_plain(&line->field[1], row_text(run, "cell"));
    screen_add_plain(&line->field[2], row_text(run, "channel"));
    screen_add_plain(&line->field[3], row_text(run, "script"));
    say_state(sight, run, step, &line->field[4]);
    say_progress(sight, run, wide, &line->field[5]);
    if (row_instant(run, "expected_after_at"))
        text_add(&line->field[6], "after ");
    add_time(sight, row_instant(run, "expected_after_at"), wide, &line->field[6]);
    add_time(sight, row_instant(run, "expected_end_at"), wide, &line->field[6]);
    if (is_held_up(run))
        screen_add_plain(&line->detail, row_text(run, "why"));
    else if (step)
        say_step(sight, step, &line->detail);
    else
        say_next(sight, run, &line->detail);
}

/* --- the runs --------------------------------------------------------------------------------- */

static const char *bytes_of(const struct text *text)
{
    return text->length ? text->bytes : "";
}

/* Of a label that does not fit its end is shown: there labels differ. */
static void add_field(const char *text, int width, bool end, struct text *out)
{
    int over = screen_width(text) - width;
    if (over > 0 && end && width > 4) {
        text_addf(out, "..%s", text + screen_fit(text, strlen(text), over + 2));
        return;
    }
    text_add_bytes(out, text, screen_fit(text, strlen(text), width));
    text_addf(out, "%*s", over < 0 ? -over : 0, "");
}

static void add_fields(const struct text *field, const int *width, struct text *out)
{
    for (int c = 0; c < COLUMNS; c++) {
        const char *text = bytes_of(&field[c]);
        if (!width[c])
            continue;
        if (c == 0) /* a number */
            text_addf(out, "%*s", width[c], text);
        else {
            text_add(out, "  ");
            add_field(text, width[c], c == 1, out);
        }
    }
    while (out->length && out->bytes[out->length - 1] == ' ')
        out->bytes[--out->length] = '\0';
    text_add(out, "\n");
}

/* Columns as wide as what is in them; where they do not fit, cell and script give way. */
static void measure(const struct text *head, const struct line *lines, size_t count, int columns,
                    int *width)
{
    int whole = -2;
    for (int c = 0; c < COLUMNS; c++) {
        int most = 0;
        for (size_t i = 0; i < count; i++)
            if (screen_width(bytes_of(&lines[i].field[c])) > most)
                most = screen_width(bytes_of(&lines[i].field[c]));
        width[c] = most && screen_width(bytes_of(&head[c])) > most
                       ? screen_width(bytes_of(&head[c]))
                       : most;
        whole += width[c] ? width[c] + 2 : 0;
    }
    static const struct {
        int column, least;
    } gives[] = {{3, 10}, {1, 16}, {3, 0}, {1, 8}};
    for (size_t i = 0; i < sizeof gives / sizeof *gives && whole > columns; i++) {
        int *w = &width[gives[i].column], over = whole - columns;
        int room = *w > gives[i].least ? *w - gives[i].least : 0;
        int taken = gives[i].least == 0 ? *w : room < over ? room : over;
        *w -= taken;
        whole -= taken;
    }
}

/* How many bytes fit: a number is shown whole or not at all. */
static int whole_parts(const char *text, int columns)
{
    size_t length = strlen(text), fits = screen_fit(text, length, columns > 0 ? columns : 0);
    while (fits < length && fits > 0 && text[fits] != ',')
        fits--;
    return (int)fits;
}

static void add_runs(const struct follow_sight *sight, struct screen_size size, int room,
                     struct text *out)
{
    static const char *const titles[COLUMNS] = {"run",   "cell",     "channel",     "script",
                                                "state", "progress", "expected end"};
    const bool wide = size.columns >= WIDE;
    const json_t *runs = json_object_get(sight->overview, "runs");
    struct line *lines = xcalloc(json_array_size(runs) + 1, sizeof *lines);
    struct text head[COLUMNS] = {TEXT_EMPTY};
    int width[COLUMNS];
    size_t count = 0, i, details = 0;
    json_t *run;
    json_array_foreach(runs, i, run)
    {
        if (!watch_has(sight->watch, number_of(run, "run")))
            continue;
        say_run(sight, run, wide, &lines[count]);
        details += lines[count++].detail.length != 0;
    }
    for (int c = 0; c < COLUMNS; c++)
        text_add(&head[c], titles[c]);
    measure(head, lines, count, size.columns, width);
    if (count) {
        text_add(out, SCREEN_BOLD);
        add_fields(head, width, out);
    }
    /* Details as far as there is room for all of the runs first. */
    int left = room - 1 - (int)count;
    size_t shown = left < 0 ? (size_t)(room > 2 ? room - 2 : 0) : count;
    for (i = 0; i < shown; i++) {
        add_fields(lines[i].field, width, out);
        if (lines[i].detail.length && left-- > 0)
            text_addf(out, "%*s  %.*s\n", width[0], "",
                      whole_parts(lines[i].detail.bytes, size.columns - width[0] - 2),
                      lines[i].detail.bytes);
    }
    if (shown < count)
        text_addf(out, "... and %zu more: perdure overview\n", count - shown);
    for (i = 0; i < count; i++) {
        for (int c = 0; c < COLUMNS; c++)
            text_free(&lines[i].field[c]);
        text_free(&lines[i].detail);
    }
    for (int c = 0; c < COLUMNS; c++)
        text_free(&head[c]);
    free(lines);
}

/* --- questions and what comes ----------------------------------------------------------------- */

/* Wrapped, for what a person is told to do must not be cut: at spaces, a long word anywhere.
 * Returns how many lines it took. */
static int add_wrapped(const char *text, int columns, struct text *out)
{
    int lines = 0;
    while (*text) {
        size_t length = strlen(text), fits = screen_fit(text, length, columns);
        size_t end = fits;
        while (fits < length && end > 0 && text[end] != ' ')
            end--;
        if (!end)
            end = fits ? fits : length;
        text_addf(out, SCREEN_BOLD "%.*s\n", (int)end, text);
        text += end;
        while (*text == ' ')
            text++;
        lines++;
    }
    return lines;
}

/* As many as there is room for, one at least. */
static int add_questions(const struct follow_sight *sight, int columns, int room, struct text *out)
{
    const json_t *rows = json_object_get(sight->overview, "questions");
    int used = 0, left = 0;
    size_t i;
    json_t *row;
    json_array_foreach(rows, i, row)
    {
        struct text words = TEXT_EMPTY;
        if (!watch_has(sight->watch, number_of(row, "run")))
            continue;
        text_addf(&words, "question %" PRId64 ", run %" PRId64 ": ", number_of(row, "question"),
                  number_of(row, "run"));
        screen_add_plain(&words, row_text(row, "text"));
        int lines = (screen_width(words.bytes) + columns - 1) / columns;
        if (used && used + lines > room)
            left++;
        else
            used += add_wrapped(words.bytes, columns, out);
        text_free(&words);
    }
    if (!used)
        return 0;
    if (left)
        text_addf(out, "... and %d more; ", left);
    text_add(out, "answer with perdure attend\n\n");
    return used + 2;
}

/* Rows of the agenda that nobody has begun yet. */
static int add_coming(const struct follow_sight *sight, struct text *out)
{
    const json_t *rows = json_object_get(sight->overview, "agenda");
    int used = 0;
    size_t i;
    json_t *row;
    json_array_foreach(rows, i, row)
    {
        const char *when = row_text(row, "when");
        if (strcmp(when, "going on") == 0 || used == COMING_MOST ||
            !watch_has(sight->watch, number_of(row, "study")))
            continue;
        if (!used)
            text_add(out, "\n" SCREEN_BOLD "coming\n");
        used++;
        add_time(sight, number_of(row, "from_us"), true, out);
        text_addf(out, "  %s, study %" PRId64 ": ", when, number_of(row, "study"));
        screen_add_plain(out, row_text(row, "what"));
        text_addf(out, ", %" PRId64 " cells (", number_of(row, "cells"));
        screen_add_plain(out, row_text(row, "labels"));
        text_add(out, ")\n");
    }
    return used ? used + 2 : 0;
}

void follow_lines(const struct follow_sight *sight, struct screen_size size, struct text *out)
{
    struct text coming = TEXT_EMPTY;
    char civil[48];
    zone_format(sight->zone, sight->now - sight->now % US_PER_S, civil, sizeof civil);
    text_addf(out, SCREEN_BOLD "%d run%s open%s, %.10s %.8s %s", watch_open(sight->watch),
              watch_open(sight->watch) == 1 ? "" : "s",
              sight->at_work ? "" : ", no engine is at work", civil, civil + 11,
              sight->zone ? zone_name(sight->zone) : "UTC");
    if (strcmp(sight->clock, "real") != 0)
        text_addf(out, ", %s clock", sight->clock);
    text_add(out, "; Ctrl-C ends\n\n");
    int left = size.lines - 2;
    left -= add_questions(sight, size.columns, left / 2, out);
    int after = add_coming(sight, &coming);
    const int runs = watch_open(sight->watch);
    if (left - after < runs + 1) { /* runs go before what is to come */
        text_clear(&coming);
        after = 0;
    }
    add_runs(sight, size, left - after, out);
    if (coming.length)
        text_add(out, coming.bytes);
    text_free(&coming);
}
