/* Tables for people, JSON for programs: both from the same rows. */
#include <math.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/name.h"
#include "base/text.h"
#include "cli/cli.h"
#include "cli/screen.h"

#define COLUMNS_MOST 24

void print_json(const json_t *document)
{
    json_dumpf(document, stdout, JSON_INDENT(2) | JSON_ENCODE_ANY | JSON_REAL_PRECISION(12));
    putchar('\n');
}

const char *shown_time(const char *text, const struct zone *zone, char *buffer, size_t size)
{
    struct error none;
    utc_us at;
    if (zone && !utc_parse(text, &at, &none)) {
        char civil[48];
        zone_format(zone, at, civil, sizeof civil);
        snprintf(buffer, size, "%.10s %.5s %s", civil, civil + 11,
                 civil + strlen(civil) - strlen("+hh:mm"));
        return buffer;
    }
    if (strlen(text) > 16) {
        snprintf(buffer, size, "%.10s %.5s", text, text + 11);
        return buffer;
    }
    return text;
}

/* Places that a number gets by its size. */
static int places_of(double number)
{
    return fabs(number) >= 1000 ? 0 : fabs(number) >= 10 ? 2 : 4;
}

/* Places after which only zeros would follow: what is whole in all rows is shown so. */
static int places_used(double number)
{
    char text[64];
    int places = places_of(number);
    snprintf(text, sizeof text, "%.*f", places, number);
    for (size_t end = strlen(text); places && text[end - 1] == '0'; end--)
        places--;
    return places;
}

static int places_of_column(const json_t *rows, const char *key)
{
    int most = 0;
    size_t i;
    json_t *row;
    json_array_foreach(rows, i, row)
    {
        const json_t *value = json_object_get(row, key);
        int places = json_is_real(value) ? places_used(json_real_value(value)) : 0;
        most = places > most ? places : most;
    }
    return most;
}

/* What is shown of a column. */
struct shown {
    const struct column *column;
    int width, places;
    json_t *names; /* their short forms, where some are long; owned */
};

/* What a cell of the table shows; buffer is used where the text is not shown as it is. */
static const char *shown(const json_t *row, const struct shown *of, const struct zone *zone,
                         char *buffer, size_t size)
{
    const json_t *value = json_object_get(row, of->column->key);
    const char *text = json_string_value(value);
    if (text && of->names)
        return json_string_value(json_object_get(of->names, text));
    if (text)
        return of->column->align == 't' ? shown_time(text, zone, buffer, size) : text;
    if (json_is_integer(value)) {
        snprintf(buffer, size, "%" JSON_INTEGER_FORMAT, json_integer_value(value));
        return buffer;
    }
    if (json_is_real(value)) {
        double number = json_real_value(value);
        int own = places_of(number);
        snprintf(buffer, size, "%.*f", own < of->places ? own : of->places, number);
        return buffer;
    }
    if (json_is_boolean(value))
        return json_is_true(value) ? "yes" : "no";
    return "";
}

void table_names_gather(json_t *names, const json_t *rows, const struct column *columns)
{
    size_t i;
    json_t *row;
    for (const struct column *column = columns; column->key; column++)
        json_array_foreach(rows, i, row)
        {
            const char *name = json_string_value(json_object_get(row, column->key));
            if (column->align == 'n' && name)
                json_object_set_new(names, name, json_true());
        }
}

json_t *table_names_short(const json_t *names)
{
    const char *name;
    size_t i, count = 0;
    json_t *value;
    const char **list = xcalloc(json_object_size(names) + 1, sizeof *list);
    struct text *shorter = xcalloc(json_object_size(names) + 1, sizeof *shorter);
    json_object_foreach((json_t *)names, name, value)
    {
        list[count++] = name;
    }
    bool whole = names_shorten(shorter, list, count, NAME_IN_TABLE, NULL, NULL);
    json_t *out = whole ? NULL : json_object();
    for (i = 0; i < count; i++) {
        if (out)
            json_object_set_new(out, list[i], json_string(shorter[i].bytes));
        text_free(&shorter[i]);
    }
    free(shorter);
    free(list);
    return out;
}

/* The column's names by their short forms; NULL when none is long. */
static json_t *short_names(const json_t *rows, const struct column *column)
{
    const struct column only[] = {*column, {NULL, NULL, 0}};
    json_t *names = json_object(), *out;
    table_names_gather(names, rows, only);
    out = table_names_short(names);
    json_decref(names);
    return out;
}

void print_in_full(const json_t *forms)
{
    const char *name;
    const json_t *form;
    bool first = true;
    json_object_foreach((json_t *)forms, name, form)
    {
        if (strcmp(json_string_value(form), name) == 0)
            continue;
        printf("%s%s: %s\n", first ? "\nin full:\n" : "", json_string_value(form), name);
        first = false;
    }
}

static void print_cell(const char *text, int width, char align, bool last)
{
    int room = width - screen_width(text);
    if (align == 'r')
        printf("%*s", room, "");
    fputs(text, stdout);
    if (align != 'r' && !last)
        printf("%*s", room, "");
    fputs(last ? "\n" : "  ", stdout);
}

void print_rows(const struct arguments *arguments, const json_t *rows, const struct column *columns)
{
    print_rows_in(arguments, rows, columns, NULL);
}

/* `forms`: those of table_names_short, to be told in full elsewhere; NULL: own ones, told below. */
static void print_table(const json_t *rows, const struct column *columns, const struct zone *zone,
                        json_t *forms)
{
    struct shown all[COLUMNS_MOST];
    int count = 0;
    char buffer[64];
    size_t i;
    json_t *row;
    for (const struct column *column = columns; column->key && count < COLUMNS_MOST; column++) {
        struct shown *of = &all[count];
        *of = (struct shown){.column = column, .places = places_of_column(rows, column->key)};
        if (column->align == 'n')
            of->names = forms ? json_incref(forms) : short_names(rows, column);
        json_array_foreach(rows, i, row)
        {
            int here = screen_width(shown(row, of, zone, buffer, sizeof buffer));
            of->width = here > of->width ? here : of->width;
        }
        if (!of->width)
            continue;
        int title = screen_width(column->title);
        of->width = of->width > title ? of->width : title;
        count++;
    }
    if (!count) {
        puts("nothing on record");
        return;
    }
    for (int c = 0; c < count; c++)
        print_cell(all[c].column->title, all[c].width, all[c].column->align, c == count - 1);
    json_array_foreach(rows, i, row)
    {
        for (int c = 0; c < count; c++)
            print_cell(shown(row, &all[c], zone, buffer, sizeof buffer), all[c].width,
                       all[c].column->align, c == count - 1);
    }
    for (int c = 0; c < count; c++) {
        if (!forms)
            print_in_full(all[c].names);
        json_decref(all[c].names);
    }
}

void print_rows_in(const struct arguments *arguments, const json_t *rows,
                   const struct column *columns, const struct zone *zone)
{
    if (arguments->json)
        print_json(rows);
    else
        print_table(rows, columns, zone, NULL);
}

void print_rows_named(const json_t *rows, const struct column *columns, json_t *forms)
{
    print_table(rows, columns, NULL, forms);
}
