/* Finding and reading scripts. */
#include "cli/source.h"

#include <dirent.h>
#include <libgen.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/text.h"
#include "bindings/script.h"

#define SCRIPT_MOST (1024 * 1024)

static bool try_path(struct source *out, const char *folder, const char *word)
{
    if (!folder || !folder[0])
        return false;
    snprintf(out->path, sizeof out->path, "%s/%s.lua", folder, word);
    return access(out->path, R_OK) == 0;
}

/* The folder of protocols in a source tree, when the program runs from its build folder. */
static bool tree_folder(char *folder, size_t size)
{
    char self[400];
    ssize_t length = readlink("/proc/self/exe", self, sizeof self - 1);
    if (length < 0)
        return false;
    self[length] = '\0';
    snprintf(folder, size, "%s/../protocols", dirname(self));
    return true;
}

static bool try_tree(struct source *out, const char *word)
{
    char folder[448];
    return tree_folder(folder, sizeof folder) && try_path(out, folder, word);
}

static int find(struct source *out, const char *word, struct error *error)
{
    string_copy(out->path, sizeof out->path, word);
    if (strchr(word, '/') || strchr(word, '.') || access(word, R_OK) == 0)
        return 0;
    if (try_path(out, getenv("PERDURE_PROTOCOLS"), word) || try_tree(out, word) ||
        try_path(out, PERDURE_PROTOCOLS, word))
        return 0;
    return error_set(error, ERROR_SCRIPT, word, "give a path, or set PERDURE_PROTOCOLS",
                     "no file and no shipped protocol has this name");
}

static int read_module(void *owner, const char *name, char **text, size_t *length,
                       struct error *error)
{
    struct source *source = owner;
    char path[700], folder[512];
    if (strspn(name, "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789_-") !=
        strlen(name))
        return error_set(error, ERROR_SCRIPT, name, "name a module by letters, digits, '_' and '-'",
                         "a module is a file beside the script, not a path");
    string_copy(folder, sizeof folder, source->path);
    snprintf(path, sizeof path, "%s/%s.lua", dirname(folder), name);
    if (file_read(path, SCRIPT_MOST, text, length, error))
        return error->code;
    json_object_set_new(source->modules, name, json_stringn(*text, *length));
    return 0;
}

/* Every other Lua file of a folder, as a protocol that a study may perform. Files that are none are
 * found out when they are performed; those taken in first hide others of the same name. */
static void add_folder(struct source *out, const char *folder)
{
    DIR *directory = folder && folder[0] ? opendir(folder) : NULL;
    struct dirent *entry;
    while (directory && (entry = readdir(directory))) {
        char path[800], name[300];
        char *text = NULL;
        size_t length = strlen(entry->d_name), size;
        struct error unreadable;
        if (length < 5 || strcmp(entry->d_name + length - 4, ".lua") != 0)
            continue;
        snprintf(path, sizeof path, "%s/%s", folder, entry->d_name);
        snprintf(name, sizeof name, "protocol/%.*s", (int)(length - 4), entry->d_name);
        if (!json_object_get(out->modules, name) &&
            !file_read(path, SCRIPT_MOST, &text, &size, &unreadable) &&
            strstr(text, "return protocol"))
            json_object_set_new(out->modules, name, json_stringn(text, size));
        free(text);
    }
    if (directory)
        closedir(directory);
}

static void add_protocols(struct source *out)
{
    char beside[512], tree[512];
    string_copy(beside, sizeof beside, out->path);
    add_folder(out, dirname(beside));
    add_folder(out, getenv("PERDURE_PROTOCOLS"));
    if (tree_folder(tree, sizeof tree))
        add_folder(out, tree);
    add_folder(out, PERDURE_PROTOCOLS);
}

int source_read(struct source *out, const char *word, const struct cell_facts *cell,
                const json_t *params, struct error *error)
{
    *out = (struct source){.modules = json_object()};
    char copy[512];
    if (find(out, word, error) ||
        file_read(out->path, SCRIPT_MOST, &out->text, &out->length, error))
        return error->code;
    string_copy(copy, sizeof copy, out->path);
    string_copy(out->name, sizeof out->name, basename(copy));

    struct cell_facts usual = {.label = "a cell", .model = "usual", .rated_charge = 2 * 3600.0};
    usual.profile = profile_find("NiMH");
    char *values = json_dumps(params, JSON_SORT_KEYS | JSON_COMPACT);
    struct script *script = NULL;
    const struct script_ops *ops = lua_script_ops();
    struct script_context context = {
        .name = out->name,
        .text = out->text,
        .length = out->length,
        .params = values,
        .seed = 1,
        .cell = cell ? *cell : usual,
        .module = read_module,
        .owner = out,
    };
    int code = ops->open(&script, &context, error);
    free(values);
    if (code)
        return code;
    out->is_study = script_is_study(script);
    ops->close(script);
    if (out->is_study)
        add_protocols(out);
    return 0;
}

void source_free(struct source *source)
{
    free(source->text);
    json_decref(source->modules);
    *source = (struct source){0};
}

json_t *source_request(const char *act, const struct source *source)
{
    return json_pack("{s:s, s:s, s:s, s:s%, s:O}", "act", act, "kind",
                     source->is_study ? "study" : "protocol", "name", source->name, "text",
                     source->text, source->length, "modules", source->modules);
}
