/* From enrolled cells to what channels and scripts need to know of them. */
#include "base/random.h"
#include "base/text.h"
#include "engine/acts.h"
#include "logbook/cells.h"
#include "logbook/studies.h"

int facts_of_cell(struct logbook *logbook, const char *label, struct cell_facts *out,
                  struct error *error)
{
    struct cell_record cell;
    *out = (struct cell_facts){0};
    if (logbook_cell(logbook, label, &cell, error))
        return error->code;
    string_copy(out->label, sizeof out->label, cell.label);
    string_copy(out->model, sizeof out->model, cell.model.name);
    out->profile = profile_find(cell.model.chemistry);
    out->rated_charge = cell.model.rated_charge;
    out->seed = seed_for(logbook_seed(logbook), cell.label);
    if (!out->profile)
        return error_set(error, ERROR_FAILED, cell.label,
                         "enrol it under a chemistry that is known",
                         "its chemistry \"%s\" is not known", cell.model.chemistry);
    return 0;
}

int cells_of_study(struct logbook *logbook, int64_t run, char **text, struct error *error)
{
    json_t *cells = NULL;
    *text = NULL;
    if (logbook_study_cells(logbook, run, &cells, error))
        return error->code;
    *text = json_dumps(cells, JSON_COMPACT | JSON_REAL_PRECISION(17));
    json_decref(cells);
    return 0;
}
