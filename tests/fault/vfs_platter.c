/* The platter: durable contents, and changes since the last sync in the order they were made. */
#include "vfs_platter.h"

#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/random.h"
#include "base/text.h"

#define PAGE 4096 /* of the system's memory: what a failed sync forgets, and a write renews */

struct change {
    int64_t offset; /* of a write; of a truncation the new size */
    size_t length;
    unsigned char *bytes; /* NULL: a truncation */
    bool forgotten;       /* by a sync that failed */
};

struct platter_file {
    unsigned char *durable;
    size_t size;
    struct change *change;
    size_t count, room;
    struct platter_file *next; /* of all there ever were */
};

struct name {
    char *path;
    struct platter_file *durable, *now; /* NULL: no such name */
    struct name *next;
};

static struct name *names;
static struct platter_file *files;

/* --- names ------------------------------------------------------------------------------------ */

static struct name *find_name(const char *path)
{
    struct name *name = names;
    while (name != NULL && strcmp(name->path, path) != 0)
        name = name->next;
    if (name == NULL) {
        name = xcalloc(1, sizeof *name);
        name->path = xstrdup(path);
        name->next = names;
        names = name;
    }
    return name;
}

struct platter_file *platter_open(const char *path, bool existed)
{
    struct name *name = find_name(path);
    if (name->now != NULL)
        return name->now;
    name->now = xcalloc(1, sizeof *name->now);
    name->now->next = files;
    files = name->now;
    if (existed) {
        char *content = NULL;
        if (file_read(path, SIZE_MAX / 2, &content, &name->now->size, NULL) != 0)
            abort();
        name->now->durable = (unsigned char *)content;
        name->durable = name->now;
    }
    return name->now;
}

void platter_remove(const char *path)
{
    find_name(path)->now = NULL;
}

void platter_sync_folder(void)
{
    for (struct name *name = names; name != NULL; name = name->next)
        name->durable = name->now;
}

/* --- changes ---------------------------------------------------------------------------------- */

static void add_change(struct platter_file *file, struct change change)
{
    if (file->count == file->room) {
        file->room = file->room == 0 ? 64 : 2 * file->room;
        file->change = xrealloc(file->change, file->room * sizeof *file->change);
    }
    file->change[file->count++] = change;
}

void platter_write(struct platter_file *file, int64_t offset, const void *bytes, size_t length)
{
    struct change change = {.offset = offset, .length = length, .bytes = xmalloc(length + 1)};
    memcpy(change.bytes, bytes, length);
    add_change(file, change);
}

void platter_truncate(struct platter_file *file, int64_t size)
{
    add_change(file, (struct change){.offset = size});
}

static size_t size_after(size_t size, const struct change *change)
{
    size_t end = (size_t)change->offset + change->length;
    return change->bytes == NULL || end > size ? end : size;
}

static void apply(struct platter_file *file, const struct change *change)
{
    size_t size = size_after(file->size, change);
    if (size > file->size) {
        file->durable = xrealloc(file->durable, size + 1);
        memset(file->durable + file->size, 0, size - file->size);
    }
    if (change->bytes != NULL)
        memcpy(file->durable + change->offset, change->bytes, change->length);
    file->size = size;
}

/* Whether a page that this change touches was written to again after it was forgotten. */
static bool renewed(const struct platter_file *file, size_t i)
{
    const struct change *old = &file->change[i];
    for (size_t j = i + 1; j < file->count; j++) {
        const struct change *new = &file->change[j];
        if (new->bytes != NULL && !new->forgotten &&new->offset / PAGE <= old->offset / PAGE &&
            (new->offset + (int64_t) new->length - 1) / PAGE >= old->offset / PAGE)
            return true;
    }
    return false;
}

void platter_sync(struct platter_file *file)
{
    size_t kept = 0;
    for (size_t i = 0; i < file->count; i++) {
        if (file->change[i].forgotten && !renewed(file, i)) {
            file->change[kept++] = file->change[i];
            continue;
        }
        apply(file, &file->change[i]);
        free(file->change[i].bytes);
    }
    file->count = kept;
}

void platter_sync_failed(struct platter_file *file)
{
    struct platter_file old = *file;
    file->change = NULL;
    file->count = file->room = 0;
    for (size_t i = 0; i < old.count; i++) {
        const struct change *change = &old.change[i];
        if (change->bytes == NULL) {
            add_change(file, *change);
            continue;
        }
        for (size_t done = 0; done < change->length;) { /* page by page */
            int64_t offset = change->offset + (int64_t)done;
            size_t part = PAGE - (size_t)(offset % PAGE);
            if (part > change->length - done)
                part = change->length - done;
            platter_write(file, offset, change->bytes + done, part);
            file->change[file->count - 1].forgotten = true;
            done += part;
        }
        free(change->bytes);
    }
    free(old.change);
}

/* --- the cut ---------------------------------------------------------------------------------- */

struct cut {
    enum cut_style style;
    size_t sector;
    struct random random;
};

static size_t draw(struct cut *cut, size_t most)
{
    switch (cut->style) {
    case CUT_DROPS: return 0;
    case CUT_KEEPS: return most;
    case CUT_MIXES:
    case CUT_GARBLES: break;
    }
    return (size_t)random_range(&cut->random, 0, (int64_t)most);
}

static void tear(struct cut *cut, unsigned char *to, const unsigned char *from, size_t length)
{
    size_t half = (size_t)random_range(&cut->random, 0, (int64_t)length);
    switch (random_range(&cut->random, 0, 2)) {
    case 0: memcpy(to, from, half); break;
    case 1: memset(to, 0, length); break;
    default:
        for (size_t i = 0; i < length; i++)
            to[i] = (unsigned char)random_bits(&cut->random);
    }
}

/* One sector's part of a change, done to `content`. */
static void do_part(struct cut *cut, unsigned char *content, size_t start,
                    const struct change *change, bool torn)
{
    static const unsigned char nothing[PAGE];
    size_t from = (size_t)change->offset, to = start + cut->sector;
    const unsigned char *bytes = change->bytes;
    if (bytes != NULL && from + change->length < to)
        to = from + change->length;
    if (from < start) {
        if (bytes != NULL)
            bytes += start - from;
        from = start;
    }
    if (from >= to)
        return;
    if (bytes == NULL)
        bytes = nothing;
    if (torn)
        tear(cut, content + from, bytes, to - from);
    else
        memcpy(content + from, bytes, to - from);
}

static bool touches(const struct cut *cut, const struct change *change, size_t start)
{
    size_t from = (size_t)change->offset;
    return from < start + cut->sector && (change->bytes == NULL || from + change->length > start);
}

static void cut_sector(struct cut *cut, const struct platter_file *file, unsigned char *content,
                       size_t start)
{
    size_t touching = 0, done = 0;
    for (size_t i = 0; i < file->count; i++)
        touching += touches(cut, &file->change[i], start);
    if (touching == 0)
        return;
    size_t kept = draw(cut, touching);
    for (size_t i = 0; i < file->count && done <= kept; i++) {
        if (!touches(cut, &file->change[i], start))
            continue;
        if (done < kept)
            do_part(cut, content, start, &file->change[i], false);
        else if (cut->style == CUT_GARBLES && random_range(&cut->random, 0, 1) == 0)
            do_part(cut, content, start, &file->change[i], true);
        done++;
    }
}

/* *size: of what is found; the content is owned by the caller. */
static unsigned char *cut_file(struct cut *cut, const struct platter_file *file, size_t *size)
{
    size_t most = file->size, now = file->size;
    size_t chosen = draw(cut, file->count);
    *size = file->size;
    for (size_t i = 0; i < file->count; i++) {
        now = size_after(now, &file->change[i]);
        if (now > most)
            most = now;
        if (i + 1 == chosen)
            *size = now;
    }
    size_t room = (most / cut->sector + 1) * cut->sector;
    unsigned char *content = xcalloc(1, room);
    if (file->size > 0)
        memcpy(content, file->durable, file->size);
    for (size_t start = 0; start < most && file->count > 0; start += cut->sector)
        cut_sector(cut, file, content, start);
    return content;
}

static void leave(const char *path, const unsigned char *content, size_t size)
{
    int fd = open(path, O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0644);
    size_t done = 0;
    while (fd >= 0 && done < size) {
        ssize_t count = write(fd, content + done, size - done);
        if (count <= 0)
            abort();
        done += (size_t)count;
    }
    if (fd < 0)
        abort();
    close(fd);
}

/* The log's index in shared memory is never synced and may say anything. */
static void cut_index(struct cut *cut, const char *path)
{
    struct text name = TEXT_EMPTY;
    struct stat about;
    text_addf(&name, "%s-shm", path);
    if (stat(name.bytes, &about) == 0) {
        unsigned char noise[PAGE];
        for (size_t i = 0; i < sizeof noise; i++)
            noise[i] = (unsigned char)random_bits(&cut->random);
        if (random_range(&cut->random, 0, 1) == 0)
            unlink(name.bytes);
        else
            leave(name.bytes, noise, sizeof noise);
    }
    text_free(&name);
}

void platter_cut(enum cut_style style, size_t sector, uint64_t seed)
{
    struct cut cut = {.style = style, .sector = sector};
    random_seed(&cut.random, seed);
    for (struct name *name = names; name != NULL; name = name->next) {
        struct platter_file *found = name->now;
        if (name->durable != name->now && draw(&cut, 1) == 0)
            found = name->durable;
        if (found == NULL) {
            unlink(name->path);
        } else {
            size_t size;
            unsigned char *content = cut_file(&cut, found, &size);
            leave(name->path, content, size);
            free(content);
        }
        cut_index(&cut, name->path);
    }
}
