/* Finding driver files. */
#include <libgen.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/text.h"
#include "bindings/driver.h"

#define DRIVER_MOST (256 * 1024)
#define PATH_MOST   700

static bool try_folder(char path[PATH_MOST], const char *folder, const char *word)
{
    if (!folder || !folder[0])
        return false;
    snprintf(path, PATH_MOST, "%s/%s.lua", folder, word);
    return access(path, R_OK) == 0;
}

/* The source tree that the program was built in, one or two folders up. */
static bool try_tree(char path[PATH_MOST], const char *word)
{
    char self[400], folder[500];
    ssize_t length = readlink("/proc/self/exe", self, sizeof self - 1);
    if (length < 0)
        return false;
    self[length] = '\0';
    const char *place = dirname(self);
    snprintf(folder, sizeof folder, "%s/../bindings/drivers", place);
    if (try_folder(path, folder, word))
        return true;
    snprintf(folder, sizeof folder, "%s/../../bindings/drivers", place);
    return try_folder(path, folder, word);
}

static int find(char path[PATH_MOST], const char *word, const char *folder, struct error *error)
{
    size_t length = strlen(word);
    if (strchr(word, '/') || (length > 4 && strcmp(word + length - 4, ".lua") == 0)) {
        if (word[0] == '/' || !folder || !folder[0])
            string_copy(path, PATH_MOST, word);
        else
            snprintf(path, PATH_MOST, "%s/%s", folder, word);
        return 0;
    }
    if (try_folder(path, getenv("PERDURE_DRIVERS"), word) || try_tree(path, word) ||
        try_folder(path, PERDURE_DRIVERS_FOLDER, word))
        return 0;
    return error_set(error, ERROR_BENCH, word, "give a path, or set PERDURE_DRIVERS",
                     "no driver has this name");
}

int lua_driver_find(struct driver **out, const char *word, const char *folder, const char *settings,
                    struct error *error)
{
    char path[PATH_MOST];
    char *text = NULL;
    size_t length = 0;
    if (find(path, word, folder, error) || file_read(path, DRIVER_MOST, &text, &length, error))
        return ERROR_BENCH;
    int code = lua_driver_open(out, basename(path), text, length, settings, error);
    free(text);
    return code;
}
