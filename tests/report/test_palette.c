/* The palette against the contrast rule of WCAG 2.1 and against simulated colour blindness. */
#include "report/cmocka_setup.h"

#include <math.h>
#include <stdbool.h>

#include "report/palette.h"

struct linear {
    double red, green, blue;
};

static double channel(const char *hex)
{
    char digits[3] = {hex[0], hex[1], '\0'};
    double value = (double)strtol(digits, NULL, 16) / 255;
    return value <= 0.04045 ? value / 12.92 : pow((value + 0.055) / 1.055, 2.4);
}

static struct linear linear_of(const char *colour)
{
    assert_int_equal(colour[0], '#');
    assert_int_equal(strlen(colour), 7);
    return (struct linear){channel(colour + 1), channel(colour + 3), channel(colour + 5)};
}

/* WCAG 2.1: relative luminance and contrast ratio. */
static double luminance(const char *colour)
{
    struct linear c = linear_of(colour);
    return 0.2126 * c.red + 0.7152 * c.green + 0.0722 * c.blue;
}

static double contrast(const char *a, const char *b)
{
    double la = luminance(a), lb = luminance(b);
    return (fmax(la, lb) + 0.05) / (fmin(la, lb) + 0.05);
}

static void the_contrast_formula_is_the_published_one(void **state)
{
    (void)state;
    assert_true(fabs(contrast("#000000", "#FFFFFF") - 21) < 1e-9); /* WCAG 2.1: 21:1 is the most */
    assert_true(fabs(contrast("#777777", "#FFFFFF") - 4.48) < 0.01); /* from memory */
}

/* 1.4.11: 3:1 for what one must see to understand; 1.4.3: 4.5:1 for text. */
static void contrasts_suffice_on_white_and_dark(void **state)
{
    (void)state;
    for (unsigned i = 0; i < PALETTE_STYLES; i++) {
        assert_true(contrast(series_style(i).colour, GROUND) >= 3);
        assert_true(contrast(series_style(i).colour, "#1B1B1B") >= 3);
    }
    assert_true(contrast(INK, GROUND) >= 7);
    assert_true(contrast(QUIET, GROUND) >= 4.5);
    assert_true(contrast(LIMIT, GROUND) >= 4.5);
    assert_true(contrast(OTHERS, GROUND) < 3); /* what is greyed out stays behind */
}

struct lab {
    double l, a, b;
};

static double lab_curve(double t)
{
    return t > 216.0 / 24389 ? cbrt(t) : (24389.0 / 27 * t + 16) / 116;
}

static double clamp(double value)
{
    return fmax(0, fmin(1, value));
}

static struct lab lab_of(struct linear c)
{
    double r = clamp(c.red), g = clamp(c.green), b = clamp(c.blue);
    double x = lab_curve((0.4124 * r + 0.3576 * g + 0.1805 * b) / 0.9505);
    double y = lab_curve(0.2126 * r + 0.7152 * g + 0.0722 * b);
    double z = lab_curve((0.0193 * r + 0.1192 * g + 0.9505 * b) / 1.089);
    return (struct lab){116 * y - 16, 500 * (x - y), 200 * (y - z)};
}

/* Full protanopia, deuteranopia and tritanopia: G. M. Machado, M. M. Oliveira, L. A. F. Fernandes,
 * IEEE Trans. Vis. Comput. Graph. 15, 2009; matrices from memory. The first is normal vision. */
static const double visions[4][9] = {
    {1, 0, 0, 0, 1, 0, 0, 0, 1},
    {0.152286, 1.052583, -0.204868, 0.114503, 0.786281, 0.099216, -0.003882, -0.048116, 1.051998},
    {0.367322, 0.860646, -0.227968, 0.280085, 0.672501, 0.047413, -0.011820, 0.042940, 0.968881},
    {1.255528, -0.076749, -0.178779, -0.078411, 0.930809, 0.147602, 0.004733, 0.691367, 0.303900}};

static struct lab seen(const char *colour, const double *m)
{
    struct linear c = linear_of(colour);
    return lab_of((struct linear){m[0] * c.red + m[1] * c.green + m[2] * c.blue,
                                  m[3] * c.red + m[4] * c.green + m[5] * c.blue,
                                  m[6] * c.red + m[7] * c.green + m[8] * c.blue});
}

/* A CIELAB distance of about 2.3 is just seen side by side (common practice, no source); 15 is
 * asked for between any two colours that stand apart on a page. */
static void colours_stay_apart_for_every_eye(void **state)
{
    (void)state;
    for (unsigned i = 0; i < PALETTE_STYLES; i++)
        for (unsigned j = i + 1; j < PALETTE_STYLES; j++)
            for (size_t v = 0; v < 4; v++) {
                struct lab a = seen(series_style(i).colour, visions[v]);
                struct lab b = seen(series_style(j).colour, visions[v]);
                double distance = sqrt((a.l - b.l) * (a.l - b.l) + (a.a - b.a) * (a.a - b.a) +
                                       (a.b - b.b) * (a.b - b.b));
                if (distance < 15) {
                    print_error("%u and %u are %.1f apart, vision %zu\n", i, j, distance, v);
                    fail();
                }
            }
}

static bool same(const char *a, const char *b)
{
    return a == b || (a != NULL && b != NULL && strcmp(a, b) == 0);
}

static void no_two_styles_rely_on_colour_alone(void **state)
{
    (void)state;
    for (unsigned i = 0; i < 36; i++)
        for (unsigned j = i + 1; j < 36; j++) {
            struct series_style a = series_style(i), b = series_style(j);
            if (i / PALETTE_STYLES == j / PALETTE_STYLES) {
                assert_false(same(a.colour, b.colour));
                assert_false(same(a.dash, b.dash));
                assert_true(a.shape != b.shape);
            }
            assert_false(same(a.colour, b.colour) && same(a.dash, b.dash) && a.shape == b.shape);
        }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_contrast_formula_is_the_published_one),
        cmocka_unit_test(contrasts_suffice_on_white_and_dark),
        cmocka_unit_test(colours_stay_apart_for_every_eye),
        cmocka_unit_test(no_two_styles_rely_on_colour_alone),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
