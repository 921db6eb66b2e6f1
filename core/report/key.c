/* Draws a key. */
#include "report/key.h"

#include <math.h>
#include <stdlib.h>

#include "report/lettering.h"
#include "report/mark.h"

static double swatch(const struct frame *frame)
{
    return 2.2 * frame->body;
}

static double gap(const struct frame *frame)
{
    return 1.2 * frame->body;
}

double key_room(const struct frame *frame, const struct key_entry *entries, size_t count)
{
    if (count == 0)
        return 0;
    double widest = 0;
    for (size_t i = 0; i < count; i++) {
        widest = fmax(widest, lettering_width(entries[i].name.bytes, frame->body, true));
        if (entries[i].value.length != 0)
            widest = fmax(widest, lettering_width(entries[i].value.bytes, frame->body, false));
    }
    return fmin(gap(frame) + swatch(frame) + 0.5 * frame->body + widest + 2,
                frame->side * frame->width);
}

static double name_left(const struct frame *frame, double left)
{
    return left + swatch(frame) + 0.5 * frame->body;
}

static void add_entry(struct frame *frame, const struct key_entry *entry, const char *name,
                      double left, double y, double right, double size)
{
    struct text *out = frame->out;
    bool others = entry->number == KEY_OTHERS;
    double text_left = name_left(frame, left);
    text_add(out, "<g class=\"key\"");
    if (!others)
        text_addf(out, " data-series=\"%zu\"", entry->number);
    text_add(out, ">\n");
    struct svg_stroke stroke = {.class = "swatch",
                                .colour = entry->style.colour,
                                .width = others ? 0.5 * frame->line : frame->line,
                                .dash = entry->style.dash,
                                .dash_scale = frame->line / 2.5};
    double middle = y - 0.35 * size;
    svg_line(out, left, middle, left + swatch(frame), middle, &stroke);
    if (!others)
        mark_point(out, left + swatch(frame) / 2, middle,
                   &(struct mark){.shape = entry->style.shape,
                                  .colour = entry->style.colour,
                                  .radius = frame->mark});
    struct svg_type type = {.class = others ? "quiet" : "ink",
                            .colour = others ? QUIET : INK,
                            .size = size,
                            .bold = !others};
    svg_text_short(out, text_left, y, name, entry->name.bytes, &type);
    type.bold = false;
    if (entry->value.length != 0)
        svg_text_fit(out, text_left, y + 1.15 * size, entry->value.bytes, right - text_left, &type);
    text_add(out, "</g>\n");
}

/* Lines of the key: a name, and a value beneath it where there is one. */
static double lines_of(const struct key_entry *entries, size_t count)
{
    double lines = 0;
    for (size_t i = 0; i < count; i++)
        lines += entries[i].value.length != 0 ? 2 : 1;
    return lines;
}

/* In heights of type, from entry to entry: what looks well, and what just holds. */
#define LINE       1.15
#define LOOSE_GAP  0.7
#define NARROW_GAP 0.25

void key_add(struct frame *frame, const struct box *box, double top,
             const struct key_entry *entries, size_t count)
{
    double lines = lines_of(entries, count), size = frame->body;
    double entry_gap = LOOSE_GAP, from = top, room = box->bottom - top;
    if ((lines * LINE + (double)count * entry_gap) * size > room) {
        from = box->top;
        room = box->bottom - box->top;
    }
    double narrow = lines * LINE + (double)count * NARROW_GAP;
    size = fmin(size, room / fmax(narrow, 1));
    if (count != 0)
        entry_gap = fmin(LOOSE_GAP, (room / size - lines * LINE) / (double)count);
    double y = from + 0.85 * size, left = box->left + gap(frame), right = box->right + 1;
    const char **names = xcalloc(count + 1, sizeof *names);
    for (size_t i = 0; i < count; i++)
        names[i] = entries[i].name.bytes;
    struct text *forms = lettering_names(names, count, size, true, right - name_left(frame, left));
    for (size_t i = 0; i < count; i++) {
        add_entry(frame, &entries[i], forms[i].bytes, left, y, right, size);
        y += (LINE * (entries[i].value.length != 0 ? 2 : 1) + entry_gap) * size;
    }
    lettering_free(forms, count);
    free(names);
}

void key_free(struct key_entry *entries, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        text_free(&entries[i].name);
        text_free(&entries[i].value);
    }
    free(entries);
}
