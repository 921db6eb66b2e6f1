/* SVG elements: numbers, escapes, lines, rectangles, text. */
#include "report/svg.h"

#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "report/lettering.h"

void svg_decimals(struct text *out, double value, int decimals)
{
    if (isnan(value))
        value = 0;
    value = fmax(-1e7, fmin(1e7, value));
    long long power = 1;
    for (int i = 0; i < decimals; i++)
        power *= 10;
    long long scaled = llround(value * (double)power);
    if (scaled < 0)
        text_add(out, "-");
    scaled = scaled < 0 ? -scaled : scaled;
    text_addf(out, "%lld", scaled / power);
    long long rest = scaled % power;
    if (rest == 0)
        return;
    while (rest % 10 == 0) {
        rest /= 10;
        decimals--;
    }
    text_addf(out, ".%0*lld", decimals, rest);
}

void svg_number(struct text *out, double value)
{
    svg_decimals(out, value, 2);
}

static bool needs_isolation(const char *string)
{
    uint32_t code;
    for (size_t left = strlen(string), bytes; left != 0; left -= bytes, string += bytes) {
        bytes = letter_next(string, left, &code);
        if (letter_right_to_left(code) || (code >= 0x202a && code <= 0x202e) ||
            (code >= 0x2066 && code <= 0x2069))
            return true;
    }
    return false;
}

/* Direction marks of the text's own are left out: an unclosed one would reach past its end. */
static bool is_direction_mark(uint32_t code)
{
    return (code >= 0x202a && code <= 0x202e) || (code >= 0x2066 && code <= 0x2069);
}

void svg_escaped(struct text *out, const char *string)
{
    bool isolated = needs_isolation(string);
    if (isolated)
        text_add(out, "\xe2\x81\xa8"); /* U+2068, first strong isolate */
    uint32_t code;
    for (size_t left = strlen(string), bytes; left != 0; left -= bytes, string += bytes) {
        bytes = letter_next(string, left, &code);
        if (code == '&')
            text_add(out, "&amp;");
        else if (code == '<')
            text_add(out, "&lt;");
        else if (code == '>')
            text_add(out, "&gt;");
        else if (code == '"')
            text_add(out, "&quot;");
        else if (code < 0x20 || code == 0x7f)
            text_add(out, " ");
        else if (code == LETTER_BAD || code == 0xfffe || code == 0xffff) /* no XML characters */
            text_add(out, "\xef\xbf\xbd");
        else if (!is_direction_mark(code))
            text_add_bytes(out, string, bytes);
    }
    if (isolated)
        text_add(out, "\xe2\x81\xa9"); /* U+2069, end of it */
}

void svg_attribute(struct text *out, const char *name, double value)
{
    text_addf(out, " %s=\"", name);
    svg_number(out, value);
    text_add(out, "\"");
}

void svg_attribute_text(struct text *out, const char *name, const char *value)
{
    text_addf(out, " %s=\"", name);
    svg_escaped(out, value);
    text_add(out, "\"");
}

void svg_title(struct text *out, const char *string)
{
    text_add(out, "<title>");
    svg_escaped(out, string);
    text_add(out, "</title>");
}

static void add_dash(struct text *out, const char *dash, double scale)
{
    text_add(out, " stroke-dasharray=\"");
    for (char *end; *dash != '\0'; dash = end) {
        double length = strtod(dash, &end);
        if (end == dash)
            break;
        svg_number(out, length * scale);
        if (*end != '\0')
            text_add(out, " ");
    }
    text_add(out, "\"");
}

void svg_stroke(struct text *out, const struct svg_stroke *stroke)
{
    if (stroke->class != NULL)
        svg_attribute_text(out, "class", stroke->class);
    svg_attribute_text(out, "stroke", stroke->colour);
    svg_attribute(out, "stroke-width", stroke->width);
    if (stroke->dash != NULL)
        add_dash(out, stroke->dash, stroke->dash_scale > 0 ? stroke->dash_scale : 1);
    if (stroke->opacity > 0 && stroke->opacity < 1)
        svg_attribute(out, "stroke-opacity", stroke->opacity);
}

void svg_line(struct text *out, double x1, double y1, double x2, double y2,
              const struct svg_stroke *stroke)
{
    text_add(out, "<line");
    svg_attribute(out, "x1", x1);
    svg_attribute(out, "y1", y1);
    svg_attribute(out, "x2", x2);
    svg_attribute(out, "y2", y2);
    svg_stroke(out, stroke);
    text_add(out, "/>\n");
}

void svg_rect(struct text *out, double x, double y, double width, double height, const char *class,
              const char *fill)
{
    text_add(out, "<rect");
    svg_attribute(out, "x", x);
    svg_attribute(out, "y", y);
    svg_attribute(out, "width", fmax(0, width));
    svg_attribute(out, "height", fmax(0, height));
    if (class != NULL)
        svg_attribute_text(out, "class", class);
    svg_attribute_text(out, "fill", fill);
    text_add(out, "/>\n");
}

static void open_text(struct text *out, double x, double y, const struct svg_type *type)
{
    static const char *const anchors[] = {NULL, "middle", "end"};
    text_add(out, "<text");
    svg_attribute(out, "x", x);
    svg_attribute(out, "y", y);
    if (type->class != NULL)
        svg_attribute_text(out, "class", type->class);
    svg_attribute(out, "font-size", type->size);
    if (type->bold)
        text_add(out, " font-weight=\"bold\"");
    if (anchors[type->anchor] != NULL)
        svg_attribute_text(out, "text-anchor", anchors[type->anchor]);
    svg_attribute_text(out, "fill", type->colour);
    text_add(out, ">");
}

void svg_text(struct text *out, double x, double y, const char *string, const struct svg_type *type)
{
    open_text(out, x, y, type);
    svg_escaped(out, string);
    text_add(out, "</text>\n");
}

void svg_text_fit(struct text *out, double x, double y, const char *string, double room,
                  const struct svg_type *type)
{
    struct text cut = TEXT_EMPTY;
    lettering_fit(&cut, string, type->size, type->bold, room);
    svg_text_short(out, x, y, cut.bytes, string, type);
    text_free(&cut);
}

void svg_text_short(struct text *out, double x, double y, const char *shown, const char *string,
                    const struct svg_type *type)
{
    open_text(out, x, y, type);
    svg_escaped(out, shown);
    if (strcmp(shown, string) != 0)
        svg_title(out, string);
    text_add(out, "</text>\n");
}
