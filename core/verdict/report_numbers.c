/* The tables of a report: the same accounts that `results` prints. */
#include <stdlib.h>
#include <string.h>

#include "verdict/account.h"
#include "verdict/report.h"

static size_t count_columns(const struct sheet *sheet)
{
    size_t count = 0;
    while (sheet->columns[count].key)
        count++;
    return count;
}

static void convert(struct report *report, const struct sheet *sheet, struct page_part *out)
{
    size_t width = count_columns(sheet), rows = json_array_size(sheet->rows), r, n;
    struct page_column *columns = report_keep(report, xcalloc(width + 1, sizeof *columns));
    json_t *row, *note;
    *out = (struct page_part){.heading = sheet->heading};
    for (size_t c = 0; c < width; c++)
        columns[c] = (struct page_column){report_unit(report, sheet->columns[c].title),
                                          sheet->columns[c].align == 'r',
                                          strcmp(sheet->columns[c].key, "note") == 0};
    const char **fields = report_table(report, &out->table, columns, width, rows);
    json_array_foreach(sheet->rows, r, row)
    {
        for (size_t c = 0; c < width; c++) {
            const char *text = json_string_value(json_object_get(row, sheet->columns[c].key));
            struct text said = TEXT_EMPTY;
            if (text && sheet->columns[c].align == 'n')
                evidence_say(&said, report->evidence, text);
            else if (text)
                text_add(&said, text);
            const char *field = text ? report_take(report, &said) : NULL;
            fields[r * width + c] =
                strcmp(sheet->columns[c].key, "unit") == 0 ? report_unit(report, field) : field;
        }
    }
    json_array_foreach(sheet->notes, n, note)
    {
        report_add_item(report, &out->notes, report_text(report, "%s", json_string_value(note)));
    }
}

/* Adds the sheets of an account, which is freed; of one that could not be had, nothing. */
static int take(struct report *report, int failed, struct account *account, struct error *error)
{
    if (failed && error->code != ERROR_FAILED)
        return error->code;
    error_clear(error);
    if (failed)
        return 0;
    size_t before = report->page.part_count;
    struct page_part *parts = report_keep(report, xcalloc(before + account->count, sizeof *parts));
    for (size_t i = 0; i < before; i++)
        parts[i] = report->page.parts[i];
    for (size_t i = 0; i < account->count; i++)
        convert(report, &account->sheets[i], &parts[before + i]);
    report->page.parts = parts;
    report->page.part_count = before + account->count;
    account_free(account);
    return 0;
}

int report_numbers(struct report *report, struct error *error)
{
    const struct history *history = &report->evidence->history;
    struct account account;
    if (take(report, account_of_groups(&account, history, "model", NULL, true, error), &account,
             error) ||
        take(report, account_of_retention(&account, history, NULL, error), &account, error) ||
        take(report, account_of_wear(&account, history, error), &account, error) ||
        take(report, account_of_channels(&account, history, error), &account, error))
        return error->code;
    return 0;
}
