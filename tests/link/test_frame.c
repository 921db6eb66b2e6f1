/* Cutting bytes into lines and blocks. */
#include <stdlib.h>
#include <string.h>

#include "link/frame.h"
#include "support/cmocka_setup.h"

static void add(struct frame *frame, const char *bytes, size_t length)
{
    while (length > 0) {
        size_t room;
        char *space = frame_space(frame, &room);
        size_t count = room < length ? room : length;
        assert_true(room > 0);
        memcpy(space, bytes, count);
        frame_added(frame, count);
        bytes += count;
        length -= count;
    }
}

static void assert_line(struct frame *frame, const char *want)
{
    char *answer;
    size_t length;
    assert_int_equal(frame_line(frame, &answer, &length), FRAME_ANSWER);
    assert_int_equal(length, strlen(want));
    assert_string_equal(answer, want);
}

static void assert_none(struct frame *frame, enum frame_found want)
{
    char *answer;
    size_t length;
    assert_int_equal(frame_line(frame, &answer, &length), want);
}

static void test_lines_byte_by_byte(void **state)
{
    const char all[] = "1.25\n\n-3\n";
    struct frame frame;
    (void)state;
    frame_init(&frame, "\n", 10, 10);
    assert_none(&frame, FRAME_MORE);
    for (const char *byte = all; *byte != '\0'; byte++) {
        add(&frame, byte, 1);
        if (byte - all == 4)
            assert_line(&frame, "1.25");
        else if (byte - all == 5)
            assert_line(&frame, "");
        else if (byte - all == 8)
            assert_line(&frame, "-3");
        assert_none(&frame, FRAME_MORE);
    }
    assert_int_equal(frame_left(&frame), 0);
    frame_free(&frame);
}

static void test_lines_together(void **state)
{
    struct frame frame;
    (void)state;
    frame_init(&frame, "\n", 10, 10);
    add(&frame, "1\n22\n333", 8);
    assert_line(&frame, "1");
    assert_int_equal(frame_left(&frame), 6);
    assert_line(&frame, "22");
    assert_none(&frame, FRAME_MORE);
    add(&frame, "3\n", 2);
    assert_line(&frame, "3333");
    frame_free(&frame);
}

static void test_terminator_of_two_bytes(void **state)
{
    struct frame frame;
    (void)state;
    frame_init(&frame, "\r\n", 10, 10);
    add(&frame, "a\rb\nc\r", 6);
    assert_none(&frame, FRAME_MORE);
    add(&frame, "\r\nd\r\n", 5);
    assert_line(&frame, "a\rb\nc\r");
    assert_line(&frame, "d");
    frame_free(&frame);
}

static void test_longest_line(void **state)
{
    for (size_t end = 1; end <= 2; end++) {
        const char *terminator = end == 1 ? "\n" : "\r\n";
        for (size_t piece = 1; piece <= 11; piece += 5) {
            struct frame frame;
            (void)state;
            frame_init(&frame, terminator, 10, 10);
            for (size_t i = 0; i < 10; i += piece)
                add(&frame, "0123456789" + i, i + piece < 10 ? piece : 10 - i);
            assert_none(&frame, FRAME_MORE);
            add(&frame, terminator, end);
            assert_line(&frame, "0123456789");
            add(&frame, "0123456789x", 11);
            add(&frame, terminator, end);
            assert_none(&frame, FRAME_TOO_LONG);
            add(&frame, "y\n", 2); /* where a line begins is unknown until someone says so */
            assert_none(&frame, FRAME_MORE);
            assert_int_equal(frame_left(&frame), 0);
            frame_reset(&frame);
            add(&frame, "z", 1);
            add(&frame, terminator, end);
            assert_line(&frame, "z");
            frame_free(&frame);
        }
    }
}

/* However much comes, memory stays below the longest line and what one read may bring. */
static void test_flood_stays_small(void **state)
{
    struct frame frame;
    char *answer;
    size_t length, room;
    (void)state;
    frame_init(&frame, "\n", 1000, 1000);
    for (int i = 0; i < 10000; i++) {
        char *space = frame_space(&frame, &room);
        memset(space, 'x', room);
        frame_added(&frame, room);
        frame_line(&frame, &answer, &length);
    }
    assert_true(frame.room < 8192);
    frame_free(&frame);
}

/* IEEE 488.2 8.7.9: any byte may be in it, also the terminator. */
static void test_definite_block(void **state)
{
    const char bytes[] = "#212ab\ncd#2\0x\"'y\n";
    struct frame frame;
    char *answer;
    size_t length;
    (void)state;
    for (int piece = 1; piece < 18; piece++) {
        frame_init(&frame, "\n", 10, 12);
        for (size_t i = 0; i < sizeof bytes - 1; i += (size_t)piece) {
            size_t left = sizeof bytes - 1 - i;
            assert_int_equal(frame_block(&frame, &answer, &length), FRAME_MORE);
            add(&frame, bytes + i, left < (size_t)piece ? left : (size_t)piece);
        }
        assert_int_equal(frame_block(&frame, &answer, &length), FRAME_ANSWER);
        assert_int_equal(length, 12);
        assert_memory_equal(answer, bytes + 4, 12);
        assert_int_equal(frame_left(&frame), 0);
        frame_free(&frame);
    }
}

/* 8.7.10: #0, to the end of the message. */
static void test_indefinite_block(void **state)
{
    struct frame frame;
    char *answer;
    size_t length;
    (void)state;
    frame_init(&frame, "\r\n", 10, 5);
    add(&frame, "#0ab\r", 5);
    assert_int_equal(frame_block(&frame, &answer, &length), FRAME_MORE);
    add(&frame, "cd\r\n", 4);
    assert_int_equal(frame_block(&frame, &answer, &length), FRAME_ANSWER);
    assert_int_equal(length, 5);
    assert_string_equal(answer, "ab\rcd");
    add(&frame, "#0\r\n", 4);
    assert_int_equal(frame_block(&frame, &answer, &length), FRAME_ANSWER);
    assert_int_equal(length, 0);
    add(&frame, "#0abcdef\r\n", 10);
    assert_int_equal(frame_block(&frame, &answer, &length), FRAME_TOO_LONG);
    frame_free(&frame);
}

static void test_bad_blocks(void **state)
{
    static const struct {
        const char *bytes;
        enum frame_found want;
    } cases[] = {
        {"1.25\n", FRAME_BAD},     {"#x", FRAME_BAD},     {"#2a", FRAME_BAD},
        {"#13abcd\n", FRAME_BAD},  {"#13ab", FRAME_MORE}, {"#13abc", FRAME_MORE},
        {"#3999", FRAME_TOO_LONG}, {"\n", FRAME_BAD},     {"#9999999999", FRAME_TOO_LONG},
        {"#", FRAME_MORE},         {"#41", FRAME_MORE},   {"#210ABCDEFGHIJ", FRAME_MORE},
    };
    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct frame frame;
        char *answer;
        size_t length;
        frame_init(&frame, "\n", 10, 100);
        add(&frame, cases[i].bytes, strlen(cases[i].bytes));
        assert_int_equal(frame_block(&frame, &answer, &length), cases[i].want);
        frame_free(&frame);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_lines_byte_by_byte),      cmocka_unit_test(test_lines_together),
        cmocka_unit_test(test_terminator_of_two_bytes), cmocka_unit_test(test_longest_line),
        cmocka_unit_test(test_flood_stays_small),       cmocka_unit_test(test_definite_block),
        cmocka_unit_test(test_indefinite_block),        cmocka_unit_test(test_bad_blocks),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
