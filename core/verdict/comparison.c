/* Gathering one value a cell into groups. */
#include "verdict/comparison.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* What is being gathered: which models compete, and where each stands in the comparison. */
struct gathering {
    const struct history *history;
    bool *wanted;  /* by the history's model */
    size_t *place; /* of a wanted model */
    struct comparison *out;
    size_t
        *cells[CRITERIA_MOST]; /* the subjects taken, model by model: one list, as in the groups */
    size_t cell_count[CRITERIA_MOST];
    size_t going[MODELS_MOST]; /* cells of each model that have no value yet by the criterion at
                                  hand, and will have a better one */
};

/* --- models ----------------------------------------------------------------------------------- */

static int list_models(struct gathering *g, const bool *wanted, struct error *error)
{
    const struct history *history = g->history;
    struct comparison *out = g->out;
    size_t without = 0;
    bool *measured = xcalloc(history->model_count + 1, sizeof *measured);
    bool *competes = xcalloc(history->model_count + 1, sizeof *competes);
    for (size_t i = 0; i < history->count; i++) {
        const struct subject *subject = &history->subjects[i];
        competes[subject->model] = competes[subject->model] || !subject->aside;
        measured[subject->model] = measured[subject->model] || (!subject->aside && subject->count);
    }
    for (size_t m = 0; m < history->model_count && !error->code; m++) {
        g->wanted[m] = measured[m] && (!wanted || wanted[m]);
        without += competes[m] && !measured[m] && (!wanted || wanted[m]);
        if (!g->wanted[m])
            continue;
        if (out->models == MODELS_MOST) {
            error_set(error, ERROR_FAILED, "ranking",
                      "compare fewer at a time: keep other models in another logbook",
                      "there are more than %d models", MODELS_MOST);
            break;
        }
        g->place[m] = out->models;
        out->price[out->models] = history->models[m].price;
        out->model[out->models++] = history->models[m].name;
    }
    if (without)
        text_addf(&out->left_out, "%zu model%s without a result %s left out. ", without,
                  without == 1 ? "" : "s", without == 1 ? "is" : "are");
    free(measured);
    free(competes);
    return error->code;
}

/* --- values ----------------------------------------------------------------------------------- */

/* Lists the subjects model by model, so that the groups of a criterion are stretches of one list.
 */
static size_t *by_model(const struct gathering *g, size_t *count)
{
    const struct history *history = g->history;
    size_t *list = xcalloc(history->count + 1, sizeof *list);
    size_t *at = xcalloc(g->out->models + 1, sizeof *at);
    for (size_t i = 0; i < history->count; i++)
        if (g->wanted[history->subjects[i].model])
            at[g->place[history->subjects[i].model] + 1]++;
    for (size_t m = 0; m < g->out->models; m++)
        at[m + 1] += at[m];
    *count = at[g->out->models];
    for (size_t i = 0; i < history->count; i++)
        if (g->wanted[history->subjects[i].model])
            list[at[g->place[history->subjects[i].model]]++] = i;
    free(at);
    return list;
}

struct range {
    double low, high;
};

static void widen(struct range *range, double value)
{
    if (isfinite(value)) {
        range->low = fmin(range->low, value);
        range->high = fmax(range->high, value);
    }
}

static void add_range(struct text *out, const char *before, const struct range *range,
                      const char *after)
{
    if (!isfinite(range->low) || !isfinite(range->high))
        return;
    text_addf(out, "%s%.1f", before, range->low);
    if (range->high - range->low >= 0.05)
        text_addf(out, " to %.1f", range->high);
    text_add(out, after);
}

/* Fills the groups of criterion c; the number of models that have a value. */
static size_t gather(struct gathering *g, size_t c)
{
    struct comparison *out = g->out;
    size_t count, models = 0, cells = 0, of_set = 0, gaps = 0;
    struct range cycles = {INFINITY, -INFINITY}, days = cycles;
    size_t *list = by_model(g, &count);
    double *values[MODELS_MOST] = {NULL};
    size_t counts[MODELS_MOST] = {0};
    const char *script = NULL;
    bool mixed = false;
    memset(g->going, 0, sizeof g->going);
    for (size_t i = 0; i < count; i++) {
        const struct subject *subject = &g->history->subjects[list[i]];
        size_t m = g->place[subject->model];
        if (subject->aside)
            continue;
        struct taken taken = criterion_take(g->history, subject, out->kind[c], out->age[c]);
        g->going[m] += taken.still_going;
        if (!taken.check) /* one that is no number stays in: the analysis says so */
            continue;
        if (!values[m])
            values[m] = xcalloc(count, sizeof **values);
        values[m][counts[m]++] = taken.value;
        list[cells++] = list[i];
        of_set += taken.of_set;
        gaps += taken.check->gap;
        widen(&cycles, taken.cycles);
        widen(&days, out->kind[c]->of_age ? taken.days : NAN);
        mixed = mixed || (script && strcmp(script, taken.check->script) != 0);
        script = taken.check->script;
    }
    for (size_t m = 0; m < out->models; m++) {
        models += counts[m] > 0;
        /* Laid out for CRITERIA_MOST until their number is known. */
        out->group[m * CRITERIA_MOST + c] = (struct group){values[m], counts[m]};
    }
    g->cells[c] = list;
    g->cell_count[c] = cells;
    text_addf(&out->takes[c], "%s; %zu cell%s", out->kind[c]->takes, cells, cells == 1 ? "" : "s");
    add_range(&out->takes[c], ", ", &days, " days after the charge");
    add_range(&out->takes[c], ", after ", &cycles, " cycles");
    if (of_set)
        text_addf(&out->takes[c],
                  ", %zu of them against the mean of their model's fresh cells for lack of an own "
                  "fresh capacity",
                  of_set);
    if (gaps)
        text_addf(&out->takes[c], ", %zu of them with a gap: what flowed unseen is not in it",
                  gaps);
    if (mixed && strncmp(out->kind[c]->name, "resistance", 10) == 0)
        text_add(&out->takes[c], "; by several protocols, whose figures do not compare");
    return models;
}

static void ungather(struct gathering *g, size_t c)
{
    for (size_t m = 0; m < g->out->models; m++) {
        free((double *)g->out->group[m * CRITERIA_MOST + c].values);
        g->out->group[m * CRITERIA_MOST + c] = (struct group){0};
    }
    free(g->cells[c]);
    g->cells[c] = NULL;
    text_free(&g->out->takes[c]);
}

/* --- criteria --------------------------------------------------------------------------------- */

/* Criteria that took the same cells are drawn together: see ranking.h. */
static size_t arm_of(const struct gathering *g, size_t c)
{
    for (size_t other = 0; other < c; other++)
        if (g->cell_count[other] == g->cell_count[c] &&
            memcmp(g->cells[other], g->cells[c], g->cell_count[c] * sizeof *g->cells[c]) == 0)
            return g->out->criterion[other].arm;
    return c;
}

/* The one currency of the wanted models' prices; "" where they have none; NULL where several. */
static const char *currency_of(const struct gathering *g)
{
    const char *found = NULL;
    for (size_t m = 0; m < g->history->model_count; m++) {
        const struct kind_of_cell *model = &g->history->models[m];
        if (!g->wanted[m] || !isfinite(model->price))
            continue;
        if (found && strcmp(found, model->currency) != 0)
            return NULL;
        found = model->currency;
    }
    return found ? found : "";
}

/* A model of which some cells have a value, and others will have a better one. */
static const char *censored_model(const struct gathering *g, size_t c)
{
    for (size_t m = 0; m < g->out->models; m++)
        if (g->going[m] && g->out->group[m * CRITERIA_MOST + c].count)
            return g->out->model[m];
    return NULL;
}

static const char *missing_model(const struct comparison *out, size_t c)
{
    for (size_t m = 0; m < out->models; m++)
        if (!out->group[m * CRITERIA_MOST + c].count)
            return out->model[m];
    return "";
}

/* Adds a criterion where all models have it, else says why not. */
static int add_criterion(struct gathering *g, const struct criterion_kind *kind, double age,
                         double weight, struct error *error)
{
    struct comparison *out = g->out;
    size_t c = out->criteria;
    const char *currency = currency_of(g);
    if (c == CRITERIA_MOST)
        return error_set(error, ERROR_FAILED, "ranking", "name fewer",
                         "there are more than %d criteria", CRITERIA_MOST);
    for (size_t i = 0; i < c; i++)
        if (out->kind[i] == kind &&
            !(kind->of_age && isfinite(age) && !history_same_age(age, out->age[i])))
            return error_set(error, ERROR_USAGE, kind->name, "name it once", "it is named twice");
    if (kind->unit[0] == '/' && !currency)
        return error_set(error, ERROR_FAILED, kind->name, "give all prices in one currency",
                         "prices are on record in several currencies");
    if (kind->of_age && isnan(age))
        age = criterion_common_age(g->history, kind, g->wanted);
    out->kind[c] = kind;
    out->age[c] = kind->of_age ? age : NAN;
    size_t models = gather(g, c);
    if (models < out->models || !models) {
        if (kind->of_age && isnan(out->age[c]))
            error_set(error, ERROR_FAILED, kind->name,
                      "store and open cells of every model at one age, or name an age that all "
                      "have: --by remaining@42d",
                      "there is no age at which cells of every model were opened");
        else if (!models && kind->of_age)
            error_set(error, ERROR_FAILED, kind->name,
                      "perdure results --retention lists the ages on record",
                      "no cell was opened at an age of %.4g days", age);
        else if (!models && kind->unit[0] == '/')
            error_set(
                error, ERROR_FAILED, kind->name,
                "enrol models with --price; run capacity where the energy is read, or type it too "
                "(1875 mAh, 2.3 Wh)",
                "no cell has both a price and a discharge with its energy on record: it takes %s",
                kind->takes);
        else if (!models)
            error_set(error, ERROR_FAILED, kind->name, "perdure results lists what is on record",
                      "nothing of this name is on record: it takes %s", kind->takes);
        else
            error_set(error, ERROR_FAILED, kind->name, "measure it, or rank by something else",
                      "%s has no such value: it takes %s", missing_model(out, c), kind->takes);
        ungather(g, c);
        return error->code;
    }
    const char *censored = censored_model(g, c);
    if (censored) {
        ungather(g, c);
        return error_set(error, ERROR_FAILED, kind->name,
                         "go on until all have come so far, or rank by something else",
                         "some cells of %s are still above 80 %% of their rating: what the others "
                         "cost would mislead",
                         censored);
    }
    if (kind->of_age)
        snprintf(out->name[c], sizeof out->name[c], "%s@%.0fd", kind->name, out->age[c]);
    else
        string_copy(out->name[c], sizeof out->name[c], kind->name);
    snprintf(out->unit[c], sizeof out->unit[c], "%s%s", kind->unit[0] == '/' ? currency : "",
             kind->unit);
    out->criterion[c] = (struct criterion){.name = out->name[c],
                                           .higher_is_better = kind->higher_is_better,
                                           .weight = weight,
                                           .arm = c};
    out->criterion[c].arm = arm_of(g, c);
    out->criteria++;
    return 0;
}

/* "remaining@42d=2": a kind, an age, a weight. */
static int named_criterion(struct gathering *g, char *part, struct error *error)
{
    char *equals = strchr(part, '='), *at, *end = NULL;
    double weight = 1, age = NAN;
    if (equals) {
        *equals = '\0';
        weight = strtod(equals + 1, &end);
        if (end == equals + 1 || *end || !(weight >= 0) || isinf(weight))
            return error_set(error, ERROR_USAGE, equals + 1, "write --by capacity=2,resistance=1",
                             "it is no weight");
    }
    at = strchr(part, '@');
    if (at) {
        age = strtod(at + 1, &end);
        if (end == at + 1 || (*end && strcmp(end, "d") != 0) || !(age >= 0) || isinf(age))
            return error_set(error, ERROR_USAGE, at + 1, "write --by remaining@42d",
                             "it is no age in days");
        *at = '\0';
    }
    const struct criterion_kind *kind = criterion_kind_of(part);
    if (!kind) {
        struct text names = TEXT_EMPTY;
        for (kind = criterion_kinds; kind->name; kind++)
            text_addf(&names, "%s%s", names.length ? ", " : "name some of ", kind->name);
        error_set(error, ERROR_USAGE, part, names.bytes, "there is no criterion of this name");
        text_free(&names);
        return error->code;
    }
    if (at && !kind->of_age)
        return error_set(error, ERROR_USAGE, part, "leave the age out", "it has no age");
    return add_criterion(g, kind, age, weight, error);
}

static int named_criteria(struct gathering *g, const char *by, struct error *error)
{
    char *copy = xstrdup(by), *rest = copy, *part;
    size_t count = 1;
    for (const char *c = by; *c; c++)
        count += *c == ',';
    if (count > CRITERIA_MOST)
        error_set(error, ERROR_FAILED, "ranking", "name fewer", "there are more than %d criteria",
                  CRITERIA_MOST);
    while (!error->code && (part = strsep(&rest, ",")))
        named_criterion(g, part, error);
    free(copy);
    return error->code;
}

/* Those that all models have; where only some have it, that is said. */
static void usual_criteria(struct gathering *g)
{
    static const char *const usual[] = {"capacity", "remaining", "worn", "resistance", "cost"};
    for (size_t k = 0; k < sizeof usual / sizeof *usual && g->out->models; k++) {
        const struct criterion_kind *kind = criterion_kind_of(usual[k]);
        struct error why = {0};
        if (!add_criterion(g, kind, NAN, 1, &why))
            continue;
        bool some = false;
        for (size_t i = 0; i < g->history->count && !some; i++)
            some =
                kind->of_age
                    ? history_first(&g->history->subjects[i], kind->result) != NULL
                    : isfinite(criterion_take(g->history, &g->history->subjects[i], kind, 0).value);
        if (some)
            text_addf(&g->out->left_out, "Not ranked by %s: %s. ", kind->name, why.why);
    }
}

/* --- all -------------------------------------------------------------------------------------- */

/* From the layout for CRITERIA_MOST to that for as many as there are. */
static void close_ranks(struct comparison *out)
{
    for (size_t m = 0; m < out->models; m++)
        for (size_t c = 0; c < out->criteria; c++) {
            struct group group = out->group[m * CRITERIA_MOST + c];
            out->group[m * CRITERIA_MOST + c] = (struct group){0};
            out->group[m * out->criteria + c] = group;
        }
}

int comparison_of(const struct history *history, const bool *wanted, const char *by,
                  struct comparison *out, struct error *error)
{
    *out = (struct comparison){0};
    struct gathering g = {.history = history,
                          .out = out,
                          .wanted = xcalloc(history->model_count + 1, sizeof *g.wanted),
                          .place = xcalloc(history->model_count + 1, sizeof *g.place)};
    if (!list_models(&g, wanted, error)) {
        if (by)
            named_criteria(&g, by, error);
        else
            usual_criteria(&g);
    }
    if (!error->code && (!out->criteria || !out->models))
        error_set(error, ERROR_FAILED, "ranking", "run capacity on cells of every model first",
                  "there is nothing on record that all models have");
    close_ranks(out);
    for (size_t c = 0; c < CRITERIA_MOST; c++)
        free(g.cells[c]);
    free(g.wanted);
    free(g.place);
    if (error->code)
        comparison_free(out);
    return error->code;
}

void comparison_free(struct comparison *comparison)
{
    for (size_t i = 0; i < comparison->models * comparison->criteria; i++)
        free((double *)comparison->group[i].values);
    for (size_t c = 0; c < CRITERIA_MOST; c++)
        text_free(&comparison->takes[c]);
    text_free(&comparison->left_out);
    *comparison = (struct comparison){0};
}

const struct group *comparison_group(const struct comparison *comparison, size_t model,
                                     size_t criterion)
{
    return &comparison->group[model * comparison->criteria + criterion];
}
