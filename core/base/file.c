/* Whole files, and the hash that pins what was in them: see text.h. */
#include <errno.h>
#include <fcntl.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/types.h>
#include <unistd.h>

#include <sha2.h>

#include "base/text.h"

#define CHUNK 65536

/* Reads to the end, or to one byte over the limit: the size that fstat gives is no promise. */
static int read_all(int file, size_t limit, struct text *content)
{
    char *chunk = xmalloc(CHUNK);
    int failure = 0;
    while (content->length <= limit) {
        size_t left = limit - content->length;
        ssize_t got = read(file, chunk, left < CHUNK ? left + 1 : CHUNK);
        if (got < 0 && errno == EINTR)
            continue;
        if (got < 0)
            failure = errno;
        if (got <= 0)
            break;
        text_add_bytes(content, chunk, (size_t)got);
    }
    free(chunk);
    return failure;
}

int file_read(const char *path, size_t limit, char **out, size_t *length, struct error *error)
{
    *out = NULL;
    int file = open(path, O_RDONLY | O_CLOEXEC);
    if (file < 0)
        return error_set(error, ERROR_USAGE, path, "check the name and the permissions",
                         "cannot be opened: %s", strerror(errno));

    struct stat status;
    if (fstat(file, &status) == 0 && S_ISDIR(status.st_mode)) {
        close(file);
        return error_set(error, ERROR_USAGE, path, "name a file inside it", "is a folder");
    }

    struct text content = TEXT_EMPTY;
    int failure = read_all(file, limit, &content);
    close(file);
    if (failure != 0) {
        text_free(&content);
        return error_set(error, ERROR_USAGE, path, "check the disk and the file",
                         "cannot be read: %s", strerror(failure));
    }
    if (content.length > limit) {
        text_free(&content);
        return error_set(error, ERROR_USAGE, path, "name a smaller file",
                         "is larger than the %zu bytes allowed", limit);
    }
    text_add_bytes(&content, "", 0); /* an empty file too gets its NUL */
    *out = content.bytes;
    if (length != NULL)
        *length = content.length;
    return 0;
}

void sha256_hex(const void *bytes, size_t length, char out[SHA256_HEX])
{
    static const char digits[] = "0123456789abcdef";
    uint8_t digest[SHA256_DIGEST_LENGTH];
    SHA2_CTX context;
    SHA256Init(&context);
    SHA256Update(&context, bytes, length);
    SHA256Final(digest, &context);
    for (size_t i = 0; i < SHA256_DIGEST_LENGTH; i++) {
        out[2 * i] = digits[digest[i] >> 4];
        out[2 * i + 1] = digits[digest[i] & 15];
    }
    out[SHA256_HEX - 1] = '\0';
}
