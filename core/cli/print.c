/* Tables for people, JSON for programs: both from the same rows. */
#include <math.h>
#include <stdbool.h>
#include <stdio.h>
#include <string.h>

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

/* What a cell of the table shows; buffer is used where the text is not shown as it is. */
static const char *shown(const json_t *value, char align, int places, const struct zone *zone,
                         char *buffer, size_t size)
{
    const char *text = json_string_value(value);
    if (text)
        return align == 't' ? shown_time(text, zone, buffer, size) : text;
    if (json_is_integer(value)) {
        snprintf(buffer, size, "%" JSON_INTEGER_FORMAT, json_integer_value(value));
        return buffer;
    }
    if (json_is_real(value)) {
        double number = json_real_value(value);
        int own = places_of(number);
        snprintf(buffer, size, "%.*f", own < places ? own : places, number);
        return buffer;
    }
    if (json_is_boolean(value))
        return json_is_true(value) ? "yes" : "no";
    return "";
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

void print_rows_in(const struct arguments *arguments, const json_t *rows,
                   const struct column *columns, const struct zone *zone)
{
    if (arguments->json) {
        print_json(rows);
        return;
    }
    int width[COLUMNS_MOST], used[COLUMNS_MOST], places[COLUMNS_MOST], count = 0;
    char buffer[64];
    size_t i;
    json_t *row;
    for (int c = 0; c < COLUMNS_MOST && columns[c].key; c++) {
        int most = 0, precise = places_of_column(rows, columns[c].key);
        json_array_foreach(rows, i, row)
        {
            int here = screen_width(shown(json_object_get(row, columns[c].key), columns[c].align,
                                          precise, zone, buffer, sizeof buffer));
            most = here > most ? here : most;
        }
        if (!most)
            continue;
        int title = screen_width(columns[c].title);
        places[count] = precise;
        width[count] = most > title ? most : title;
        used[count++] = c;
    }
    if (!count) {
        puts("nothing on record");
        return;
    }
    for (int c = 0; c < count; c++)
        print_cell(columns[used[c]].title, width[c], columns[used[c]].align, c == count - 1);
    json_array_foreach(rows, i, row)
    {
        for (int c = 0; c < count; c++)
            print_cell(shown(json_object_get(row, columns[used[c]].key), columns[used[c]].align,
                             places[c], zone, buffer, sizeof buffer),
                       width[c], columns[used[c]].align, c == count - 1);
    }
}
