/* The descriptor by which another process reaches the instrument when this one cannot. */
#include "rig.h"

static void hear_nothing(struct far *far, const char *line)
{
    (void)far;
    (void)line;
}

static void test_as_long_as_the_link_is_open(void **state)
{
    struct rig rig;
    struct error error;
    (void)state;
    rig_begin(&rig);
    rig.spec.path = rig_path("pty");
    rig.no_trust = true; /* a stranger, too, may be in need of its safe bytes */
    far_begin_pty(&rig, rig.spec.path);
    rig.far.hear = hear_nothing;
    assert_int_equal(rig_open(&rig, NULL, &error), 0);
    assert_int_equal(link_fd(rig.link), -1);
    rig_until(&rig, rig.ups == 1, 1);
    int duplicate = fcntl(link_fd(rig.link), F_DUPFD_CLOEXEC, 0);
    assert_true(duplicate >= 0);
    assert_int_equal(write(duplicate, "OUT OFF\n", 8), 8);
    rig_until(&rig, rig.far.lines == 1, 1);
    assert_memory_equal(rig.far.heard, "OUT OFF\n", 8);
    far_hang_up(&rig.far);
    rig_until(&rig, rig.downs == 1, 1);
    assert_int_equal(link_fd(rig.link), -1);
    close(duplicate);
    rig_end_all(&rig);
}

/* Of USBTMC the link polls a socket; bytes go to the device, for which a terminal stands here. */
static void test_usbtmc_is_the_device(void **state)
{
    struct rig rig;
    struct error error;
    (void)state;
    rig_begin(&rig);
    rig.spec.kind = LINK_USBTMC;
    rig.spec.path = rig_path("pty");
    rig.no_trust = true;
    far_begin_pty(&rig, rig.spec.path);
    rig.far.hear = hear_nothing;
    assert_int_equal(rig_open(&rig, NULL, &error), 0);
    rig_until(&rig, rig.ups == 1, 1);
    assert_true(isatty(link_fd(rig.link)));
    assert_int_equal(write(link_fd(rig.link), "OUT OFF\n", 8), 8);
    rig_until(&rig, rig.far.lines == 1, 1);
    assert_memory_equal(rig.far.heard, "OUT OFF\n", 8);
    rig_end_all(&rig);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_as_long_as_the_link_is_open),
        cmocka_unit_test(test_usbtmc_is_the_device),
    };
    return cmocka_run_group_tests_name("fd", tests, NULL, NULL);
}
