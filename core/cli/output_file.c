/* Writing what -o names. */
#include "cli/output_file.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <unistd.h>

int output_kind(const struct arguments *arguments, const char *const *kinds, const char *todo,
                const char **path, int *kind, struct error *error)
{
    *path = argument(arguments, "o");
    if (!*path || !(*path)[0])
        return error_set(error, ERROR_USAGE, "-o", todo, "it is not said which file to write");
    size_t length = strlen(*path);
    for (*kind = 0; kinds[*kind]; ++*kind) {
        size_t tail = strlen(kinds[*kind]);
        if (length > tail && strcasecmp(*path + length - tail, kinds[*kind]) == 0)
            return 0;
    }
    return error_set(error, ERROR_USAGE, *path, todo, "no such kind of file is written here");
}

int output_write(const char *path, const struct text *text, struct error *error)
{
    struct text beside = TEXT_EMPTY;
    text_addf(&beside, "%s.part", path);
    FILE *file = fopen(beside.bytes, "wb");
    bool good = file && fwrite(text->bytes, 1, text->length, file) == text->length;
    if (file && fclose(file))
        good = false;
    if (!good || rename(beside.bytes, path)) {
        int why = errno;
        if (file)
            unlink(beside.bytes);
        error_set(error, ERROR_FAILED, path, "see that its folder is there and can be written to",
                  "it could not be written: %s", strerror(why));
    }
    text_free(&beside);
    return error->code;
}

void output_say(const struct arguments *arguments, const char *path, const char *what, size_t cells,
                size_t models)
{
    if (!arguments->json) {
        printf("%s: %s from %zu cell%s of %zu model%s\n", path, what, cells, cells == 1 ? "" : "s",
               models, models == 1 ? "" : "s");
        return;
    }
    json_t *facts = json_pack("{s:s, s:I, s:I}", "file", path, "cells", (json_int_t)cells, "models",
                              (json_int_t)models);
    print_json(facts);
    json_decref(facts);
}
