/* Opening what is pinned to a run. */
#include "engine/pinned.h"

#include <stdlib.h>
#include <string.h>

#include "base/random.h"
#include "engine/acts.h"

int pinned_module(void *owner, const char *name, char **text, size_t *length, struct error *error)
{
    const struct pinned *pinned = owner;
    const json_t *module = pinned->with ? json_object_get(pinned->with->modules, name) : NULL;
    if (json_is_string(module)) {
        *text = xstrdup(json_string_value(module));
        *length = json_string_length(module);
        return 0;
    }
    char hash[SHA256_HEX];
    if (logbook_run_module(pinned->logbook, pinned->run, name, hash, error))
        return error->code;
    return logbook_script(pinned->logbook, hash, text, length, error);
}

int pinned_open(struct pinned *pinned, const struct script_ops *scripts,
                const struct run_record *record, const struct cell_facts *cell, struct script **out,
                struct error *error)
{
    const struct replay_text *with = pinned->with;
    char *text = NULL, *cells = NULL, part[48];
    size_t length = 0;
    int code = 0;
    if (strcmp(record->kind, "study") == 0)
        code = cells_of_study(pinned->logbook, record->id, &cells, error);
    if (!code && !with)
        code = logbook_script(pinned->logbook, record->script_hash, &text, &length, error);
    /* Draws go on differently in each segment. */
    snprintf(part, sizeof part, "segment %d", record->segment);
    struct script_context context = {
        .name = with ? with->name : record->script_name,
        .text = with ? with->text : text,
        .length = with ? with->length : length,
        .params = record->params ? record->params : "{}",
        .state = record->segment_state,
        .seed = seed_for(record->seed, part),
        .cell = *cell,
        .cells = cells,
        .zone = logbook_zone(pinned->logbook),
        .module = pinned_module,
        .owner = pinned,
    };
    if (!code)
        code = scripts->open(out, &context, error);
    free(text);
    free(cells);
    return code;
}
