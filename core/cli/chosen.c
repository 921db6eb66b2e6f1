/* Evidence of the cells that are asked for. */
#include "cli/chosen.h"

int chosen_evidence(struct evidence *out, const struct arguments *arguments, struct error *error)
{
    const char *cells = argument(arguments, "cells");
    json_t *labels = cells ? argument_list(cells) : NULL;
    evidence_open(out, arguments->logbook, labels, error);
    json_decref(labels);
    return error->code;
}
