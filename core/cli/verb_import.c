/* perdure import: a curve that was logged elsewhere becomes a run. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/quantity.h"
#include "bindings/import_map.h"
#include "cli/import_fields.h"
#include "cli/import_steps.h"
#include "cli/workplace.h"
#include "logbook/cells.h"

#define MAP_MOST (256 * 1024)
/* Through a working engine: what it takes in holds its loop, about 1 us a byte at the worst. */
#define THROUGH_ENGINE_MOST (5 * 1024 * 1024)
#define USUAL_REST          0.001 /* It: what flows less is no treatment */

/* --- the map: a file, or what the options say, written as one -------------------------------- */

static const char *const column_options[] = {"time",        "voltage", "current",
                                             "temperature", "charge",  "step"};
static const char *const text_options[] = {"sign", "delimiter", "decimal", "rest-below",
                                           "gap-after"};
#define COUNT(array) (sizeof(array) / sizeof *(array))

static void add_quoted(struct text *out, const char *text, size_t length)
{
    text_add(out, "\"");
    for (size_t i = 0; i < length; i++) {
        const unsigned char c = (unsigned char)text[i];
        if (c < 32 || c == '"' || c == '\\')
            text_addf(out, "\\%03d", c);
        else
            text_add_bytes(out, text + i, 1);
    }
    text_add(out, "\"");
}

/* "U:mV", "3:mV": the unit stands behind the last colon. */
static void add_column(struct text *out, const char *name, const char *value)
{
    const char *colon = strrchr(value, ':');
    if (strcmp(name, "step") == 0)
        colon = NULL;
    size_t length = colon ? (size_t)(colon - value) : strlen(value);
    text_addf(out, "  %s = column(", name);
    if (length && strspn(value, "0123456789") == length)
        text_add_bytes(out, value, length);
    else
        add_quoted(out, value, length);
    if (colon) {
        text_add(out, ", ");
        add_quoted(out, colon + 1, strlen(colon + 1));
    }
    text_add(out, "),\n");
}

static int add_results(struct text *out, const struct arguments *arguments, struct error *error)
{
    bool any = false;
    for (int i = 0; i < arguments->options; i++) {
        const char *value = arguments->option[i].value, *equals = strchr(value, '=');
        if (strcmp(arguments->option[i].name, "result") != 0)
            continue;
        if (!equals || equals == value)
            return error_set(error, ERROR_USAGE, value,
                             "write --result capacity=discharge or energy=discharge.energy",
                             "a result is NAME=STEP or NAME=STEP.FIELD");
        text_add(out, any ? ", [" : "  results = { [");
        add_quoted(out, value, (size_t)(equals - value));
        text_add(out, "] = ");
        add_quoted(out, equals + 1, strlen(equals + 1));
        any = true;
    }
    if (any)
        text_add(out, " },\n");
    return 0;
}

static int map_of_options(const struct arguments *arguments, struct text *out, struct error *error)
{
    text_add(out, "-- Written by perdure import from its options.\nreturn import {\n");
    for (size_t i = 0; i < COUNT(column_options); i++)
        if (argument(arguments, column_options[i]))
            add_column(out, column_options[i], argument(arguments, column_options[i]));
    for (size_t i = 0; i < COUNT(text_options); i++) {
        const char *value = argument(arguments, text_options[i]);
        if (!value)
            continue;
        text_addf(out, "  %s = ",
                  strcmp(text_options[i], "rest-below") == 0  ? "rest_below"
                  : strcmp(text_options[i], "gap-after") == 0 ? "gap_after"
                                                              : text_options[i]);
        add_quoted(out, value, strlen(value));
        text_add(out, ",\n");
    }
    int skip;
    if (argument(arguments, "skip")) {
        if (argument_number(arguments, "skip", 0, &skip, error))
            return error->code;
        text_addf(out, "  skip = %d,\n", skip);
    }
    if (argument(arguments, "no-header"))
        text_add(out, "  header = false,\n");
    if (add_results(out, arguments, error))
        return error->code;
    text_add(out, "}\n");
    return 0;
}

static int map_of_file(const struct arguments *arguments, const char *path, struct text *out,
                       struct error *error)
{
    static const char *const others[] = {"cell", "map", "began", "skip-bad", "again"};
    char *text = NULL;
    size_t length = 0;
    for (int i = 0; i < arguments->options; i++) {
        bool may = false;
        for (size_t k = 0; k < COUNT(others); k++)
            may |= strcmp(arguments->option[i].name, others[k]) == 0;
        if (!may)
            return error_set(error, ERROR_USAGE, arguments->option[i].name,
                             "write it into the map, or leave --map out",
                             "a map says everything about columns itself");
    }
    if (file_read(path, MAP_MOST, &text, &length, error))
        return error->code;
    text_add_bytes(out, text, length);
    free(text);
    return 0;
}

/* --- the request ------------------------------------------------------------------------------ */

/* When the first row was taken: told by the file or by --began, never by both. */
static int began_of(const struct arguments *arguments, struct import_file *file,
                    const struct import_map *map, const struct zone *zone, struct error *error)
{
    const char *told = argument(arguments, "began");
    if (map->time_form == IMPORT_DATE) {
        if (told)
            return error_set(error, ERROR_USAGE, "began", "leave it out",
                             "the file's own times are dates");
        return 0;
    }
    if (!told)
        return error_set(error, ERROR_USAGE, arguments->word[0],
                         "say when its first row was taken: --began 2026-03-02T08:00Z",
                         "its times do not tell the day");
    return import_date(told, zone, &file->began, error);
}

static int refuse_bad(const struct arguments *arguments, const struct import_file *file,
                      struct error *error)
{
    if (!file->bad_count || argument(arguments, "skip-bad"))
        return 0;
    struct text list = TEXT_EMPTY;
    size_t i;
    json_t *row;
    json_array_foreach(file->bad, i, row)
    {
        if (i == 4)
            break;
        text_addf(&list, "%sline %d: %s", i ? "; " : "",
                  (int)json_integer_value(json_object_get(row, "line")),
                  json_string_value(json_object_get(row, "why")));
    }
    error_set(error, ERROR_FAILED, arguments->word[0],
              "mend the file or the map; or say --skip-bad to have such rows as gaps",
              "%zu of its rows %s bad and nothing was imported (%s%s)", file->bad_count,
              file->bad_count == 1 ? "is" : "are", list.bytes, file->bad_count > i ? "; ..." : "");
    text_free(&list);
    return error->code;
}

static json_t *results_of(const struct import_map *map)
{
    json_t *results = json_array();
    for (int i = 0; i < map->results; i++)
        json_array_append_new(results,
                              json_pack("{s:s, s:s, s:s}", "name", map->result[i].name, "step",
                                        map->result[i].step, "field", map->result[i].field));
    return results;
}

/* Limits of the other logger, relative and absolute, SI; null where nothing is stated. */
static json_t *accuracy_of(const struct channel_accuracy *accuracy)
{
    const struct {
        const char *name;
        const struct stated_accuracy *stated;
    } entries[] = {
        {"voltage", &accuracy->voltage},
        {"current", &accuracy->current},
        {"temperature", &accuracy->temperature},
        {"time", &accuracy->time},
    };
    json_t *out = json_object();
    for (size_t i = 0; i < COUNT(entries); i++)
        if (isfinite(entries[i].stated->relative))
            json_object_set_new(
                out, entries[i].name,
                json_pack("[f, f]", entries[i].stated->relative, entries[i].stated->absolute));
    if (isfinite(accuracy->shared))
        json_object_set_new(out, "shared", json_real(accuracy->shared));
    return out;
}

static const char *name_of(const char *path)
{
    const char *slash = strrchr(path, '/');
    return slash ? slash + 1 : path;
}

/* `rated`: of the cell, A.s. */
static int request_of(const struct arguments *arguments, const struct import_file *file,
                      const struct import_map *map, const struct text *map_text, double rated,
                      json_t **request, struct error *error)
{
    double rest_below = isfinite(map->rest_below) ? map->rest_below : USUAL_REST * rated / 3600;
    const char *path = arguments->word[0], *map_path = argument(arguments, "map");
    json_t *steps = NULL;
    if (import_steps(path, file, map, rest_below, &steps, error)) {
        json_decref(steps);
        return error->code;
    }
    json_int_t began = file->began;
    *request =
        json_pack("{s:s, s:s, s:s, s:s, s:I, s:s, s:s%, s:{s:s}, s:I, s:I, s:I, s:I, s:O, s:b, "
                  "s:o, s:o, s:o}",
                  "act", "import", "cell", argument(arguments, "cell"), "file", name_of(path),
                  "sha256", file->sha256, "bytes", (json_int_t)file->bytes, "map_name",
                  map_path ? name_of(map_path) : "import.lua", "map_text", map_text->bytes,
                  map_text->length, "params", "file", name_of(path), "began_us", began, "ends_us",
                  began + (json_int_t)file->rows[file->count - 1].at_us, "rows",
                  (json_int_t)file->count, "bad_rows", (json_int_t)file->bad_count, "bad",
                  file->bad, "again", argument(arguments, "again") != NULL, "results",
                  results_of(map), "steps", steps, "accuracy", accuracy_of(&map->accuracy));
    if (!*request)
        return error_set(error, ERROR_FAILED, path, "rename it", "a name in it is not UTF-8 text");
    return 0;
}

/* --- showing ---------------------------------------------------------------------------------- */

static const struct column step_columns[] = {{"n", "n", 'r'},
                                             {"kind", "step", 'l'},
                                             {"rows", "rows", 'r'},
                                             {"hours", "hours", 'r'},
                                             {"charge_Ah", "Ah", 'r'},
                                             {"energy_Wh", "Wh", 'r'},
                                             {"last_voltage_V", "end V", 'r'},
                                             {"gaps", "gaps", 'r'},
                                             {"file_Ah", "Ah in the file", 'r'},
                                             {"difference_percent", "differs by %", 'r'},
                                             {NULL, NULL, 0}};
static const struct column result_columns[] = {
    {"name", "result", 'l'}, {"value", "value", 'r'}, {"unit", "unit", 'l'}, {NULL, NULL, 0}};

static void show(const struct arguments *arguments, const struct import_file *file, json_t *reply)
{
    if (arguments->json) {
        json_object_set_new(reply, "rows", json_integer((json_int_t)file->count));
        json_object_set_new(reply, "bad_rows", json_integer((json_int_t)file->bad_count));
        json_object_set(reply, "bad", file->bad);
        print_json(reply);
        return;
    }
    size_t i;
    json_t *row;
    json_array_foreach(file->bad, i, row)
    {
        printf("left out: line %d: %s\n", (int)json_integer_value(json_object_get(row, "line")),
               json_string_value(json_object_get(row, "why")));
    }
    if (file->bad_count > json_array_size(file->bad))
        printf("left out: %zu more\n", file->bad_count - json_array_size(file->bad));
    print_rows(arguments, json_object_get(reply, "steps"), step_columns);
    if (json_array_size(json_object_get(reply, "results")))
        print_rows(arguments, json_object_get(reply, "results"), result_columns);
    printf("run %d: %zu rows imported%s\n", (int)json_integer_value(json_object_get(reply, "run")),
           file->count,
           json_array_size(json_object_get(reply, "results"))
               ? ""
               : "; no result was asked for (--result capacity=discharge)");
}

/* A working engine takes it in between two passes, so it must not last. */
static int send(const struct arguments *arguments, const json_t *request, size_t rows,
                json_t **reply, struct error *error)
{
    int pid = 0;
    utc_us since;
    if (logbook_holder(arguments->logbook, &pid, &since, error))
        return error->code;
    if (pid && json_dumpb(request, NULL, 0, JSON_COMPACT) > THROUGH_ENGINE_MOST)
        return error_set(error, ERROR_BUSY, arguments->word[0],
                         "import it while no engine is at work, or in parts",
                         "%zu rows would hold up the engine that works on this logbook (process "
                         "%d)",
                         rows, pid);
    return change(arguments, request, reply, error);
}

static int read_map(const struct arguments *arguments, struct import_map *map, struct text *text,
                    struct error *error)
{
    const char *path = argument(arguments, "map");
    if (path ? map_of_file(arguments, path, text, error) : map_of_options(arguments, text, error))
        return error->code;
    if (import_map_read(path ? name_of(path) : "options", text->bytes, text->length, map, error) &&
        !path)
        string_copy(error->what, sizeof error->what, "import");
    return error->code;
}

/* All rows, in the logbook's zone, or what is wrong with them. */
static int read_rows(const struct arguments *arguments, const struct import_map *map,
                     struct logbook *logbook, struct import_file *file, struct error *error)
{
    const struct zone *zone = logbook_zone(logbook);
    if (import_file_read(arguments->word[0], map, zone, file, error) ||
        refuse_bad(arguments, file, error))
        return error->code;
    if (!file->count)
        return error_set(error, ERROR_FAILED, arguments->word[0], "look at the map",
                         "all of its rows are bad");
    return began_of(arguments, file, map, zone, error);
}

static int run(const struct arguments *arguments, struct error *error)
{
    struct import_map map;
    struct import_file file = {0};
    struct text map_text = TEXT_EMPTY;
    struct logbook *logbook = NULL;
    struct cell_record cell;
    json_t *request = NULL, *reply = NULL;
    if (!argument(arguments, "cell"))
        return error_set(error, ERROR_USAGE, "import", "name it: --cell LABEL",
                         "whose curve it is, is not said");
    if (!read_map(arguments, &map, &map_text, error) &&
        !logbook_open(&logbook, arguments->logbook, LOGBOOK_READ, error) &&
        !logbook_cell(logbook, argument(arguments, "cell"), &cell, error))
        read_rows(arguments, &map, logbook, &file, error);
    logbook_close(logbook);
    if (!error->code &&
        !request_of(arguments, &file, &map, &map_text, cell.model.rated_charge, &request, error) &&
        !send(arguments, request, file.count, &reply, error))
        show(arguments, &file, reply);
    json_decref(request);
    json_decref(reply);
    text_free(&map_text);
    import_file_free(&file);
    return error->code;
}

static const struct option_spec options[] = {
    {"cell", "LABEL", "the cell that was logged", false},
    {"time", "COLUMN:UNIT",
     "name or number of a column; unit s, h, ..., hms (hours:minutes:seconds) or date", false},
    {"voltage", "COLUMN:UNIT", "such as --voltage U:mV", false},
    {"current", "COLUMN:UNIT", "such as --current 3:A", false},
    {"temperature", "COLUMN:degC", "if it was logged", false},
    {"charge", "COLUMN:UNIT", "the file's own charge, to compare", false},
    {"step", "COLUMN", "a new step where it changes; else where the current changes its way",
     false},
    {"sign", "NAME", "charge-positive (into the cell; the usual) or discharge-positive", false},
    {"delimiter", "MARK", "between fields: a comma (the usual), \";\", tab", false},
    {"decimal", "MARK", "a point (the usual) or a comma", false},
    {"skip", "N", "lines before the header", false},
    {"no-header", NULL, "the first line is a row; columns go by number", false},
    {"rest-below", "CURRENT", "what counts as no current; usually 0.001 It", false},
    {"gap-after", "TIME", "longer from row to row: nobody observed", false},
    {"result", "NAME=STEP", "such as capacity=discharge (its last), energy=3.energy", true},
    {"map", "FILE.lua", "says all of this instead", false},
    {"began", "DATE", "when the first row was taken, where the times are no dates", false},
    {"skip-bad", NULL, "leave bad rows out, as gaps", false},
    {"again", NULL, "although this very file is on record for the cell", false},
    {NULL, NULL, NULL, false},
};

const struct verb verb_import = {
    "import", "FILE.csv --cell LABEL", 1, 1, "takes in a curve that was logged elsewhere", options,
    run};
