/* Simulated cells in memory or in a mapped file.
 *
 * The file: one page of header, then groups of records, each group mapped on its own so that the
 * file can grow while pointers into it stay good. What the processor has stored in a mapping
 * survives the end of the process, also by SIGKILL; only a crash of the machine may lose it.
 * Native layout on purpose: the file belongs to one machine and is no part of the record. */
#include "bench/world.h"

#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/mman.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/text.h"

#define MAGIC         "cellshelf"
#define VERSION       1
#define GROUP_RECORDS 64
#define HEADER_BYTES  4096

struct header {
    char magic[16];
    uint32_t version;
    uint32_t record_bytes;
    uint64_t count;
};

struct record {
    char label[64];
    uint64_t truth_mark; /* hash of label and truth: they never change after the cell is made */
    struct simcell cell;
};

#define GROUP_BYTES ((GROUP_RECORDS * sizeof(struct record) + 4095) / 4096 * 4096)

struct world {
    int file; /* -1 in memory */
    char *path;
    struct header *header;
    struct record **groups; /* of GROUP_RECORDS each */
    size_t group_count;
};

static uint64_t truth_mark(const struct record *record)
{
    /* seed_for hashes text: that of the truth's bytes in hex would be long, so FNV-1a here. */
    uint64_t hash = 14695981039346656037U;
    const unsigned char *label = (const unsigned char *)record->label;
    const unsigned char *truth = (const unsigned char *)&record->cell.truth;
    for (size_t i = 0; i < sizeof(record->label); i++)
        hash = (hash ^ label[i]) * 1099511628211U;
    for (size_t i = 0; i < sizeof(record->cell.truth); i++)
        hash = (hash ^ truth[i]) * 1099511628211U;
    return hash;
}

static struct record *record_at(const struct world *world, size_t i)
{
    return &world->groups[i / GROUP_RECORDS][i % GROUP_RECORDS];
}

static bool record_sound(const struct record *record)
{
    const struct simcell *cell = &record->cell;
    return record->label[0] != '\0' && memchr(record->label, '\0', sizeof(record->label)) != NULL &&
           record->truth_mark == truth_mark(record) &&
           simcell_truth_check(&cell->truth, NULL) == 0 && isfinite(cell->charge) &&
           cell->charge >= 0 && isfinite(cell->v1) && isfinite(cell->temperature) &&
           isfinite(cell->throughput) && cell->throughput >= 0 &&
           cell->drive.mode <= DRIVE_RESISTANCE && cell->pace.segment >= 0 &&
           cell->pace.segment < SIMCELL_OCV_POINTS;
}

static void *map(const struct world *world, size_t bytes, off_t offset)
{
    int flags = world->file < 0 ? MAP_PRIVATE | MAP_ANONYMOUS : MAP_SHARED;
    void *at =
        mmap(NULL, bytes, PROT_READ | PROT_WRITE, flags, world->file, world->file < 0 ? 0 : offset);
    return at == MAP_FAILED ? NULL : at;
}

static int add_group(struct world *world, struct error *error)
{
    off_t offset = (off_t)(HEADER_BYTES + world->group_count * GROUP_BYTES);
    const char *name = world->path != NULL ? world->path : "simulated cells";
    /* Room is claimed now: a write to a mapping of a full disk would be a SIGBUS later. */
    int failed = world->file < 0 ? 0 : posix_fallocate(world->file, offset, GROUP_BYTES);
    if (failed != 0)
        return error_set(error, failed == ENOSPC ? ERROR_FULL : ERROR_BENCH, name,
                         "make room or choose another place", "cannot grow: %s", strerror(failed));
    void *group = map(world, GROUP_BYTES, offset);
    if (group == NULL)
        return error_set(error, ERROR_BENCH, name, "free some memory", "cannot map: %s",
                         strerror(errno));
    size_t size = (world->group_count + 1) * sizeof(struct record *);
    world->groups = xrealloc(world->groups, size);
    world->groups[world->group_count++] = group;
    return 0;
}

static int refuse(const struct world *world, struct error *error, const char *why)
{
    return error_set(error, ERROR_BENCH, world->path,
                     "use another file, or put this one away to begin with new cells",
                     "%s; the file was left as it is", why);
}

/* Takes over what an existing file holds. */
static int take_up(struct world *world, off_t bytes, struct error *error)
{
    struct header header;
    if (bytes < HEADER_BYTES ||
        pread(world->file, &header, sizeof(header), 0) != (ssize_t)sizeof(header) ||
        memcmp(header.magic, MAGIC, sizeof(MAGIC)) != 0)
        return refuse(world, error, "this is no file of simulated cells");
    if (header.version != VERSION || header.record_bytes != sizeof(struct record))
        return refuse(world, error, "the simulated cells were written by another version");
    size_t body = (size_t)bytes - HEADER_BYTES;
    if (header.count > body / GROUP_BYTES * GROUP_RECORDS)
        return refuse(world, error, "the file is damaged: it is shorter than it says");
    world->header = map(world, HEADER_BYTES, 0);
    if (world->header == NULL)
        return refuse(world, error, "it cannot be mapped");
    while (world->group_count * GROUP_RECORDS < header.count) {
        int failed = add_group(world, error);
        if (failed)
            return failed;
    }
    for (size_t i = 0; i < header.count; i++)
        if (!record_sound(record_at(world, i)))
            return refuse(world, error, "the file is damaged: a cell in it is not possible");
    return 0;
}

static int begin(struct world *world, struct error *error)
{
    int failed = world->file < 0 ? 0 : posix_fallocate(world->file, 0, HEADER_BYTES);
    world->header = failed ? NULL : map(world, HEADER_BYTES, 0);
    if (world->header == NULL)
        return error_set(error, failed == ENOSPC ? ERROR_FULL : ERROR_BENCH,
                         world->path != NULL ? world->path : "simulated cells",
                         "make room or choose another place", "cannot begin: %s",
                         strerror(failed ? failed : errno));
    world->header->version = VERSION;
    world->header->record_bytes = sizeof(struct record);
    memcpy(world->header->magic, MAGIC, sizeof(MAGIC));
    return 0;
}

static int open_file(struct world *world, const char *path, struct error *error)
{
    struct stat about;
    world->path = xstrdup(path);
    world->file = open(path, O_RDWR | O_CREAT | O_CLOEXEC, 0644);
    if (world->file < 0 || fstat(world->file, &about) != 0)
        return error_set(error, ERROR_BENCH, path, "check the path and its permissions",
                         "the simulated cells cannot be opened: %s", strerror(errno));
    if (flock(world->file, LOCK_EX | LOCK_NB) != 0)
        return error_set(error, ERROR_BUSY, path, "stop the other process or wait for it",
                         "another process is using these simulated cells");
    return about.st_size == 0 ? begin(world, error) : take_up(world, about.st_size, error);
}

int world_open(struct world **out, const char *path, struct error *error)
{
    struct world *world = xcalloc(1, sizeof(*world));
    world->file = -1;
    int failed = path != NULL ? open_file(world, path, error) : begin(world, error);
    if (failed) {
        world_close(world);
        world = NULL;
    }
    *out = world;
    return failed;
}

void world_close(struct world *world)
{
    if (world == NULL)
        return;
    for (size_t i = 0; i < world->group_count; i++)
        munmap(world->groups[i], GROUP_BYTES);
    if (world->header != NULL)
        munmap(world->header, HEADER_BYTES);
    if (world->file >= 0)
        close(world->file);
    free(world->groups);
    free(world->path);
    free(world);
}

struct simcell *world_cell(struct world *world, const struct cell_facts *facts,
                           const struct simcell_truth *truth, utc_us now, struct error *error)
{
    struct simcell_truth typical;
    if (facts->label[0] == '\0') {
        error_set(error, ERROR_BENCH, "simulated cell", "give the cell a label",
                  "a simulated cell is found by its label, and this one has none");
        return NULL;
    }
    for (size_t i = 0; i < world->header->count; i++)
        if (strcmp(record_at(world, i)->label, facts->label) == 0)
            return &record_at(world, i)->cell;

    if (truth == NULL) {
        simcell_truth_typical(&typical, facts);
        truth = &typical;
    }
    if (simcell_truth_check(truth, error))
        return NULL;
    if (world->header->count == world->group_count * GROUP_RECORDS && add_group(world, error))
        return NULL;
    struct record *record = record_at(world, world->header->count);
    memset(record, 0, sizeof(*record));
    string_copy(record->label, sizeof(record->label), facts->label);
    simcell_new(&record->cell, truth, now, facts->seed);
    record->truth_mark = truth_mark(record);
    world->header->count++; /* last: half a record is no record */
    return &record->cell;
}

void world_make_safe(struct world *world, utc_us now)
{
    for (size_t i = 0; i < world->header->count; i++) {
        struct simcell *cell = &record_at(world, i)->cell;
        if (cell->drive.mode == DRIVE_OFF)
            continue;
        simcell_advance(cell, now);
        cell->drive = DRIVE_NOTHING;
    }
}

utc_us world_latest(const struct world *world)
{
    utc_us latest = 0;
    for (size_t i = 0; i < world->header->count; i++)
        if (record_at(world, i)->cell.as_of > latest)
            latest = record_at(world, i)->cell.as_of;
    return latest;
}
