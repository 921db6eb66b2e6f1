/* The engine as a service: tells systemd when it is ready and that it makes progress, and asks for
 * no suspend while outputs are energised. Does nothing where systemd offers none of this. */
#ifndef PERDURE_ENGINE_SERVICE_H
#define PERDURE_ENGINE_SERVICE_H

#include <stdbool.h>
#include <stdint.h>

struct service;

struct service *service_open(void);
void service_close(struct service *service); /* says that it is stopping */

void service_ready(struct service *service);

/* The longest real time, in us, that may pass between two calls of service_progress; 0: no
 * watchdog. */
int64_t service_patience(const struct service *service);

/* To be called only when loop, database and deadlines have all made progress. */
void service_progress(struct service *service);

/* Holds off suspend while `energised`; cheap when nothing changes. */
void service_energised(struct service *service, bool energised);

#endif
