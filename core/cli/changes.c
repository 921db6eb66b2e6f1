/* What each kind of change says. */
#include "cli/changes.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/quantity.h"
#include "base/rows.h"

void change_add(json_t *changes, utc_us at, const struct subject *of, const char *what,
                const struct text *text)
{
    char stamp[40];
    json_t *words = json_stringn(text->length ? text->bytes : "", text->length);
    json_array_append_new(
        changes, json_pack("{s:s, s:o, s:o, s:s, s:o}", "at", utc_format(at, stamp, sizeof stamp),
                           "run", of ? json_integer(of->run) : json_null(), "cell",
                           of && of->cell[0] ? json_string(of->cell) : json_null(), "what", what,
                           "text", words ? words : json_string("(not valid UTF-8)")));
}

void changes_sort(json_t *changes)
{
    for (size_t i = 1; i < json_array_size(changes); i++) {
        json_t *row = json_incref(json_array_get(changes, i));
        utc_us at = row_instant(row, "at");
        size_t to = i;
        while (to > 0 && row_instant(json_array_get(changes, to - 1), "at") > at)
            to--;
        json_array_remove(changes, i);
        json_array_insert_new(changes, to, row);
    }
}

static void add_number(struct text *text, const json_t *row, const char *key, const char *unit)
{
    double value = row_number(row, key);
    if (isfinite(value))
        text_addf(text, ", %.4f %s", value, unit);
}

void change_step_begins(json_t *changes, const struct subject *of, const json_t *row)
{
    static const struct {
        const char *key, *before;
        enum dimension dimension;
    } parts[] = {{"current", " at ", DIM_CURRENT},
                 {"power", " at ", DIM_POWER},
                 {"resistance", " through ", DIM_RESISTANCE},
                 {"time", ", at most ", DIM_TIME}};
    const json_t *plan = json_object_get(row, "plan");
    struct text text = TEXT_EMPTY;
    char buffer[48];
    text_addf(&text, "%s begins", row_text(row, "kind"));
    for (size_t i = 0; i < sizeof parts / sizeof *parts; i++) {
        double value = row_number(plan, parts[i].key);
        if (isfinite(value))
            text_addf(&text, "%s%s", parts[i].before,
                      quantity_format(fabs(value), parts[i].dimension, buffer, sizeof buffer));
    }
    change_add(changes, row_instant(row, "started_at"), of, "step", &text);
    text_free(&text);
}

void change_step_ends(json_t *changes, const struct subject *of, const json_t *row)
{
    struct text text = TEXT_EMPTY;
    char buffer[48];
    double took = row_number(row, "duration_s");
    text_addf(&text, "%s ends (%s)", row_text(row, "kind"), row_text(row, "ended_by"));
    if (isfinite(took))
        text_addf(&text, " after %s", span_format(round(took), buffer, sizeof buffer));
    add_number(&text, row, "charge_Ah", "Ah");
    add_number(&text, row, "energy_Wh", "Wh");
    add_number(&text, row, "last_voltage_V", "V");
    add_number(&text, row, "resistance_ohm", "ohm");
    if (strcmp(row_text(row, "quality"), "good") != 0)
        text_addf(&text, ", %s", row_text(row, "quality"));
    change_add(changes, row_instant(row, "ended_at"), of, "step", &text);
    text_free(&text);
}

void change_answered(json_t *changes, const struct subject *of, const json_t *row, bool corrected)
{
    struct text text = TEXT_EMPTY;
    const json_t *answer = json_object_get(row, "answer");
    const char *who = row_text(row, "who");
    text_addf(&text, "question %" JSON_INTEGER_FORMAT " is %s%s%s: ",
              json_integer_value(json_object_get(row, "question")),
              corrected ? "corrected" : "answered", who[0] ? " by " : "", who);
    if (json_is_string(answer)) {
        text_add(&text, json_string_value(answer));
    } else if (json_is_number(answer)) {
        text_addf(&text, "%.6g", json_number_value(answer));
    } else if (json_is_true(answer)) {
        text_add(&text, "yes");
    } else {
        char *json = json_dumps(answer, JSON_ENCODE_ANY | JSON_REAL_PRECISION(6));
        text_add(&text, json);
        free(json);
    }
    change_add(changes, row_instant(row, "answered_at"), of, "answer", &text);
    text_free(&text);
}

void change_result(json_t *changes, const struct subject *of, const json_t *row)
{
    struct text text = TEXT_EMPTY;
    text_addf(&text, "result %s: %.6g %s", row_text(row, "name"), row_number(row, "value"),
              row_text(row, "unit"));
    change_add(changes, row_instant(row, "at"), of, "result", &text);
    text_free(&text);
}
