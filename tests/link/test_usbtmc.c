/* USBTMC: a pseudo-terminal stands in for /dev/usbtmcN, bare or with usbtmc_shim.c over it. No real
 * device was at hand: what is tested is this side of the driver. */
#include "rig.h"
#include "usbtmc_shim.h"

/* Answers in order, as instruments do: what is asked while it is slow is answered after that. */
static void hear_plain(struct far *far, const char *line)
{
    const char *answer = strcmp(line, "NAME?") == 0 ? "NAME\n" : "1.25\n";
    if (strcmp(line, "SLOW?") == 0)
        far_say_later(far, 600, "9.99\n");
    else if (strcmp(line, "BLOCK?") == 0)
        far_say(far, "#15a\nb\nc\n");
    else if (strchr(line, '?') != NULL && uv_is_active((uv_handle_t *)&far->timer))
        strcat(far->later, answer);
    else if (strchr(line, '?') != NULL)
        far_say(far, answer);
}

static void begin_up(struct rig *rig, bool bare)
{
    struct error error;
    struct termios settings;
    rig_begin(rig);
    usbtmc_shim.off = bare;
    usbtmc_shim.device = -1;
    usbtmc_shim.clears = usbtmc_shim.reads = usbtmc_shim.time_outs = 0;
    rig->spec.kind = LINK_USBTMC;
    rig->spec.path = rig_path("pty");
    rig->spec.line_most = 20000;
    far_begin_pty(rig, rig->spec.path);
    rig->far.hear = hear_plain;
    int fd = open(rig->spec.path, O_RDWR | O_NOCTTY); /* as raw as a device that is no terminal */
    assert_int_equal(tcgetattr(fd, &settings), 0);
    cfmakeraw(&settings);
    assert_int_equal(tcsetattr(fd, TCSANOW, &settings), 0);
    close(fd);
    assert_int_equal(rig_open(rig, "NAME?\n", &error), 0);
    rig_until(rig, rig->ups == 1 || rig->downs == 1, 2);
    if (rig->downs)
        fail_msg("%s: %s", rig->why.what, rig->why.why);
}

static void test_question(void **state)
{
    for (int bare = 0; bare < 2; bare++) {
        struct rig rig;
        (void)state;
        begin_up(&rig, bare);
        assert_answer(rig_hear(&rig, "U?\n"), "1.25");
        rig_ask(&rig, "I 0.5\n", LINK_NONE);
        rig_ask(&rig, "U?\n", LINK_LINE);
        rig_until(&rig, rig.answered == 3, 1);
        assert_answer(&rig.answers[2], "1.25");
        assert_string_equal(rig.far.heard, "U?\nI 0.5\nU?\n");
        rig_end_all(&rig);
    }
}

/* A read where no answer is due would leave the instrument with an error. */
static void test_nothing_is_read_unasked(void **state)
{
    struct rig rig;
    struct error error;
    (void)state;
    begin_up(&rig, false);
    assert_int_equal(usbtmc_shim.reads, 0);
    assert_int_equal(usbtmc_shim.clears, 1);
    rig_ask(&rig, "I 0.5\n", LINK_NONE);
    assert_int_equal(link_send_now(rig.link, "OUT OFF\n", 8, NULL, &error), 0);
    rig_until(&rig, rig.far.lines == 2, 1);
    rig_wait(&rig, 0.05);
    assert_int_equal(usbtmc_shim.reads, 0);
    assert_answer(rig_hear(&rig, "U?\n"), "1.25");
    assert_int_equal(usbtmc_shim.reads, 1);
    rig_end_all(&rig);
}

static void test_late_answer(void **state)
{
    for (int bare = 0; bare < 2; bare++) {
        struct rig rig;
        (void)state;
        begin_up(&rig, bare);
        assert_int_equal(rig_hear(&rig, "SLOW?\n")->status, LINK_TIMEOUT);
        assert_answer(rig_hear(&rig, "U?\n"), "1.25");
        rig_wait(&rig, 0.2);
        assert_answer(rig_hear(&rig, "U?\n"), "1.25");
        assert_int_equal(rig.downs, 0);
        assert_int_equal(usbtmc_shim.time_outs, bare ? 0 : 1);
        assert_int_equal(usbtmc_shim.clears, bare ? 0 : 2);
        rig_end_all(&rig);
    }
}

static void test_block_and_long_answer(void **state)
{
    struct rig rig;
    char long_answer[8193];
    (void)state;
    begin_up(&rig, false);
    rig_ask(&rig, "BLOCK?\n", LINK_BLOCK);
    rig_until(&rig, rig.answered == 1, 1);
    assert_int_equal(rig.answers[0].length, 5);
    assert_memory_equal(rig.answers[0].text, "a\nb\nc", 5);
    /* Twice what one read takes, to the byte: only the driver's word says where it ends. */
    memset(long_answer, '7', sizeof long_answer);
    long_answer[sizeof long_answer - 2] = '\n';
    long_answer[sizeof long_answer - 1] = '\0';
    rig.far.hear = NULL;
    rig_ask(&rig, "LONG?\n", LINK_LINE);
    rig_until(&rig, rig.far.lines == 2, 1);
    fcntl(rig.far.fd, F_SETFL, O_NONBLOCK); /* the terminal holds 4095 bytes: said bit by bit */
    for (size_t said = 0; said < sizeof long_answer - 1;) {
        ssize_t count = write(rig.far.fd, long_answer + said, sizeof long_answer - 1 - said);
        said += count > 0 ? (size_t)count : 0;
        uv_run(&rig.loop, UV_RUN_NOWAIT);
    }
    rig_until(&rig, rig.answered == 2, 1);
    assert_int_equal(rig.answers[1].status, LINK_OK);
    assert_int_equal(rig.answers[1].length, sizeof long_answer - 2);
    assert_int_equal(usbtmc_shim.time_outs, 0);
    rig_end_all(&rig);
}

/* Not before the read in progress ends, and that is after its patience at the latest. */
static void test_send_now_waits_for_the_read(void **state)
{
    struct rig rig;
    struct error error;
    (void)state;
    begin_up(&rig, false);
    rig_ask(&rig, "SLOW?\n", LINK_LINE);
    rig_until(&rig, rig.far.lines == 1, 1);
    assert_int_equal(link_send_now(rig.link, "OUT OFF\n", 8, NULL, &error), 0);
    rig_until(&rig, rig.far.lines >= 2, 0.7);
    assert_memory_equal(rig.far.heard, "SLOW?\nOUT OFF\n", 14);
    assert_int_equal(rig.answers[0].status, LINK_ABANDONED);
    assert_answer(rig_hear(&rig, "U?\n"), "1.25");
    rig_end_all(&rig);
}

static void test_second_opener_and_unplugging(void **state)
{
    struct rig rig, second;
    struct error error;
    (void)state;
    begin_up(&rig, false);
    rig_begin(&second);
    second.spec.kind = LINK_USBTMC;
    second.spec.path = rig_path("pty");
    assert_int_equal(rig_open(&second, NULL, &error), 0);
    rig_until(&second, second.downs == 1, 1);
    assert_non_null(strstr(second.why.why, "in use"));
    rig_end(&second);
    rig_ask(&rig, "SLOW?\n", LINK_LINE);
    rig_until(&rig, rig.far.lines == 1, 1);
    far_hang_up(&rig.far);
    rig_until(&rig, rig.answered == 1, 0.45);
    assert_int_equal(rig.answers[0].status, LINK_HANGUP);
    far_forget(&rig.far);
    far_begin_pty(&rig, rig.spec.path);
    rig_until(&rig, rig.ups == 2, 2);
    rig_end_all(&rig);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_question),
        cmocka_unit_test(test_nothing_is_read_unasked),
        cmocka_unit_test(test_late_answer),
        cmocka_unit_test(test_block_and_long_answer),
        cmocka_unit_test(test_send_now_waits_for_the_read),
        cmocka_unit_test(test_second_opener_and_unplugging),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
