/* What may be typed as an answer, and what becomes of it. */
#include "support/cmocka_setup.h"

#include <string.h>

#include "engine/answer.h"

static const char milliamperehours[] =
    "{\"kind\":\"number\",\"unit\":\"mAh\",\"least\":0,\"most\":4000}";
static const char display[] = "{\"kind\":\"display\",\"needs\":[\"charge\"],\"rated_Ah\":2.0}";

/* It is noon of 2026-03-02 in UTC. */
static struct answer_clock at_noon = {NULL, 1772452800000000LL};

static json_t *taken(const char *expects, const char *typed)
{
    struct error error;
    json_t *answer = NULL;
    if (answer_read(expects, typed, &at_noon, &answer, &error))
        print_error("\"%s\": %s: %s\n", typed, error.what, error.why);
    assert_non_null(answer);
    return answer;
}

static void takes_number(const char *expects, const char *typed, double number)
{
    json_t *answer = taken(expects, typed);
    assert_near(json_number_value(answer), number, 1e-12);
    json_decref(answer);
}

/* Refused, with `word` in what is said about it. */
static void refuses(const char *expects, const char *typed, const char *word)
{
    struct error error;
    json_t *answer = NULL;
    char said[1600];
    assert_int_equal(answer_read(expects, typed, &at_noon, &answer, &error), ERROR_FAILED);
    assert_null(answer);
    snprintf(said, sizeof said, "%s: %s; %s", error.what, error.why, error.todo);
    if (!strstr(said, word))
        print_error("no \"%s\" in: %s\n", word, said);
    assert_non_null(strstr(said, word));
    assert_non_null(strstr(error.todo, "type "));
}

static void numbers_come_in_the_unit_that_was_asked_for(void **state)
{
    (void)state;
    takes_number(milliamperehours, "1875", 1875);
    takes_number(milliamperehours, " 1875 mAh\r\n", 1875);
    takes_number(milliamperehours, "1.875 Ah", 1875);
    takes_number("{\"kind\":\"number\"}", "-3.5", -3.5);
    refuses(milliamperehours, "1.9 V", "mAh");
    refuses(milliamperehours, "lots", "mAh");
    refuses(milliamperehours, "", "mAh");
    refuses(milliamperehours, "1,9 Ah", "comma");
    refuses(milliamperehours, "nan", "finite");
    refuses(milliamperehours, "-1", "range");
    refuses(milliamperehours, "4001", "4000 or less");
}

static void a_display_is_read_by_its_units(void **state)
{
    (void)state;
    json_t *answer = taken(display, "1875 mAh, 4 h 2 min, 1.0 V");
    assert_near(json_number_value(json_object_get(answer, "charge")), 1.875 * 3600, 1e-9);
    assert_near(json_number_value(json_object_get(answer, "time")), 4 * 3600 + 120, 1e-9);
    assert_near(json_number_value(json_object_get(answer, "voltage")), 1.0, 1e-12);
    json_decref(answer);
    refuses(display, "4 h 2 min", "charge is missing");
    refuses(display, "", "charge is missing");
    refuses(display, "1875", "unit is missing");
    refuses(display, "1,875 Ah", "behind a point");
    refuses(display, "1875 mAh, 1900 mAh", "twice");
    refuses(display, "18750 mAh", "0 Ah to 4 Ah"); /* a slipped digit on a cell of 2000 mAh */
    refuses(display, "-5 mAh", "plausible");
    refuses(display, "1875 mAh, 12 V", "plausible");
    refuses(display, "1875 mAh, 3 W", "no display");
}

static void ended_at(const char *expects, const char *typed, const char *expected)
{
    char text[40];
    json_t *answer = taken(expects, typed);
    utc_us at = json_integer_value(json_object_get(answer, "ended_us"));
    assert_string_equal(utc_format(at, text, sizeof text), expected);
    json_decref(answer);
}

/* It is one o'clock in Berlin, and was asked for at eleven. */
static void when_it_ended_is_typed_by_the_wall_clock(void **state)
{
    (void)state;
    static const char asked[] = "{\"kind\":\"display\",\"needs\":[\"charge\"],\"rated_Ah\":2.0,"
                                "\"asked_us\":1772445615000000}";
    struct error error;
    struct zone *berlin;
    assert_int_equal(zone_open(&berlin, "Europe/Berlin", &error), 0);
    at_noon.zone = berlin;
    ended_at(display, "1875 mAh, ended 12:30", "2026-03-02T11:30:00Z");
    ended_at(display, "1875 mAh, ended 14:30", "2026-03-01T13:30:00Z"); /* yesterday's */
    ended_at(display, "Ended 2026-02-28 08:00, 1875 mAh", "2026-02-28T07:00:00Z");
    ended_at(asked, "1875 mAh, ended 11:00", "2026-03-02T10:00:15Z"); /* to the minute */
    refuses(display, "1875 mAh, ended 2026-03-02 13:01", "still to come");
    refuses(asked, "1875 mAh, ended 10:59", "asked for after that, at 2026-03-02T11:00:15+01:00");
    refuses(display, "1875 mAh, ended soon", "soon");
    refuses(display, "1875 mAh, ended 25:00", "25:00");
    zone_close(berlin);
    at_noon.zone = NULL;
}

static void choices_and_done(void **state)
{
    (void)state;
    static const char choice[] = "{\"kind\":\"choice\",\"choices\":[\"leaks\",\"dry\"]}";
    json_t *answer = taken(choice, "Leaks");
    assert_string_equal(json_string_value(answer), "leaks");
    json_decref(answer);
    refuses(choice, "wet", "leaks, dry");
    assert_true(json_is_true(taken("{\"kind\":\"done\"}", "")));
    assert_true(json_is_true(taken("{\"kind\":\"done\"}", "Done")));
    refuses("{\"kind\":\"done\"}", "not yet", "done");
    answer = taken("{\"kind\":\"text\"}", "  a dent near the rim ");
    assert_string_equal(json_string_value(answer), "a dent near the rim");
    json_decref(answer);
}

static void a_label_is_the_one_that_is_expected(void **state)
{
    (void)state;
    static const char label[] = "{\"kind\":\"label\",\"label\":\"HER-07\",\"channel\":\"A1\"}";
    json_t *answer = taken(label, "her-07\r\n"); /* a scanner, and capitals do not count */
    assert_string_equal(json_string_value(answer), "HER-07");
    json_decref(answer);
    assert_true(json_is_true(taken(label, "Yes")));
    refuses(label, "KES-07", "KES-07 was given, and HER-07 belongs in A1");
    refuses(label, "HER-070", "HER-07 belongs in A1");
    refuses(label, "HER-07 HER-07", "HER-07 belongs in A1");
    refuses(label, "", "nothing was given");
    refuses(label, "no", "HER-07");
    char hint[200];
    assert_string_equal(answer_hint(label, hint, sizeof hint), "HER-07, typed or scanned, or yes");
}

static void a_voltage_is_judged_by_the_chemistry(void **state)
{
    (void)state;
    static const char volts[] =
        "{\"kind\":\"display\",\"needs\":[\"voltage\"],\"rated_Ah\":2.0,\"most_V\":1.9}";
    json_decref(taken(volts, "1.85 V"));
    refuses(volts, "1.95 V", "plausible");
    refuses(volts, "-1.2 V", "plausible");
    refuses(display, "1875 mAh, 5.1 V", "plausible");
}

static void hints_say_what_is_valid(void **state)
{
    (void)state;
    char hint[200];
    assert_string_equal(answer_hint(milliamperehours, hint, sizeof hint),
                        "a number in mAh, 0 or more, 4000 or less");
    assert_non_null(strstr(answer_hint(display, hint, sizeof hint), "1875 mAh"));
}

/* What a rehearsal takes for the answer. */
static void what_is_assumed(void **state)
{
    (void)state;
    static const struct {
        const char *expects, *assumed;
    } cases[] = {
        {"{\"kind\":\"choice\",\"choices\":[\"leaks\",\"dry\"]}", "\"leaks\""},
        {"{\"kind\":\"choice\",\"choices\":[]}", "null"},
        {"{\"kind\":\"number\",\"least\":5,\"most\":9}", "5.0"},
        {"{\"kind\":\"text\"}", "\"\""},
        {"{\"kind\":\"done\"}", "true"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        char *assumed = answer_assumed(cases[i].expects);
        assert_string_equal(assumed, cases[i].assumed);
        free(assumed);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(numbers_come_in_the_unit_that_was_asked_for),
        cmocka_unit_test(a_display_is_read_by_its_units),
        cmocka_unit_test(when_it_ended_is_typed_by_the_wall_clock),
        cmocka_unit_test(choices_and_done),
        cmocka_unit_test(a_label_is_the_one_that_is_expected),
        cmocka_unit_test(a_voltage_is_judged_by_the_chemistry),
        cmocka_unit_test(hints_say_what_is_valid),
        cmocka_unit_test(what_is_assumed),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
