/* Every status says why and what to do, and becomes an error of one line. */
#include "support/cmocka_setup.h"

#include <string.h>

#include "analysis/status.h"

static void every_status_speaks(void **state)
{
    (void)state;
    for (int s = 0; s < ANALYSIS_STATUS_COUNT; s++) {
        assert_true(strlen(analysis_status_text((enum analysis_status)s)) > 3);
        assert_true(strlen(analysis_status_todo((enum analysis_status)s)) > 3);
        for (int other = 0; other < s; other++)
            assert_string_not_equal(analysis_status_text((enum analysis_status)s),
                                    analysis_status_text((enum analysis_status)other));
    }
}

static void becomes_an_error(void **state)
{
    (void)state;
    struct error error;
    error_clear(&error);
    assert_int_equal(analysis_error(ANALYSIS_OK, "model KES", &error), 0);
    assert_int_equal(error.code, ERROR_NONE);
    assert_int_equal(analysis_error(ANALYSIS_ONE_CELL, "model KES", &error), ERROR_FAILED);
    assert_string_equal(error.what, "model KES");
    assert_non_null(strstr(error.why, "one cell only"));
    assert_non_null(strstr(error.todo, "at least two cells"));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_status_speaks),
        cmocka_unit_test(becomes_an_error),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
