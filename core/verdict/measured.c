/* Coverage of results, and how they are shown. */
#include "verdict/measured.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "analysis/uncertainty.h"
#include "base/rows.h"
#include "base/text.h"
#include "report/rounded.h"

const char measured_note[] =
    "\xc2\xb1 U: expanded uncertainty U = k u of what measured it, coverage about 95 %";

void measured_expand(json_t *rows)
{
    size_t i;
    json_t *row;
    json_array_foreach(rows, i, row)
    {
        double standard = row_number(row, "uncertainty"), freedom = row_number(row, "freedom");
        double k = coverage_factor(MEASURED_CONFIDENCE, isnan(freedom) ? INFINITY : freedom);
        double percent = row_number(row, "percent_of_rating"), value = row_number(row, "value");
        if (!isfinite(k * standard))
            continue;
        json_object_set_new(row, "coverage", json_real(k));
        json_object_set_new(row, "confidence", json_real(MEASURED_CONFIDENCE));
        json_object_set_new(row, "expanded", json_real(k * standard));
        if (isfinite(percent) && value != 0) /* the rating itself is a promise, and exact */
            json_object_set_new(row, "percent_expanded",
                                json_real(fabs(percent / value) * k * standard));
    }
}

static void say_percent(json_t *row)
{
    char value[40], expanded[40], both[96];
    double percent = row_number(row, "percent_of_rating"), U = row_number(row, "percent_expanded");
    if (!isfinite(percent))
        return;
    rounded_uncertainty(U, expanded, sizeof expanded);
    snprintf(both, sizeof both, "%s%s%s", rounded_value(percent, U, value, sizeof value),
             expanded[0] ? " \xc2\xb1 " : "", expanded);
    json_object_set_new(row, "percent_text", json_string(both));
}

void measured_say(json_t *rows)
{
    size_t i;
    json_t *row;
    char text[40];
    measured_expand(rows);
    json_array_foreach(rows, i, row)
    {
        double U = row_number(row, "expanded");
        json_object_set_new(
            row, "value_text",
            json_string(rounded_value(row_number(row, "value"), U, text, sizeof text)));
        json_object_set_new(row, "expanded_text",
                            json_string(rounded_uncertainty(U, text, sizeof text)));
        snprintf(text, sizeof text, "%.2f", row_number(row, "coverage"));
        json_object_set_new(row, "coverage_text", json_string(isfinite(U) ? text : ""));
        say_percent(row);
    }
}

const char corrected_note[] =
    "corrected: what was typed was wrong and was typed anew; `perdure runs N` has the old figures";

int measured_corrected(const json_t *row)
{
    return string_has_word(row_text(row, "flags"), "corrected");
}

int measured_any_corrected(const json_t *rows)
{
    size_t i;
    json_t *row;
    json_array_foreach(rows, i, row)
    {
        if (measured_corrected(row))
            return 1;
    }
    return 0;
}

int measured_any(const json_t *rows)
{
    size_t i;
    json_t *row;
    json_array_foreach(rows, i, row)
    {
        if (isfinite(row_number(row, "expanded")))
            return 1;
    }
    return 0;
}
