/* Draws SVG with librsvg on cairo's surfaces. */
#include "report/picture.h"

#include <cairo-pdf.h>
#include <cairo.h>
#include <librsvg/rsvg.h>
#include <math.h>

#define DPI      96.0 /* what CSS calls an inch of pixels */
#define MAX_SIDE 16384.0

#ifdef __SANITIZE_ADDRESS__
/* The font libraries keep their caches until the end (they do not grow: 200 pictures in a row were
 * drawn in the memory of 40). The leak checker looks for these functions by name. */
const char *__lsan_default_suppressions(void);
const char *__lsan_default_options(void);
const char *__lsan_default_suppressions(void)
{
    return "leak:libfontconfig\n";
}
const char *__lsan_default_options(void)
{
    return "print_suppressions=0";
}
#endif

static int fault(struct error *error, const char *why)
{
    return error_set(error, ERROR_INTERNAL, "picture", "keep the input and report this", "%s", why);
}

static RsvgHandle *read_svg(const struct text *svg, double *width, double *height,
                            struct error *error)
{
    GError *reason = NULL;
    RsvgHandle *handle = rsvg_handle_new_from_data(
        (const guint8 *)(svg->bytes != NULL ? svg->bytes : ""), svg->length, &reason);
    if (handle == NULL) {
        fault(error, reason != NULL ? reason->message : "the SVG cannot be read");
        g_clear_error(&reason);
        return NULL;
    }
    rsvg_handle_set_dpi(handle, DPI);
    if (!rsvg_handle_get_intrinsic_size_in_pixels(handle, width, height) || !(*width > 0) ||
        !(*height > 0)) {
        fault(error, "the SVG has no size");
        g_object_unref(handle);
        return NULL;
    }
    return handle;
}

static int draw(cairo_t *cairo, RsvgHandle *handle, double width, double height,
                struct error *error)
{
    const RsvgRectangle whole = {0, 0, width, height};
    GError *reason = NULL;
    if (!rsvg_handle_render_document(handle, cairo, &whole, &reason)) {
        int status = fault(error, reason != NULL ? reason->message : "the SVG cannot be drawn");
        g_clear_error(&reason);
        return status;
    }
    return 0;
}

static cairo_status_t collect(void *closure, const unsigned char *bytes, unsigned int length)
{
    text_add_bytes(closure, (const char *)bytes, length);
    return CAIRO_STATUS_SUCCESS;
}

int picture_png(struct text *out, const struct text *svg, double scale, struct error *error)
{
    double width, height;
    RsvgHandle *handle = read_svg(svg, &width, &height, error);
    if (handle == NULL)
        return ERROR_INTERNAL;
    width = ceil(width * scale);
    height = ceil(height * scale);
    if (!(width >= 1 && height >= 1 && width <= MAX_SIDE && height <= MAX_SIDE)) {
        g_object_unref(handle);
        return error_set(error, ERROR_USAGE, "picture", "take another scale",
                         "%.0f by %.0f pixels is not between 1 and %.0f a side", width, height,
                         MAX_SIDE);
    }
    cairo_surface_t *surface =
        cairo_image_surface_create(CAIRO_FORMAT_RGB24, (int)width, (int)height);
    cairo_t *cairo = cairo_create(surface);
    cairo_set_source_rgb(cairo, 1, 1, 1);
    cairo_paint(cairo);
    int status = draw(cairo, handle, width, height, error);
    cairo_destroy(cairo);
    size_t before = out->length;
    if (status == 0 && cairo_surface_write_to_png_stream(surface, collect, out) != 0)
        status = fault(error, cairo_status_to_string(cairo_surface_status(surface)));
    if (status != 0)
        out->length = before;
    cairo_surface_destroy(surface);
    g_object_unref(handle);
    return status;
}

int picture_pdf(struct text *out, const struct text *pages, size_t count, const char *title,
                utc_us made, struct error *error)
{
    size_t before = out->length;
    char when[40];
    cairo_surface_t *surface = cairo_pdf_surface_create_for_stream(collect, out, 1, 1);
    cairo_pdf_surface_set_metadata(surface, CAIRO_PDF_METADATA_TITLE, title);
    cairo_pdf_surface_set_metadata(surface, CAIRO_PDF_METADATA_CREATE_DATE,
                                   utc_format(made, when, sizeof when));
    cairo_t *cairo = cairo_create(surface);
    int status = 0;
    for (size_t i = 0; i < count && status == 0; i++) {
        double width, height;
        RsvgHandle *handle = read_svg(&pages[i], &width, &height, error);
        if (handle == NULL) {
            status = ERROR_INTERNAL;
            break;
        }
        width *= 72 / DPI;
        height *= 72 / DPI;
        cairo_pdf_surface_set_size(surface, width, height);
        status = draw(cairo, handle, width, height, error);
        cairo_show_page(cairo);
        g_object_unref(handle);
    }
    cairo_destroy(cairo);
    cairo_surface_finish(surface);
    if (status == 0 && cairo_surface_status(surface) != CAIRO_STATUS_SUCCESS)
        status = fault(error, cairo_status_to_string(cairo_surface_status(surface)));
    if (status != 0)
        out->length = before;
    cairo_surface_destroy(surface);
    return status;
}
