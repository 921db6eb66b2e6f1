/* A serial line through the real libserialport: against a pseudo-terminal, with what that lacks put
 * in by serial_shim.c. */
#include <libserialport.h>
#include <sys/ioctl.h>

#include "rig.h"
#include "serial_shim.h"

static void hear_plain(struct far *far, const char *line)
{
    if (strcmp(line, "SLOW?") == 0)
        far_say_later(far, 600, "9.99\n");
    else
        far_say(far, strcmp(line, "NAME?") == 0 ? "NAME\n" : "1.25\n");
}

static void begin(struct rig *rig)
{
    rig_begin(rig);
    memset(&serial_shim, 0, sizeof serial_shim);
    rig->spec.kind = LINK_SERIAL;
    rig->spec.path = rig_path("pty");
    far_begin_pty(rig, rig->spec.path);
    rig->far.hear = hear_plain;
}

static void begin_up(struct rig *rig)
{
    struct error error;
    begin(rig);
    assert_int_equal(rig_open(rig, "NAME?\n", &error), 0);
    rig_until(rig, rig->ups == 1 || rig->downs == 1, 2);
    if (rig->downs)
        fail_msg("%s: %s", rig->why.what, rig->why.why);
}

/* Were the shim not needed, it would test nothing: libserialport refuses a bare pseudo-terminal. */
static void test_bare_pseudo_terminal_is_refused(void **state)
{
    struct rig rig;
    struct error error;
    (void)state;
    begin(&rig);
    serial_shim.off = true;
    assert_int_equal(rig_open(&rig, NULL, &error), 0);
    rig_until(&rig, rig.downs == 1, 1);
    assert_non_null(strstr(rig.why.why, "looking for the port"));
    rig_end_all(&rig);
}

static void test_question_and_late_answer(void **state)
{
    struct rig rig;
    (void)state;
    begin_up(&rig);
    assert_true(serial_shim.looked_up > 0 && serial_shim.lines_read > 0 && serial_shim.flushed > 0);
    assert_answer(rig_hear(&rig, "U?\n"), "1.25");
    assert_int_equal(rig_hear(&rig, "SLOW?\n")->status, LINK_TIMEOUT);
    assert_answer(rig_hear(&rig, "U?\n"), "1.25");
    assert_int_equal(rig.downs, 0);
    rig_end_all(&rig);
}

/* What the line is set to, read back from the terminal itself. */
static void test_settings(void **state)
{
    struct rig rig;
    struct error error;
    struct termios settings;
    (void)state;
    begin(&rig);
    rig.spec.speed = 19200;
    rig.spec.bits = 7;
    rig.spec.parity = LINK_PARITY_EVEN;
    rig.spec.stop_bits = 2;
    rig.spec.flow = LINK_FLOW_XON_XOFF;
    assert_int_equal(rig_open(&rig, NULL, &error), 0);
    rig_until(&rig, rig.ups == 1, 2);
    assert_int_equal(tcgetattr(rig.far.fd, &settings), 0); /* both ends share them */
    assert_int_equal(cfgetospeed(&settings), B19200);
    assert_int_equal(cfgetispeed(&settings), B19200);
    assert_int_equal(serial_shim.framing, CS7 | PARENB);
    assert_true((settings.c_cflag & CSTOPB) != 0);
    assert_true((settings.c_iflag & (IXON | IXOFF)) == (IXON | IXOFF));
    assert_int_equal(settings.c_lflag & (ICANON | ECHO | ISIG), 0);
    assert_int_equal(settings.c_oflag & OPOST, 0);
    assert_int_equal(settings.c_cc[VMIN], 1);
    rig_end_all(&rig);
}

static void test_flushed_on_opening(void **state)
{
    struct rig rig;
    struct error error;
    (void)state;
    begin(&rig);
    far_say(&rig.far, "9.99\n");
    assert_int_equal(rig_open(&rig, NULL, &error), 0);
    rig_until(&rig, rig.ups == 1, 2);
    assert_answer(rig_hear(&rig, "U?\n"), "1.25");
    rig_end_all(&rig);
}

static void test_second_opener_is_refused_and_changes_nothing(void **state)
{
    struct rig rig, second;
    struct error error;
    struct termios settings;
    (void)state;
    begin_up(&rig);
    rig_begin(&second);
    second.spec.kind = LINK_SERIAL;
    second.spec.path = rig_path("pty");
    second.spec.speed = 1200;
    assert_int_equal(rig_open(&second, NULL, &error), 0);
    rig_until(&second, second.downs == 1, 1);
    assert_non_null(strstr(second.why.why, "in use"));
    assert_int_equal(tcgetattr(rig.far.fd, &settings), 0);
    assert_int_equal(cfgetospeed(&settings), B9600);
    rig_end(&second);
    assert_answer(rig_hear(&rig, "U?\n"), "1.25");
    rig_end_all(&rig);
}

/* Programs that do not ask flock are kept out by TIOCEXCL (the superuser is not: only the flag can
 * be looked at), and let in again afterwards. */
static void test_terminal_is_exclusive(void **state)
{
    struct rig rig;
    int flag = 0;
    (void)state;
    begin_up(&rig);
    int other = open(rig_path("pty"), O_RDWR | O_NOCTTY);
    if (geteuid() == 0) {
        assert_true(other >= 0);
        assert_int_equal(ioctl(other, TIOCGEXCL, &flag), 0);
        assert_int_equal(flag, 1);
        close(other);
    } else {
        assert_true(other < 0);
    }
    link_close(rig.link);
    rig_until(&rig, rig.closed == 1, 1);
    other = open(rig_path("pty"), O_RDWR | O_NOCTTY);
    assert_true(other >= 0);
    assert_int_equal(ioctl(other, TIOCGEXCL, &flag), 0);
    assert_int_equal(flag, 0);
    close(other);
    rig_end_all(&rig);
}

static void test_hang_up_and_return(void **state)
{
    struct rig rig;
    (void)state;
    begin_up(&rig);
    rig_ask(&rig, "SLOW?\n", LINK_LINE);
    rig_until(&rig, rig.far.lines == 1, 1);
    far_hang_up(&rig.far);
    rig_until(&rig, rig.answered == 1, 0.45);
    assert_int_equal(rig.answers[0].status, LINK_HANGUP);
    assert_string_equal(rig.order, "uda");
    /* Another program is given the number of the terminal that went, as when tests run at once. */
    int stranger = posix_openpt(O_RDWR | O_NOCTTY);
    assert_true(stranger >= 0 && grantpt(stranger) == 0 && unlockpt(stranger) == 0);
    rig_wait(&rig, 0.25);
    assert_int_equal(rig.ups, 1);
    far_forget(&rig.far);
    far_begin_pty(&rig, rig.spec.path);
    rig_until(&rig, rig.ups == 2, 2);
    close(stranger);
    assert_answer(rig_hear(&rig, "U?\n"), "1.25");
    rig_end_all(&rig);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_bare_pseudo_terminal_is_refused),
        cmocka_unit_test(test_question_and_late_answer),
        cmocka_unit_test(test_settings),
        cmocka_unit_test(test_flushed_on_opening),
        cmocka_unit_test(test_second_opener_is_refused_and_changes_nothing),
        cmocka_unit_test(test_terminal_is_exclusive),
        cmocka_unit_test(test_hang_up_and_return),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
