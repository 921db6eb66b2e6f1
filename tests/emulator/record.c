/* Lines gather in stdio's buffer; the loop flushes once a turn. */
#include "record.h"

#include <errno.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "base/text.h"

struct record {
    FILE *file;
    bool dirty;
};

int record_open(struct record **out, const char *path, struct error *error)
{
    FILE *file = fopen(path, "ae");
    *out = NULL;
    if (file == NULL)
        return error_set(error, ERROR_USAGE, path, "check the path and its permissions",
                         "it cannot be opened: %s", strerror(errno));
    *out = xcalloc(1, sizeof(**out));
    (*out)->file = file;
    return 0;
}

void record_close(struct record *record)
{
    if (record == NULL)
        return;
    fclose(record->file);
    free(record);
}

void record_add(struct record *record, const char *name, const char *format, ...)
{
    struct timespec now;
    va_list list;
    if (record == NULL)
        return;
    clock_gettime(CLOCK_MONOTONIC, &now);
    fprintf(record->file, "%lld.%06ld %s ", (long long)now.tv_sec, now.tv_nsec / 1000, name);
    va_start(list, format);
    vfprintf(record->file, format, list);
    va_end(list);
    fputc('\n', record->file);
    record->dirty = true;
}

void record_flush(struct record *record)
{
    if (record == NULL || !record->dirty)
        return;
    fflush(record->file);
    record->dirty = false;
}
