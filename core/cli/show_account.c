/* Which of the accounts is asked for by the options of `results`, and showing it. */
#include "cli/show_account.h"

#include <stdlib.h>
#include <string.h>

#include "analysis/retention.h"
#include "base/quantity.h"
#include "verdict/account.h"
#include "verdict/channels.h"

/* "2@20degC" */
static int warming_of(const char *text, struct warming_rule *rule, struct error *error)
{
    const char *at = strchr(text, '@');
    char *end;
    rule->kind = WARMING_Q10;
    rule->q10 = strtod(text, &end);
    if (!at || end != at || !(rule->q10 > 0) || rule->q10 > 100 ||
        quantity_read(at + 1, DIM_TEMPERATURE, 0, &rule->reference, error)) {
        error_clear(error);
        return error_set(error, ERROR_USAGE, text, "write --warming 2@20degC",
                         "it does not say how many times as fast, and at which temperature days "
                         "count as they are");
    }
    return 0;
}

static int work_out(struct account *out, const struct arguments *arguments,
                    const struct history *history, struct error *error)
{
    const char *warming = argument(arguments, "warming");
    struct warming_rule rule = {0};
    if (argument(arguments, "retention")) {
        if (warming && warming_of(warming, &rule, error))
            return error->code;
        return account_of_retention(out, history, warming ? &rule : NULL, error);
    }
    if (argument(arguments, "wear"))
        return account_of_wear(out, history, error);
    if (argument(arguments, "channels"))
        return account_of_channels(out, history, error);
    return account_of_groups(out, history, argument(arguments, "by"), argument(arguments, "name"),
                             false, error);
}

/* The sheets as text, or the document with --json. */
static void print(const struct arguments *arguments, const struct account *account)
{
    if (arguments->json) {
        print_json(account->document);
        return;
    }
    json_t *names = json_object(), *forms;
    for (size_t i = 0; i < account->count; i++)
        table_names_gather(names, account->sheets[i].rows, account->sheets[i].columns);
    forms = table_names_short(names);
    json_decref(names);
    for (size_t i = 0; i < account->count; i++) {
        const struct sheet *sheet = &account->sheets[i];
        size_t k;
        json_t *note;
        printf("%s%s\n\n", i ? "\n" : "", sheet->heading);
        if (json_array_size(sheet->rows))
            print_rows_named(sheet->rows, sheet->columns, forms);
        if (json_array_size(sheet->rows) && json_array_size(sheet->notes))
            putchar('\n');
        json_array_foreach(sheet->notes, k, note)
        {
            puts(json_string_value(note));
        }
    }
    print_in_full(forms);
    json_decref(forms);
}

int account_show(const struct arguments *arguments, struct logbook *logbook, struct error *error)
{
    struct history history;
    struct account account;
    struct text said = TEXT_EMPTY;
    const char *arm = argument(arguments, "arm");
    if (history_open(&history, logbook, NULL, error))
        return error->code;
    if (!(argument(arguments, "correct") && history_correct(&history, &said, error)) &&
        !(arm && history_keep_arm(&history, arm, error)) &&
        !work_out(&account, arguments, &history, error)) {
        if (said.length && account.count)
            sheet_note(&account.sheets[account.count - 1], "%s", said.bytes);
        print(arguments, &account);
        account_free(&account);
    }
    text_free(&said);
    history_close(&history);
    return error->code;
}

int account_options(const struct arguments *arguments, bool *wanted, struct error *error)
{
    static const char *const tables[] = {"by", "retention", "wear", "channels"};
    static const char *const of_rows[] = {"cell", "run"};
    const char *table = NULL;
    for (size_t i = 0; i < sizeof tables / sizeof *tables; i++) {
        if (!argument(arguments, tables[i]))
            continue;
        if (table)
            return error_set(error, ERROR_USAGE, tables[i], "ask for one at a time",
                             "--%s is asked for too", table);
        table = tables[i];
    }
    for (size_t i = 0; table && i < sizeof of_rows / sizeof *of_rows; i++)
        if (argument(arguments, of_rows[i]))
            return error_set(error, ERROR_USAGE, of_rows[i], "leave it out",
                             "it does not go with --%s", table);
    if (table && strcmp(table, "by") != 0 && argument(arguments, "name"))
        return error_set(error, ERROR_USAGE, "name", "leave it out", "it does not go with --%s",
                         table);
    if (argument(arguments, "warming") && !argument(arguments, "retention"))
        return error_set(error, ERROR_USAGE, "warming", "write --retention too",
                         "it is for --retention only");
    if (argument(arguments, "arm") && (!table || strcmp(table, "channels") == 0))
        return error_set(error, ERROR_USAGE, "arm", "write --by model too",
                         "it is for --by, --retention and --wear only");
    if (argument(arguments, "channels") && argument(arguments, "correct"))
        return error_set(error, ERROR_USAGE, "correct", "ask for one at a time",
                         "--channels shows the biases themselves");
    *wanted = table != NULL;
    return 0;
}
