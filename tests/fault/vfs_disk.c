/* The VFS: passes everything on to the system's VFS, tells the platter, and fails when told to. */
#include "vfs_disk.h"

#include <errno.h>
#include <sqlite3.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

struct disk_file {
    sqlite3_file base;
    struct platter_file *platter; /* NULL: a file that needs not last */
    sqlite3_file *real;
    int last_errno; /* of an injected failure; 0: none */
};

#define REAL_AT ((sizeof(struct disk_file) + 15) / 16 * 16)

static sqlite3_vfs vfs;
static sqlite3_vfs *system_vfs;
static struct disk_power power;
static uint64_t changes;
static struct disk_fault fault;
static uint64_t operations, failures;

static struct disk_file *of(sqlite3_file *file)
{
    return (struct disk_file *)file;
}

/* --- power and faults ------------------------------------------------------------------------- */

void disk_power(const struct disk_power *wanted)
{
    power = *wanted;
}

uint64_t disk_changes(void)
{
    return changes;
}

_Noreturn void disk_cut(void)
{
    platter_cut(power.style, power.sector, power.seed);
    _exit(DISK_CUT_STATUS);
}

static void change(void)
{
    if (++changes == power.at)
        disk_cut();
}

void disk_fail(const struct disk_fault *wanted)
{
    fault = *wanted;
    operations = failures = 0;
}

uint64_t disk_failures(void)
{
    return failures;
}

void disk_mend(void)
{
    fault.at = 0;
}

/* SQLITE_OK, or what this operation fails with. */
static int fails(enum disk_operation operation)
{
    if (fault.at == 0 || operation != fault.on)
        return SQLITE_OK;
    operations++;
    if (operations < fault.at || (!fault.lasting && operations > fault.at))
        return SQLITE_OK;
    failures++;
    if (fault.met != NULL)
        fault.met(fault.owner);
    errno = fault.cause; /* where the system's VFS leaves it, and SQLite looks for it */
    return fault.code;
}

/* The same, and the file remembers why, as the system's VFS does for a commit. */
static int fails_on(struct disk_file *file, enum disk_operation operation)
{
    int code = fails(operation);
    if (code != SQLITE_OK)
        file->last_errno = fault.cause;
    return code;
}

/* --- the folder's syncs, seen by the system VFS opening it ------------------------------------ */

typedef int open_directory(const char *path, int *fd);
static open_directory *system_open_directory;
static bool folder_opened;

static int see_open_directory(const char *path, int *fd)
{
    folder_opened = true;
    return system_open_directory(path, fd);
}

static void see_folder_sync(int code)
{
    if (folder_opened && code == SQLITE_OK && !power.lies)
        platter_sync_folder();
    folder_opened = false;
}

/* --- a file ----------------------------------------------------------------------------------- */

static int file_close(sqlite3_file *file)
{
    return of(file)->real->pMethods->xClose(of(file)->real);
}

static int file_read_at(sqlite3_file *file, void *to, int length, sqlite3_int64 offset)
{
    int code = fails_on(of(file), DISK_READ);
    return code != SQLITE_OK ? code
                             : of(file)->real->pMethods->xRead(of(file)->real, to, length, offset);
}

/* A write that fails has done half of its work. */
static int file_write(sqlite3_file *file, const void *from, int length, sqlite3_int64 offset)
{
    struct disk_file *disk_file = of(file);
    int code = disk_file->platter != NULL ? fails_on(disk_file, DISK_WRITE) : SQLITE_OK;
    int part = code == SQLITE_OK ? length : length / 2, done = SQLITE_OK;
    if (part > 0)
        done = disk_file->real->pMethods->xWrite(disk_file->real, from, part, offset);
    if (done == SQLITE_OK && disk_file->platter != NULL && part > 0) {
        platter_write(disk_file->platter, offset, from, (size_t)part);
        change();
    }
    return code != SQLITE_OK ? code : done;
}

static int file_truncate(sqlite3_file *file, sqlite3_int64 size)
{
    struct disk_file *disk_file = of(file);
    int code = fails_on(disk_file, DISK_TRUNCATE);
    if (code == SQLITE_OK)
        code = disk_file->real->pMethods->xTruncate(disk_file->real, size);
    if (code == SQLITE_OK && disk_file->platter != NULL) {
        platter_truncate(disk_file->platter, size);
        change();
    }
    return code;
}

static int file_sync(sqlite3_file *file, int flags)
{
    struct disk_file *disk_file = of(file);
    int code = fails_on(disk_file, DISK_SYNC);
    if (disk_file->platter != NULL)
        change(); /* the power fails while it syncs */
    if (code != SQLITE_OK) {
        if (disk_file->platter != NULL)
            platter_sync_failed(disk_file->platter);
        return code;
    }
    folder_opened = false;
    code = disk_file->real->pMethods->xSync(disk_file->real, flags);
    if (code == SQLITE_OK && disk_file->platter != NULL && !power.lies)
        platter_sync(disk_file->platter);
    see_folder_sync(code);
    return code;
}

static int file_size(sqlite3_file *file, sqlite3_int64 *size)
{
    return of(file)->real->pMethods->xFileSize(of(file)->real, size);
}

static int file_lock(sqlite3_file *file, int lock)
{
    return of(file)->real->pMethods->xLock(of(file)->real, lock);
}

static int file_unlock(sqlite3_file *file, int lock)
{
    return of(file)->real->pMethods->xUnlock(of(file)->real, lock);
}

static int file_check_lock(sqlite3_file *file, int *held)
{
    return of(file)->real->pMethods->xCheckReservedLock(of(file)->real, held);
}

static int file_control(sqlite3_file *file, int what, void *argument)
{
    if (what == SQLITE_FCNTL_LAST_ERRNO && of(file)->last_errno != 0) {
        *(int *)argument = of(file)->last_errno;
        return SQLITE_OK;
    }
    return of(file)->real->pMethods->xFileControl(of(file)->real, what, argument);
}

static int file_sector_size(sqlite3_file *file)
{
    return of(file)->real->pMethods->xSectorSize(of(file)->real);
}

static int file_characteristics(sqlite3_file *file)
{
    return of(file)->real->pMethods->xDeviceCharacteristics(of(file)->real);
}

static int shared_map(sqlite3_file *file, int page, int size, int extend, void volatile **at)
{
    int code = extend ? fails(DISK_SHARE) : SQLITE_OK;
    return code != SQLITE_OK
               ? code
               : of(file)->real->pMethods->xShmMap(of(file)->real, page, size, extend, at);
}

static int shared_lock(sqlite3_file *file, int offset, int count, int flags)
{
    return of(file)->real->pMethods->xShmLock(of(file)->real, offset, count, flags);
}

static void shared_barrier(sqlite3_file *file)
{
    of(file)->real->pMethods->xShmBarrier(of(file)->real);
}

static int shared_unmap(sqlite3_file *file, int remove_it)
{
    return of(file)->real->pMethods->xShmUnmap(of(file)->real, remove_it);
}

/* Version 2: shared memory for the log's index, and no mapping of the file itself. */
static const sqlite3_io_methods methods = {
    .iVersion = 2,
    .xClose = file_close,
    .xRead = file_read_at,
    .xWrite = file_write,
    .xTruncate = file_truncate,
    .xSync = file_sync,
    .xFileSize = file_size,
    .xLock = file_lock,
    .xUnlock = file_unlock,
    .xCheckReservedLock = file_check_lock,
    .xFileControl = file_control,
    .xSectorSize = file_sector_size,
    .xDeviceCharacteristics = file_characteristics,
    .xShmMap = shared_map,
    .xShmLock = shared_lock,
    .xShmBarrier = shared_barrier,
    .xShmUnmap = shared_unmap,
};

/* --- the disk --------------------------------------------------------------------------------- */

static int disk_open(sqlite3_vfs *self, const char *path, sqlite3_file *file, int flags,
                     int *out_flags)
{
    const int lasting = SQLITE_OPEN_MAIN_DB | SQLITE_OPEN_WAL | SQLITE_OPEN_MAIN_JOURNAL |
                        SQLITE_OPEN_SUPER_JOURNAL;
    struct disk_file *disk_file = of(file);
    int code = fails(DISK_OPEN);
    (void)self;
    memset(disk_file, 0, sizeof *disk_file);
    if (code != SQLITE_OK)
        return code;
    bool existed = path != NULL && access(path, F_OK) == 0;
    disk_file->real = (sqlite3_file *)((char *)file + REAL_AT);
    code = system_vfs->xOpen(system_vfs, path, disk_file->real, flags, out_flags);
    if (code != SQLITE_OK)
        return code;
    disk_file->base.pMethods = &methods;
    if (path != NULL && (flags & lasting) != 0) {
        disk_file->platter = platter_open(path, existed);
        if (!existed)
            change();
    }
    return SQLITE_OK;
}

static int disk_remove(sqlite3_vfs *self, const char *path, int sync_folder)
{
    int code = fails(DISK_REMOVE);
    (void)self;
    if (code != SQLITE_OK)
        return code;
    folder_opened = false;
    code = system_vfs->xDelete(system_vfs, path, sync_folder);
    if (code == SQLITE_OK) {
        platter_remove(path);
        change();
    }
    see_folder_sync(code);
    return code;
}

void disk_register(void)
{
    system_vfs = sqlite3_vfs_find(NULL);
    vfs = *system_vfs; /* what is not replaced is the system's */
    vfs.zName = "disk";
    vfs.szOsFile = (int)REAL_AT + system_vfs->szOsFile;
    vfs.xOpen = disk_open;
    vfs.xDelete = disk_remove;
    system_open_directory =
        (open_directory *)system_vfs->xGetSystemCall(system_vfs, "openDirectory");
    system_vfs->xSetSystemCall(system_vfs, "openDirectory",
                               (sqlite3_syscall_ptr)see_open_directory);
    if (system_open_directory == NULL || sqlite3_vfs_register(&vfs, 1) != SQLITE_OK)
        abort();
}
