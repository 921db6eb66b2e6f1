/* TCP: a server of the test's own, on the loopback and on the same loop. */
#include <arpa/inet.h>
#include <netinet/in.h>
#include <sys/socket.h>

#include "rig.h"

struct server {
    struct rig *rig;
    uv_poll_t poll;
    int fd, port, accepted;
};

static void hear_plain(struct far *far, const char *line)
{
    if (strcmp(line, "SLOW?") == 0)
        far_say_later(far, 600, "9.99\n");
    else if (strcmp(line, "BYE?") == 0)
        far_hang_up(far);
    else
        far_say(far, strcmp(line, "NAME?") == 0 ? "NAME\n" : "1.25\n");
}

static void on_connection(uv_poll_t *poll, int status, int events)
{
    struct server *server = poll->data;
    (void)events;
    assert_int_equal(status, 0);
    int fd = accept(server->fd, NULL, NULL);
    assert_true(fd >= 0);
    far_hang_up(&server->rig->far);
    far_forget(&server->rig->far);
    far_begin(server->rig, fd);
    server->accepted++;
}

/* `port` 0: any that is free. */
static void serve(struct server *server, struct rig *rig, int port)
{
    struct sockaddr_in address = {.sin_family = AF_INET,
                                  .sin_port = htons((uint16_t)port),
                                  .sin_addr.s_addr = htonl(INADDR_LOOPBACK)};
    socklen_t size = sizeof address;
    const int on = 1;
    *server = (struct server){.rig = rig, .fd = socket(AF_INET, SOCK_STREAM, 0)};
    assert_true(server->fd >= 0);
    setsockopt(server->fd, SOL_SOCKET, SO_REUSEADDR, &on, sizeof on);
    assert_int_equal(bind(server->fd, (struct sockaddr *)&address, size), 0);
    assert_int_equal(listen(server->fd, 4), 0);
    assert_int_equal(getsockname(server->fd, (struct sockaddr *)&address, &size), 0);
    server->port = ntohs(address.sin_port);
    uv_poll_init(&rig->loop, &server->poll, server->fd);
    server->poll.data = server;
    uv_poll_start(&server->poll, UV_READABLE, on_connection);
    rig->spec.kind = LINK_TCP;
    rig->spec.path = "127.0.0.1";
    rig->spec.port = server->port;
    rig->far.hear = hear_plain;
}

static void stop_serving(struct server *server)
{
    uv_close((uv_handle_t *)&server->poll, NULL);
    close(server->fd);
}

static void test_question_and_late_answer(void **state)
{
    struct rig rig;
    struct server server;
    struct error error;
    (void)state;
    rig_begin(&rig);
    serve(&server, &rig, 0);
    assert_int_equal(rig_open(&rig, "NAME?\n", &error), 0);
    rig_until(&rig, rig.ups == 1, 2);
    assert_answer(rig_hear(&rig, "U?\n"), "1.25");
    assert_int_equal(rig_hear(&rig, "SLOW?\n")->status, LINK_TIMEOUT);
    assert_answer(rig_hear(&rig, "U?\n"), "1.25");
    rig_wait(&rig, 0.1);
    assert_answer(rig_hear(&rig, "U?\n"), "1.25");
    assert_int_equal(rig.downs, 0);
    stop_serving(&server);
    rig_end(&rig);
}

static void test_hang_up_and_return(void **state)
{
    struct rig rig;
    struct server server;
    struct error error;
    (void)state;
    rig_begin(&rig);
    serve(&server, &rig, 0);
    assert_int_equal(rig_open(&rig, "NAME?\n", &error), 0);
    rig_until(&rig, rig.ups == 1, 2);
    rig_ask(&rig, "BYE?\n", LINK_LINE);
    rig_ask(&rig, "U?\n", LINK_LINE);
    rig_until(&rig, rig.answered == 2, 0.45);
    assert_string_equal(rig.order, "udaa");
    assert_int_equal(rig.answers[0].status, LINK_HANGUP);
    assert_int_equal(rig.answers[1].status, LINK_HANGUP);
    rig_until(&rig, rig.ups == 2, 2);
    assert_int_equal(server.accepted, 2);
    assert_answer(rig_hear(&rig, "U?\n"), "1.25");
    stop_serving(&server);
    rig_end(&rig);
}

static void test_refused_then_there(void **state)
{
    struct rig rig;
    struct server server;
    struct error error;
    (void)state;
    rig_begin(&rig);
    serve(&server, &rig, 0);
    stop_serving(&server);
    assert_int_equal(rig_open(&rig, NULL, &error), 0);
    rig_until(&rig, rig.downs == 1, 2);
    assert_non_null(strstr(rig.why.why, "refused"));
    assert_non_null(strstr(rig.why.what, "127.0.0.1 port"));
    rig_wait(&rig, 0.35);
    serve(&server, &rig, server.port);
    rig_until(&rig, rig.ups == 1, 3);
    assert_int_equal(rig.downs, 1);
    assert_answer(rig_hear(&rig, "U?\n"), "1.25");
    stop_serving(&server);
    rig_end(&rig);
}

static void test_second_opener_is_refused(void **state)
{
    struct rig rig, second;
    struct server server;
    struct error error;
    (void)state;
    rig_begin(&rig);
    serve(&server, &rig, 0);
    assert_int_equal(rig_open(&rig, NULL, &error), 0);
    rig_until(&rig, rig.ups == 1, 2);
    rig_begin(&second);
    second.spec = rig.spec;
    second.spec.path = "127.0.0.1"; /* the same, by another name */
    assert_int_equal(rig_open(&second, NULL, &error), 0);
    rig_until(&second, second.downs == 1, 1);
    assert_non_null(strstr(second.why.why, "in use"));
    assert_int_equal(server.accepted, 1);
    rig_end(&second);
    stop_serving(&server);
    rig_end(&rig);
}

/* A host that takes no notice: the connection is given up after the patience. 192.0.2.0/24 is set
 * aside for documentation (RFC 5737); where the network answers for it at once, that will do
 * too. */
static void test_no_answer_from_host(void **state)
{
    struct rig rig;
    struct error error;
    (void)state;
    rig_begin(&rig);
    rig.spec.kind = LINK_TCP;
    rig.spec.path = "192.0.2.1";
    rig.spec.port = 9;
    assert_int_equal(rig_open(&rig, NULL, &error), 0);
    rig_until(&rig, rig.downs == 1 || rig.ups == 1, 1);
    rig_end(&rig);
}

static void test_close_during_lookup(void **state)
{
    struct rig rig;
    struct error error;
    (void)state;
    rig_begin(&rig);
    rig.spec.kind = LINK_TCP;
    rig.spec.path = "127.0.0.1";
    rig.spec.port = 1;
    assert_int_equal(rig_open(&rig, NULL, &error), 0);
    uv_run(&rig.loop, UV_RUN_NOWAIT); /* the look-up begins */
    rig_end(&rig);
    assert_int_equal(rig.ups, 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_question_and_late_answer),
        cmocka_unit_test(test_hang_up_and_return),
        cmocka_unit_test(test_refused_then_there),
        cmocka_unit_test(test_second_opener_is_refused),
        cmocka_unit_test(test_no_answer_from_host),
        cmocka_unit_test(test_close_during_lookup),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
