/* Models and cells. */
#include "bench_day.h"

static void test_a_model_is_added_once(void **state)
{
    struct logbook *logbook = memory_logbook();
    struct model_record model = {.name = "Kestrel 2000",
                                 .size = "AA",
                                 .chemistry = "NiMH",
                                 .rated_charge = 7200,
                                 .price = NAN};
    int64_t id;

    (void)state;
    must(logbook_begin(logbook, &error));
    must(logbook_add_model(logbook, &model, &error));
    id = model.id;
    assert_true(id > 0);
    model.id = 0;
    must(logbook_add_model(logbook, &model, &error));
    assert_int_equal(model.id, id);

    model.rated_charge = 7560;
    refused(ERROR_FAILED, logbook_add_model(logbook, &model, &error));
    model.rated_charge = 7200;
    string_copy(model.chemistry, sizeof(model.chemistry), "NiCd");
    refused(ERROR_FAILED, logbook_add_model(logbook, &model, &error));
    string_copy(model.chemistry, sizeof(model.chemistry), "NiMH");
    model.price = 2.5;
    refused(ERROR_FAILED, logbook_add_model(logbook, &model, &error));
    string_copy(model.name, sizeof(model.name), "KESTREL 2000");
    refused(ERROR_FAILED, logbook_add_model(logbook, &model, &error));
    model.name[0] = '\0';
    refused(ERROR_USAGE, logbook_add_model(logbook, &model, &error));
    string_copy(model.name, sizeof(model.name), "Plover 800");
    model.rated_charge = 0;
    refused(ERROR_USAGE, logbook_add_model(logbook, &model, &error));
    must(logbook_commit(logbook, &error));
    assert_int_equal(ask(logbook, "SELECT count(*) FROM model"), 1);
    close_sound(logbook);
}

static void test_a_cell_comes_back_as_it_went_in(void **state)
{
    struct logbook *logbook = memory_logbook();
    struct cell_record cell;
    int64_t id;

    (void)state;
    must(logbook_begin(logbook, &error));
    id = add_cell(logbook, "KES-07");
    must(logbook_commit(logbook, &error));
    must(logbook_cell(logbook, "KES-07", &cell, &error));
    assert_int_equal(cell.id, id);
    assert_string_equal(cell.label, "KES-07");
    assert_int_equal(cell.enrolled_at, DAY_ONE);
    assert_int_equal(cell.busy_run, 0);
    assert_string_equal(cell.model.name, "Kestrel 2000");
    assert_string_equal(cell.model.maker, "Kestrel");
    assert_string_equal(cell.model.size, "AA");
    assert_string_equal(cell.model.chemistry, "NiMH");
    assert_true(cell.model.rated_charge == 7200);
    assert_true(cell.model.price == 2.5);
    assert_string_equal(cell.model.currency, "EUR");
    must(logbook_cell(logbook, "kes-07", &cell, &error));
    assert_string_equal(cell.label, "KES-07");
    close_sound(logbook);
}

static void test_a_label_belongs_to_one_cell(void **state)
{
    struct logbook *logbook = memory_logbook();
    int64_t id;

    (void)state;
    must(logbook_begin(logbook, &error));
    add_cell(logbook, "KES-07");
    refused(ERROR_FAILED, logbook_add_cell(logbook, "KES-07", 1, DAY_ONE, &id, &error));
    refused(ERROR_FAILED, logbook_add_cell(logbook, "kes-07", 1, DAY_ONE, &id, &error));
    refused(ERROR_INTERNAL, logbook_add_cell(logbook, "KES-08", 99, DAY_ONE, &id, &error));
    must(logbook_commit(logbook, &error));
    assert_int_equal(ask(logbook, "SELECT count(*) FROM cell"), 1);
    close_sound(logbook);
}

static void test_labels(void **state)
{
    static const char *const good[] = {
        "A", "KES-07", "a_b.c-9", "7",
        "123456789012345678901234567890123456789012345678901234567890"
        "123"};
    static const char *const bad[] = {"",
                                      " ",
                                      "KES 07",
                                      "KES/07",
                                      "K\xC3\x89S",
                                      "a'b",
                                      "12345678901234567890123456789012345678901234567890123456789"
                                      "01234"};
    struct logbook *logbook = memory_logbook();
    int64_t id;

    (void)state;
    must(logbook_begin(logbook, &error));
    add_cell(logbook, "KES-01");
    for (size_t i = 0; i < sizeof(good) / sizeof(good[0]); i++)
        must(logbook_add_cell(logbook, good[i], 1, DAY_ONE, &id, &error));
    for (size_t i = 0; i < sizeof(bad) / sizeof(bad[0]); i++) {
        assert_int_equal(logbook_add_cell(logbook, bad[i], 1, DAY_ONE, &id, &error), ERROR_USAGE);
        assert_int_equal(id, 0);
    }
    must(logbook_commit(logbook, &error));
    close_sound(logbook);
}

static void test_the_nearest_label_is_offered(void **state)
{
    static const struct {
        const char *asked, *offered; /* NULL: none is near */
    } cases[] = {
        {"KES-70", "KES-07"}, {"KES07", "KES-07"}, {"kes-8", "KES-08"},
        {"PLO1", "PLO-01"},   {"XYZ", NULL},       {"completely-different", NULL},
    };
    struct logbook *logbook = memory_logbook();
    struct cell_record cell;

    (void)state;
    must(logbook_begin(logbook, &error));
    add_cell(logbook, "KES-07");
    add_cell(logbook, "KES-08");
    add_cell(logbook, "PLO-01");
    must(logbook_commit(logbook, &error));
    for (size_t i = 0; i < sizeof(cases) / sizeof(cases[0]); i++) {
        assert_int_equal(logbook_cell(logbook, cases[i].asked, &cell, &error), ERROR_FAILED);
        if (cases[i].offered != NULL)
            assert_non_null(strstr(error.todo, cases[i].offered));
        else
            assert_non_null(strstr(error.todo, "perdure cells"));
    }
    close_sound(logbook);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_a_model_is_added_once),
        cmocka_unit_test(test_a_cell_comes_back_as_it_went_in),
        cmocka_unit_test(test_a_label_belongs_to_one_cell),
        cmocka_unit_test(test_labels),
        cmocka_unit_test(test_the_nearest_label_is_offered),
    };

    return cmocka_run_group_tests_name("cells", tests, NULL, NULL);
}
