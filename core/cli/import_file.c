/* From a file's bytes to its rows. */
#include "cli/import_file.h"

#include <csv.h>
#include <math.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

#include "bench/reading.h"
#include "cli/import_fields.h"

#define FILE_MOST   ((size_t)1 << 30)
#define FIELDS_MOST 256
#define LINE_MOST   65536
#define YEARS_MOST  (50 * 366 * 86400.0) /* s that a record may span */

/* The columns that are looked at, as places in a row. */
enum role { TIME, VOLTAGE, CURRENT, TEMPERATURE, CHARGE, STEP, ROLES };
static const char *const role_names[ROLES] = {"time",        "voltage", "current",
                                              "temperature", "charge",  "step"};

struct reader {
    const char *path;
    const struct import_map *map;
    const struct zone *zone;
    struct import_file *out;
    const struct import_column *column[ROLES];
    int place[ROLES]; /* of the field in a row; -1: not asked for */
    int columns;      /* of the header; 0 without one */

    /* The row that is being read. */
    char *field[FIELDS_MOST];
    char texts[LINE_MOST + FIELDS_MOST];
    size_t used;
    int fields;
    bool row_over;
    int line;

    /* From row to row. */
    bool have_header, have_first, bad_before;
    double first_time;
    utc_us first_date;
    char step[96];
    int block;
};

/* --- one row's texts -------------------------------------------------------------------------- */

static void on_field(void *bytes, size_t length, void *context)
{
    struct reader *r = context;
    if (r->fields < FIELDS_MOST) { /* the parser uses its own buffer again */
        r->field[r->fields] = r->texts + r->used;
        memcpy(r->texts + r->used, bytes, length);
        r->used += length;
        r->texts[r->used++] = '\0';
    }
    r->fields++;
}

static void on_row(int last, void *context)
{
    (void)last;
    ((struct reader *)context)->row_over = true;
}

/* --- values ----------------------------------------------------------------------------------- */

/* The time of a row since the first one. */
static bool time_of(struct reader *r, const char *text, int64_t *at_us, char *why, size_t size)
{
    double seconds = 0;
    utc_us date = 0;
    struct error error;
    switch (r->map->time_form) {
    case IMPORT_NUMBER:
        if (!import_number(text, r->map->decimal, "time", &seconds, why, size))
            return false;
        seconds *= r->column[TIME]->factor;
        break;
    case IMPORT_HMS:
        if (!import_hms(text, r->map->decimal, &seconds, why, size))
            return false;
        break;
    case IMPORT_DATE:
        if (import_date(text, r->zone, &date, &error))
            return import_bad(why, size, "time: %.80s: %.200s", text, error.why);
        break;
    }
    if (!r->have_first) {
        r->first_time = seconds;
        r->first_date = date;
    }
    double since = seconds - r->first_time;
    if (!(fabs(since) < YEARS_MOST))
        return import_bad(why, size, "time: %.40s is more than 50 years off the first row", text);
    *at_us = r->map->time_form == IMPORT_DATE ? date - r->first_date : llround(since * 1e6);
    const struct import_file *out = r->out;
    if (out->count && *at_us <= out->rows[out->count - 1].at_us)
        return import_bad(why, size, "time: %.40s is %s the row before", text,
                          *at_us < out->rows[out->count - 1].at_us ? "earlier than"
                                                                   : "the same as that of");
    return true;
}

static bool scaled_of(const struct reader *r, enum role role, double most, double *si, char *why,
                      size_t size)
{
    const char *text = r->field[r->place[role]];
    if (!import_number(text, r->map->decimal, role_names[role], si, why, size))
        return false;
    *si *= r->column[role]->factor;
    if (!(fabs(*si) <= most))
        return import_bad(why, size, "%s: %.40s is not possible for a cell: look at the unit",
                          role_names[role], text);
    return true;
}

/* --- rows ------------------------------------------------------------------------------------- */

static void note_bad(struct reader *r, const char *why)
{
    struct import_file *out = r->out;
    if (out->bad_count++ < IMPORT_BAD_SHOWN)
        json_array_append_new(out->bad, json_pack("{s:i, s:s}", "line", r->line, "why", why));
    if (!r->bad_before) {
        char gap[200];
        snprintf(gap, sizeof gap, "line %d: %s", r->line, why);
        json_array_append_new(out->gaps, json_string(gap));
    }
    r->bad_before = true;
}

static bool row_of(struct reader *r, struct import_row *row, char *why, size_t size)
{
    double voltage, current, temperature, sign = r->map->discharge_positive ? -1 : 1;
    int most = -1;
    for (int i = 0; i < ROLES; i++)
        most = r->place[i] > most ? r->place[i] : most;
    if (r->fields > FIELDS_MOST)
        return import_bad(why, size, "more than %d fields", FIELDS_MOST);
    if (r->columns && r->fields > r->columns)
        return import_bad(why, size, "%d fields, but the header has %d columns", r->fields,
                          r->columns);
    if (r->fields <= most)
        return import_bad(why, size, "%d field%s only", r->fields, r->fields == 1 ? "" : "s");
    *row =
        (struct import_row){.line = r->line, .millidegree = IMPORT_NO_TEMPERATURE, .charge = NAN};
    if (!time_of(r, r->field[r->place[TIME]], &row->at_us, why, size) ||
        !scaled_of(r, VOLTAGE, VOLTAGE_POSSIBLE, &voltage, why, size) ||
        !scaled_of(r, CURRENT, CURRENT_POSSIBLE, &current, why, size))
        return false;
    row->microvolt = llround(voltage * 1e6);
    row->microampere = llround(sign * current * 1e6);
    /* Not every logger reads the temperature at every row: an empty one is no reading. */
    if (r->place[TEMPERATURE] >= 0 && r->field[r->place[TEMPERATURE]][0]) {
        if (!scaled_of(r, TEMPERATURE, 199, &temperature, why, size))
            return false;
        if (temperature <= -80)
            return import_bad(why, size, "temperature: %g degC is not possible for a cell",
                              temperature);
        row->millidegree = (int32_t)lround(temperature * 1e3);
    }
    if (r->place[CHARGE] >= 0 && r->field[r->place[CHARGE]][0]) {
        if (!scaled_of(r, CHARGE, 1e9, &row->charge, why, size))
            return false;
        row->charge *= sign;
    }
    if (r->place[STEP] >= 0 && !r->field[r->place[STEP]][0])
        return import_bad(why, size, "step is empty");
    return true;
}

static void take_row(struct reader *r)
{
    struct import_file *out = r->out;
    struct import_row row;
    char why[320];
    if (!row_of(r, &row, why, sizeof why)) {
        note_bad(r, why);
        return;
    }
    if (r->place[STEP] >= 0) {
        const char *step = r->field[r->place[STEP]];
        if (r->have_first && strncmp(step, r->step, sizeof r->step - 1) != 0)
            r->block++;
        string_copy(r->step, sizeof r->step, step);
    }
    row.block = r->block;
    if (out->count) {
        const struct import_row *before = &out->rows[out->count - 1];
        if (r->bad_before) {
            row.gap = (int)json_array_size(out->gaps);
        } else if ((double)(row.at_us - before->at_us) > r->map->gap_after * 1e6) {
            char gap[120];
            snprintf(gap, sizeof gap, "line %d: %g s after the row before", r->line,
                     (double)(row.at_us - before->at_us) / 1e6);
            json_array_append_new(out->gaps, json_string(gap));
            row.gap = (int)json_array_size(out->gaps);
        }
    }
    r->bad_before = false;
    r->have_first = true;
    if (out->count == out->room) {
        out->room = out->room ? 2 * out->room : 4096;
        out->rows = xrealloc(out->rows, out->room * sizeof *out->rows);
    }
    out->rows[out->count++] = row;
}

/* --- the header ------------------------------------------------------------------------------- */

static int refuse(const struct reader *r, struct error *error, const char *todo, const char *format,
                  ...) __attribute__((format(printf, 4, 5)));
static int refuse(const struct reader *r, struct error *error, const char *todo, const char *format,
                  ...)
{
    char what[256], why[500];
    va_list list;
    va_start(list, format);
    vsnprintf(why, sizeof why, format, list);
    va_end(list);
    snprintf(what, sizeof what, "%.200s:%d", r->path, r->line);
    return error_set(error, ERROR_FAILED, what, todo, "%s", why);
}

/* All names, for whoever misspelt one. */
static void list_names(const struct reader *r, char *list, size_t size)
{
    size_t used = 0;
    list[0] = '\0';
    for (int i = 0; i < r->fields && i < FIELDS_MOST && used + 4 < size; i++) {
        snprintf(list + used, size - used, "%s\"%.40s\"", i ? ", " : "", r->field[i]);
        used = strlen(list);
    }
}

static int find_column(struct reader *r, enum role role, bool header, struct error *error)
{
    const struct import_column *column = r->column[role];
    char names[300];
    int found = -1;
    r->place[role] = -1;
    if (!column->there)
        return 0;
    if (column->number) {
        r->place[role] = column->number - 1;
        if (header && column->number > r->fields)
            return refuse(r, error, "count the columns; is the delimiter right?",
                          "%s: there is no column %d, only %d", role_names[role], column->number,
                          r->fields);
        return 0;
    }
    for (int i = 0; i < r->fields && i < FIELDS_MOST; i++) {
        if (strcmp(r->field[i], column->name) != 0)
            continue;
        if (found >= 0)
            return refuse(r, error, "name the column by its number", "two columns are named \"%s\"",
                          column->name);
        found = i;
    }
    if (found < 0) {
        list_names(r, names, sizeof names);
        return refuse(r, error, "look at the names, the delimiter, and the lines to skip",
                      "%s: no column \"%s\" in the header: it has %s", role_names[role],
                      column->name, names);
    }
    r->place[role] = found;
    return 0;
}

static int take_header(struct reader *r, bool header, struct error *error)
{
    for (int i = 0; i < ROLES; i++)
        if (find_column(r, (enum role)i, header, error))
            return error->code;
    for (int i = 0; i < ROLES; i++)
        for (int j = 0; j < i; j++)
            if (r->place[i] >= 0 && r->place[i] == r->place[j])
                return refuse(r, error, "name another column", "column %d is both %s and %s",
                              r->place[i] + 1, role_names[j], role_names[i]);
    r->columns = header ? r->fields : 0;
    r->have_header = true;
    return 0;
}

/* --- lines ------------------------------------------------------------------------------------ */

static void parser_begin(struct csv_parser *parser, char delimiter)
{
    csv_init(parser, CSV_STRICT | CSV_STRICT_FINI);
    csv_set_delim(parser, (unsigned char)delimiter);
}

/* One line is one row: a quotation mark that is not closed would swallow all that follows. */
static int take_line(struct reader *r, struct csv_parser *parser, const char *line, size_t length,
                     struct error *error)
{
    const char *why = NULL;
    r->fields = 0;
    r->used = 0;
    r->row_over = false;
    if (length > LINE_MOST)
        why = "the line is longer than 64 kB";
    else if (csv_parse(parser, line, length, on_field, on_row, r) != length)
        why = "a quotation mark stands inside a field";
    else if (line[length - 1] != '\n')
        csv_fini(parser, on_field, on_row, r);
    if (!why && !r->row_over)
        why = "a quotation mark is not closed on its line";
    if (why) {
        csv_free(parser);
        parser_begin(parser, r->map->delimiter);
        if (!r->have_header)
            return refuse(r, error, "mend the header", "%s", why);
        note_bad(r, why);
    } else if (!r->have_header) {
        if (take_header(r, r->map->header, error))
            return error->code;
        if (!r->map->header)
            take_row(r);
    } else {
        take_row(r);
    }
    return 0;
}

static bool is_blank(const char *line, size_t length)
{
    while (length && strchr(" \r\n", line[length - 1]))
        length--;
    return length == 0;
}

static int read_lines(struct reader *r, const char *text, size_t length, struct error *error)
{
    struct csv_parser parser;
    int code = 0;
    size_t at = 0;
    parser_begin(&parser, r->map->delimiter);
    for (r->line = 1; at < length && !code; r->line++) {
        const char *end = memchr(text + at, '\n', length - at);
        size_t part = end ? (size_t)(end - text) - at + 1 : length - at;
        if (r->line > r->map->skip && !is_blank(text + at, part))
            code = take_line(r, &parser, text + at, part, error);
        at += part;
    }
    csv_free(&parser);
    return code;
}

int import_file_read(const char *path, const struct import_map *map, const struct zone *zone,
                     struct import_file *out, struct error *error)
{
    struct reader r = {
        .path = path,
        .map = map,
        .zone = zone,
        .out = out,
        .column = {&map->time, &map->voltage, &map->current, &map->temperature, &map->charge,
                   &map->step},
        .block = 1,
    };
    char *text = NULL;
    *out = (struct import_file){.bad = json_array(), .gaps = json_array()};
    if (file_read(path, FILE_MOST, &text, &out->bytes, error))
        return error->code;
    sha256_hex(text, out->bytes, out->sha256);
    size_t mark = out->bytes >= 3 && memcmp(text, "\xEF\xBB\xBF", 3) == 0 ? 3 : 0;
    if (memchr(text, '\0', out->bytes) ||
        (out->bytes >= 2 && (memcmp(text, "\xFF\xFE", 2) == 0 || memcmp(text, "\xFE\xFF", 2) == 0)))
        error_set(error, ERROR_FAILED, path, "save it as UTF-8 text",
                  "it is UTF-16 or no text at all");
    else if (!read_lines(&r, text + mark, out->bytes - mark, error) && !out->count &&
             !out->bad_count)
        error_set(error, ERROR_FAILED, path, "look at the lines to skip",
                  "there are no rows in it");
    out->began = r.first_date;
    free(text);
    return error->code;
}

void import_file_free(struct import_file *file)
{
    free(file->rows);
    json_decref(file->bad);
    json_decref(file->gaps);
    *file = (struct import_file){0};
}
