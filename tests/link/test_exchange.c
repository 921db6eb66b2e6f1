/* Questions and answers over a pseudo-terminal, and what may go wrong with them: late, split,
 * twice, garbled, too long, never ending, silent. The rule throughout: no answer is given to a
 * question that it does not belong to. */
#include <poll.h>

#include "rig.h"

/* Says back what it is asked, less the "?": "U1?" is answered "U1". "NAME?" is the known answer. */
static void hear_plain(struct far *far, const char *line)
{
    char answer[512];
    size_t length = strlen(line);
    if (length == 0 || line[length - 1] != '?')
        return;
    snprintf(answer, sizeof answer, "%.*s\n", (int)length - 1, line);
    far_say(far, answer);
}

static void test_one_question_one_answer(void **state)
{
    struct rig rig;
    (void)state;
    rig_begin_up(&rig, hear_plain, "NAME?\n");
    assert_answer(rig_hear(&rig, "U1?\n"), "U1");
    assert_answer(rig_hear(&rig, "U2?\n"), "U2");
    assert_string_equal(rig.far.heard, "U1?\nU2?\n"); /* in step: no other question was asked */
    assert_string_equal(rig.out, "U1?\nU2?\n");
    assert_string_equal(rig.in, "U1\nU2\n");
    assert_int_equal(link_counts(rig.link)->ok, 2);
    rig_end_all(&rig);
}

static void test_queue_keeps_order_and_asks_one_at_a_time(void **state)
{
    struct rig rig;
    (void)state;
    rig_begin_up(&rig, NULL, NULL);
    rig_ask(&rig, "U1?\n", LINK_LINE);
    rig_ask(&rig, "I 0.5\n", LINK_NONE);
    rig_ask(&rig, "U2?\n", LINK_LINE);
    rig_until(&rig, rig.far.lines == 1, 1);
    rig_wait(&rig, 0.03);
    assert_string_equal(rig.far.heard, "U1?\n"); /* the next waits for its answer */
    assert_int_equal(rig.answered, 0);
    far_say(&rig.far, "1.25\n");
    rig_until(&rig, rig.far.lines == 3, 1);
    assert_string_equal(rig.far.heard, "U1?\nI 0.5\nU2?\n");
    far_say(&rig.far, "1.26\n");
    rig_until(&rig, rig.answered == 3, 1);
    assert_answer(&rig.answers[0], "1.25");
    assert_answer(&rig.answers[1], "");
    assert_answer(&rig.answers[2], "1.26");
    rig_end_all(&rig);
}

static void test_split_line(void **state)
{
    struct rig rig;
    (void)state;
    rig_begin_up(&rig, NULL, "NAME?\n");
    rig_ask(&rig, "U?\n", LINK_LINE);
    rig_until(&rig, rig.far.lines == 1, 1);
    for (const char *part = "+1.2345E+00\r\n"; *part != '\0'; part++) {
        far_say_bytes(&rig.far, part, 1);
        if (part[1] != '\0') {
            rig_wait(&rig, 0.004);
            assert_int_equal(rig.answered, 0);
        }
    }
    rig_until(&rig, rig.answered == 1, 1);
    assert_answer(&rig.answers[0], "+1.2345E+00");
    rig_end_all(&rig);
}

static void test_block(void **state)
{
    struct rig rig;
    (void)state;
    rig_begin_up(&rig, NULL, NULL);
    rig_ask(&rig, "TRACE?\n", LINK_BLOCK);
    rig_until(&rig, rig.far.lines == 1, 1);
    far_say_bytes(&rig.far, "#15a\nb\0", 7); /* the content may hold anything */
    rig_wait(&rig, 0.01);
    far_say_bytes(&rig.far, "c\n", 2);
    rig_until(&rig, rig.answered == 1, 1);
    assert_int_equal(rig.answers[0].status, LINK_OK);
    assert_int_equal(rig.answers[0].length, 5);
    assert_memory_equal(rig.answers[0].text, "a\nb\0c", 6);
    rig_ask(&rig, "TRACE?\n", LINK_BLOCK);
    rig_until(&rig, rig.far.lines == 2, 1);
    far_say(&rig.far, "1.25\n");
    rig_until(&rig, rig.answered == 2, 1);
    assert_int_equal(rig.answers[1].status, LINK_GARBLED);
    rig_end_all(&rig);
}

/* The answer is there in time, but the loop is held up past the patience, as by a slow disk: the
 * timer is due before the answer is seen, and must not win. */
static void hear_and_hold_up(struct far *far, const char *line)
{
    hear_plain(far, line);
    uv_sleep(600);
}

static void test_answer_while_the_loop_is_held_up(void **state)
{
    struct rig rig;
    (void)state;
    rig_begin_up(&rig, hear_and_hold_up, "NAME?\n");
    assert_answer(rig_hear(&rig, "U1?\n"), "U1");
    assert_answer(rig_hear(&rig, "U2?\n"), "U2");
    link_resync(rig.link);
    assert_answer(rig_hear(&rig, "U3?\n"), "U3");
    assert_string_equal(rig.far.heard, "U1?\nU2?\nNAME?\nU3?\n");
    assert_int_equal(link_counts(rig.link)->timeouts, 0);
    rig_end_all(&rig);
}

/* --- late answers ------------------------------------------------------------------------ */

/* "SLOW?" is answered long after anyone waits for it; all else at once, but in order, as
 * instruments do: what is asked while it is slow is answered after that. */
static void hear_slow(struct far *far, const char *line)
{
    if (strcmp(line, "SLOW?") == 0) {
        far_say_later(far, 600, "9.99\n");
    } else if (uv_is_active((uv_handle_t *)&far->timer)) {
        size_t length = strlen(far->later);
        snprintf(far->later + length, sizeof far->later - length, "%.*s\n", (int)strlen(line) - 1,
                 line);
    } else {
        hear_plain(far, line);
    }
}

static void test_late_answer_while_synchronising(void **state)
{
    struct rig rig;
    (void)state;
    rig_begin_up(&rig, hear_slow, "NAME?\n");
    rig.far.hear = NULL; /* silence, so that the synchronisation question is still open: */
    assert_int_equal(rig_hear(&rig, "SLOW?\n")->status, LINK_TIMEOUT);
    rig_until(&rig, rig.far.lines == 2, 1);
    assert_string_equal(rig.far.heard, "SLOW?\nNAME?\n");
    rig_ask(&rig, "U?\n", LINK_LINE);
    far_say(&rig.far, "9.99\n"); /* the late answer, where the known one is awaited */
    rig_wait(&rig, 0.03);
    assert_int_equal(rig.answered, 1);
    far_say(&rig.far, "NAME\n");
    rig.far.hear = hear_plain;
    rig_until(&rig, rig.answered == 2, 1);
    assert_answer(&rig.answers[1], "U");
    assert_string_equal(rig.far.heard, "SLOW?\nNAME?\nU?\n"); /* nothing was repeated */
    rig_end_all(&rig);
}

/* The late answer comes 0.1 s after the time-out: the questions that follow are answered right. */
static void test_late_answer_is_never_the_next_ones(void **state)
{
    struct rig rig;
    (void)state;
    rig_begin_up(&rig, hear_slow, "NAME?\n");
    for (int i = 0; i < 3; i++) {
        int before = rig.answered;
        rig_ask(&rig, "SLOW?\n", LINK_LINE);
        rig_ask(&rig, "U1?\n", LINK_LINE);
        rig_ask(&rig, "U2?\n", LINK_LINE);
        rig_until(&rig, rig.answered == before + 3, 3);
        assert_int_equal(rig.answers[before].status, LINK_TIMEOUT);
        assert_answer(&rig.answers[before + 1], "U1");
        assert_answer(&rig.answers[before + 2], "U2");
        rig_wait(&rig, 0.1);
        assert_answer(rig_hear(&rig, "U3?\n"), "U3");
    }
    assert_int_equal(link_counts(rig.link)->timeouts, 3);
    assert_true(link_counts(rig.link)->strays >= 3 * 5);
    assert_int_equal(rig.downs, 0);
    rig_end_all(&rig);
}

/* The instrument sleeps through two synchronisation questions, then answers everything at once. */
static void test_answers_owed_by_a_sleeper(void **state)
{
    struct rig rig;
    (void)state;
    rig_begin_up(&rig, NULL, "NAME?\n");
    assert_int_equal(rig_hear(&rig, "U?\n")->status, LINK_TIMEOUT);
    rig_until(&rig, rig.far.lines == 4, 3);
    assert_string_equal(rig.far.heard, "U?\nNAME?\nNAME?\nNAME?\n");
    far_say(&rig.far, "1.25\nNAME\nNAME\nNAME\n");
    rig.far.hear = hear_plain;
    assert_answer(rig_hear(&rig, "U2?\n"), "U2");
    assert_int_equal(rig.downs, 0);
    rig_end_all(&rig);
}

/* The known answer once more than it was asked for is a stray like any other. */
static void hear_name_twice(struct far *far, const char *line)
{
    hear_plain(far, line);
    if (strcmp(line, "NAME?") == 0) {
        far_say(far, "NAME\n");
        far->hear = hear_plain;
    }
}

static void test_known_answer_twice(void **state)
{
    struct rig rig;
    (void)state;
    rig_begin_up(&rig, hear_name_twice, "NAME?\n");
    link_resync(rig.link);
    assert_answer(rig_hear(&rig, "U1?\n"), "U1");
    assert_string_equal(rig.far.heard, "NAME?\nNAME?\nU1?\n");
    rig_end_all(&rig);
}

static void test_silence_hangs_up_in_the_end(void **state)
{
    struct rig rig;
    (void)state;
    rig_begin_up(&rig, NULL, "NAME?\n");
    rig_ask(&rig, "U1?\n", LINK_LINE);
    rig_ask(&rig, "U2?\n", LINK_LINE);
    rig_until(&rig, rig.downs == 1, 3);
    rig_until(&rig, rig.answered == 2, 1);
    assert_int_equal(rig.answers[0].status, LINK_TIMEOUT);
    assert_int_equal(rig.answers[1].status, LINK_HANGUP);
    assert_string_equal(rig.far.heard, "U1?\nNAME?\nNAME?\nNAME?\n"); /* U2? was never sent */
    assert_non_null(strstr(rig.why.why, "synchronisation"));
    rig_until(&rig, rig.ups == 2, 1); /* and is opened again */
    rig_end_all(&rig);
}

/* Without a synchronisation question there is only silence to go by. */
static void test_drain_without_a_question(void **state)
{
    struct rig rig;
    struct error error;
    (void)state;
    rig_begin(&rig);
    rig.spec.path = rig_path("pty");
    rig.spec.quiet = 0.3;
    far_begin_pty(&rig, rig.spec.path);
    assert_int_equal(rig_open(&rig, NULL, &error), 0);
    rig_until(&rig, rig.ups == 1, 2);
    assert_int_equal(rig_hear(&rig, "U1?\n")->status, LINK_TIMEOUT);
    far_say(&rig.far, "9.99\n"); /* within the silence */
    rig.far.hear = hear_plain;
    assert_answer(rig_hear(&rig, "U2?\n"), "U2");
    assert_string_equal(rig.lost, "9.99\n");
    rig_end_all(&rig);
}

/* --- too many answers ------------------------------------------------------------------------- */

static void hear_twice(struct far *far, const char *line)
{
    if (strcmp(line, "NAME?") == 0)
        far_say(far, "NAME\n");
    else
        far_say(far, "1.25\n9.99\n");
}

static void test_two_answers_at_once(void **state)
{
    struct rig rig;
    (void)state;
    rig_begin_up(&rig, hear_twice, "NAME?\n");
    rig_ask(&rig, "U1?\n", LINK_LINE);
    rig_until(&rig, rig.answered == 1, 1);
    assert_int_equal(rig.answers[0].status, LINK_GARBLED); /* which is the one? */
    rig.far.hear = hear_plain;
    assert_answer(rig_hear(&rig, "U2?\n"), "U2");
    assert_string_equal(rig.far.heard, "U1?\nNAME?\nU2?\n");
    rig_end_all(&rig);
}

static void test_second_answer_while_idle(void **state)
{
    struct rig rig;
    (void)state;
    rig_begin_up(&rig, hear_plain, "NAME?\n");
    assert_answer(rig_hear(&rig, "U1?\n"), "U1");
    far_say(&rig.far, "U1\n");
    rig_until(&rig, link_counts(rig.link)->strays == 3, 1);
    assert_answer(rig_hear(&rig, "U2?\n"), "U2");
    assert_string_equal(rig.far.heard, "U1?\nNAME?\nU2?\n");
    assert_int_equal(link_counts(rig.link)->strays, 3);
    rig_end_all(&rig);
}

/* It lies in the line, unseen by the loop, when the next question is put. */
static void test_second_answer_is_seen_before_sending(void **state)
{
    struct rig rig;
    (void)state;
    rig_begin_up(&rig, hear_plain, "NAME?\n");
    assert_answer(rig_hear(&rig, "U1?\n"), "U1");
    far_say(&rig.far, "U1\n");
    struct pollfd seen = {.fd = link_fd(rig.link), .events = POLLIN};
    assert_int_equal(poll(&seen, 1, 1000), 1); /* it is there; the loop does not turn */
    rig_ask(&rig, "U2?\n", LINK_LINE);
    assert_string_equal(rig.out, "U1?\n");
    rig_until(&rig, rig.answered == 2, 1);
    assert_answer(&rig.answers[1], "U2");
    rig_end_all(&rig);
}

/* Where reading shows that an answer makes no sense, the owner says so. */
static void test_resync_on_demand(void **state)
{
    struct rig rig;
    (void)state;
    rig_begin_up(&rig, hear_plain, "NAME?\n");
    assert_answer(rig_hear(&rig, "U1?\n"), "U1");
    link_resync(rig.link);
    assert_answer(rig_hear(&rig, "U2?\n"), "U2");
    rig_ask(&rig, "U3?\n", LINK_LINE);
    link_resync(rig.link); /* while it is in progress: after its answer */
    rig_ask(&rig, "U4?\n", LINK_LINE);
    rig_until(&rig, rig.answered == 4, 1);
    assert_answer(&rig.answers[2], "U3");
    assert_answer(&rig.answers[3], "U4");
    assert_string_equal(rig.far.heard, "U1?\nNAME?\nU2?\nU3?\nNAME?\nU4?\n");
    rig_end_all(&rig);
}

/* --- noise ------------------------------------------------------------------------------------ */

static void hear_noise(struct far *far, const char *line)
{
    if (strcmp(line, "NAME?") == 0)
        far_say(far, "NAME\n");
    else if (strcmp(line, "NUL?") == 0)
        far_say_bytes(far, "1.\0025\n", 6);
    else if (strcmp(line, "HIGH?") == 0)
        far_say(far, "1.\xb2\xb5\n");
    else if (strcmp(line, "LONG?") == 0)
        for (int i = 0; i < 50; i++)
            far_say(far, "0123456789012345678901234567890123456789");
    else
        hear_plain(far, line);
}

static void test_garbage(void **state)
{
    struct rig rig;
    (void)state;
    rig_begin_up(&rig, hear_noise, "NAME?\n");
    assert_int_equal(rig_hear(&rig, "NUL?\n")->status, LINK_GARBLED);
    assert_answer(rig_hear(&rig, "U1?\n"), "U1");
    assert_int_equal(rig_hear(&rig, "HIGH?\n")->status, LINK_GARBLED);
    assert_answer(rig_hear(&rig, "U2?\n"), "U2");
    assert_int_equal(link_counts(rig.link)->garbled, 2);
    assert_int_equal(rig.downs, 0);
    rig_end_all(&rig);
}

static void test_overlong_line(void **state)
{
    struct rig rig;
    struct error error;
    (void)state;
    rig_begin(&rig);
    rig.spec.path = rig_path("pty");
    rig.spec.line_most = 256;
    far_begin_pty(&rig, rig.spec.path);
    rig.far.hear = hear_noise;
    assert_int_equal(rig_open(&rig, "NAME?\n", &error), 0);
    rig_until(&rig, rig.ups == 1, 2);
    assert_int_equal(rig_hear(&rig, "LONG?\n")->status, LINK_GARBLED);
    assert_answer(rig_hear(&rig, "U1?\n"), "U1");
    assert_int_equal(rig.downs, 0);
    rig_end_all(&rig);
}

static void on_flood(uv_timer_t *timer)
{
    struct far *far = timer->data;
    char bytes[2000];
    memset(bytes, 'x', sizeof bytes);
    if (far->poll != NULL)
        (void)!write(far->fd, bytes, sizeof bytes);
}

/* It never stops: the question fails at once, the link after 5 s; memory stays bounded. */
static void test_flood(void **state)
{
    struct rig rig;
    struct error error;
    uv_timer_t timer;
    (void)state;
    rig_begin(&rig);
    rig.spec.path = rig_path("pty");
    rig.spec.quiet = 0.3; /* the flood is this process's too: a busy machine may hold it up */
    far_begin_pty(&rig, rig.spec.path);
    assert_int_equal(rig_open(&rig, "NAME?\n", &error), 0);
    rig_until(&rig, rig.ups == 1, 2);
    fcntl(rig.far.fd, F_SETFL, O_NONBLOCK);
    uv_timer_init(&rig.loop, &timer);
    timer.data = &rig.far;
    rig_ask(&rig, "U?\n", LINK_LINE);
    rig_ask(&rig, "U2?\n", LINK_LINE);
    rig_until(&rig, rig.far.lines == 1, 1);
    uv_timer_start(&timer, on_flood, 1, 1);
    rig_until(&rig, rig.answered == 1, 1);
    assert_int_equal(rig.answers[0].status, LINK_GARBLED);
    rig_until(&rig, rig.downs == 1, 7);
    rig_until(&rig, rig.answered == 2, 1);
    assert_int_equal(rig.answers[1].status, LINK_HANGUP);
    assert_non_null(strstr(rig.why.why, "stop sending"));
    assert_true(link_counts(rig.link)->strays > 500000);
    uv_close((uv_handle_t *)&timer, NULL);
    rig_end_all(&rig);
}

/* --- safe bytes ------------------------------------------------------------------------------- */

static void test_send_now_jumps_the_queue(void **state)
{
    struct rig rig;
    struct error error;
    (void)state;
    rig_begin_up(&rig, NULL, "NAME?\n");
    rig_ask(&rig, "U1?\n", LINK_LINE);
    rig_ask(&rig, "OUT ON\n", LINK_NONE);
    int other = 0;
    assert_int_equal(link_ask(rig.link, "U2?\n", 4, LINK_LINE, 0, NULL, &other, &error), 0);
    rig_until(&rig, rig.far.lines == 1, 1);
    assert_int_equal(link_send_now(rig.link, "OUT OFF\n", 8, &rig, &error), 0);
    assert_int_equal(rig.answered, 0); /* never called back from inside */
    rig_until(&rig, rig.answered == 2, 1);
    assert_int_equal(rig.answers[0].status, LINK_ABANDONED);
    assert_int_equal(rig.answers[1].status, LINK_ABANDONED);
    rig_until(&rig, rig.far.lines == 2, 1);
    far_say(&rig.far, "9.99\n"); /* the answer to what was abandoned */
    rig.far.hear = hear_plain;
    rig_until(&rig, link_counts(rig.link)->ok == 1, 1); /* the other owner's question went on */
    assert_string_equal(rig.far.heard, "U1?\nOUT OFF\nNAME?\nU2?\n");
    assert_answer(rig_hear(&rig, "OUT?\n"), "OUT");
    rig_end_all(&rig);
}

static void test_send_now_while_idle_needs_no_synchronising(void **state)
{
    struct rig rig;
    struct error error;
    (void)state;
    rig_begin_up(&rig, hear_plain, "NAME?\n");
    assert_int_equal(link_send_now(rig.link, "OUT OFF\n", 8, NULL, &error), 0);
    assert_answer(rig_hear(&rig, "OUT?\n"), "OUT");
    assert_string_equal(rig.far.heard, "OUT OFF\nOUT?\n");
    rig_end_all(&rig);
}

/* The line takes no more: the order under way is finished first, as it is, then the safe bytes. */
static void test_send_now_behind_half_an_order(void **state)
{
    struct rig rig;
    struct error error;
    const size_t size = 100000;
    (void)state;
    rig_begin_up(&rig, NULL, NULL);
    uv_poll_stop(rig.far.poll); /* hears nothing yet, and the line fills up */
    char *order = malloc(size);
    assert_non_null(order);
    memset(order, 'x', size);
    order[size - 1] = '\n';
    assert_int_equal(link_ask(rig.link, order, size, LINK_NONE, 0, rig_on_answer, &rig, &error), 0);
    assert_int_equal(link_send_now(rig.link, "OUT OFF\n", 8, &rig, &error), 0);
    rig_until(&rig, rig.answered == 1, 1);
    assert_int_equal(rig.answers[0].status, LINK_ABANDONED);
    size_t heard = 0;
    char *all = malloc(size + 8);
    assert_non_null(all);
    fcntl(rig.far.fd, F_SETFL, O_NONBLOCK);
    for (int i = 0; i < 1000 && heard < size + 8; i++) {
        ssize_t count = read(rig.far.fd, all + heard, size + 8 - heard);
        heard += count > 0 ? (size_t)count : 0;
        rig_wait(&rig, 0.002);
    }
    assert_int_equal(heard, size + 8);
    assert_memory_equal(all, order, size);
    assert_memory_equal(all + size, "OUT OFF\n", 8);
    free(order);
    free(all);
    rig_end_all(&rig);
}

static void test_forget(void **state)
{
    struct rig rig;
    (void)state;
    rig_begin_up(&rig, NULL, "NAME?\n");
    rig_ask(&rig, "U1?\n", LINK_LINE);
    rig_ask(&rig, "U2?\n", LINK_LINE);
    rig_until(&rig, rig.far.lines == 1, 1);
    link_forget(rig.link, &rig);
    far_say(&rig.far, "1.25\n");
    rig_wait(&rig, 0.05);
    assert_int_equal(rig.answered, 0);
    assert_string_equal(rig.far.heard, "U1?\n");
    rig.far.hear = hear_plain;
    assert_answer(rig_hear(&rig, "U3?\n"), "U3"); /* in step: its answer was taken for its own */
    assert_string_equal(rig.far.heard, "U1?\nU3?\n");
    rig_end_all(&rig);
}

static void test_refused_questions(void **state)
{
    struct rig rig;
    struct error error;
    int accepted = 0;
    (void)state;
    rig_begin_up(&rig, NULL, NULL);
    assert_int_equal(link_ask(rig.link, "", 0, LINK_LINE, 0, NULL, NULL, &error), ERROR_BENCH);
    while (accepted < 1000 && !link_ask(rig.link, "U?\n", 3, LINK_LINE, 0, NULL, NULL, &error))
        accepted++;
    assert_true(accepted > 100 && accepted < 1000);
    assert_non_null(strstr(error.why, "too many"));
    rig_end_all(&rig);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_one_question_one_answer),
        cmocka_unit_test(test_queue_keeps_order_and_asks_one_at_a_time),
        cmocka_unit_test(test_split_line),
        cmocka_unit_test(test_block),
        cmocka_unit_test(test_answer_while_the_loop_is_held_up),
        cmocka_unit_test(test_late_answer_while_synchronising),
        cmocka_unit_test(test_late_answer_is_never_the_next_ones),
        cmocka_unit_test(test_answers_owed_by_a_sleeper),
        cmocka_unit_test(test_known_answer_twice),
        cmocka_unit_test(test_silence_hangs_up_in_the_end),
        cmocka_unit_test(test_drain_without_a_question),
        cmocka_unit_test(test_two_answers_at_once),
        cmocka_unit_test(test_second_answer_while_idle),
        cmocka_unit_test(test_second_answer_is_seen_before_sending),
        cmocka_unit_test(test_resync_on_demand),
        cmocka_unit_test(test_garbage),
        cmocka_unit_test(test_overlong_line),
        cmocka_unit_test(test_flood),
        cmocka_unit_test(test_send_now_jumps_the_queue),
        cmocka_unit_test(test_send_now_while_idle_needs_no_synchronising),
        cmocka_unit_test(test_send_now_behind_half_an_order),
        cmocka_unit_test(test_forget),
        cmocka_unit_test(test_refused_questions),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
