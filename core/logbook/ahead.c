/* Reading ahead: what a walk through all cells needs lies all over the file, between the samples.
 * Fetched a page at a time it keeps a disk waiting; in order the whole file takes less time. */
#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include "logbook/logbook_internal.h"

/* Of a longer stretch at a time Linux fetches no more than its beginning. */
#define STRETCH (128 << 10)

/* More than half of the memory would drive out what was fetched first. */
static bool has_room(off_t size)
{
    long pages = sysconf(_SC_PHYS_PAGES), bytes = sysconf(_SC_PAGESIZE);
    return pages > 0 && bytes > 0 && size / bytes <= pages / 2;
}

void logbook_read_ahead(struct logbook *logbook)
{
    struct stat facts;
    if (logbook->in_memory || logbook->ahead >= 0)
        return;
    /* Closed after SQLite has closed the file: a file's locks go with any of its descriptors. */
    logbook->ahead = open(logbook->path, O_RDONLY | O_CLOEXEC);
    if (logbook->ahead < 0 || fstat(logbook->ahead, &facts) || !has_room(facts.st_size))
        return;
    for (off_t at = 0; at < facts.st_size; at += STRETCH)
        if (posix_fadvise(logbook->ahead, at, STRETCH, POSIX_FADV_WILLNEED))
            return;
}
