/* PNG and PDF drawn from SVG: sizes, pages, refusals. */
#include "report/cmocka_setup.h"

#include <cairo.h>

#include "report/lettering.h"
#include "report/picture.h"

static const char square[] = "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"40\" height=\"30\">"
                             "<rect width=\"20\" height=\"30\" fill=\"#FF0000\"/></svg>";

static struct text text_of(const char *string)
{
    struct text text = TEXT_EMPTY;
    text_add(&text, string);
    return text;
}

struct source {
    const char *bytes;
    size_t left;
};

static cairo_status_t give(void *closure, unsigned char *to, unsigned int length)
{
    struct source *source = closure;
    if (length > source->left)
        return CAIRO_STATUS_READ_ERROR;
    memcpy(to, source->bytes, length);
    source->bytes += length;
    source->left -= length;
    return CAIRO_STATUS_SUCCESS;
}

static uint32_t pixel(cairo_surface_t *surface, int x, int y)
{
    const unsigned char *data = cairo_image_surface_get_data(surface);
    uint32_t value;
    memcpy(&value, data + y * cairo_image_surface_get_stride(surface) + 4 * x, 4);
    return value & 0xffffff;
}

static void a_png_has_the_picture_in_it(void **state)
{
    (void)state;
    struct text svg = text_of(square), png = TEXT_EMPTY;
    assert_int_equal(picture_png(&png, &svg, 2.5, NULL), 0);
    struct source source = {png.bytes, png.length};
    cairo_surface_t *surface = cairo_image_surface_create_from_png_stream(give, &source);
    assert_int_equal(cairo_surface_status(surface), CAIRO_STATUS_SUCCESS);
    assert_int_equal(cairo_image_surface_get_width(surface), 100);
    assert_int_equal(cairo_image_surface_get_height(surface), 75);
    assert_int_equal(pixel(surface, 10, 40), 0xff0000);
    assert_int_equal(pixel(surface, 90, 40), 0xffffff); /* white where nothing was drawn */
    cairo_surface_destroy(surface);
    text_free(&svg);
    text_free(&png);
}

static void a_pdf_has_a_page_for_each_picture(void **state)
{
    (void)state;
    struct text pages[3];
    for (size_t i = 0; i < 3; i++)
        pages[i] = text_of(square);
    struct text pdf = TEXT_EMPTY;
    assert_int_equal(picture_pdf(&pdf, pages, 3, "Three", 0, NULL), 0);
    assert_memory_equal(pdf.bytes, "%PDF-", 5);
    size_t found = 0; /* page objects; "/Pages" is the list of them (ISO 32000) */
    for (size_t i = 0; i + 12 < pdf.length; i++)
        found += memcmp(pdf.bytes + i, "/Type /Page", 11) == 0 && pdf.bytes[i + 11] != 's';
    assert_int_equal(found, 3);
    for (size_t i = 0; i < 3; i++)
        text_free(&pages[i]);
    text_free(&pdf);
}

static void refuses(const char *string, double scale, int code)
{
    struct text svg = text_of(string), out = TEXT_EMPTY;
    struct error error;
    error_clear(&error);
    text_add(&out, "before");
    assert_int_equal(picture_png(&out, &svg, scale, &error), code);
    assert_true(error.why[0] != '\0');
    assert_int_equal(out.length, 6);
    text_free(&svg);
    text_free(&out);
}

static void refuses_what_cannot_be_drawn(void **state)
{
    (void)state;
    refuses("", 1, ERROR_INTERNAL);
    refuses("<svg", 1, ERROR_INTERNAL);
    refuses("no picture", 1, ERROR_INTERNAL);
    refuses(square, 1000, ERROR_USAGE);
    refuses(square, 0, ERROR_USAGE);
    refuses(square, -1, ERROR_USAGE);
    struct text svg = text_of("<svg"), out = TEXT_EMPTY;
    struct error error;
    assert_int_equal(picture_pdf(&out, &svg, 1, "Bad", 0, &error), ERROR_INTERNAL);
    assert_int_equal(out.length, 0);
    text_free(&svg);
    text_free(&out);
}

/* The widths that texts are laid out by (lettering.h), against the font that draws them. */
static void widths_are_those_of_the_font(void **state)
{
    (void)state;
    cairo_surface_t *surface = cairo_image_surface_create(CAIRO_FORMAT_A8, 1, 1);
    cairo_t *cairo = cairo_create(surface);
    cairo_font_options_t *options = cairo_font_options_create();
    cairo_font_options_set_hint_metrics(options, CAIRO_HINT_METRICS_OFF);
    cairo_font_options_set_hint_style(options, CAIRO_HINT_STYLE_NONE);
    cairo_set_font_options(cairo, options);
    cairo_select_font_face(cairo, "Liberation Sans", CAIRO_FONT_SLANT_NORMAL,
                           CAIRO_FONT_WEIGHT_NORMAL);
    cairo_set_font_size(cairo, 1000);
    cairo_text_extents_t extents;
    cairo_text_extents(cairo, "W", &extents);
    bool installed = extents.x_advance > 943 && extents.x_advance < 945;
    int wrong = 0;
    for (char letter = ' '; letter <= '~' && installed; letter++) {
        char string[2] = {letter, '\0'};
        cairo_text_extents(cairo, string, &extents);
        double width = lettering_width(string, 1000, false);
        if (width < extents.x_advance - 1 || width > extents.x_advance + 1) {
            print_error("'%c' is %.1f wide, not %.1f\n", letter, extents.x_advance, width);
            wrong++;
        }
    }
    cairo_font_options_destroy(options);
    cairo_destroy(cairo);
    cairo_surface_destroy(surface);
    if (!installed) {
        print_message("skipped: Liberation Sans is not installed\n");
        skip();
    }
    assert_int_equal(wrong, 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_png_has_the_picture_in_it),
        cmocka_unit_test(a_pdf_has_a_page_for_each_picture),
        cmocka_unit_test(refuses_what_cannot_be_drawn),
        cmocka_unit_test(widths_are_those_of_the_font),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
