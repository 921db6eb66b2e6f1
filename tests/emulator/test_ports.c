/* Terminals and TCP ports: paths, hanging up and coming back, who holds a line, many sets, the
 * pace. */
#include <sys/file.h>
#include <sys/ioctl.h>
#include <sys/stat.h>

#include "served.h"

static struct served served;

static void test_a_terminal_comes_back_as_another(void **state)
{
    static const char *const words[] = {"meter=pty:@/meter", NULL};
    char before[64] = "", after[64] = "", bytes[8];
    struct stat about;
    (void)state;
    served_start(&served, words);
    const char *path = served_path(&served, "meter");
    assert_true(readlink(path, before, sizeof before - 1) > 0);
    int fd = line_to(&served, "meter");
    query(fd, "*IDN?");
    order(&served, "meter-1 hangup");
    assert_int_equal(lstat(served_path(&served, "meter"), &about), -1);
    struct pollfd poller = {.fd = fd, .events = POLLIN};
    assert_int_equal(poll(&poller, 1, 1000), 1);
    assert_true(poller.revents & POLLHUP);
    assert_true(read(fd, bytes, sizeof bytes) <= 0);
    close(fd);
    order(&served, "meter-1 return");
    assert_true(readlink(served_path(&served, "meter"), after, sizeof after - 1) > 0);
    assert_string_not_equal(before, after);
    fd = line_to(&served, "meter");
    assert_string_equal(query(fd, "*IDN?"), "Saltmere Instruments,SM-1,0001,1.0");
    close(fd);
    /* By itself after a while. */
    order(&served, "meter-1 hangup 0.2");
    assert_int_equal(lstat(served_path(&served, "meter"), &about), -1);
    double begin = seconds_now();
    while (lstat(served_path(&served, "meter"), &about) != 0 && seconds_now() - begin < 3)
        usleep(5000);
    assert_true(seconds_now() - begin > 0.1 && seconds_now() - begin < 2);
    assert_int_equal(recorded(&served, "meter-1 hung-up"), 2);
    assert_int_equal(recorded(&served, "meter-1 returned"), 2);
    served_end(&served);
}

/* What it drives goes on while nobody can reach it. */
static void test_outputs_outlive_a_hang_up(void **state)
{
    static const char *const words[] = {"supply=tcp:0", NULL};
    char byte;
    (void)state;
    served_start(&served, words);
    int fd = connect_to(&served, "supply-1");
    assert_string_equal(query(fd, "OUTP ON;OUTP?"), "1");
    order(&served, "supply-1 hangup");
    assert_true(read(fd, &byte, 1) <= 0);
    close(fd);
    assert_int_equal(connect_to(&served, "supply-1"), -1);
    order(&served, "supply-1 return");
    fd = connect_to(&served, "supply-1");
    assert_string_equal(query(fd, "OUTP?"), "1");
    close(fd);
    served_end(&served);
}

/* A program that dies leaves no claim and no answer behind for the next one. */
static void test_a_terminal_is_released(void **state)
{
    static const char *const words[] = {"meter=pty:@/meter", NULL};
    (void)state;
    served_start(&served, words);
    int fd = line_to(&served, "meter"), waits = 0;
    assert_int_equal(ioctl(fd, TIOCEXCL), 0);
    say(fd, "*IDN?\n");
    struct pollfd poller = {.fd = fd, .events = POLLIN};
    assert_int_equal(poll(&poller, 1, 1000), 1);
    close(fd); /* with the answer unread */
    order(&served, "list");
    fd = line_to(&served, "meter");
    assert_true(fd >= 0);
    int exclusive = 1;
    while (ioctl(fd, TIOCGEXCL, &exclusive) == 0 && exclusive && waits++ < 100)
        usleep(10000);
    assert_int_equal(exclusive, 0);
    assert_string_equal(query(fd, "*OPC?"), "1");
    close(fd);
    served_end(&served);
}

static void test_several_connections(void **state)
{
    static const char *const words[] = {"meter=tcp:0", NULL};
    int fds[5];
    char byte;
    (void)state;
    served_start(&served, words);
    for (int i = 0; i < 5; i++)
        fds[i] = connect_to(&served, "meter-1");
    for (int i = 0; i < 4; i++)
        assert_string_equal(query(fds[i], "*OPC?"), "1");
    assert_true(read(fds[4], &byte, 1) <= 0); /* one too many */
    say(fds[0], "*ID");
    say(fds[1], "*OPC?\n"); /* each has its own messages */
    assert_string_equal(hear(fds[1], 1, 5), "1\n");
    say(fds[0], "N?\r\n");
    assert_string_equal(hear(fds[0], 1, 5), "Saltmere Instruments,SM-1,0001,1.0\n");
    for (int i = 0; i < 5; i++)
        close(fds[i]);
    served_end(&served);
}

/* SCPI -363 (from memory): a message without end is thrown away, and the next one is understood. */
static void test_a_message_that_is_too_long(void **state)
{
    static const char *const words[] = {"meter=tcp:0", NULL};
    char much[1001];
    (void)state;
    memset(much, 'A', 1000);
    much[1000] = '\0';
    served_start(&served, words);
    int fd = connect_to(&served, "meter-1");
    for (int i = 0; i < 10; i++)
        say(fd, much);
    say(fd, "\n");
    assert_string_equal(query(fd, "SYST:ERR?"), "-363,\"Input buffer overrun\"");
    assert_string_equal(query(fd, "SYST:ERR?"), "0,\"No error\"");
    close(fd);
    served_end(&served);
}

/* 200 sets of three: each has its own cell, and a shared board its own relays. */
static void test_many_sets(void **state)
{
    static const char *const words[] = {
        "--sets", "200", "supply=pty:@/s%", "load=pty:@/l%", "meter=pty:@/m%", "relay=pty:@/relay",
        NULL};
    char name[16];
    (void)state;
    served_start(&served, words);
    int relay = line_to(&served, "relay");
    assert_string_equal(query(relay, "CLOS (@7,200);CLOS:STAT?"), "(@7,200)");
    for (int i = 1; i <= 200; i++) {
        char want[64];
        snprintf(name, sizeof name, "s%d", i);
        int fd = line_to(&served, name);
        assert_true(fd >= 0);
        snprintf(want, sizeof want, "Saltmere Instruments,SP-1,%04d,1.0", i);
        assert_string_equal(query(fd, "*IDN?"), want);
        const char *amps = query(fd, "VOLT 1.6;CURR 0.5;OUTP ON;:MEAS:CURR?");
        assert_string_equal(amps, i == 7 || i == 200 ? "5.0E-01" : "0.0E+00");
        close(fd);
    }
    close(relay);
    served_end(&served);
}

/* A scanner joins one cell at a time to the meter that all share; two at once go on record. */
static void test_a_scanner(void **state)
{
    static const char *const words[] = {"--sets",
                                        "3",
                                        "supply=pty:@/s%",
                                        "meter=pty:@/meter",
                                        "scanner=pty:@/scanner",
                                        "--truth",
                                        "open_circuit=1.25V",
                                        NULL};
    (void)state;
    served_start(&served, words);
    int meter = line_to(&served, "meter"), scanner = line_to(&served, "scanner");
    int supply = line_to(&served, "s2");
    assert_string_equal(query(supply, "VOLT 2;CURR 1;OUTP ON;OUTP?"), "1");
    assert_string_equal(query(meter, "READ?"), "0.0E+00");
    assert_string_equal(query(scanner, "CLOS (@1);*OPC?"), "1");
    assert_string_equal(query(meter, "READ?"), "1.25E+00");
    assert_string_equal(query(scanner, "OPEN:ALL;:CLOS (@2);*OPC?"), "1");
    assert_string_equal(query(meter, "READ?"), "1.275E+00");
    assert_int_equal(recorded(&served, "conflict"), 0);
    assert_string_equal(query(scanner, "CLOS (@3);*OPC?"), "1");
    assert_int_equal(recorded(&served, "scanner-1 conflict 2 3"), 1);
    close(meter);
    close(scanner);
    close(supply);
    served_end(&served);
}

static double charge_of(const char *shown)
{
    const char *at = strstr(shown, "charge_Ah ");
    assert_non_null(at);
    return atof(at + strlen("charge_Ah "));
}

/* At 3600 cell seconds a second, 1 A for 0.5 s is 0.5 Ah; it begins and ends while it is told to.
 */
static void test_the_pace(void **state)
{
    static const char *const words[] = {"--speed",       "3600",       "--truth",
                                        "capacity=20Ah", "load=tcp:0", NULL};
    (void)state;
    served_start(&served, words);
    int fd = connect_to(&served, "load-1");
    double before = charge_of(try_order(&served, "cell-1 show"));
    double begin = seconds_now();
    assert_string_equal(query(fd, "CURR 1;INP ON;INP?"), "1");
    double is_on = seconds_now();
    usleep(500000);
    double still_on = seconds_now();
    assert_string_equal(query(fd, "INP OFF;INP?"), "0");
    double end = seconds_now();
    double drawn = before - charge_of(try_order(&served, "cell-1 show"));
    assert_true(drawn > still_on - is_on - 0.02 && drawn < end - begin + 0.02);
    close(fd);
    served_end(&served);
}

/* Cells live on in their file, and what was on is off when the power comes back. */
static void test_a_world_in_a_file(void **state)
{
    static const char world[] = "/tmp/emulator-world-XXXXXX";
    char path[sizeof world], option[] = "--world";
    const char *const words[] = {option, path, "--speed", "36000", "load=tcp:0", NULL};
    (void)state;
    strcpy(path, world);
    int fd = mkstemp(path);
    assert_true(fd >= 0);
    close(fd);
    served_start(&served, words);
    fd = connect_to(&served, "load-1");
    assert_string_equal(query(fd, "CURR 1;INP ON;INP?"), "1");
    usleep(50000);
    double begin = seconds_now();
    double left = charge_of(try_order(&served, "cell-1 show"));
    close(fd);
    served_end(&served);
    double took = seconds_now() - begin; /* at 10 Ah a second */
    served_start(&served, words);
    double again = charge_of(try_order(&served, "cell-1 show"));
    assert_true(left < 1.4 && again <= left && again > left - 10 * took - 0.1);
    fd = connect_to(&served, "load-1");
    assert_string_equal(query(fd, "INP?"), "0");
    close(fd);
    served_end(&served);
    unlink(path);
}

/* A file that is no link is not replaced. */
static void test_a_path_that_is_taken(void **state)
{
    char path[] = "/tmp/emulator-taken-XXXXXX", endpoint[64];
    (void)state;
    int fd = mkstemp(path), status;
    snprintf(endpoint, sizeof endpoint, "meter=pty:%s", path);
    pid_t pid = fork();
    if (pid == 0) {
        dup2(fd, 2);
        execl(EMULATOR, EMULATOR, "--for", "5", endpoint, (char *)NULL);
        _exit(127);
    }
    assert_int_equal(waitpid(pid, &status, 0), pid);
    assert_int_equal(WEXITSTATUS(status), 1);
    struct stat about;
    assert_int_equal(lstat(path, &about), 0);
    assert_true(S_ISREG(about.st_mode));
    close(fd);
    unlink(path);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_a_terminal_comes_back_as_another),
        cmocka_unit_test(test_outputs_outlive_a_hang_up),
        cmocka_unit_test(test_a_terminal_is_released),
        cmocka_unit_test(test_several_connections),
        cmocka_unit_test(test_a_message_that_is_too_long),
        cmocka_unit_test(test_many_sets),
        cmocka_unit_test(test_a_scanner),
        cmocka_unit_test(test_the_pace),
        cmocka_unit_test(test_a_world_in_a_file),
        cmocka_unit_test(test_a_path_that_is_taken),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
