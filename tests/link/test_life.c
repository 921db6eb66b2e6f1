/* A link from opening to closing: flushed, a stranger first, exclusive, hung up and found again
 * under its stable path. */
#include <sys/file.h>

#include "rig.h"

static void hear_plain(struct far *far, const char *line)
{
    char answer[512];
    snprintf(answer, sizeof answer, "%s is what I heard\n", line);
    far_say(far, answer);
}

/* What lay in the line before it was opened, and what comes right after, is no answer. */
static void test_flushed_on_opening(void **state)
{
    struct rig rig;
    struct error error;
    (void)state;
    rig_begin(&rig);
    rig.spec.path = rig_path("pty");
    far_begin_pty(&rig, rig.spec.path);
    rig.far.hear = hear_plain;
    far_say(&rig.far, "9.99\n");
    assert_int_equal(rig_open(&rig, NULL, &error), 0);
    assert_int_equal(rig.ups, 0); /* hooks come from the loop alone */
    far_say_later(&rig.far, 10, "ready\n");
    rig_until(&rig, rig.ups == 1, 1);
    assert_string_equal(rig.lost, "ready\n");
    assert_answer(rig_hear(&rig, "U?\n"), "U? is what I heard");
    rig_end_all(&rig);
}

static void test_stranger_is_asked_nothing_but_its_name(void **state)
{
    struct rig rig;
    struct error error;
    (void)state;
    rig_begin(&rig);
    rig.spec.path = rig_path("pty");
    rig.no_trust = true;
    far_begin_pty(&rig, rig.spec.path);
    rig.far.hear = hear_plain;
    assert_int_equal(rig_open(&rig, NULL, &error), 0);
    assert_int_equal(link_verify(rig.link, "NAME?\n", 6, 0, rig_on_answer, &rig, &error),
                     ERROR_LOST); /* not open yet */
    rig_until(&rig, rig.ups == 1, 1);
    assert_int_equal(link_ask(rig.link, "OUT ON\n", 7, LINK_NONE, 0, rig_on_answer, &rig, &error),
                     ERROR_LOST);
    assert_non_null(strstr(error.why, "verified"));
    assert_int_equal(link_verify(rig.link, "NAME?\n", 6, 0, rig_on_answer, &rig, &error), 0);
    rig_until(&rig, rig.answered == 1, 1);
    assert_answer(&rig.answers[0], "NAME? is what I heard");
    assert_string_equal(rig.far.heard, "NAME?\n");
    assert_false(link_is_up(rig.link));
    link_trust(rig.link);
    assert_true(link_is_up(rig.link));
    assert_answer(rig_hear(&rig, "U?\n"), "U? is what I heard");
    rig_end_all(&rig);
}

static void test_refused_stranger_is_tried_again(void **state)
{
    struct rig rig;
    struct error error, why;
    (void)state;
    rig_begin(&rig);
    rig.spec.path = rig_path("pty");
    rig.no_trust = true;
    far_begin_pty(&rig, rig.spec.path);
    assert_int_equal(rig_open(&rig, NULL, &error), 0);
    for (int i = 1; i <= 3; i++) { /* after 0.1 s, 0.2 s, 0.4 s */
        double back_off = i == 1 ? 0 : 0.05 * (1 << (i - 1));
        uint64_t began = uv_hrtime();
        rig_until(&rig, rig.ups == i, back_off + 0.5);
        assert_true((double)(uv_hrtime() - began) / 1e9 >= back_off);
        error_set(&why, ERROR_BENCH, "KES bench", "plug in the right one", "it is number %d", i);
        link_refuse(rig.link, &why);
        assert_int_equal(rig.downs, i - 1);
        rig_until(&rig, rig.downs == i, 1);
        assert_string_equal(rig.why.why, why.why);
    }
    rig_end_all(&rig);
}

/* --- exclusive -------------------------------------------------------------------------------- */

static void test_second_opener_is_refused(void **state)
{
    struct rig rig, second;
    struct error error;
    (void)state;
    rig_begin_up(&rig, hear_plain, NULL);
    rig_begin(&second);
    second.spec.path = rig_path("pty");
    assert_int_equal(rig_open(&second, NULL, &error), 0);
    rig_until(&second, second.downs == 1, 1);
    assert_int_equal(second.why.code, ERROR_BENCH);
    assert_non_null(strstr(second.why.why, "in use"));
    assert_non_null(strstr(second.why.what, "pty"));
    rig_wait(&second, 0.5);
    assert_int_equal(second.downs, 1); /* told once, however often it is tried */
    assert_answer(rig_hear(&rig, "U?\n"), "U? is what I heard");
    assert_int_equal(rig.downs, 0);
    rig_end(&rig); /* lets go of it: the second comes up by itself */
    rig_begin(&rig);
    far_begin_pty(&rig, rig_path("pty"));
    rig_until(&second, second.ups == 1, 2);
    rig_end(&second);
    rig_end_all(&rig);
}

/* Also when another process holds a duplicate of the descriptor, as it may (link_fd). */
static void test_lock_is_let_go(void **state)
{
    struct rig rig;
    (void)state;
    rig_begin_up(&rig, NULL, NULL);
    int other = open(rig_path("pty"), O_RDWR | O_NOCTTY);
    int duplicate = fcntl(link_fd(rig.link), F_DUPFD_CLOEXEC, 0);
    assert_true(other >= 0 && duplicate >= 0);
    assert_int_equal(flock(other, LOCK_EX | LOCK_NB), -1);
    link_close(rig.link);
    rig_until(&rig, rig.closed == 1, 1);
    assert_int_equal(flock(other, LOCK_EX | LOCK_NB), 0);
    close(duplicate);
    close(other);
    rig_end_all(&rig);
}

/* --- hang-up ---------------------------------------------------------------------------------- */

static void test_hang_up_fails_all_at_once(void **state)
{
    struct rig rig;
    struct error error;
    (void)state;
    rig_begin_up(&rig, NULL, "NAME?\n");
    rig_ask(&rig, "U1?\n", LINK_LINE);
    rig_ask(&rig, "U2?\n", LINK_LINE);
    rig_until(&rig, rig.far.lines == 1, 1);
    far_hang_up(&rig.far);
    rig_until(&rig, rig.answered == 2, 0.45); /* not after the patience of 0.5 s */
    assert_int_equal(rig.answers[0].status, LINK_HANGUP);
    assert_int_equal(rig.answers[1].status, LINK_HANGUP);
    assert_string_equal(rig.order, "udaa");
    assert_int_equal(link_ask(rig.link, "U?\n", 3, LINK_LINE, 0, NULL, NULL, &error), ERROR_LOST);
    assert_int_equal(link_send_now(rig.link, "OUT OFF\n", 8, NULL, &error), ERROR_LOST);
    rig_end_all(&rig);
}

static void test_hang_up_while_idle_is_noticed(void **state)
{
    struct rig rig;
    (void)state;
    rig_begin_up(&rig, NULL, NULL);
    far_hang_up(&rig.far);
    rig_until(&rig, rig.downs == 1, 1);
    assert_non_null(strstr(rig.why.why, "hung up"));
    rig_end_all(&rig);
}

/* The device comes back under another number; the stable path leads to it, a stranger again. */
static void test_found_again_under_its_stable_path(void **state)
{
    struct rig rig;
    struct error error;
    char before[64], now[64];
    (void)state;
    rig_begin_up(&rig, hear_plain, "NAME?\n");
    assert_answer(rig_hear(&rig, "U1?\n"), "U1? is what I heard");
    before[readlink(rig.spec.path, before, sizeof before - 1)] = '\0';
    int taken = open(before, O_RDWR | O_NOCTTY); /* so that its number is not given anew */
    far_hang_up(&rig.far);
    unlink(rig.spec.path);
    rig_until(&rig, rig.downs == 1, 1);
    rig_wait(&rig, 0.4); /* some attempts in vain */
    rig.no_trust = true;
    far_forget(&rig.far);
    far_begin_pty(&rig, rig.spec.path);
    now[readlink(rig.spec.path, now, sizeof now - 1)] = '\0';
    assert_string_not_equal(before, now);
    rig_until(&rig, rig.ups == 2, 2);
    assert_int_equal(rig.far.lines, 0); /* nothing was sent before anyone verified it */
    assert_int_equal(link_ask(rig.link, "U?\n", 3, LINK_LINE, 0, NULL, NULL, &error), ERROR_LOST);
    link_trust(rig.link);
    assert_answer(rig_hear(&rig, "U2?\n"), "U2? is what I heard");
    assert_int_equal(rig.downs, 1);
    assert_int_equal(link_counts(rig.link)->hangups, 1);
    close(taken);
    rig_end_all(&rig);
}

static void test_missing_device(void **state)
{
    struct rig rig;
    struct error error;
    (void)state;
    rig_begin(&rig);
    rig.spec.path = rig_path("pty");
    unlink(rig.spec.path);
    assert_int_equal(rig_open(&rig, NULL, &error), 0);
    rig_until(&rig, rig.downs == 1, 1);
    assert_non_null(strstr(rig.why.why, "No such file"));
    assert_non_null(strstr(rig.why.todo, "path"));
    rig.spec.path = "/dev/null";
    for (int tries = 1; tries <= 50; tries++) {
        link_close(rig.link);
        rig_until(&rig, rig.closed == tries, 1);
        assert_int_equal(rig_open(&rig, NULL, &error), 0);
        rig_until(&rig, rig.downs == 1 + tries, 1);
        if (!strstr(rig.why.why, "in use"))
            break;
        usleep(20000); /* this very test goes on beside it, in another build */
    }
    assert_non_null(strstr(rig.why.why, "terminal"));
    rig.closed = 0;
    rig_end_all(&rig);
}

/* --- closing ---------------------------------------------------------------------------------- */

static void close_in_answer(void *owner, const struct link_reply *reply)
{
    struct rig *rig = owner;
    rig_on_answer(owner, reply);
    link_close(rig->link);
}

static void test_close_from_a_callback(void **state)
{
    struct rig rig;
    struct error error;
    (void)state;
    rig_begin_up(&rig, hear_plain, NULL);
    assert_int_equal(link_ask(rig.link, "U?\n", 3, LINK_LINE, 0, close_in_answer, &rig, &error), 0);
    rig_ask(&rig, "U2?\n", LINK_LINE);
    rig_until(&rig, rig.closed == 1, 1);
    assert_answer(&rig.answers[0], "U? is what I heard");
    assert_string_equal(rig.order, "uac"); /* the second is dropped, unsent and uncalled */
    assert_string_equal(rig.far.heard, "U?\n");
    rig_end_all(&rig);
}

static void test_close_at_any_time(void **state)
{
    struct rig rig;
    struct error error;
    (void)state;
    rig_begin(&rig); /* before it was opened */
    rig.spec.path = rig_path("pty");
    far_begin_pty(&rig, rig.spec.path);
    assert_int_equal(rig_open(&rig, NULL, &error), 0);
    rig_end(&rig);
    assert_string_equal(rig.order, "c");
    rig_begin_up(&rig, NULL, NULL); /* with a question open */
    rig_ask(&rig, "U?\n", LINK_LINE);
    rig_end(&rig);
    assert_string_equal(rig.order, "uc");
    rig_begin_up(&rig, NULL, NULL); /* hung up, between two attempts */
    far_hang_up(&rig.far);
    rig_until(&rig, rig.downs == 1, 1);
    rig_end_all(&rig);
    assert_string_equal(rig.order, "udc");
}

static void test_spec_without_sense(void **state)
{
    const struct link_spec bad[] = {
        {.kind = LINK_PTY},
        {.kind = LINK_PTY, .path = "/dev/x", .terminator = ""},
        {.kind = LINK_PTY, .path = "/dev/x", .terminator = "end"},
        {.kind = LINK_TCP, .path = "host.invalid", .port = 65536},
        {.kind = LINK_SERIAL, .path = "/dev/x", .bits = 9},
        {.kind = LINK_SERIAL, .path = "/dev/x", .stop_bits = 3},
        {.kind = LINK_SERIAL, .path = "/dev/x", .patience = -1},
        {.kind = (enum link_kind)7, .path = "/dev/x"},
    };
    const struct link_hooks hooks = {.up = NULL};
    uv_loop_t loop;
    (void)state;
    uv_loop_init(&loop);
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        struct link *link;
        struct error error;
        assert_int_equal(link_open(&loop, &bad[i], &hooks, &link, &error), ERROR_BENCH);
        assert_true(strlen(error.why) > 0);
    }
    assert_int_equal(uv_loop_close(&loop), 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_flushed_on_opening),
        cmocka_unit_test(test_stranger_is_asked_nothing_but_its_name),
        cmocka_unit_test(test_refused_stranger_is_tried_again),
        cmocka_unit_test(test_second_opener_is_refused),
        cmocka_unit_test(test_lock_is_let_go),
        cmocka_unit_test(test_hang_up_fails_all_at_once),
        cmocka_unit_test(test_hang_up_while_idle_is_noticed),
        cmocka_unit_test(test_found_again_under_its_stable_path),
        cmocka_unit_test(test_missing_device),
        cmocka_unit_test(test_close_from_a_callback),
        cmocka_unit_test(test_close_at_any_time),
        cmocka_unit_test(test_spec_without_sense),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
