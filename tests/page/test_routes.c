/* What the page's server answers to good and to hostile requests, and what it holds on to. */
#include "support/cmocka_setup.h"

#include <malloc.h>

#include "page/rig.h"

static struct rig rig;
static char text[65536];

static int open_rig(void **state)
{
    (void)state;
    rig_open(&rig, 2);
    return 0;
}

static int close_rig(void **state)
{
    (void)state;
    rig_close(&rig);
    return 0;
}

/* Sends a request whose head is made from the format; %1$d is the port. Returns the status. */
static int status_of(const char *format, ...)
{
    char request[40000];
    va_list list;
    va_start(list, format);
    int length = vsnprintf(request, sizeof request, format, list);
    va_end(list);
    assert_true(length < (int)sizeof request);
    rig_exchange(&rig, request, (size_t)length, text, sizeof text, 2);
    return rig_status(text);
}

static int get(const char *path, const char *more)
{
    return status_of("GET %s HTTP/1.1\r\nHost: 127.0.0.1:%d\r\n%s\r\n", path, rig.port, more);
}

static int post(const char *token, const char *more, const char *body)
{
    return status_of("POST /answer HTTP/1.1\r\nHost: 127.0.0.1:%d\r\nAuthorization: Bearer %s\r\n"
                     "Content-Length: %zu\r\n%s\r\n%s",
                     rig.port, token, strlen(body), more, body);
}

#define JSON "Content-Type: application/json\r\n"

static void the_page_and_its_files_are_served(void **state)
{
    (void)state;
    assert_int_equal(get("/", ""), 200);
    assert_non_null(strstr(text, "<title>Perdure</title>"));
    assert_non_null(strstr(text,
                           "Content-Security-Policy: default-src 'none'; script-src 'self'; "
                           "style-src 'self'; connect-src 'self'; img-src 'self' data:; "
                           "base-uri 'none'; form-action 'none'; frame-ancestors 'none'\r\n"));
    assert_non_null(strstr(text, "X-Content-Type-Options: nosniff\r\n"));
    assert_non_null(strstr(text, "Referrer-Policy: no-referrer\r\n"));
    assert_null(strstr(text, "<style"));
    assert_null(strstr(text, " style="));
    assert_null(strstr(text, "<script>"));
    assert_null(strstr(text, " onclick"));
    assert_int_equal(get("/live.css", ""), 200);
    assert_int_equal(get("/live.js", ""), 200);
    assert_null(strstr(text, "innerHTML"));
    assert_int_equal(status_of("HEAD / HTTP/1.1\r\nHost: localhost:%d\r\n\r\n", rig.port), 200);
    assert_null(strstr(text, "<title>"));
}

static void what_is_not_there_is_refused(void **state)
{
    (void)state;
    static const char *const paths[] = {"/live.html", "/../etc/passwd", "/%2e%2e/", "/answer/",
                                        "//",         "/events/x",      "/LIVE.CSS"};
    for (size_t i = 0; i < sizeof paths / sizeof *paths; i++)
        assert_int_equal(get(paths[i], ""), 404);
    assert_int_equal(get("/answer", ""), 405);
    assert_int_equal(status_of("DELETE / HTTP/1.1\r\nHost: 127.0.0.1:%d\r\n\r\n", rig.port), 405);
    assert_int_equal(status_of("POST /events HTTP/1.1\r\nHost: 127.0.0.1:%d\r\nContent-Length: "
                               "0\r\n\r\n",
                               rig.port),
                     405);
    assert_int_equal(rig.asked, 0);
}

static void another_host_or_origin_is_refused(void **state)
{
    (void)state;
    assert_int_equal(status_of("GET / HTTP/1.1\r\nHost: evil.example:%d\r\n\r\n", rig.port), 421);
    assert_int_equal(status_of("GET / HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n"), 421);
    assert_int_equal(status_of("GET / HTTP/1.1\r\n\r\n"), 400);
    assert_int_equal(status_of("GET / HTTP/1.0\r\n\r\n"), 400);
    assert_int_equal(
        status_of("GET / HTTP/1.1\r\nHost: 127.0.0.1:%d\r\nHost: evil.example\r\n\r\n", rig.port),
        400);
    assert_int_equal(get("/events", "Origin: http://evil.example\r\n"), 403);
    assert_int_equal(get("/", "Origin: null\r\n"), 403);
    assert_int_equal(post(rig.gate.token, JSON "Origin: http://evil.example\r\n",
                          "{\"question\":1,\"answer\":\"1\"}"),
                     403);
    char same[64];
    snprintf(same, sizeof same, "Origin: http://127.0.0.1:%d\r\n", rig.port);
    assert_int_equal(get("/session", same), 200);
    assert_int_equal(rig.asked, 0);
}

static void an_answer_needs_the_token(void **state)
{
    (void)state;
    static const char *const body = "{\"question\":1,\"answer\":\"1\"}";
    char wrong[TOKEN_DIGITS + 1];
    strcpy(wrong, rig.gate.token);
    wrong[63] = wrong[63] == 'a' ? 'b' : 'a';
    assert_int_equal(post(wrong, JSON, body), 403);
    assert_int_equal(post("", JSON, body), 403);
    assert_int_equal(status_of("POST /answer?token=%s HTTP/1.1\r\nHost: 127.0.0.1:%d\r\n" JSON
                               "Content-Length: 2\r\n\r\n{}",
                               rig.gate.token, rig.port),
                     403);
    assert_int_equal(get("/session", "Authorization: Bearer 00\r\n"), 403);
    assert_int_equal(get("/session", ""), 200);
    assert_non_null(strstr(text, "\"may_answer\":false"));
    rig.gate.read_only = true;
    assert_int_equal(post(rig.gate.token, JSON, body), 403);
    assert_int_equal(rig.asked, 0);
}

static void what_is_no_answer_never_comes_to_the_engine(void **state)
{
    (void)state;
    const char *token = rig.gate.token;
    static const char *const bodies[] = {"",
                                         "{",
                                         "[]",
                                         "null",
                                         "{\"question\":1}",
                                         "{\"question\":\"1\",\"answer\":\"x\"}",
                                         "{\"question\":1,\"answer\":2}",
                                         "{\"question\":1.5,\"answer\":\"x\"}",
                                         "{\"question\":1,\"question\":2,\"answer\":\"x\"}",
                                         "{\"question\":1,\"answer\":\"a\\u0000b\"}",
                                         "{\"question\":1,\"answer\":\"\xff\"}",
                                         "{\"question\":99999999999999999999,\"answer\":\"x\"}",
                                         "{\"question\":1,\"answer\":\"x\",\"who\":7}",
                                         "{\"question\":1,\"answer\":\"x\"} {}"};
    for (size_t i = 0; i < sizeof bodies / sizeof *bodies; i++)
        assert_int_equal(post(token, JSON, bodies[i]), 400);
    assert_int_equal(post(token, "", "{\"question\":1,\"answer\":\"x\"}"), 415);
    assert_int_equal(post(token, "Content-Type: text/plain\r\n", "{}"), 415);
    assert_int_equal(post(token, "Content-Type: application/jsonp\r\n", "{}"), 415);
    assert_int_equal(status_of("POST /answer HTTP/1.1\r\nHost: 127.0.0.1:%d\r\nAuthorization: "
                               "Bearer %s\r\n" JSON "Transfer-Encoding: chunked\r\n\r\n0\r\n\r\n",
                               rig.port, token),
                     411);
    assert_int_equal(rig.asked, 0);
}

static void what_is_too_long_is_refused(void **state)
{
    (void)state;
    static char body[ROUTES_BODY_MOST + 2], path[SERVER_MEMORY + 100];
    memset(body, ' ', sizeof body - 1);
    assert_int_equal(post(rig.gate.token, JSON, body), 413);
    assert_int_equal(status_of("POST /answer HTTP/1.1\r\nHost: 127.0.0.1:%d\r\nAuthorization: "
                               "Bearer %s\r\n" JSON "Content-Length: 9999999999\r\n\r\n",
                               rig.port, rig.gate.token),
                     413);
    memset(path, 'a', sizeof path - 1);
    path[0] = '/';
    int status = get(path, "");
    assert_true(status == 414 || status == 413 || status == 431);
    assert_true(
        status_of("GET / HTTP/1.1\r\nHost: 127.0.0.1:%d\r\nX: %s\r\n\r\n", rig.port, path) >= 400);
    assert_int_equal(get("/", ""), 200);
    assert_int_equal(rig.asked, 0);
}

static int begin_answer(const char *body)
{
    char request[1000];
    int fd = rig_connect(&rig);
    int length = snprintf(request, sizeof request,
                          "POST /answer HTTP/1.1\r\nHost: 127.0.0.1:%d\r\nAuthorization: Bearer "
                          "%s\r\n" JSON "Content-Length: %zu\r\n\r\n%s",
                          rig.port, rig.gate.token, strlen(body), body);
    /* Byte by byte: a request may come in any pieces. */
    for (int i = 0; i < length; i++) {
        rig_send(fd, request + i, 1);
        if (i % 40 == 0)
            rig_work(&rig, 0.001);
    }
    rig_work(&rig, 0.05);
    return fd;
}

static void an_answer_is_acknowledged_when_the_engine_says_so(void **state)
{
    (void)state;
    int fd = begin_answer("{\"question\":12,\"answer\":\"1875 mAh\",\"who\":\"Ada\",\"act\":"
                          "\"stop\",\"run\":1}");
    assert_int_equal(rig.asked, 1);
    assert_string_equal(
        rig.request,
        "{\"act\":\"answer\",\"question\":12,\"answer\":\"1875 mAh\",\"who\":\"Ada\"}");
    text[0] = '\0';
    rig_work(&rig, 0.2);
    assert_true(rig_receive(fd, text, sizeof text));
    assert_string_equal(text, ""); /* not committed: nothing is heard */
    rig_reply(&rig, "{\"reply\":{\"question\":12}}\n");
    rig_work(&rig, 0.1);
    rig_receive(fd, text, sizeof text);
    assert_int_equal(rig_status(text), 200);
    assert_non_null(strstr(text, "{\"reply\":{\"question\":12}}"));
    rig_hang_up(fd);
}

static void a_refusal_of_the_engine_is_told(void **state)
{
    (void)state;
    int fd = begin_answer("{\"question\":1,\"answer\":\"much\",\"who\":\"\"}");
    assert_non_null(strstr(rig.request, "\"who\":\"page\""));
    rig_reply(&rig, "{\"error\":{\"code\":1,\"what\":\"w\",\"why\":\"y\",\"todo\":\"t\"}}\n");
    text[0] = '\0';
    rig_work(&rig, 0.1);
    rig_receive(fd, text, sizeof text);
    assert_int_equal(rig_status(text), 422);
    rig_hang_up(fd);
}

static void who_leaves_before_the_reply_does_no_harm(void **state)
{
    (void)state;
    int fd = begin_answer("{\"question\":1,\"answer\":\"1\"}");
    rig_hang_up(fd);
    rig_work(&rig, 0.1);
    if (rig.talk)
        rig_reply(&rig, "{\"reply\":{}}\n");
    rig_work(&rig, 0.1);
    fd = begin_answer("{\"question\":2,\"answer\":\"2\"}"); /* waits while the page is closed */
    assert_int_equal(rig.asked, 2);
    assert_int_equal(get("/", ""), 200);
    rig_close(&rig);
    assert_int_equal(rig.forgotten, 1);
    rig_hang_up(fd);
    rig_open(&rig, 2);
}

static int join(void)
{
    char request[100];
    int fd = rig_connect(&rig);
    int length = snprintf(request, sizeof request,
                          "GET /events HTTP/1.1\r\nHost: 127.0.0.1:%d\r\n\r\n", rig.port);
    rig_send(fd, request, (size_t)length);
    return fd;
}

static void a_reader_is_given_the_newest_of_each_part(void **state)
{
    (void)state;
    rig_publish(&rig, STREAM_LISTS, "{\"old\":1}");
    rig_publish(&rig, STREAM_LISTS, "{\"lists\":1}");
    int fd = join();
    rig_work(&rig, 0.05);
    assert_int_equal(rig.joined, 1);
    assert_int_equal(stream_readers(rig.stream), 1);
    rig_publish(&rig, STREAM_LIVE, "{\"live\":1}");
    rig_work(&rig, 0.05);
    rig_publish(&rig, STREAM_LIVE, "{\"live\":2}");
    rig_work(&rig, 0.05);
    text[0] = '\0';
    assert_true(rig_receive(fd, text, sizeof text));
    assert_non_null(strstr(text, "Content-Type: text/event-stream\r\n"));
    assert_non_null(strstr(text, "event: lists\ndata: {\"lists\":1}\n\n"));
    assert_non_null(strstr(text, "event: live\ndata: {\"live\":1}\n\n"));
    assert_non_null(strstr(text, "event: live\ndata: {\"live\":2}\n\n"));
    assert_null(strstr(text, "old"));
    rig_hang_up(fd);
    rig_publish(&rig, STREAM_LIVE, "{\"live\":3}");
    rig_work(&rig, 0.2);
    rig_publish(&rig, STREAM_LIVE, "{\"live\":4}");
    rig_work(&rig, 0.2);
    assert_int_equal(stream_readers(rig.stream), 0);
}

/* 20 readers that never read, and 100 MB published meanwhile. */
static void who_does_not_read_costs_nothing_and_is_dropped(void **state)
{
    (void)state;
    static char big[500001];
    int fds[20];
    memset(big, 'x', sizeof big - 1);
    for (int i = 0; i < 20; i++)
        fds[i] = join();
    rig_work(&rig, 0.1);
    assert_int_equal(stream_readers(rig.stream), 20);
    size_t before = mallinfo2().uordblks + mallinfo2().hblkhd;
    for (int i = 0; i < 200; i++) {
        rig_publish(&rig, STREAM_LIVE, big);
        rig_work(&rig, 0.001);
    }
    size_t after = mallinfo2().uordblks + mallinfo2().hblkhd;
    assert_true(after < before + 25 * sizeof big); /* one text each at most, and the newest */
    for (int i = 0; i < 60 && stream_readers(rig.stream); i++)
        rig_work(&rig, 0.1);
    assert_int_equal(stream_readers(rig.stream), 0);
    for (int i = 0; i < 20; i++)
        rig_hang_up(fds[i]);
}

static void connections_are_limited_and_the_page_still_comes(void **state)
{
    (void)state;
    int fds[STREAM_READERS_MOST + 4];
    for (int i = 0; i < STREAM_READERS_MOST; i++)
        fds[i] = join();
    rig_work(&rig, 0.2);
    assert_int_equal(stream_readers(rig.stream), STREAM_READERS_MOST);
    assert_int_equal(get("/events", ""), 503);
    assert_int_equal(get("/", ""), 200);
    for (int i = 0; i < STREAM_READERS_MOST; i++)
        rig_hang_up(fds[i]);
}

static void who_says_nothing_or_little_is_dropped(void **state)
{
    (void)state;
    int fds[SERVER_CONNECTIONS];
    for (int i = 0; i < SERVER_CONNECTIONS; i++)
        fds[i] = rig_connect(&rig);
    rig_work(&rig, 0.1);
    /* A head that never ends, a byte now and then. */
    for (int k = 0; k < 40; k++) {
        for (int i = 0; i < SERVER_CONNECTIONS; i += 2)
            rig_send(fds[i], "G", 1);
        rig_work(&rig, 0.1);
    }
    for (int i = 0; i < SERVER_CONNECTIONS; i++) {
        text[0] = '\0';
        assert_false(rig_receive(fds[i], text, sizeof text));
        rig_hang_up(fds[i]);
    }
    assert_int_equal(get("/", ""), 200);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(the_page_and_its_files_are_served, open_rig, close_rig),
        cmocka_unit_test_setup_teardown(what_is_not_there_is_refused, open_rig, close_rig),
        cmocka_unit_test_setup_teardown(another_host_or_origin_is_refused, open_rig, close_rig),
        cmocka_unit_test_setup_teardown(an_answer_needs_the_token, open_rig, close_rig),
        cmocka_unit_test_setup_teardown(what_is_no_answer_never_comes_to_the_engine, open_rig,
                                        close_rig),
        cmocka_unit_test_setup_teardown(what_is_too_long_is_refused, open_rig, close_rig),
        cmocka_unit_test_setup_teardown(an_answer_is_acknowledged_when_the_engine_says_so, open_rig,
                                        close_rig),
        cmocka_unit_test_setup_teardown(a_refusal_of_the_engine_is_told, open_rig, close_rig),
        cmocka_unit_test_setup_teardown(who_leaves_before_the_reply_does_no_harm, open_rig,
                                        close_rig),
        cmocka_unit_test_setup_teardown(a_reader_is_given_the_newest_of_each_part, open_rig,
                                        close_rig),
        cmocka_unit_test_setup_teardown(who_does_not_read_costs_nothing_and_is_dropped, open_rig,
                                        close_rig),
        cmocka_unit_test_setup_teardown(connections_are_limited_and_the_page_still_comes, open_rig,
                                        close_rig),
        cmocka_unit_test_setup_teardown(who_says_nothing_or_little_is_dropped, open_rig, close_rig),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
