/* One epoll loop for everything: terminals, sockets, signals. */
#ifndef EMULATOR_LOOP_H
#define EMULATOR_LOOP_H

#include <stdbool.h>
#include <stdint.h>
#include <sys/epoll.h>

/* Member of whatever has a descriptor; owned by it. `events` as epoll has them. */
struct watch {
    int fd;
    void (*ready)(struct watch *watch, uint32_t events);
};

#define LOOP_BATCH 256

struct loop {
    int epoll;
    struct epoll_event events[LOOP_BATCH];
    int count, at; /* of the batch under way */
};

/* These end the process when the system has no room: nothing an emulator could do then. */
void loop_open(struct loop *loop);
void loop_close(struct loop *loop);
void loop_watch(struct loop *loop, struct watch *watch, uint32_t events);
void loop_change(struct loop *loop, struct watch *watch, uint32_t events);
/* Also inside a turn: it is not called again. The descriptor is left open. */
void loop_unwatch(struct loop *loop, struct watch *watch);

/* Waits for at most so many milliseconds and calls what is ready. */
void loop_turn(struct loop *loop, int wait_ms);

int64_t monotonic_us(void);

#endif
