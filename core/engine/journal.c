/* The journal's cursor. Entries are read once into one block: replay is then a walk through memory,
 * with no query for each. */
#include "engine/journal.h"

#include <inttypes.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"

struct journal_page {
    struct text strings; /* name, args, outcome of each entry, NUL-terminated, one after another */
    struct spot {
        size_t name, args, outcome; /* offsets; outcome SIZE_MAX when there is none */
        utc_us outcome_at;
    } * entry;
    int64_t count, room;
};

static size_t keep(struct journal_page *page, const char *string)
{
    size_t offset = page->strings.length;
    text_add_bytes(&page->strings, string, strlen(string) + 1);
    return offset;
}

static int keep_entry(void *context, const struct journal_entry *entry)
{
    struct journal_page *page = context;
    if (page->count == page->room) {
        page->room = page->room ? 2 * page->room : 64;
        page->entry = xrealloc(page->entry, (size_t)page->room * sizeof *page->entry);
    }
    page->entry[page->count++] = (struct spot){
        .name = keep(page, entry->name),
        .args = keep(page, entry->args),
        .outcome = entry->outcome ? keep(page, entry->outcome) : SIZE_MAX,
        .outcome_at = entry->outcome_at,
    };
    return 0;
}

int journal_load(struct journal *journal, struct logbook *logbook, int64_t run, int segment,
                 utc_us began, struct error *error)
{
    *journal = (struct journal){.cursor = began, .page = xcalloc(1, sizeof *journal->page)};
    return logbook_journal_read(logbook, run, segment, keep_entry, journal->page, error);
}

void journal_free(struct journal *journal)
{
    if (!journal->page)
        return;
    text_free(&journal->page->strings);
    free(journal->page->entry);
    free(journal->page);
    journal->page = NULL;
}

int64_t journal_left(const struct journal *journal)
{
    return journal->page && journal->page->count > journal->n ? journal->page->count - journal->n
                                                              : 0;
}

bool journal_peek(const struct journal *journal, struct journal_entry *out)
{
    const struct journal_page *page = journal->page;
    if (!journal_left(journal))
        return false;
    const struct spot *spot = &page->entry[journal->n];
    *out = (struct journal_entry){
        .n = journal->n + 1,
        .name = page->strings.bytes + spot->name,
        .args = page->strings.bytes + spot->args,
        .outcome = spot->outcome == SIZE_MAX ? NULL : page->strings.bytes + spot->outcome,
        .outcome_at = spot->outcome_at,
    };
    return true;
}

void journal_put(struct journal *journal, int64_t n, const char *outcome)
{
    struct journal_page *page = journal->page;
    if (n >= 1 && n <= page->count)
        page->entry[n - 1].outcome = keep(page, outcome);
}

enum journal_step journal_pass(struct journal *journal, const char **outcome)
{
    struct journal_entry entry;
    bool on_record = journal_peek(journal, &entry);
    journal->n++;
    if (!on_record)
        return JOURNAL_NEW;
    if (!entry.outcome)
        return JOURNAL_OPEN;
    *outcome = entry.outcome;
    journal->cursor = entry.outcome_at;
    return JOURNAL_REPLAYED;
}

enum journal_step journal_next(struct journal *journal, const struct script_request *request,
                               const char **outcome, struct error *error)
{
    struct journal_entry entry;
    if (!journal_peek(journal, &entry) ||
        (strcmp(entry.name, request->name) == 0 && strcmp(entry.args, request->args) == 0))
        return journal_pass(journal, outcome);

    char what[64];
    journal->n++;
    snprintf(what, sizeof what, "journal entry %" PRId64, entry.n);
    error_set(error, ERROR_FAILED, what,
              "compare the pinned text with what changed, then adopt a text that fits",
              "the record says %s %.200s, but the script (line %d) now asks for %s %.200s",
              entry.name, entry.args, request->line, request->name, request->args);
    return JOURNAL_DIVERGED;
}
