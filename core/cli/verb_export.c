/* perdure export: what is on record as a data package that any table program can read. */
#include <dirent.h>
#include <errno.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "cli/chosen.h"
#include "cli/csv_file.h"
#include "cli/output_file.h"
#include "logbook/facts.h"
#include "logbook/steps.h"
#include "verdict/evidence.h"
#include "verdict/measured.h"
#include "verdict/package.h"

#define DESCRIPTOR "datapackage.json"

struct export
{
    const char *folder;
    struct evidence evidence;
    size_t rows[PACKAGE_TABLES];
};

/* --- tables ----------------------------------------------------------------------------------- */

static int open_table(const struct export *export, enum package_name name, struct csv_file *csv,
                      struct error *error)
{
    char path[700];
    snprintf(path, sizeof path, "%s/%s.csv", export->folder, package_tables[name].name);
    if (csv_file_open(csv, path, error))
        return error->code;
    for (const struct package_field *f = package_tables[name].fields; f->name; f++)
        csv_file_text(csv, f->name);
    csv_file_end_row(csv);
    return 0;
}

static void write_row(struct export *export, enum package_name name, struct csv_file *csv,
                      const json_t *row)
{
    for (const struct package_field *f = package_tables[name].fields; f->name; f++)
        csv_file_value(csv, json_object_get(row, f->name));
    csv_file_end_row(csv);
    export->rows[name]++;
}

static int write_rows(struct export *export, enum package_name name, const json_t *rows,
                      struct error *error)
{
    struct csv_file csv;
    size_t i;
    json_t *row;
    if (open_table(export, name, &csv, error))
        return error->code;
    json_array_foreach(rows, i, row)
    {
        write_row(export, name, &csv, row);
    }
    return csv_file_close(&csv, error);
}

/* Models of the chosen cells only. */
static json_t *chosen_models(const struct export *export, const json_t *all)
{
    json_t *rows = json_array(), *row;
    size_t i, j;
    json_array_foreach(all, i, row)
    {
        json_t *cell;
        bool chosen = false;
        json_array_foreach(export->evidence.cells, j, cell)
        {
            chosen = chosen || strcmp(row_text(cell, "model"), row_text(row, "name")) == 0;
        }
        if (chosen)
            json_array_append(rows, row);
    }
    return rows;
}

/* Runs of the chosen cells, and the studies that may be their parents. */
static json_t *chosen_runs(const struct export *export, const json_t *all)
{
    json_t *rows = json_array(), *row;
    size_t i;
    json_array_foreach(all, i, row)
    {
        const char *cell = row_text(row, "cell");
        if (!cell[0] || evidence_has(&export->evidence, cell))
            json_array_append(rows, row);
    }
    return rows;
}

static json_t *flat_rows(const struct export *export)
{
    json_t *rows = json_array(), *by_label = json_object(), *result, *cell;
    size_t i;
    json_array_foreach(export->evidence.cells, i, cell)
    {
        json_object_set(by_label, row_text(cell, "label"), cell);
    }
    json_array_foreach(export->evidence.results, i, result)
    {
        json_t *row = json_copy(json_object_get(by_label, row_text(result, "cell")));
        json_object_update(row, result);
        json_array_append_new(rows, row);
    }
    json_decref(by_label);
    measured_expand(rows);
    return rows;
}

/* --- steps and readings ----------------------------------------------------------------------- */

/* Too many to be held: each step goes to its table as it is read, and its readings to theirs. */
struct writing {
    struct export *export;
    struct csv_file steps, readings;
    json_int_t step;
    struct error *error;
};

static int write_reading(void *context, int64_t k, const struct sample *sample)
{
    struct writing *writing = context;
    struct csv_file *csv = &writing->readings;
    csv_file_number(csv, (double)writing->step);
    csv_file_number(csv, (double)k);
    csv_file_number(csv, (double)sample->t_us / 1e6);
    csv_file_number(csv, sample->voltage);
    csv_file_number(csv, sample->current);
    csv_file_number(csv, sample->temperature);
    csv_file_end_row(csv);
    writing->export->rows[PACKAGE_READINGS]++;
    return ferror(csv->file);
}

static int write_step(void *context, json_t *row)
{
    struct writing *writing = context;
    const struct evidence *evidence = &writing->export->evidence;
    if (!evidence_has(evidence, row_text(row, "cell")))
        return 0;
    write_row(writing->export, PACKAGE_STEPS, &writing->steps, row);
    writing->step = json_integer_value(json_object_get(row, "step"));
    return logbook_samples(evidence->logbook, writing->step, write_reading, writing,
                           writing->error) ||
           ferror(writing->steps.file) || ferror(writing->readings.file);
}

static int close_table(struct csv_file *csv, struct error *error)
{
    struct error closing;
    error_clear(&closing);
    if (csv_file_close(csv, &closing) && !error->code)
        *error = closing;
    return error->code;
}

static int write_steps(struct export *export, struct error *error)
{
    struct writing writing = {.export = export, .error = error};
    if (open_table(export, PACKAGE_STEPS, &writing.steps, error))
        return error->code;
    if (!open_table(export, PACKAGE_READINGS, &writing.readings, error)) {
        logbook_each(export->evidence.logbook, LIST_STEPS, NULL, write_step, &writing, error);
        close_table(&writing.readings, error);
    }
    return close_table(&writing.steps, error);
}

/* --- the package ------------------------------------------------------------------------------ */

/* A new folder, an empty one, or one that holds an earlier export: nothing else is written over. */
static int take_folder(const char *folder, struct error *error)
{
    char path[700];
    struct stat about;
    if (mkdir(folder, 0777) == 0)
        return 0;
    DIR *directory = errno == EEXIST ? opendir(folder) : NULL;
    if (!directory)
        return error_set(error, ERROR_FAILED, folder, "name a folder that can be made",
                         "the folder cannot be used: %s", strerror(errno));
    int entries = 0;
    while (readdir(directory))
        entries++;
    closedir(directory);
    snprintf(path, sizeof path, "%s/%s", folder, DESCRIPTOR);
    if (entries > 2 && stat(path, &about) != 0)
        return error_set(error, ERROR_FAILED, folder, "name a new folder, or an empty one",
                         "the folder holds other files");
    return 0;
}

static int describe(const struct export *export, const char *licence, struct error *error)
{
    char path[700];
    struct text about = TEXT_EMPTY, out = TEXT_EMPTY;
    evidence_source(&export->evidence, &about);
    json_t *package = package_describe("Cell tests on record", about.bytes, licence);
    char *text = json_dumps(package, JSON_INDENT(2));
    text_addf(&out, "%s\n", text);
    snprintf(path, sizeof path, "%s/%s", export->folder, DESCRIPTOR);
    output_write(path, &out, error);
    free(text);
    json_decref(package);
    text_free(&out);
    text_free(&about);
    return error->code;
}

static void say(const struct arguments *arguments, const struct export *export)
{
    json_t *rows = json_object();
    for (int i = 0; i < PACKAGE_TABLES; i++)
        json_object_set_new(rows, package_tables[i].name,
                            json_integer((json_int_t) export->rows[i]));
    if (arguments->json) {
        print_json(rows);
    } else {
        for (int i = 0; i < PACKAGE_TABLES; i++)
            printf("%s/%s.csv: %zu rows\n", export->folder, package_tables[i].name,
                   export->rows[i]);
        printf("%s/%s says what they hold\n", export->folder, DESCRIPTOR);
    }
    json_decref(rows);
}

static int write_all(struct export *export, const char *licence, struct error *error)
{
    struct logbook *logbook = export->evidence.logbook;
    struct listing_filter all = {0};
    json_t *models = NULL, *runs = NULL, *channels = NULL;
    if (logbook_list(logbook, LIST_MODELS, &all, &models, error) ||
        logbook_list(logbook, LIST_RUNS, &all, &runs, error) ||
        logbook_list(logbook, LIST_CHANNELS, &all, &channels, error)) {
        json_decref(models);
        json_decref(runs);
        return error->code;
    }
    json_t *own_models = chosen_models(export, models), *own_runs = chosen_runs(export, runs);
    json_t *flat = flat_rows(export);
    /* The descriptor last: a folder without it is no package. */
    if (!write_rows(export, PACKAGE_MODELS, own_models, error) &&
        !write_rows(export, PACKAGE_CELLS, export->evidence.cells, error) &&
        !write_rows(export, PACKAGE_RUNS, own_runs, error) &&
        !write_rows(export, PACKAGE_RESULTS, export->evidence.results, error) &&
        !write_rows(export, PACKAGE_CHANNELS, channels, error) &&
        !write_rows(export, PACKAGE_FLAT, flat, error) && !write_steps(export, error))
        describe(export, licence, error);
    json_decref(models);
    json_decref(runs);
    json_decref(channels);
    json_decref(own_models);
    json_decref(own_runs);
    json_decref(flat);
    return error->code;
}

static int run(const struct arguments *arguments, struct error *error)
{
    struct export export = {.folder = arguments->word[0]};
    const char *licence = argument(arguments, "licence");
    if (strlen(export.folder) > 600 || !export.folder[0])
        return error_set(error, ERROR_USAGE, "DIR", "name a folder", "this is no name of a folder");
    if (licence && !licence[0])
        return error_set(error, ERROR_USAGE, "--licence", "say CC-BY-4.0, say, or leave it out",
                         "the licence has no name");
    if (chosen_evidence(&export.evidence, arguments, error))
        return error->code;
    if (!take_folder(export.folder, error) && !write_all(&export, licence, error))
        say(arguments, &export);
    evidence_close(&export.evidence);
    return error->code;
}

static const struct option_spec options[] = {
    {"licence", "NAME", "under which others may use the data; else none is named", false},
    {"cells", "A,B", "only these cells", false},
    {NULL, NULL, NULL, false},
};

const struct verb verb_export = {
    "export", "DIR", 1, 1, "tables with their description, for other programs", options, run};
