/* Sheets of texts, and how they are printed. */
#include "verdict/account.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "report/rounded.h"

void account_begin(struct account *account)
{
    *account = (struct account){.document = json_array()};
}

void account_free(struct account *account)
{
    for (size_t i = 0; i < account->count; i++) {
        json_decref(account->sheets[i].rows);
        json_decref(account->sheets[i].notes);
    }
    json_decref(account->document);
    *account = (struct account){0};
}

struct sheet *account_sheet(struct account *account, const char *heading,
                            const struct column *columns)
{
    struct sheet *sheet = &account->sheets[account->count++];
    *sheet = (struct sheet){heading, columns, json_array(), json_array()};
    return sheet;
}

json_t *sheet_row(struct sheet *sheet)
{
    json_t *row = json_object();
    json_array_append_new(sheet->rows, row);
    return row;
}

void sheet_note(struct sheet *sheet, const char *format, ...)
{
    va_list list;
    va_start(list, format);
    json_t *note = json_vsprintf(format, list);
    va_end(list);
    json_array_append_new(sheet->notes, note);
}

void put_text(json_t *row, const char *key, const char *format, ...)
{
    va_list list;
    va_start(list, format);
    json_t *text = json_vsprintf(format, list);
    va_end(list);
    json_object_set_new(row, key, text);
}

void put_number(json_t *row, const char *key, double value)
{
    json_object_set_new(row, key, isfinite(value) ? json_real(value) : json_null());
}

void put_range(json_t *row, const char *key, double low, double high, int digits)
{
    char a[48] = "-", b[48] = "no end";
    if (isnan(low) || isnan(high))
        return;
    if (isfinite(low))
        snprintf(a, sizeof a, "%.*f", digits, low);
    if (isfinite(high))
        snprintf(b, sizeof b, "%.*f", digits, high);
    if (strcmp(a, b) == 0)
        put_text(row, key, "%s", a);
    else
        put_text(row, key, "%s to %s", a, b);
}

void put_interval(json_t *row, const char *key, double low, double high)
{
    char from[40], to[40];
    double half = (high - low) / 2;
    if (isfinite(low) && isfinite(high))
        put_text(row, key, "%s to %s", rounded_value(low, half, from, sizeof from),
                 rounded_value(high, half, to, sizeof to));
}

void note_gaps(struct sheet *sheet, size_t with_gap)
{
    if (with_gap)
        sheet_note(sheet,
                   "%zu of the values %s a gap: what flowed unseen is not in %s (perdure results "
                   "has them with their flags).",
                   with_gap, with_gap == 1 ? "has" : "have", with_gap == 1 ? "it" : "them");
}

void put_status(json_t *row, const char *key, enum analysis_status status)
{
    if (status != ANALYSIS_OK)
        put_text(row, key, "%s: %s", analysis_status_text(status), analysis_status_todo(status));
}
