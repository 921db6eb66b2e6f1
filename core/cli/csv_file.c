/* Comma-separated tables as files. */
#include "cli/csv_file.h"

#include <errno.h>
#include <math.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"

static int refuse(const struct csv_file *csv, int why, struct error *error)
{
    return error_set(error, ERROR_FAILED, csv->path,
                     "see that its folder can be written to and has room",
                     "it could not be written: %s", strerror(why));
}

int csv_file_open(struct csv_file *out, const char *path, struct error *error)
{
    *out = (struct csv_file){0};
    string_copy(out->path, sizeof out->path, path);
    out->file = fopen(path, "wb");
    return out->file ? 0 : refuse(out, errno, error);
}

static void begin_field(struct csv_file *csv)
{
    if (csv->fields++)
        putc(',', csv->file);
}

void csv_file_text(struct csv_file *csv, const char *text)
{
    begin_field(csv);
    if (!strpbrk(text, ",\"\r\n")) {
        fputs(text, csv->file);
        return;
    }
    putc('"', csv->file);
    for (; *text; text++) {
        if (*text == '"')
            putc('"', csv->file);
        putc(*text, csv->file);
    }
    putc('"', csv->file);
}

void csv_file_number(struct csv_file *csv, double number)
{
    char text[40];
    csv_file_text(csv, isfinite(number) ? number_format(number, text, sizeof text) : "");
}

void csv_file_value(struct csv_file *csv, const json_t *value)
{
    if (json_is_string(value)) {
        csv_file_text(csv, json_string_value(value));
    } else if (json_is_number(value)) {
        csv_file_number(csv, json_number_value(value));
    } else if (!value || json_is_null(value)) {
        csv_file_text(csv, "");
    } else {
        char *text = json_dumps(value, JSON_COMPACT | JSON_SORT_KEYS | JSON_ENCODE_ANY |
                                           JSON_REAL_PRECISION(15));
        csv_file_text(csv, text ? text : "");
        free(text);
    }
}

void csv_file_end_row(struct csv_file *csv)
{
    fputs("\r\n", csv->file);
    csv->fields = 0;
}

int csv_file_close(struct csv_file *csv, struct error *error)
{
    errno = 0;
    bool bad = ferror(csv->file) != 0;
    if (fclose(csv->file) || bad)
        return refuse(csv, errno ? errno : EIO, error);
    return 0;
}
