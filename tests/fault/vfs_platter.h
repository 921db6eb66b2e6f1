/* What a disk holds for good and what it was only told, so that its power can be cut.
 *
 * A file's content is durable as of its last sync; a name (made, removed) as of the last sync of
 * its folder. Of all that came later a cut leaves, sector by sector, any state that the sector has
 * been through, and garbles at most the bytes of the one write that was under way there: bytes that
 * no unsynced write touched keep their values (what SQLite calls powersafe overwrite, and assumes
 * of a disk). A file's size, and whether a name is there, are drawn likewise. */
#ifndef PERDURE_TESTS_FAULT_VFS_PLATTER_H
#define PERDURE_TESTS_FAULT_VFS_PLATTER_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum cut_style {
    CUT_DROPS,  /* nothing unsynced got there */
    CUT_KEEPS,  /* all of it did */
    CUT_MIXES,  /* each sector on its own */
    CUT_GARBLES /* the same, and sectors under way are torn, zeroed or noise */
};
#define CUT_STYLES 4

struct platter_file; /* a content, whatever name leads to it; lives until the process ends */

/* The file that this name leads to; `existed` before it was opened: then it is durable as it is. */
struct platter_file *platter_open(const char *path, bool existed);
void platter_write(struct platter_file *file, int64_t offset, const void *bytes, size_t length);
void platter_truncate(struct platter_file *file, int64_t size);
void platter_remove(const char *path);

void platter_sync(struct platter_file *file);
void platter_sync_folder(void);
/* A sync that failed: what was to be synced is forgotten as such by the system. A later sync makes
 * it durable only where its page has been written to again. */
void platter_sync_failed(struct platter_file *file);

/* Leaves on the real disk what a machine would find after the cut. `sector`: 512 or 4096 bytes. */
void platter_cut(enum cut_style style, size_t sector, uint64_t seed);

#endif
