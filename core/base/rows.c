/* Small help with JSON rows. */
#include "base/rows.h"

#include <math.h>
#include <stdlib.h>

#include "base/text.h"

struct keyed {
    double key;
    json_t *row;
};

const char *row_text(const json_t *row, const char *key)
{
    const char *text = json_string_value(json_object_get(row, key));
    return text != NULL ? text : "";
}

double row_number(const json_t *row, const char *key)
{
    const json_t *value = json_object_get(row, key);
    return json_is_number(value) ? json_number_value(value) : NAN;
}

utc_us row_instant(const json_t *row, const char *key)
{
    utc_us at = 0;
    struct error none;
    const char *text = row_text(row, key);
    return text[0] && !utc_parse(text, &at, &none) ? at : 0;
}

static int by_key(const void *a, const void *b)
{
    double x = ((const struct keyed *)a)->key, y = ((const struct keyed *)b)->key;
    return (x > y) - (x < y);
}

void rows_sort(json_t **rows, const char *key)
{
    size_t count = json_array_size(*rows);
    struct keyed *list = xcalloc(count + 1, sizeof *list);
    json_t *sorted = json_array();
    for (size_t i = 0; i < count; i++) {
        json_t *row = json_array_get(*rows, i);
        list[i] = (struct keyed){json_number_value(json_object_get(row, key)), row};
    }
    qsort(list, count, sizeof *list, by_key);
    for (size_t i = 0; i < count; i++)
        json_array_append(sorted, list[i].row);
    free(list);
    json_decref(*rows);
    *rows = sorted;
}
