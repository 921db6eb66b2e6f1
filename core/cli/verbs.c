/* The table of verbs, in the order in which help shows them. */
#include "cli/cli.h"

extern const struct verb verb_new, verb_enrol, verb_cells, verb_bench, verb_check, verb_rehearse,
    verb_start, verb_engine, verb_run, verb_runs, verb_stop, verb_pause, verb_resume, verb_adopt,
    verb_attend, verb_agenda, verb_answer, verb_results, verb_rank, verb_labels, verb_plot,
    verb_report, verb_export, verb_audit, verb_backup, verb_import, verb_evaluate, verb_overview;

const struct verb *const verbs[] = {
    &verb_new,     &verb_enrol,  &verb_cells,    &verb_bench,  &verb_check,    &verb_rehearse,
    &verb_start,   &verb_engine, &verb_run,      &verb_runs,   &verb_overview, &verb_stop,
    &verb_pause,   &verb_resume, &verb_adopt,    &verb_attend, &verb_agenda,   &verb_answer,
    &verb_results, &verb_rank,   &verb_evaluate, &verb_import, &verb_labels,   &verb_plot,
    &verb_report,  &verb_export, &verb_audit,    &verb_backup, NULL,
};
