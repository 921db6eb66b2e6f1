/* Who is let in: addresses, tokens, hosts, origins; and whoever tries to look like one of them. */
#include "support/cmocka_setup.h"

#include <arpa/inet.h>
#include <netinet/in.h>
#include <string.h>

#include "page/gate.h"

static int address(const char *text, bool open, bool *loopback)
{
    struct sockaddr_storage out;
    struct error error;
    error_clear(&error);
    int code = gate_address(text, open, &out, loopback, &error);
    assert_int_equal(code != 0, error.todo[0] != '\0');
    return code;
}

static void loopback_is_all_that_goes_unasked(void **state)
{
    (void)state;
    bool loopback = false;
    static const char *const here[] = {"127.0.0.1:0", "127.0.0.1:65535", "127.9.9.9:80",
                                       "[::1]:8080", "localhost:8080"};
    for (size_t i = 0; i < sizeof here / sizeof *here; i++) {
        assert_int_equal(address(here[i], false, &loopback), 0);
        assert_true(loopback);
    }
    static const char *const elsewhere[] = {"0.0.0.0:8080", "192.0.2.7:80", "[::]:80",
                                            "[2001:db8::1]:80", "128.0.0.1:80"};
    for (size_t i = 0; i < sizeof elsewhere / sizeof *elsewhere; i++) {
        assert_int_equal(address(elsewhere[i], false, &loopback), ERROR_USAGE);
        assert_int_equal(address(elsewhere[i], true, &loopback), 0);
        assert_false(loopback);
    }
}

static void what_is_no_address_is_refused(void **state)
{
    (void)state;
    bool loopback;
    static const char *const wrong[] = {
        "",
        "8080",
        ":8080",
        "127.0.0.1",
        "127.0.0.1:",
        "127.0.0.1:x",
        "127.0.0.1:-1",
        "127.0.0.1:65536",
        "127.0.0.1:123456",
        "127.0.0.1:80 ",
        "bench.example:80",
        "::1:80",
        "[::1]",
        "[::1]80",
        "[127.0.0.1]:80",
        "[]:80",
        "[::1:80",
        "127.1:80",
        "0x7f000001:80",
        "2130706433:80",
        "a-name-that-is-far-too-long-to-be-an-address-of-any-kind-at-all-by-any-measure:80"};
    for (size_t i = 0; i < sizeof wrong / sizeof *wrong; i++)
        assert_int_equal(address(wrong[i], true, &loopback), ERROR_USAGE);
}

static void a_port_is_kept(void **state)
{
    (void)state;
    struct sockaddr_storage out;
    struct error error;
    bool loopback;
    assert_int_equal(gate_address("127.0.0.1:8731", false, &out, &loopback, &error), 0);
    assert_int_equal(ntohs(((struct sockaddr_in *)&out)->sin_port), 8731);
    assert_int_equal(gate_address("[::1]:8732", false, &out, &loopback, &error), 0);
    assert_int_equal(ntohs(((struct sockaddr_in6 *)&out)->sin6_port), 8732);
}

static void tokens_are_long_and_never_the_same(void **state)
{
    (void)state;
    char one[TOKEN_DIGITS + 1], two[TOKEN_DIGITS + 1];
    struct error error;
    assert_int_equal(gate_make_token(one, &error), 0);
    assert_int_equal(gate_make_token(two, &error), 0);
    assert_int_equal(strlen(one), TOKEN_DIGITS);
    assert_int_equal(strspn(one, "0123456789abcdef"), TOKEN_DIGITS);
    assert_string_not_equal(one, two);
}

static void only_the_whole_token_fits(void **state)
{
    (void)state;
    struct gate gate = {.port = 80};
    struct error error;
    char text[200];
    assert_false(gate_token_fits(&gate, "Bearer ")); /* no token was made */
    memset(text, 0, sizeof text);
    assert_int_equal(gate_make_token(gate.token, &error), 0);
    snprintf(text, sizeof text, "Bearer %s", gate.token);
    assert_true(gate_token_fits(&gate, text));
    snprintf(text, sizeof text, "bearer %s", gate.token); /* the scheme's case is free, RFC 9110 */
    assert_true(gate_token_fits(&gate, text));
    assert_false(gate_token_fits(&gate, NULL));
    assert_false(gate_token_fits(&gate, ""));
    assert_false(gate_token_fits(&gate, "Bearer"));
    assert_false(gate_token_fits(&gate, gate.token));
    snprintf(text, sizeof text, "Basic %s", gate.token);
    assert_false(gate_token_fits(&gate, text));
    snprintf(text, sizeof text, "Bearer %s0", gate.token);
    assert_false(gate_token_fits(&gate, text));
    snprintf(text, sizeof text, "Bearer %.63s", gate.token);
    assert_false(gate_token_fits(&gate, text));
    for (size_t i = 0; i < TOKEN_DIGITS; i++) {
        snprintf(text, sizeof text, "Bearer %s", gate.token);
        text[7 + i] = text[7 + i] == '0' ? '1' : '0';
        assert_false(gate_token_fits(&gate, text));
    }
}

static void a_host_is_one_of_ours(void **state)
{
    (void)state;
    struct gate gate = {.port = 8080};
    assert_true(gate_host_fits(&gate, "127.0.0.1:8080"));
    assert_true(gate_host_fits(&gate, "localhost:8080"));
    assert_true(gate_host_fits(&gate, "LocalHost:8080"));
    assert_true(gate_host_fits(&gate, "[::1]:8080"));
    static const char *const wrong[] = {"",
                                        "127.0.0.1",
                                        "127.0.0.1:80",
                                        "127.0.0.1:8081",
                                        "localhost",
                                        "bench.example:8080",
                                        "127.0.0.1.example:8080",
                                        "127.0.0.1:8080.example",
                                        "localhost.:8080",
                                        "127.0.0.1:08080 ",
                                        "[::1]",
                                        "[::2]:8080",
                                        "::1:8080",
                                        "[localhost]:8080",
                                        "localhost:8080:8080",
                                        "user@localhost:8080",
                                        "127.0.0.1:8080,127.0.0.1:8080",
                                        "192.0.2.7:8080"};
    for (size_t i = 0; i < sizeof wrong / sizeof *wrong; i++)
        assert_false(gate_host_fits(&gate, wrong[i]));
    assert_false(gate_host_fits(&gate, NULL));
    gate.port = 80; /* which a browser leaves out */
    assert_true(gate_host_fits(&gate, "localhost"));
    assert_true(gate_host_fits(&gate, "[::1]"));
}

static void on_a_network_a_name_is_still_no_host(void **state)
{
    (void)state;
    struct gate gate = {.port = 8080, .open = true};
    assert_true(gate_host_fits(&gate, "192.0.2.7:8080"));
    assert_true(gate_host_fits(&gate, "[2001:db8::1]:8080"));
    assert_false(gate_host_fits(&gate, "192.0.2.7:80"));
    assert_false(gate_host_fits(&gate, "bench.example:8080"));
    assert_false(gate_host_fits(&gate, "[192.0.2.7]:8080"));
}

static void an_origin_is_the_host_itself(void **state)
{
    (void)state;
    const char *host = "127.0.0.1:8080";
    assert_true(gate_origin_fits(NULL, host));
    assert_true(gate_origin_fits("http://127.0.0.1:8080", host));
    static const char *const wrong[] = {"",
                                        "null",
                                        "http://",
                                        "https://127.0.0.1:8080",
                                        "http://127.0.0.1",
                                        "http://localhost:8080",
                                        "http://127.0.0.1:8080/",
                                        "http://127.0.0.1:8080.example",
                                        "http://evil.example",
                                        "http://evil.example#http://127.0.0.1:8080"};
    for (size_t i = 0; i < sizeof wrong / sizeof *wrong; i++)
        assert_false(gate_origin_fits(wrong[i], host));
    assert_false(gate_origin_fits("http://127.0.0.1:8080", NULL));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(loopback_is_all_that_goes_unasked),
        cmocka_unit_test(what_is_no_address_is_refused),
        cmocka_unit_test(a_port_is_kept),
        cmocka_unit_test(tokens_are_long_and_never_the_same),
        cmocka_unit_test(only_the_whole_token_fits),
        cmocka_unit_test(a_host_is_one_of_ours),
        cmocka_unit_test(on_a_network_a_name_is_still_no_host),
        cmocka_unit_test(an_origin_is_the_host_itself),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
