/* A disk that can lose its power, fill up or fail: an SQLite VFS around the system's own. Whatever
 * opens a database after disk_register is on it. One disk a process; it is never unregistered. */
#ifndef PERDURE_TESTS_FAULT_VFS_DISK_H
#define PERDURE_TESTS_FAULT_VFS_DISK_H

#include "vfs_platter.h"

void disk_register(void);

/* --- power ------------------------------------------------------------------------------------ */

#define DISK_CUT_STATUS 77 /* exit status of a process whose power was cut */

struct disk_power {
    uint64_t at; /* fails in the midst of this change (write, truncation, sync, name), from 1 */
    enum cut_style style;
    size_t sector;
    uint64_t seed;
    bool lies; /* the disk says that it has synced and has not: no program survives that */
};
void disk_power(const struct disk_power *power);
uint64_t disk_changes(void); /* so far */

/* Cuts the power now: leaves the files as found then, and ends the process. */
_Noreturn void disk_cut(void);

/* --- faults ----------------------------------------------------------------------------------- */

enum disk_operation {
    DISK_OPEN,
    DISK_READ,
    DISK_WRITE,
    DISK_TRUNCATE,
    DISK_SYNC,
    DISK_REMOVE,
    DISK_SHARE /* growing the log's index in shared memory */
};

struct disk_fault {
    enum disk_operation on;
    uint64_t at;              /* from the so-many-th such operation on, from 1 */
    bool lasting;             /* until disk_mend; else that one only */
    int code;                 /* what SQLite is told: SQLITE_FULL, SQLITE_IOERR_FSYNC... */
    int cause;                /* and the system's errno behind it */
    void (*met)(void *owner); /* called at each failure, before SQLite knows; may be NULL */
    void *owner;
};
void disk_fail(const struct disk_fault *fault);
uint64_t disk_failures(void); /* so far */
void disk_mend(void);

#endif
