/* The deadline heap: order, ties, moves, and that what is set while firing waits. */
#include "support/cmocka_setup.h"

#include <stdlib.h>

#include "base/random.h"
#include "engine/deadline.h"

#define MANY 500

static struct deadlines deadlines;
static int fired[4 * MANY], fired_count;

struct item {
    struct deadline deadline;
    int number;
    bench_us again; /* set anew for this while firing; 0: not */
};

static void due(void *owner)
{
    struct item *item = owner;
    fired[fired_count++] = item->number;
    if (item->again) {
        bench_us when = item->again;
        item->again = 0;
        deadline_set(&deadlines, &item->deadline, when);
    }
}

static struct item *new_item(int number)
{
    struct item *item = calloc(1, sizeof *item);
    item->number = number;
    item->deadline = (struct deadline){.due = due, .owner = item};
    return item;
}

static int start(void **state)
{
    (void)state;
    fired_count = 0;
    deadlines = (struct deadlines){0};
    return 0;
}

static int end(void **state)
{
    (void)state;
    deadlines_free(&deadlines);
    return 0;
}

static void ties_fire_in_the_order_they_were_set(void **state)
{
    (void)state;
    struct item *items[MANY];
    for (int i = 0; i < MANY; i++) {
        items[i] = new_item(i);
        deadline_set(&deadlines, &items[i]->deadline, 7);
    }
    assert_int_equal(deadlines_next(&deadlines), 7);
    assert_int_equal(deadlines_fire(&deadlines, 6), 0);
    assert_int_equal(deadlines_fire(&deadlines, 7), MANY);
    for (int i = 0; i < MANY; i++) {
        assert_int_equal(fired[i], i);
        free(items[i]);
    }
    assert_int_equal(deadlines_next(&deadlines), BENCH_NEVER);
}

static int by_time(const void *a, const void *b)
{
    const struct item *x = *(struct item *const *)a, *y = *(struct item *const *)b;
    if (x->deadline.when != y->deadline.when)
        return x->deadline.when < y->deadline.when ? -1 : 1;
    return x->deadline.order < y->deadline.order ? -1 : 1;
}

/* Against sorting, with deadlines moved and cleared on the way. */
static void the_heap_agrees_with_a_sort(void **state)
{
    (void)state;
    struct random random;
    random_seed(&random, 11);
    struct item *items[MANY], *left[MANY];
    int count = 0;
    for (int i = 0; i < MANY; i++) {
        items[i] = new_item(i);
        deadline_set(&deadlines, &items[i]->deadline, random_range(&random, 0, 99));
    }
    for (int i = 0; i < MANY; i++) {
        if (i % 5 == 0)
            deadline_clear(&deadlines, &items[i]->deadline);
        else if (i % 3 == 0)
            deadline_set(&deadlines, &items[i]->deadline, random_range(&random, 0, 99));
        if (i % 5)
            left[count++] = items[i];
    }
    qsort(left, (size_t)count, sizeof *left, by_time);
    for (bench_us now = 0; now < 100; now++)
        deadlines_fire(&deadlines, now);
    assert_int_equal(fired_count, count);
    for (int i = 0; i < count; i++)
        assert_int_equal(fired[i], left[i]->number);
    for (int i = 0; i < MANY; i++)
        free(items[i]);
}

static void what_is_set_while_firing_waits_for_the_next_call(void **state)
{
    (void)state;
    struct item *item = new_item(1);
    item->again = 3; /* already past */
    deadline_set(&deadlines, &item->deadline, 5);
    assert_int_equal(deadlines_fire(&deadlines, 5), 1);
    assert_int_equal(deadlines_fire(&deadlines, 5), 1);
    assert_int_equal(deadlines_fire(&deadlines, 5), 0);
    free(item);
}

static void clearing_twice_is_no_harm(void **state)
{
    (void)state;
    struct item *item = new_item(1);
    deadline_set(&deadlines, &item->deadline, 5);
    deadline_clear(&deadlines, &item->deadline);
    deadline_clear(&deadlines, &item->deadline);
    assert_int_equal(deadlines_next(&deadlines), BENCH_NEVER);
    free(item);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(ties_fire_in_the_order_they_were_set, start, end),
        cmocka_unit_test_setup_teardown(the_heap_agrees_with_a_sort, start, end),
        cmocka_unit_test_setup_teardown(what_is_set_while_firing_waits_for_the_next_call, start,
                                        end),
        cmocka_unit_test_setup_teardown(clearing_twice_is_no_harm, start, end),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
