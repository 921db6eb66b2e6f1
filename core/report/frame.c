/* Lays out and writes what stands round a chart. */
#include "report/frame.h"

#include <ctype.h>
#include <math.h>

#include "report/lettering.h"
#include "report/palette.h"
#include "report/scale.h"

#define TITLE_LINES      3 /* where the height is fixed; else long names find room on more */
#define TITLE_LINES_MOST 7
#define CONDITIONS_LINES 2
#define FOOT_LINES       3
#define LEADING          1.25 /* from line to line, in heights of type */

#define THIRD (1.0 / 3)

static const struct preset {
    double width, height, title, body, small, line, mark, pixels, side;
    size_t most;
    bool grows;
} presets[] = {
    [CHART_REPORT] = {720, 460, 20, 15, 13, 2.5, 4.5, 1, THIRD, 12, true},
    [CHART_ARTICLE] = {1200, 675, 31, 21, 18, 3.5, 6.5, 1, THIRD, 8, false},
    [CHART_VIDEO] = {960, 540, 29, 21, 18, 4, 7, 2, THIRD, 6, false},
    [CHART_NARROW] = {360, 400, 17, 13, 12, 2, 4, 1, 0.42, 6, true},
};

static double pad_of(const struct frame *frame)
{
    return frame->body;
}

static bool has(const char *string)
{
    return string != NULL && string[0] != '\0';
}

static size_t count_lines(const char *string, double size, bool bold, double room)
{
    size_t lines = 0;
    for (size_t next; *string != '\0'; string += next, lines++)
        lettering_line(string, size, bold, room, &next);
    return lines;
}

/* The narrowest room that takes no more lines: a title then leaves no single word below. */
static double balanced(const char *string, const struct svg_type *type, double room)
{
    size_t lines = count_lines(string, type->size, type->bold, room);
    double narrow = room;
    while (narrow > room / 2 &&
           count_lines(string, type->size, type->bold, narrow - type->size) == lines)
        narrow -= type->size;
    return narrow;
}

/* A paragraph from `top`, on up to `most` lines; counts the lines, and writes them when `out` is
 * not NULL. */
static size_t paragraph(const struct frame *frame, struct text *out, const char *string, double top,
                        size_t most, const struct svg_type *type)
{
    if (!has(string))
        return 0;
    double left = pad_of(frame), room = frame->width - 2 * left;
    size_t lines = 0;
    double whole = room;
    if (type->bold)
        room = balanced(string, type, room);
    while (*string != '\0' && lines < most) {
        size_t next, bytes = lettering_line(string, type->size, type->bold, room, &next);
        double baseline = top + ((double)lines * LEADING + 0.9) * type->size;
        lines++;
        if (out != NULL && lines == most)
            svg_text_fit(out, left, baseline, string, whole, type);
        else if (out != NULL) {
            struct text line = TEXT_EMPTY;
            text_add_bytes(&line, string, bytes);
            svg_text(out, left, baseline, line.bytes, type);
            text_free(&line);
        }
        string += next;
    }
    return lines;
}

struct svg_type frame_ink(const struct frame *frame)
{
    return (struct svg_type){.class = "ink", .colour = INK, .size = frame->small};
}

struct svg_type frame_quiet(const struct frame *frame)
{
    return (struct svg_type){.class = "quiet", .colour = QUIET, .size = frame->small};
}

/* Title and conditions at the head: writes them when `out` is not NULL; gives where they end. */
static double add_head(const struct frame *frame, struct text *out)
{
    struct svg_type title = {.class = "ink", .colour = INK, .size = frame->title, .bold = true};
    struct svg_type conditions = {.class = "quiet", .colour = QUIET, .size = frame->body};
    double at = pad_of(frame) * 0.8;
    size_t lines = paragraph(frame, out, frame->head->title, at,
                             frame->grows ? TITLE_LINES_MOST : TITLE_LINES, &title);
    at += (double)lines * LEADING * title.size + (lines != 0 ? 0.25 * frame->body : 0);
    lines = paragraph(frame, out, frame->head->conditions, at, CONDITIONS_LINES, &conditions);
    return at + (double)lines * LEADING * conditions.size + 0.6 * frame->body;
}

static void foot_text(const struct frame *frame, struct text *text)
{
    text_add(text, has(frame->aid) ? frame->aid : "");
    if (has(frame->aid) && has(frame->head->note))
        text_add(text, " ");
    text_add(text, has(frame->head->note) ? frame->head->note : "");
}

/* Writes the foot when `out` is not NULL; gives its height. */
static double add_foot(const struct frame *frame, struct text *out)
{
    struct svg_type type = frame_quiet(frame);
    struct text text = TEXT_EMPTY;
    foot_text(frame, &text);
    size_t lines = paragraph(frame, NULL, text.bytes, 0, FOOT_LINES, &type);
    double height = (double)lines * LEADING * type.size + 0.6 * frame->body;
    if (out != NULL)
        paragraph(frame, out, text.bytes, frame->height - height, FOOT_LINES, &type);
    text_free(&text);
    return height + 0.4 * frame->body;
}

void frame_plan(struct frame *frame, const struct chart_head *head, const char *aid, double content)
{
    const struct preset *preset = &presets[head->preset];
    *frame = (struct frame){.head = head,
                            .aid = aid,
                            .width = preset->width,
                            .height = preset->height,
                            .title = preset->title,
                            .body = preset->body,
                            .small = preset->small,
                            .line = preset->line,
                            .mark = preset->mark,
                            .most = preset->most,
                            .side = preset->side,
                            .grows = preset->grows};
    double top = add_head(frame, NULL), foot = add_foot(frame, NULL);
    if (preset->grows && content > 0)
        frame->height = ceil(top + content + foot);
    else if (preset->grows) /* a long title takes nothing from the chart */
        frame->height = ceil(fmax(frame->height, top + 330 + foot));
    frame->room =
        (struct box){pad_of(frame), top, frame->width - pad_of(frame), frame->height - foot};
}

/* The id with nothing in it that an id may not hold. */
static void add_id(struct text *out, const char *id)
{
    size_t before = out->length;
    for (; id != NULL && *id != '\0'; id++)
        if (isalnum((unsigned char)*id) || *id == '-')
            text_add_bytes(out, id, 1);
    if (out->length == before || !isalpha((unsigned char)out->bytes[before])) {
        out->length = before;
        text_add(out, "chart");
    }
}

void frame_open(struct frame *frame, struct text *out, const char *description)
{
    frame->out = out;
    const struct chart_head *head = frame->head;
    double pixels = presets[head->preset].pixels;
    text_add(out, "<svg xmlns=\"http://www.w3.org/2000/svg\"");
    svg_attribute(out, "width", frame->width * pixels);
    svg_attribute(out, "height", frame->height * pixels);
    text_add(out, " viewBox=\"0 0 ");
    svg_number(out, frame->width);
    text_add(out, " ");
    svg_number(out, frame->height);
    text_addf(out, "\" font-family=\"%s\" role=\"img\" aria-labelledby=\"", SVG_FONTS);
    add_id(out, head->id);
    text_add(out, "-title ");
    add_id(out, head->id);
    text_add(out, "-desc\">\n<title id=\"");
    add_id(out, head->id);
    text_add(out, "-title\">");
    svg_escaped(out, has(head->title) ? head->title : "Chart");
    text_add(out, "</title>\n<desc id=\"");
    add_id(out, head->id);
    text_add(out, "-desc\">");
    svg_escaped(out, has(head->description) ? head->description : description);
    text_add(out, "</desc>\n");
    svg_rect(out, 0, 0, frame->width, frame->height, "ground", GROUND);
    add_head(frame, out);
}

void frame_close(struct frame *frame)
{
    add_foot(frame, frame->out);
    text_add(frame->out, "</svg>\n");
}

static void add_scale(struct text *out, const char *name, const struct scale *scale)
{
    char low[40], high[40];
    text_addf(out, " %s=\"%s %s ", name, number_format(scale->low, low, sizeof low),
              number_format(scale->high, high, sizeof high));
    svg_number(out, scale->from);
    text_add(out, " ");
    svg_number(out, scale->to);
    text_add(out, "\"");
}

void frame_open_plot(struct frame *frame, const struct box *box, const struct scale *x,
                     const struct scale *y, double spill, size_t number)
{
    struct text *out = frame->out;
    struct text id = TEXT_EMPTY;
    add_id(&id, frame->head->id);
    text_addf(out, "<clipPath id=\"%s-clip-%zu\">", id.bytes, number);
    svg_rect(out, box->left - spill, box->top - spill, box->right - box->left + 2 * spill,
             box->bottom - box->top + 2 * spill, NULL, "none");
    text_addf(out, "</clipPath>\n<g class=\"plot\" clip-path=\"url(#%s-clip-%zu)\"", id.bytes,
              number);
    text_free(&id);
    add_scale(out, "data-x", x);
    add_scale(out, "data-y", y);
    text_add(out, ">\n");
}

void frame_close_plot(struct frame *frame)
{
    text_add(frame->out, "</g>\n");
}

void frame_say(struct frame *frame, const struct box *box, const char *message)
{
    struct svg_type type = frame_quiet(frame);
    type.size = frame->body;
    type.anchor = SVG_MIDDLE;
    svg_text(frame->out, (box->left + box->right) / 2, (box->top + box->bottom) / 2, message,
             &type);
}
