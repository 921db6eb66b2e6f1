/* Splitting rows into steps, and writing them for the act (core/engine/act_import.c). */
#include "cli/import_steps.h"

#include <inttypes.h>
#include <math.h>
#include <stdlib.h>

#define STEPS_MOST 20000

/* -1 out of the cell, 1 into it, 0 a rest. */
static int way_of(int64_t microampere, double rest_below)
{
    if (fabs((double)microampere) <= rest_below * 1e6)
        return 0;
    return microampere > 0 ? 1 : -1;
}

/* The way of a whole step: by its mean current over time. */
static int way_of_rows(const struct import_row *rows, size_t count, double rest_below)
{
    double charge = 0, span = (double)(rows[count - 1].at_us - rows[0].at_us);
    if (count == 1 || span <= 0)
        return way_of(rows[0].microampere, rest_below);
    for (size_t i = 1; i < count; i++)
        charge += (double)(rows[i].at_us - rows[i - 1].at_us) *
                  (double)(rows[i].microampere + rows[i - 1].microampere) / 2;
    return way_of(llround(charge / span), rest_below);
}

static const char *kind_of(int way)
{
    return way > 0 ? "charge" : way < 0 ? "discharge" : "rest";
}

static void add_whole(struct text *out, int64_t number)
{
    char digits[24], *at = digits + sizeof digits;
    uint64_t left = number < 0 ? -(uint64_t)number : (uint64_t)number;
    do
        *--at = (char)('0' + left % 10);
    while (left /= 10);
    if (number < 0)
        *--at = '-';
    text_add_bytes(out, at, (size_t)(digits + sizeof digits - at));
}

/* What the file's own column says of the step; NAN where it starts anew within it. */
static double file_charge(const struct import_row *rows, size_t count)
{
    double span = rows[count - 1].charge - rows[0].charge, most = 0;
    for (size_t i = 1; i < count; i++)
        most = fmax(most, fabs(rows[i].charge - rows[0].charge));
    return fabs(span) < 0.99 * most ? NAN : span;
}

static json_t *step_of(const struct import_file *file, const struct import_row *rows, size_t count,
                       double rest_below)
{
    struct text text = TEXT_EMPTY;
    json_t *gaps = json_array();
    for (size_t i = 0; i < count; i++) {
        const struct import_row *row = &rows[i];
        if (i && row->gap) {
            text_add_bytes(&text, "g", 1);
            json_array_append(gaps, json_array_get(file->gaps, (size_t)row->gap - 1));
        }
        add_whole(&text, row->at_us - rows[0].at_us);
        text_add_bytes(&text, " ", 1);
        add_whole(&text, row->microvolt);
        text_add_bytes(&text, " ", 1);
        add_whole(&text, row->microampere);
        text_add_bytes(&text, " ", 1);
        if (row->millidegree == IMPORT_NO_TEMPERATURE)
            text_add_bytes(&text, "-", 1);
        else
            add_whole(&text, row->millidegree);
        text_add_bytes(&text, "\n", 1);
    }
    double charge = file_charge(rows, count);
    json_t *step = json_pack("{s:s, s:I, s:i, s:i, s:s%, s:o, s:o}", "kind",
                             kind_of(way_of_rows(rows, count, rest_below)), "at_us",
                             (json_int_t)rows[0].at_us, "first_line", rows[0].line, "last_line",
                             rows[count - 1].line, "rows", text.bytes, text.length, "gaps", gaps,
                             "file_charge", isfinite(charge) ? json_real(charge) : json_null());
    text_free(&text);
    return step;
}

int import_steps(const char *path, const struct import_file *file, const struct import_map *map,
                 double rest_below, json_t **steps, struct error *error)
{
    *steps = json_array();
    for (size_t from = 0, to; from < file->count; from = to) {
        const struct import_row *rows = file->rows;
        int way = way_of(rows[from].microampere, rest_below);
        for (to = from + 1; to < file->count; to++)
            if (map->step.there ? rows[to].block != rows[from].block
                                : way_of(rows[to].microampere, rest_below) != way)
                break;
        if (json_array_size(*steps) == STEPS_MOST)
            return error_set(error, ERROR_FAILED, path,
                             "name a step column, or a larger --rest-below than the noise",
                             "it falls into more than %d steps, at line %d", STEPS_MOST,
                             rows[from].line);
        json_array_append_new(*steps, step_of(file, rows + from, to - from, rest_below));
    }
    return 0;
}
