/* The table of chemistries against facts from outside the project, and how limits meet. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "bench/channel.h"
#include "bench/profile.h"

static void knows_names_as_the_trade_writes_them(void **state)
{
    (void)state;
    assert_string_equal(profile_find("NiMH")->chemistry, "NiMH");
    assert_string_equal(profile_find("ni-mh")->chemistry, "NiMH");
    assert_string_equal(profile_find("NICD")->chemistry, "NiCd");
    assert_string_equal(profile_find("LiIon")->chemistry, "Li-ion");
    assert_string_equal(profile_find("LFP")->chemistry, "LiFePO4");
    assert_null(profile_find("unknown"));
    assert_null(profile_find(""));
    assert_null(profile_find(NULL));
}

/* "Lithium" names a primary cell as well as a rechargeable one: it must not be charged. */
static void takes_a_doubtful_name_for_the_primary_cell(void **state)
{
    (void)state;
    assert_false(profile_find("lithium")->rechargeable);
    assert_true(profile_find("lithium-ion")->rechargeable);
}

static void primary_cells_are_known_and_never_charged(void **state)
{
    const char *const names[] = {"alkaline", "zinc-carbon", "lithium primary", "LiFeS2"};
    (void)state;
    for (size_t i = 0; i < sizeof(names) / sizeof(names[0]); i++) {
        const struct profile *profile = profile_find(names[i]);
        assert_non_null(profile);
        assert_false(profile->rechargeable);
        assert_non_null(strstr(profile->why_not, "charged"));
        assert_true(profile_limits(profile, 7200).charge_current_most == 0);
    }
}

/* IEC 61951-2 and 61951-1, as quoted by texts that follow them and from memory: 1.2 V nominal,
 * discharged at 0.2 It to 1.0 V, charged at 0.1 It for 16 h (1.6 times the rated capacity). */
static void nickel_cells_follow_their_standards(void **state)
{
    const char *const names[] = {"NiMH", "NiCd"};
    (void)state;
    for (size_t i = 0; i < 2; i++) {
        const struct profile *profile = profile_find(names[i]);
        assert_true(profile->nominal_voltage == 1.2);
        assert_true(profile->end_voltage == 1.0);
        assert_true(profile->backstop_slow == 0.1 * 16);
        assert_true(profile->backstop_charge <=
                    1.2); /* common practice, no source: 120 % at most */
        assert_true(profile->limits.voltage_least == 0);
        /* End of charge at 1 It is 1.50 to 1.60 V (handbook values, from memory): well clear. */
        assert_true(profile->limits.voltage_most > 1.65);
        /* Temperature cut-off 45 to 55 degC (handbook values, from memory). */
        assert_in_range((int)profile->limits.charge_temperature_most, 45, 55);
    }
}

/* IEC 62133-2's principles, from memory: 4.20 +- 0.05 V a cell, none charged below 0 degC or above
 * 45 degC, none that is found under about 2 V. */
static void lithium_ion_cells_are_held_in_their_window(void **state)
{
    const struct profile *profile = profile_find("Li-ion");
    (void)state;
    assert_true(profile->charge_ceiling == 4.20);
    assert_true(profile->limits.voltage_most <= 4.25);
    assert_true(profile->limits.charge_temperature_least == 0);
    assert_true(profile->limits.charge_temperature_most == 45);
    assert_true(profile->present_least >= 2.0);
    assert_true(profile->limits.voltage_least >= 2.5 && profile->limits.voltage_least <= 3.0);
    assert_true(profile->end_voltage > profile->limits.voltage_least);
    /* 3.60 to 3.65 V for the iron phosphate kind. */
    assert_true(profile_find("LFP")->charge_ceiling <= 3.65);
}

static void every_profile_is_coherent(void **state)
{
    int count = 0;
    (void)state;
    for (const struct profile *p; (p = profile_at(count)) != NULL; count++) {
        assert_ptr_equal(profile_find(p->chemistry), p);
        assert_true(p->limits.voltage_least < p->end_voltage);
        assert_true(p->end_voltage < p->nominal_voltage);
        assert_true(p->nominal_voltage < p->limits.voltage_most);
        assert_true(p->present_least < p->end_voltage);
        assert_true(isnan(p->charge_ceiling) || p->charge_ceiling < p->limits.voltage_most);
        assert_true(p->rechargeable == (p->why_not == NULL));
        assert_true(!p->rechargeable || (p->backstop_time >= 1 && p->backstop_charge >= 1));
    }
    assert_true(count >= 7);
    assert_null(profile_at(count));
    assert_null(profile_at(-1));
}

/* IEC 61434: It [A] is the rated capacity [Ah] over 1 h. */
static void rates_become_amperes(void **state)
{
    const struct profile *profile = profile_find("NiMH");
    struct limits limits = profile_limits(profile, 2.0 * 3600);
    (void)state;
    assert_true(limits.charge_current_most == 2.0 * profile->charge_rate_most);
    assert_true(limits.discharge_current_most == 2.0 * profile->discharge_rate_most);
    assert_true(isnan(profile_limits(profile, 0).charge_current_most));
}

static void the_tighter_limit_wins(void **state)
{
    struct limits a = LIMITS_NONE, b = LIMITS_NONE, met;
    (void)state;
    a.voltage_least = 1.0;
    b.voltage_least = 0.9;
    a.voltage_most = 4.2;
    b.voltage_most = 1.8;
    a.charge_current_most = 2;
    b.discharge_temperature_most = 60;
    a.reading_age_most = 5;
    b.reading_age_most = 2;
    met = limits_meet(&a, &b);
    assert_true(met.voltage_least == 1.0);
    assert_true(met.voltage_most == 1.8);
    assert_true(met.charge_current_most == 2);
    assert_true(met.discharge_temperature_most == 60);
    assert_true(met.reading_age_most == 2);
    assert_true(isnan(met.discharge_current_most));
    assert_true(isnan(met.charge_temperature_least));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(knows_names_as_the_trade_writes_them),
        cmocka_unit_test(takes_a_doubtful_name_for_the_primary_cell),
        cmocka_unit_test(primary_cells_are_known_and_never_charged),
        cmocka_unit_test(nickel_cells_follow_their_standards),
        cmocka_unit_test(lithium_ion_cells_are_held_in_their_window),
        cmocka_unit_test(every_profile_is_coherent),
        cmocka_unit_test(rates_become_amperes),
        cmocka_unit_test(the_tighter_limit_wins),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
