/* A watch taken out during a turn may still have an event in the batch: it is blanked. */
#include "loop.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <time.h>
#include <unistd.h>

static void must(int result, const char *what)
{
    if (result >= 0)
        return;
    perror(what);
    exit(1);
}

void loop_open(struct loop *loop)
{
    *loop = (struct loop){.epoll = epoll_create1(EPOLL_CLOEXEC)};
    must(loop->epoll, "emulator: epoll_create1");
}

void loop_close(struct loop *loop)
{
    close(loop->epoll);
}

void loop_watch(struct loop *loop, struct watch *watch, uint32_t events)
{
    struct epoll_event event = {.events = events, .data.ptr = watch};
    must(epoll_ctl(loop->epoll, EPOLL_CTL_ADD, watch->fd, &event), "emulator: epoll_ctl");
}

void loop_change(struct loop *loop, struct watch *watch, uint32_t events)
{
    struct epoll_event event = {.events = events, .data.ptr = watch};
    must(epoll_ctl(loop->epoll, EPOLL_CTL_MOD, watch->fd, &event), "emulator: epoll_ctl");
}

void loop_unwatch(struct loop *loop, struct watch *watch)
{
    must(epoll_ctl(loop->epoll, EPOLL_CTL_DEL, watch->fd, NULL), "emulator: epoll_ctl");
    for (int i = loop->at; i < loop->count; i++)
        if (loop->events[i].data.ptr == watch)
            loop->events[i].data.ptr = NULL;
}

void loop_turn(struct loop *loop, int wait_ms)
{
    loop->count = epoll_wait(loop->epoll, loop->events, LOOP_BATCH, wait_ms);
    if (loop->count < 0 && errno != EINTR)
        must(loop->count, "emulator: epoll_wait");
    for (loop->at = 0; loop->at < loop->count;) {
        const struct epoll_event *event = &loop->events[loop->at++];
        struct watch *watch = event->data.ptr;
        if (watch != NULL)
            watch->ready(watch, event->events);
    }
    loop->count = loop->at = 0;
}

int64_t monotonic_us(void)
{
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return now.tv_sec * 1000000LL + now.tv_nsec / 1000;
}
