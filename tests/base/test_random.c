/* The generator: published first outputs, the same again from the same seed, and the shape of what
 * is drawn. All seeds are fixed, so that a test that passes always passes. */
#include "support/cmocka_setup.h"

#include <math.h>
#include <string.h>

#include "base/random.h"

/* Outside check. xoshiro256** from the state 1, 2, 3, 4: the first value is 9 * rotl(5 * 2, 7) =
 * 11520 by hand; the others as used to test published implementations (from memory). */
static void gives_the_known_sequence(void **state)
{
    (void)state;
    struct random random = {{1, 2, 3, 4}};
    assert_true(random_bits(&random) == 11520);
    assert_true(random_bits(&random) == 0);
    assert_true(random_bits(&random) == 1509978240);
    assert_true(random_bits(&random) == 1215971899390074240);
}

/* Outside check. SplitMix64 from the seed 1234567, as published test values have it (from
 * memory). */
static void is_seeded_by_split_mix(void **state)
{
    (void)state;
    struct random random;
    random_seed(&random, 1234567);
    assert_true(random.state[0] == 6457827717110365317u);
    assert_true(random.state[1] == 3203168211198807973u);
    assert_true(random.state[2] == 9817491932198370423u);
    assert_true(random.state[3] == 4593380528125082431u);
}

static void the_same_seed_gives_the_same(void **state)
{
    (void)state;
    struct random a, b, c;
    random_seed(&a, 42);
    random_seed(&b, 42);
    random_seed(&c, 43);
    int different = 0;
    for (int i = 0; i < 1000; i++) {
        double x = random_normal(&a), y = random_normal(&b);
        assert_true(x == y);
        assert_true(random_range(&a, -5, 500) == random_range(&b, -5, 500));
        assert_true(random_unit(&a) == random_unit(&b));
        different += random_normal(&c) != x;
    }
    assert_int_equal(different, 1000);
}

static void units_are_even_over_0_to_1(void **state)
{
    (void)state;
    struct random random;
    random_seed(&random, 1);
    int n = 1000000, tenths[10] = {0};
    double sum = 0, squares = 0;
    for (int i = 0; i < n; i++) {
        double x = random_unit(&random);
        assert_true(x >= 0 && x < 1);
        sum += x;
        squares += x * x;
        tenths[(int)(10 * x)]++;
    }
    assert_near(sum / n, 0.5, 0.0015); /* five standard errors: 5 * 0.289 / 1000 */
    assert_near(squares / n, 1.0 / 3, 0.0015);
    for (int i = 0; i < 10; i++)
        assert_near(tenths[i], n / 10, 0.015); /* five standard deviations of 300 */
}

static void ranges_are_inclusive_and_even(void **state)
{
    (void)state;
    struct random random;
    random_seed(&random, 2);
    int counts[7] = {0};
    for (int i = 0; i < 700000; i++) {
        int64_t x = random_range(&random, -3, 3);
        assert_true(x >= -3 && x <= 3);
        counts[x + 3]++;
    }
    for (int i = 0; i < 7; i++)
        assert_near(counts[i], 100000, 0.015);
    assert_int_equal(random_range(&random, 5, 5), 5);
    assert_int_equal(random_range(&random, 5, 4), 5);
}

/* Where 2^64 is no multiple of the count, the remainder must not lean to the low end: with three
 * quarters of 2^64 as count, a plain modulo would hit the lowest third with probability 1/2. */
static void wide_ranges_are_even_too(void **state)
{
    (void)state;
    struct random random;
    random_seed(&random, 3);
    int64_t low = INT64_MIN, high = INT64_MAX / 2, third = INT64_MIN / 2;
    int n = 100000, lowest = 0, negative = 0;
    for (int i = 0; i < n; i++)
        lowest += random_range(&random, low, high) < third;
    assert_near((double)lowest / n, 1.0 / 3, 0.0075);
    for (int i = 0; i < n; i++)
        negative += random_range(&random, INT64_MIN, INT64_MAX) < 0;
    assert_near((double)negative / n, 0.5, 0.008);
}

/* Outside check. The normal distribution's moments (0, 1, 0, 3) and its shares within one to four
 * standard deviations, as every table has them: 68.269, 95.450, 99.730, 99.9937 %. The tolerances
 * are five standard errors. */
static void normals_have_the_normal_s_shape(void **state)
{
    (void)state;
    struct random random;
    random_seed(&random, 4);
    int n = 2000000, within[5] = {0};
    double moments[5] = {0};
    for (int i = 0; i < n; i++) {
        double x = random_normal(&random), power = 1;
        for (int k = 1; k <= 4; k++)
            moments[k] += power *= x;
        for (int k = 1; k <= 4; k++)
            within[k] += fabs(x) < k;
    }
    assert_near(moments[1] / n, 0, 5 / sqrt(n));
    assert_near(moments[2] / n, 1, 5 * sqrt(2.0 / n));
    assert_near(moments[3] / n, 0, 5 * sqrt(15.0 / n));
    assert_near(moments[4] / n, 3, 5 * sqrt(96.0 / n) / 3);
    static const double shares[] = {0, 0.682689492, 0.954499736, 0.997300204, 0.999936658};
    for (int k = 1; k <= 4; k++) {
        double error = 5 * sqrt(shares[k] * (1 - shares[k]) / n);
        assert_near((double)within[k] / n, shares[k], error);
    }
}

/* The first ones of a seed, as this program gave them once: an experiment's draws must not change
 * with a compiler, a machine or a tidied-up line. */
static void normals_never_change(void **state)
{
    (void)state;
    struct random random;
    random_seed(&random, 2026);
    static const double first[] = {0x1.489f37946d6d2p+0,  0x1.c9edb1a3f94f7p+0,
                                   -0x1.3ce5258da93e8p+0, -0x1.7d324ab530614p-3,
                                   0x1.44abcb86d722p-4,   0x1.36dfeb8692f42p+0};
    for (size_t i = 0; i < sizeof first / sizeof first[0]; i++)
        assert_true(random_normal(&random) == first[i]);
}

static void named_parts_have_seeds_of_their_own(void **state)
{
    (void)state;
    assert_true(seed_for(1, "KES-07") == seed_for(1, "KES-07"));
    uint64_t seeds[200];
    for (int i = 0; i < 200; i++) {
        char name[16];
        snprintf(name, sizeof name, "KES-%02d", i / 2);
        seeds[i] = seed_for((uint64_t)i % 2, name);
        for (int k = 0; k < i; k++)
            assert_true(seeds[k] != seeds[i]);
    }
    assert_true(seed_for(1, "") != seed_for(2, ""));
    assert_true(seed_for(1, "ab") != seed_for(1, "ba"));
    /* neighbouring seeds share about half of their bits, as unrelated numbers do */
    int shared = 0;
    for (int i = 1; i < 200; i++)
        shared += 64 - __builtin_popcountll(seeds[i] ^ seeds[i - 1]);
    assert_in_range(shared, 199 * 64 * 0.47, 199 * 64 * 0.53);
}

/* Moments of the sum of four uniforms, by arithmetic: mean 0, variance 1, excess kurtosis
 * -6/5/4. */
static void noise_has_the_moments_of_four_uniforms(void **state)
{
    (void)state;
    struct random random;
    random_seed(&random, 5);
    double sum = 0, squares = 0, fourth = 0, most = 0;
    const int count = 1000000;
    for (int i = 0; i < count; i++) {
        double x = random_noise(&random);
        sum += x;
        squares += x * x;
        fourth += x * x * x * x;
        most = x > most ? x : most;
    }
    assert_true(sum / count < 0.005 && sum / count > -0.005);
    assert_true(squares / count < 1.005 && squares / count > 0.995);
    assert_true(fourth / count < 2.70 + 0.02 && fourth / count > 2.70 - 0.02);
    assert_true(most > 3 && most < 3.47);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(noise_has_the_moments_of_four_uniforms),
        cmocka_unit_test(gives_the_known_sequence),
        cmocka_unit_test(is_seeded_by_split_mix),
        cmocka_unit_test(the_same_seed_gives_the_same),
        cmocka_unit_test(units_are_even_over_0_to_1),
        cmocka_unit_test(ranges_are_inclusive_and_even),
        cmocka_unit_test(wide_ranges_are_even_too),
        cmocka_unit_test(normals_have_the_normal_s_shape),
        cmocka_unit_test(normals_never_change),
        cmocka_unit_test(named_parts_have_seeds_of_their_own),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
