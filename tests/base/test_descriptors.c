/* The limit on open files: raised as far as it may be, and said when it is too low. */
#include "support/cmocka_setup.h"

#include <string.h>
#include <sys/resource.h>

#include "base/descriptors.h"

static void is_raised_to_what_is_allowed(void **state)
{
    struct rlimit limit, low;
    (void)state;
    assert_int_equal(getrlimit(RLIMIT_NOFILE, &limit), 0);
    low = limit;
    low.rlim_cur = 64;
    assert_int_equal(setrlimit(RLIMIT_NOFILE, &low), 0);
    assert_true(descriptors_raise() >= 64);
    assert_int_equal(getrlimit(RLIMIT_NOFILE, &low), 0);
    assert_true(low.rlim_cur == limit.rlim_max);
    assert_true(low.rlim_max == limit.rlim_max);
}

static void too_few_are_named(void **state)
{
    struct rlimit low = {128, 128};
    struct error error;
    (void)state;
    assert_int_equal(setrlimit(RLIMIT_NOFILE, &low), 0);
    assert_int_equal(descriptors_need(64, "bench.lua", &error), 0);
    assert_int_equal(descriptors_need(127, "bench.lua", &error), ERROR_BENCH);
    assert_string_equal(error.what, "bench.lua");
    assert_non_null(strstr(error.why, "127 more open files"));
    assert_non_null(strstr(error.why, "may have 128"));
    assert_non_null(strstr(error.todo, "LimitNOFILE="));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(is_raised_to_what_is_allowed),
        cmocka_unit_test(too_few_are_named), /* last: the limit stays low */
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
