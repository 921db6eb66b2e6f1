/* What systemd hears: ready, progress, stopping; nothing where nobody listens. */
#include "support/cmocka_setup.h"

#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>

#include "engine/service.h"

static int listener;
static char path[64];

static int listen_as_systemd(void **state)
{
    (void)state;
    struct sockaddr_un address = {.sun_family = AF_UNIX};
    snprintf(path, sizeof path, "/tmp/perdure-notify-%d", (int)getpid());
    strcpy(address.sun_path, path);
    unlink(path);
    listener = socket(AF_UNIX, SOCK_DGRAM | SOCK_NONBLOCK, 0);
    assert_int_equal(bind(listener, (struct sockaddr *)&address, sizeof address), 0);
    setenv("NOTIFY_SOCKET", path, 1);
    setenv("WATCHDOG_USEC", "30000000", 1);
    char pid[16];
    snprintf(pid, sizeof pid, "%d", (int)getpid());
    setenv("WATCHDOG_PID", pid, 1);
    return 0;
}

static int stop_listening(void **state)
{
    (void)state;
    close(listener);
    unlink(path);
    unsetenv("NOTIFY_SOCKET");
    unsetenv("WATCHDOG_USEC");
    unsetenv("WATCHDOG_PID");
    return 0;
}

static const char *heard(void)
{
    static char message[256];
    ssize_t count = recv(listener, message, sizeof message - 1, 0);
    message[count > 0 ? count : 0] = '\0';
    return message;
}

static void systemd_hears_what_happens(void **state)
{
    (void)state;
    struct service *service = service_open();
    assert_int_equal(service_patience(service), 15000000);
    assert_string_equal(heard(), "");
    service_ready(service);
    assert_string_equal(heard(), "READY=1");
    service_progress(service);
    assert_string_equal(heard(), "WATCHDOG=1");
    service_close(service);
    assert_string_equal(heard(), "STOPPING=1");
}

static void nobody_listening_is_no_harm(void **state)
{
    (void)state;
    unsetenv("NOTIFY_SOCKET");
    unsetenv("WATCHDOG_USEC");
    struct service *service = service_open();
    assert_int_equal(service_patience(service), 0);
    service_ready(service);
    service_progress(service);
    service_energised(service, true); /* most machines that test offer no lock: must not fail */
    service_energised(service, false);
    service_close(service);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(systemd_hears_what_happens, listen_as_systemd,
                                        stop_listening),
        cmocka_unit_test_setup_teardown(nobody_listening_is_no_harm, listen_as_systemd,
                                        stop_listening),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
