/* Statuses as words and as errors. */
#include "analysis/status.h"

static const struct {
    const char *why, *todo;
} statuses[] = {
#define X(name, why, todo) [name] = {why, todo},
    ANALYSIS_STATUSES(X)
#undef X
};

const char *analysis_status_text(enum analysis_status status)
{
    return (unsigned)status < ANALYSIS_STATUS_COUNT ? statuses[status].why : "an unknown status";
}

const char *analysis_status_todo(enum analysis_status status)
{
    return (unsigned)status < ANALYSIS_STATUS_COUNT ? statuses[status].todo : "report a fault";
}

int analysis_error(enum analysis_status status, const char *what, struct error *error)
{
    if (status == ANALYSIS_OK)
        return 0;
    return error_set(error, ERROR_FAILED, what, analysis_status_todo(status), "%s",
                     analysis_status_text(status));
}
