/* Taking turns at a meter, joining it and parting from it. */
#include "bench/scan.h"

#include <stdlib.h>

static void yours(void *owner);

static void left(struct scan *scan)
{
    scan->place = SCAN_AWAY;
    turn_leave(scan->turn, &scan->wait);
    if (scan->closed) {
        free(scan);
    } else if (scan->wanted) {
        scan->wanted = false;
        scan_begin(scan);
    }
}

static void opened(void *owner, const struct driver_result *result, bench_us began, bench_us ended,
                   const struct error *failure)
{
    struct scan *scan = owner;
    (void)result, (void)began, (void)ended;
    if (failure) /* maybe still closed: the next must not join before all are seen to be open */
        instrument_restart(scan->scanner, failure);
    left(scan);
}

static void part(struct scan *scan)
{
    struct driver_order order = {.task = DRIVER_DISCONNECT, .point = scan->point};
    scan->place = SCAN_LEAVING;
    instrument_forget(scan->scanner, scan);
    if (instrument_ask(scan->scanner, &order, opened, scan, NULL))
        left(scan); /* it is down, and opens all when it comes up */
}

static void joined(void *owner, const struct driver_result *result, bench_us began, bench_us ended,
                   const struct error *failure)
{
    struct scan *scan = owner;
    (void)result, (void)began, (void)ended;
    if (failure)
        part(scan);
    else
        scan->place = SCAN_THERE;
    scan->there(scan->owner, failure);
}

static void yours(void *owner)
{
    struct scan *scan = owner;
    struct driver_order order = {.task = DRIVER_CONNECT, .point = scan->point};
    struct error failure;
    scan->place = SCAN_JOINING;
    if (instrument_ask(scan->scanner, &order, joined, scan, &failure)) {
        scan->place = SCAN_AWAY;
        turn_leave(scan->turn, &scan->wait);
        scan->there(scan->owner, &failure);
    }
}

void scan_begin(struct scan *scan)
{
    if (scan->place == SCAN_LEAVING) {
        scan->wanted = true;
        return;
    }
    scan->place = SCAN_WAITING;
    scan->wait.yours = yours;
    scan->wait.owner = scan;
    turn_take(scan->turn, &scan->wait);
}

void scan_end(struct scan *scan)
{
    scan->wanted = false;
    switch (scan->place) {
    case SCAN_AWAY:
    case SCAN_LEAVING: break;
    case SCAN_WAITING:
        scan->place = SCAN_AWAY;
        turn_leave(scan->turn, &scan->wait);
        break;
    case SCAN_JOINING:
    case SCAN_THERE: part(scan); break;
    }
}

void scan_close(struct scan *scan)
{
    scan_end(scan);
    if (scan->place == SCAN_LEAVING)
        scan->closed = true;
    else
        free(scan);
}
