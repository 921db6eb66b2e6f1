/* Writes the page of a report. */
#include "report/page.h"

#include <stdlib.h>
#include <string.h>

#include "page_css.h"
#include "report/svg.h"

/* --- parts ------------------------------------------------------------------------------------ */

static bool has(const char *string)
{
    return string != NULL && string[0] != '\0';
}

static void add_escaped(struct text *out, const char *string)
{
    if (has(string))
        svg_escaped(out, string);
}

static void add_element(struct text *out, const char *name, const char *class, const char *string)
{
    if (!has(string))
        return;
    text_addf(out, "<%s", name);
    if (class != NULL)
        svg_attribute_text(out, "class", class);
    text_add(out, ">");
    add_escaped(out, string);
    text_addf(out, "</%s>\n", name);
}

static void open_section(struct text *out, const char *id, const char *heading)
{
    text_addf(out, "<section id=\"%s\">\n<h2>%s</h2>\n", id, heading);
}

static void add_list(struct text *out, const struct page_list *list)
{
    if (list->count == 0)
        return;
    text_add(out, "<ul>\n");
    for (size_t i = 0; i < list->count; i++)
        add_element(out, "li", NULL, list->items[i]);
    text_add(out, "</ul>\n");
}

/* How columns are set is said once for a table, not in every cell of it: class "n3" makes numbers
 * of the third column, "p3" prose. */
#define COLUMNS_MOST 20

static void add_column_styles(struct text *out)
{
    for (int c = 1; c <= COLUMNS_MOST; c++) {
        text_addf(out,
                  ".n%d th:nth-child(%d), .n%d td:nth-child(%d) { text-align: right; "
                  "font-variant-numeric: tabular-nums; }\n",
                  c, c, c, c);
        text_addf(
            out,
            ".p%d td:nth-child(%d) { white-space: normal; min-width: var(--prose); max-width: "
            "22rem; overflow-wrap: anywhere; }\n",
            c, c);
    }
}

/* Also a column that is not called prose, where a field of it is as long as that. */
static bool is_prose(const struct page_table *table, size_t column)
{
    if (table->columns[column].text)
        return true;
    for (size_t r = 0; r < table->row_count && !table->columns[column].number; r++) {
        const char *field = table->fields[r * table->column_count + column];
        if (has(field) && strlen(field) > 28)
            return true;
    }
    return false;
}

static void add_classes(struct text *out, const struct page_table *table, const bool *used)
{
    size_t shown = 0;
    text_add(out, " class=\"");
    for (size_t c = 0; c < table->column_count; c++) {
        if (!used[c])
            continue;
        shown++;
        if (table->columns[c].number)
            text_addf(out, "n%zu ", shown);
        else if (is_prose(table, c))
            text_addf(out, "p%zu ", shown);
    }
    text_add(out, "\"");
}

static bool is_used(const struct page_table *table, size_t column)
{
    for (size_t r = 0; r < table->row_count; r++)
        if (has(table->fields[r * table->column_count + column]))
            return true;
    return false;
}

/* A column without a single value takes room for nothing. */
static void add_table(struct text *out, const struct page_table *table)
{
    if (table->row_count == 0)
        return;
    bool *used = xcalloc(table->column_count, sizeof *used);
    for (size_t c = 0; c < table->column_count; c++)
        used[c] = is_used(table, c);
    text_add(out, "<div class=\"scroll\" tabindex=\"0\">\n<table");
    add_classes(out, table, used);
    text_add(out, ">\n<thead><tr>");
    for (size_t c = 0; c < table->column_count; c++) {
        if (!used[c])
            continue;
        text_add(out, "<th scope=\"col\">");
        add_escaped(out, table->columns[c].title);
        text_add(out, "</th>");
    }
    text_add(out, "</tr></thead>\n<tbody>\n");
    for (size_t r = 0; r < table->row_count; r++) {
        text_add(out, "<tr>");
        for (size_t c = 0; c < table->column_count; c++) {
            if (!used[c])
                continue;
            text_add(out, "<td>");
            add_escaped(out, table->fields[r * table->column_count + c]);
            text_add(out, "</td>");
        }
        text_add(out, "</tr>\n");
    }
    text_add(out, "</tbody>\n</table>\n</div>\n");
    free(used);
}

/* Line by line, for escaping makes a space of a line break. */
static void add_lines(struct text *out, const char *string)
{
    struct text line = TEXT_EMPTY;
    while (*string != '\0') {
        size_t length = strcspn(string, "\n");
        text_clear(&line);
        text_add_bytes(&line, string, length);
        add_escaped(out, line.bytes);
        text_add(out, "\n");
        string += length + (string[length] == '\n');
    }
    text_free(&line);
}

/* --- sections --------------------------------------------------------------------------------- */

static void add_head(struct text *out, const struct page *page)
{
    text_add(out, "<!DOCTYPE html>\n"
                  "<html xmlns=\"http://www.w3.org/1999/xhtml\" lang=\"en\">\n<head>\n"
                  "<meta charset=\"utf-8\"/>\n"
                  "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\"/>\n"
                  /* Whatever might slip through: nothing is fetched, no script runs. */
                  "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; "
                  "style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'\"/>\n");
    add_element(out, "title", NULL, has(page->title) ? page->title : "Report");
    text_add(out, "<style>\n");
    text_add(out, page_css);
    add_column_styles(out);
    text_add(out, "</style>\n</head>\n<body>\n<header>\n");
    add_element(out, "h1", NULL, has(page->title) ? page->title : "Report");
    add_element(out, "p", "quiet-text", page->lead);
    add_element(out, "p", "warning", page->warning);
    text_add(out, "<nav aria-label=\"Sections\"><a href=\"#summary\">Summary</a> "
                  "<a href=\"#ranking\">Ranking</a> <a href=\"#charts\">Charts</a> ");
    if (page->part_count > 0)
        text_add(out, "<a href=\"#numbers\">In numbers</a> ");
    text_add(out, "<a href=\"#method\">How it was measured</a> "
                  "<a href=\"#troubles\">What went wrong</a> "
                  "<a href=\"#results\">All results</a></nav>\n</header>\n<main>\n");
}

static void add_chart(struct text *out, const struct page_chart *chart)
{
    text_add(out, "<figure>\n");
    add_element(out, "h3", NULL, chart->heading);
    if (has(chart->svg)) {
        text_addf(out, "<div class=\"wide%s\">\n", has(chart->narrow) ? " has-narrow" : "");
        text_add(out, chart->svg);
        text_add(out, "</div>\n");
        if (has(chart->narrow)) {
            text_add(out, "<div class=\"narrow\">\n");
            text_add(out, chart->narrow);
            text_add(out, "</div>\n");
        }
    } else {
        add_element(out, "figcaption", NULL, chart->why_not);
    }
    text_add(out, "</figure>\n");
}

static void add_part(struct text *out, const struct page_part *part)
{
    add_element(out, "h3", NULL, part->heading);
    add_table(out, &part->table);
    add_list(out, &part->notes);
}

static void add_values(struct text *out, const char *string)
{
    struct text line = TEXT_EMPTY;
    if (!has(string))
        add_element(out, "dd", NULL, "-");
    while (has(string)) {
        size_t length = strcspn(string, "\n");
        text_clear(&line);
        text_add_bytes(&line, string, length);
        add_element(out, "dd", NULL, line.bytes);
        string += length + (string[length] == '\n');
    }
    text_free(&line);
}

static void add_method(struct text *out, const struct page *page)
{
    open_section(out, "method", "How it was measured");
    if (page->method_count > 0) {
        text_add(out, "<dl>\n");
        for (size_t i = 0; i < page->method_count; i++) {
            add_element(out, "dt", NULL, page->method[i].name);
            add_values(out, page->method[i].value);
        }
        text_add(out, "</dl>\n");
    }
    for (size_t i = 0; i < page->listing_count; i++) {
        const struct page_listing *listing = &page->listings[i];
        add_element(out, "h3", NULL, listing->name);
        add_element(out, "p", "quiet-text", listing->about);
        text_add(out, "<pre>");
        if (has(listing->text))
            add_lines(out, listing->text);
        text_add(out, "</pre>\n");
    }
    text_add(out, "</section>\n");
}

void page_write(struct text *out, const struct page *page)
{
    add_head(out, page);
    open_section(out, "summary", "Summary");
    add_list(out, &page->summary);
    text_add(out, "</section>\n");
    open_section(out, "ranking", "Ranking");
    add_table(out, &page->ranking);
    add_list(out, &page->ranking_notes);
    text_add(out, "</section>\n");
    open_section(out, "charts", "Charts");
    for (size_t i = 0; i < page->chart_count; i++)
        add_chart(out, &page->charts[i]);
    text_add(out, "</section>\n");
    if (page->part_count > 0) {
        open_section(out, "numbers", "In numbers");
        for (size_t i = 0; i < page->part_count; i++)
            add_part(out, &page->parts[i]);
        text_add(out, "</section>\n");
    }
    add_method(out, page);
    open_section(out, "troubles", "What went wrong");
    add_list(out, &page->troubles_summary);
    add_table(out, &page->troubles);
    text_add(out, "</section>\n");
    open_section(out, "results", "All results");
    add_element(out, "p", "quiet-text", page->results_note);
    add_table(out, &page->results);
    text_add(out, "</section>\n</main>\n<footer>\n");
    add_element(out, "p", NULL, page->foot);
    text_add(out, "</footer>\n</body>\n</html>\n");
}
