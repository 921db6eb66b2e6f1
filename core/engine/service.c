/* systemd's readiness, watchdog and inhibitor lock, by libsystemd. */
#include "engine/service.h"

#include <fcntl.h>
#include <stdlib.h>
#include <systemd/sd-bus.h>
#include <systemd/sd-daemon.h>
#include <unistd.h>

#include "base/text.h"

struct service {
    bool watched;        /* started by systemd: $NOTIFY_SOCKET is set */
    int64_t patience_us; /* 0: no watchdog */
    int inhibitor;       /* the lock is held while this stays open; -1: not held */
    bool cannot_inhibit; /* tried, and this machine offers none */
};

struct service *service_open(void)
{
    struct service *service = xcalloc(1, sizeof *service);
    uint64_t interval = 0;
    service->inhibitor = -1;
    if (sd_watchdog_enabled(0, &interval) > 0)
        service->patience_us = (int64_t)interval / 2; /* half, as sd_watchdog_enabled(3) advises */
    return service;
}

void service_ready(struct service *service)
{
    service->watched = sd_notify(0, "READY=1") > 0;
}

int64_t service_patience(const struct service *service)
{
    return service->patience_us;
}

void service_progress(struct service *service)
{
    if (service->patience_us)
        sd_notify(0, "WATCHDOG=1");
}

static int take_lock(void)
{
    sd_bus *bus = NULL;
    sd_bus_message *reply = NULL;
    sd_bus_error failure = SD_BUS_ERROR_NULL;
    int fd = -1, held = -1;
    if (sd_bus_open_system(&bus) >= 0 &&
        sd_bus_call_method(bus, "org.freedesktop.login1", "/org/freedesktop/login1",
                           "org.freedesktop.login1.Manager", "Inhibit", &failure, &reply, "ssss",
                           "sleep", "Perdure", "a cell is being charged or discharged",
                           "block") >= 0 &&
        sd_bus_message_read(reply, "h", &fd) >= 0)
        held = fcntl(fd, F_DUPFD_CLOEXEC, 3); /* the message closes its own */
    sd_bus_error_free(&failure);
    sd_bus_message_unref(reply);
    sd_bus_unref(bus);
    return held;
}

void service_energised(struct service *service, bool energised)
{
    if (!energised && service->inhibitor >= 0) {
        close(service->inhibitor);
        service->inhibitor = -1;
    } else if (energised && service->inhibitor < 0 && !service->cannot_inhibit) {
        service->inhibitor = take_lock();
        service->cannot_inhibit = service->inhibitor < 0;
    }
}

void service_close(struct service *service)
{
    if (!service)
        return;
    if (service->watched)
        sd_notify(0, "STOPPING=1");
    service_energised(service, false);
    free(service);
}
