/* Reading what is on record about some cells. */
#include "verdict/evidence.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/name.h"
#include "base/text.h"
#include "logbook/cells.h"
#include "logbook/facts.h"
#include "report/lettering.h"

/* --- which cells ------------------------------------------------------------------------------ */

static int choose(struct evidence *out, const json_t *all, const json_t *labels,
                  struct error *error)
{
    json_t *names = json_object(), *row;
    size_t i;
    json_array_foreach(labels, i, row)
    {
        struct cell_record cell; /* finds labels in any case, and offers the nearest */
        if (!error->code && !logbook_cell(out->logbook, json_string_value(row), &cell, error))
            json_object_set_new(names, cell.label, json_true());
    }
    json_array_foreach(all, i, row)
    {
        if (!labels || json_object_get(names, row_text(row, "label")))
            json_array_append(out->cells, row);
    }
    json_decref(names);
    if (!error->code && !json_array_size(out->cells))
        error_set(error, ERROR_FAILED, logbook_path(out->logbook),
                  labels ? "name some: --cells A,B" : "perdure enrol puts cells on record",
                  labels ? "no cell was named" : "there are no cells on record");
    return error->code;
}

static struct evidence_model *model_of(struct evidence *out, const json_t *cell)
{
    for (size_t m = 0; m < out->model_count; m++)
        if (strcmp(out->models[m].name, row_text(cell, "model")) == 0)
            return &out->models[m];
    return NULL;
}

#define TO_THE_RIGHT "\xe2\x80\x8e" /* U+200E, left-to-right mark */

/* Between marks, what stands beside the name keeps its place and its direction. */
static char *said_name(const char *name)
{
    uint32_t code;
    struct text said = TEXT_EMPTY;
    bool turns = false;
    for (size_t at = 0, left = strlen(name); left != 0;) {
        size_t bytes = letter_next(name + at, left, &code);
        turns = turns || letter_right_to_left(code);
        at += bytes;
        left -= bytes;
    }
    text_addf(&said, turns ? TO_THE_RIGHT "%s" TO_THE_RIGHT : "%s", name);
    return said.bytes;
}

const char *evidence_said(const struct evidence *evidence, const char *name)
{
    for (size_t m = 0; m < evidence->model_count; m++)
        if (strcmp(evidence->models[m].name, name) == 0)
            return evidence->models[m].said;
    return name;
}

void evidence_say(struct text *out, const struct evidence *evidence, const char *name)
{
    const char *said = "", *rest = name;
    for (size_t m = 0; m < evidence->model_count; m++) {
        const char *own = evidence->models[m].name;
        size_t length = strlen(own);
        if (strncmp(name, own, length) == 0 &&
            (!name[length] || strncmp(name + length, ", ", 2) == 0) &&
            name + length > rest) { /* one model's name may be the beginning of another's */
            said = evidence->models[m].said;
            rest = name + length;
        }
    }
    text_addf(out, "%s%s", said, rest);
}

static void shorten(struct evidence *out)
{
    const char **names = xcalloc(out->model_count + 1, sizeof *names);
    struct text *forms = xcalloc(out->model_count + 1, sizeof *forms);
    for (size_t m = 0; m < out->model_count; m++)
        names[m] = out->models[m].name;
    names_shorten(forms, names, out->model_count, NAME_IN_TABLE, NULL, NULL);
    for (size_t m = 0; m < out->model_count; m++) {
        out->models[m].said = said_name(forms[m].bytes);
        text_free(&forms[m]);
    }
    free(forms);
    free(names);
}

/* Models of the chosen cells, in the logbook's order. */
static void sort_into_models(struct evidence *out, const json_t *models)
{
    size_t i, j;
    json_t *model, *cell;
    out->models = xcalloc(json_array_size(models) + 1, sizeof *out->models);
    json_array_foreach(models, i, model)
    {
        json_array_foreach(out->cells, j, cell)
        {
            if (json_is_true(json_object_get(cell, "reference")) ||
                strcmp(row_text(cell, "model"), row_text(model, "name")) != 0)
                continue;
            if (!model_of(out, cell))
                out->models[out->model_count++] =
                    (struct evidence_model){.name = row_text(cell, "model"),
                                            .size = row_text(cell, "size"),
                                            .chemistry = row_text(cell, "chemistry"),
                                            .style = (int)i,
                                            .rated = 3600 * row_number(cell, "rated_Ah"),
                                            .cells = json_array()};
            json_array_append(out->models[out->model_count - 1].cells, cell);
        }
    }
    shorten(out);
}

/* --- what is on record of them ---------------------------------------------------------------- */

static void take_rows(struct evidence *out, const json_t *results, const json_t *totals)
{
    size_t i;
    json_t *row;
    json_array_foreach(out->cells, i, row)
    {
        json_object_set_new(out->results_by_cell, row_text(row, "label"), json_array());
    }
    json_array_foreach(results, i, row)
    {
        json_t *own = json_object_get(out->results_by_cell, row_text(row, "cell"));
        if (!own)
            continue;
        json_array_append(out->results, row);
        /* Listed run by run; a run that began earlier may have recorded later. */
        size_t place = json_array_size(own);
        while (place > 0 &&
               row_instant(json_array_get(own, place - 1), "at") > row_instant(row, "at"))
            place--;
        json_array_insert(own, place, row);
    }
    json_array_foreach(totals, i, row)
    {
        if (evidence_has(out, row_text(row, "cell")))
            json_array_append(out->totals, row);
    }
}

int evidence_open(struct evidence *out, const char *path, const json_t *labels, struct error *error)
{
    *out = (struct evidence){.cells = json_array(),
                             .results = json_array(),
                             .totals = json_array(),
                             .results_by_cell = json_object()};
    json_t *cells = NULL, *models = NULL, *results = NULL, *totals = NULL;
    struct listing_filter all = {0};
    if (!logbook_open(&out->logbook, path, LOGBOOK_READ, error) &&
        !logbook_list(out->logbook, LIST_CELLS, &all, &cells, error) &&
        !logbook_list(out->logbook, LIST_MODELS, &all, &models, error) &&
        !choose(out, cells, labels, error) &&
        !history_open(&out->history, out->logbook, out->cells, error) &&
        !logbook_latest(out->logbook, &out->latest, error) &&
        !logbook_list(out->logbook, LIST_RESULTS, &all, &results, error) &&
        !logbook_list(out->logbook, LIST_STEP_TOTALS, &all, &totals, error)) {
        sort_into_models(out, models);
        take_rows(out, results, totals);
    }
    json_decref(cells);
    json_decref(models);
    json_decref(results);
    json_decref(totals);
    if (error->code)
        evidence_close(out);
    return error->code;
}

void evidence_close(struct evidence *evidence)
{
    for (size_t m = 0; m < evidence->model_count; m++) {
        json_decref(evidence->models[m].cells);
        free(evidence->models[m].said);
    }
    free(evidence->models);
    json_decref(evidence->cells);
    json_decref(evidence->results);
    json_decref(evidence->totals);
    json_decref(evidence->results_by_cell);
    history_close(&evidence->history);
    if (evidence->logbook)
        logbook_close(evidence->logbook);
    *evidence = (struct evidence){0};
}

bool evidence_has(const struct evidence *evidence, const char *label)
{
    return json_object_get(evidence->results_by_cell, label) != NULL;
}

size_t evidence_count(const struct evidence *evidence, const char *how)
{
    size_t i, count = 0;
    json_t *row;
    json_array_foreach(evidence->results, i, row)
    {
        count += strcmp(row_text(row, "how"), how) == 0;
    }
    return count;
}

void evidence_source(const struct evidence *evidence, struct text *out)
{
    size_t count = json_array_size(evidence->results),
           simulated = evidence_count(evidence, "simulated"),
           imported = evidence_count(evidence, "imported"),
           by_hand = evidence_count(evidence, "by hand");
    char stamp[40];
    const struct zone *zone = logbook_zone(evidence->logbook);
    const char *path = logbook_path(evidence->logbook), *slash = strrchr(path, '/');
    if (count && simulated == count)
        text_add(out, "Simulated cells, no real ones. ");
    else if (simulated)
        text_add(out, "Some of the results are of simulated cells. ");
    if (imported)
        text_addf(out, "%s imported: logged elsewhere. ",
                  imported == count ? "All results are" : "Some of the results are");
    if (by_hand)
        text_addf(out, "%s read off displays and typed. ",
                  by_hand == count ? "All results were" : "Some of the results were");
    if (by_hand && strcmp(logbook_clock(evidence->logbook), "virtual") == 0)
        text_add(out, "The clock was virtual: none of these days passed. ");
    zone_format(zone, evidence->latest, stamp, sizeof stamp);
    text_addf(out, "Logbook %s, as of %.10s", slash ? slash + 1 : path, stamp);
    text_addf(out, zone ? " (%s)." : ".", zone_name(zone));
}
