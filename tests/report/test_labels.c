/* Sheets of labels: how many, where, and whether another reader reads the codes back. */
#include "report/cmocka_setup.h"

#include <math.h>
#include <stdbool.h>
#include <unistd.h>

#include "report/labels.h"
#include "report/picture.h"

#define MADE (20000LL * 86400 * US_PER_S)

static struct cell_label *invented(size_t count)
{
    static struct cell_label labels[400];
    static char names[400][24];
    for (size_t i = 0; i < count; i++) {
        snprintf(names[i], sizeof names[i], "HER-%03zu", i + 1);
        labels[i] = (struct cell_label){names[i], "Heron 2000", "AA NiMH 2000 mAh"};
    }
    return labels;
}

/* A4 holds 5 columns of 36 mm in 210 and 6 rows of pi * 14.5 - 1.5 mm in 297; and so on. */
static void a_sheet_holds_what_its_paper_has_room_for(void **state)
{
    (void)state;
    static const struct {
        enum label_cell cell;
        enum label_paper paper;
        size_t room;
    } want[] = {{LABEL_AA, PAPER_A4, 30},
                {LABEL_AA, PAPER_LETTER, 25},
                {LABEL_AAA, PAPER_A4, 48},
                {LABEL_AAA, PAPER_LETTER, 42}};
    for (size_t i = 0; i < 4; i++) {
        struct label_sheet sheet = {want[i].cell, want[i].paper, NULL};
        size_t room = want[i].room;
        assert_int_equal(labels_per_page(&sheet), room);
        assert_int_equal(labels_pages(&sheet, 0), 1);
        assert_int_equal(labels_pages(&sheet, room), 1);
        assert_int_equal(labels_pages(&sheet, room + 1), 2);
        assert_int_equal(labels_pages(&sheet, 3 * room), 3);
    }
}

static void pages_break_after_a_full_sheet(void **state)
{
    (void)state;
    struct label_sheet sheet = {LABEL_AA, PAPER_A4, "Shelf <study>"};
    struct cell_label *labels = invented(67);
    static const size_t want[] = {30, 30, 7, 0};
    for (size_t page = 0; page < 4; page++) {
        struct text svg = TEXT_EMPTY;
        assert_int_equal(labels_svg(&svg, &sheet, labels, 67, page, NULL), 0);
        assert_int_equal(occurrences(svg.bytes, "<g class=\"label\">"), want[page]);
        assert_int_equal(occurrences(svg.bytes, "class=\"code\""), want[page]);
        /* each label's text in three bands */
        assert_int_equal(occurrences(svg.bytes, "font-weight=\"bold\" fill=\"#222222\">HER-"),
                         3 * want[page]);
        assert_int_equal(occurrences(svg.bytes, ">AA NiMH 2000 mAh</text>"), 2 * want[page]);
        assert_contains(svg.bytes, "width=\"210mm\" height=\"297mm\" viewBox=\"0 0 210 297\"");
        assert_contains(svg.bytes, "Shelf &lt;study&gt;");
        assert_contains(svg.bytes, "never cover a terminal or the vent");
        assert_lacks(svg.bytes, "nan");
        text_free(&svg);
    }
    struct text last = TEXT_EMPTY;
    assert_int_equal(labels_svg(&last, &sheet, labels, 67, 2, NULL), 0);
    assert_contains(last.bytes, ">HER-061<");
    assert_contains(last.bytes, ">HER-067<");
    assert_contains(last.bytes, "page 3 of 3");
    text_free(&last);
}

/* A label of 45.6 mm would go all round a cell of 14.5 mm; that of AAA is narrower still. */
static void labels_lie_on_the_paper_and_do_not_overlap(void **state)
{
    (void)state;
    for (int paper = PAPER_A4; paper <= PAPER_LETTER; paper++)
        for (int cell = LABEL_AA; cell <= LABEL_AAA; cell++) {
            struct label_sheet sheet = {(enum label_cell)cell, (enum label_paper)paper, NULL};
            struct text svg = TEXT_EMPTY;
            assert_int_equal(labels_svg(&svg, &sheet, invented(60), 60, 0, NULL), 0);
            double width = paper == PAPER_A4 ? 210 : 215.9,
                   height = paper == PAPER_A4 ? 297 : 279.4;
            double around = M_PI * (cell == LABEL_AA ? 14.5 : 10.5);
            double last_x = -1, last_y = -1;
            size_t codes = 0;
            const char *at = svg.bytes;
            while ((at = strstr(at, "translate(")) != NULL) {
                double x, y, module;
                assert_int_equal(sscanf(at, "translate(%lf %lf) scale(%lf)", &x, &y, &module), 3);
                assert_true(x - 4 * module >= 5 && y - around / 3 >= 5);
                assert_true(x + 25 * module <= width - 5);
                assert_true(y + 25 * module + around / 3 <= height - 14);
                if (codes++ > 0 && y - last_y < 1)
                    assert_true(x - last_x >= 29 && x - last_x <= 37);
                else if (codes > 1)
                    assert_true(y - last_y >= around - 2 && y - last_y < around);
                last_x = x;
                last_y = y;
                at++;
            }
            size_t room = labels_per_page(&sheet);
            assert_int_equal(codes, room < 60 ? room : 60);
            text_free(&svg);
        }
}

static void the_same_cells_give_the_same_bytes(void **state)
{
    (void)state;
    struct label_sheet sheet = {LABEL_AAA, PAPER_LETTER, "Twice"};
    struct text first = TEXT_EMPTY, second = TEXT_EMPTY;
    assert_int_equal(labels_svg(&first, &sheet, invented(9), 9, 0, NULL), 0);
    assert_int_equal(labels_svg(&second, &sheet, invented(9), 9, 0, NULL), 0);
    assert_string_equal(first.bytes, second.bytes);
    text_clear(&first);
    text_clear(&second);
    assert_int_equal(labels_pdf(&first, &sheet, invented(99), 99, MADE, NULL), 0);
    assert_int_equal(labels_pdf(&second, &sheet, invented(99), 99, MADE, NULL), 0);
    assert_int_equal(first.length, second.length);
    assert_memory_equal(first.bytes, second.bytes, first.length);
    assert_memory_equal(first.bytes, "%PDF-", 5);
    text_free(&first);
    text_free(&second);
}

static void squares_get_finer_with_longer_labels(void **state)
{
    (void)state;
    /* 21 squares for up to 10 characters with the strongest correction, 4 of quiet on each side
     * (ISO/IEC 18004, version 1-H, from memory), in a third of the way round */
    double band = (M_PI * 14.5 - 1.5) / 3;
    assert_true(fabs(label_module(LABEL_AA, "HER-007") - band / 29) < 1e-9);
    assert_true(label_module(LABEL_AAA, "HER-007") > LABEL_FINEST);
    char label[3001];
    memset(label, 'x', 3000);
    label[3000] = '\0';
    assert_true(label_module(LABEL_AAA, label) == 0);
    label[120] = '\0';
    double fine = label_module(LABEL_AAA, label);
    assert_true(fine > 0 && fine < LABEL_FINEST);
    assert_true(label_module(LABEL_AA, "") == 0);
}

static void refuses_labels_that_no_code_holds(void **state)
{
    (void)state;
    char label[3001];
    memset(label, 'x', 3000);
    label[3000] = '\0';
    const char *bad[] = {label, "", NULL};
    struct label_sheet sheet = {LABEL_AA, PAPER_A4, NULL};
    for (size_t i = 0; i < 3; i++) {
        struct cell_label cells[] = {{"HER-001", NULL, NULL}, {bad[i], NULL, NULL}};
        struct error error;
        error_clear(&error);
        struct text out = TEXT_EMPTY;
        assert_int_equal(labels_svg(&out, &sheet, cells, 2, 0, &error), ERROR_USAGE);
        assert_contains(error.why, "no QR code holds the label");
        assert_int_equal(labels_pdf(&out, &sheet, cells, 2, MADE, &error), ERROR_USAGE);
        assert_int_equal(out.length, 0);
        text_free(&out);
    }
}

static bool have_reader(void)
{
    return system("command -v zbarimg >/dev/null 2>&1") == 0;
}

/* What the reader finds on the page at 300 dots an inch, one code a line. */
static void read_codes(const struct text *svg, struct text *found)
{
    struct text png = TEXT_EMPTY;
    assert_int_equal(picture_png(&png, svg, 300.0 / 96, NULL), 0);
    char path[] = "/tmp/labels-XXXXXX", command[200];
    int file = mkstemp(path);
    assert_true(file >= 0);
    assert_int_equal(write(file, png.bytes, png.length), png.length);
    close(file);
    text_free(&png);
    snprintf(command, sizeof command,
             "zbarimg --raw -q -S*.disable -Sqrcode.enable png:%s 2>/dev/null", path);
    FILE *reader = popen(command, "r");
    assert_non_null(reader);
    char line[400];
    text_add(found, "");
    while (fgets(line, sizeof line, reader) != NULL)
        text_add(found, line);
    pclose(reader);
    unlink(path);
}

static void another_reader_reads_the_codes_back(void **state)
{
    (void)state;
    if (!have_reader()) {
        print_message("skipped: zbarimg (zbar-tools) is not installed\n");
        skip();
    }
    static const char *const texts[] = {"KES-07", "HER-008", "Zelle-\xc3\xbc-\xe7\x94\xb5-07",
                                        "lower case & <marks> \"quoted\"",
                                        "0123456789012345678901234567890"};
    for (int cell = LABEL_AA; cell <= LABEL_AAA; cell++)
        for (size_t i = 0; i < sizeof texts / sizeof *texts; i++) {
            struct label_sheet sheet = {(enum label_cell)cell, PAPER_A4, "Codes"};
            struct cell_label label = {texts[i], "Heron 2000", "AA NiMH 2000 mAh"};
            struct text svg = TEXT_EMPTY, found = TEXT_EMPTY, want = TEXT_EMPTY;
            assert_int_equal(labels_svg(&svg, &sheet, &label, 1, 0, NULL), 0);
            read_codes(&svg, &found);
            text_addf(&want, "%s\n", texts[i]);
            assert_string_equal(found.bytes, want.bytes);
            text_free(&svg);
            text_free(&found);
            text_free(&want);
        }
}

/* A reader may miss a code among thirty on one picture, as it does not on one cell; but what it
 * reads is right, and is most of them. */
static void another_reader_reads_a_full_sheet(void **state)
{
    (void)state;
    if (!have_reader()) {
        print_message("skipped: zbarimg (zbar-tools) is not installed\n");
        skip();
    }
    struct label_sheet sheet = {LABEL_AA, PAPER_A4, "Codes"};
    struct text svg = TEXT_EMPTY, found = TEXT_EMPTY;
    struct cell_label *labels = invented(30);
    assert_int_equal(labels_svg(&svg, &sheet, labels, 30, 0, NULL), 0);
    read_codes(&svg, &found);
    size_t right = 0;
    for (size_t i = 0; i < 30; i++)
        right += occurrences(found.bytes, labels[i].label);
    assert_int_equal(right, occurrences(found.bytes, "\n"));
    print_message("%zu of 30 codes read from one picture\n", right);
    assert_true(right >= 20);
    text_free(&svg);
    text_free(&found);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_sheet_holds_what_its_paper_has_room_for),
        cmocka_unit_test(pages_break_after_a_full_sheet),
        cmocka_unit_test(labels_lie_on_the_paper_and_do_not_overlap),
        cmocka_unit_test(the_same_cells_give_the_same_bytes),
        cmocka_unit_test(squares_get_finer_with_longer_labels),
        cmocka_unit_test(refuses_labels_that_no_code_holds),
        cmocka_unit_test(another_reader_reads_the_codes_back),
        cmocka_unit_test(another_reader_reads_a_full_sheet),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
