/* Readings that a driver declares: what is asked, what is made of the answers, what is refused. */
#include "bindings/talk.h"

/* A driver whose read is the list `questions`. */
static const char *text_with(const char *questions)
{
    static char text[2000];
    snprintf(text, sizeof text,
             "local function f() end\n"
             "return driver { title = 't', can = { 'source', 'meter' }, safe = 'OFF',\n"
             "settings = { gain = 2.0, ask = 'T?' },\n"
             "identify = function(self) return { model = 'm' } end,\n"
             "drive = function(self) if self:ask('GO?') ~= '1' then fail('stuck') end end,\n"
             "off = function(self) self:tell('OFF') end,\n"
             "read = { %s } }",
             questions);
    return text;
}

static struct driver *with(const char *questions)
{
    return open_text(text_with(questions), NULL);
}

/* An answer that must end so: what ends otherwise, such as a number that nobody asked for, is
 * none. */
static void test_ends(void **state)
{
    (void)state;
    static const struct {
        const char *answer;
        double value;
        const char *says;
    } cases[] = {
        {"V?;*OPC?=+1.25E+00;1", 1.25, NULL},
        {"V?;*OPC?=1.0101E+00", 0, "an answer does not end with ;1"},
        {"V?;*OPC?=1", 0, "an answer does not end with ;1"},
        {"V?;*OPC?=", 0, "an answer does not end with ;1"},
        {"V?;*OPC?=;1", 0, "is no number"},
        {"V?;*OPC?=1.25;1;1", 0, "is no number"},
    };
    struct driver *driver = with("{ ask = 'V?;*OPC?', ends = ';1', gives = 'voltage' },"
                                 "{ ask = 'N?', ends = '', gives = 'current' },"
                                 "{ ask = 'C?', ends = function(self) return '!' end,"
                                 "  gives = { 'temperature', '' } }");
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        const char *answers[] = {cases[i].answer, "N?=2", "C?=20,x!", NULL};
        struct task task = run_task(driver, DRIVER_READ, answers);
        if (cases[i].says) {
            assert_int_equal(task.status, DRIVER_FAILED);
            says(cases[i].answer, task.all, cases[i].says);
        } else {
            is_done(&task);
            assert_true(task.result.voltage == cases[i].value && task.result.current == 2 &&
                        task.result.temperature == 20);
        }
    }
    close_driver(driver);
}

/* The same rules for numbers as a driver's own: test_driver.c. */
static void test_numbers(void **state)
{
    (void)state;
    static const struct {
        const char *answer;
        double value;
        const char *says;
    } cases[] = {
        {"V?=42", 42, NULL},
        {"V?=+4.20", 4.2, NULL},
        {"V?=-4.20E-01", -0.42, NULL},
        {"V?=9.9E37", 0, "overload"},
        {"V?=-9.9E+37", 0, "overload"},
        {"V?=9.91E37", 0, "has no number"},
        {"V?=1.25 V", 0, "\"1.25 V\" is no number"},
        {"V?=1,25", 0, "\"1,25\" is no number"},
        {"V?=", 0, "\"\" is no number"},
        {"V?=nan", 0, "is no number"},
        {"V?=0x10", 0, "is no number"},
        {"V?=1e99", 0, "is no number"},
        {"V?=(hang-up)", 0, "the line went"},
        {"V?=(garbled)", 0, "what came is no answer"},
        {"X", 0, "no answer in time"},
    };
    struct driver *driver = with("{ ask = 'V?', gives = 'voltage' }");
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        const char *answers[] = {cases[i].answer, NULL};
        struct task task = run_task(driver, DRIVER_READ, answers);
        assert_string_equal(task.sent, "?V? ");
        if (cases[i].says) {
            assert_int_equal(task.status, DRIVER_FAILED);
            says(cases[i].answer, task.all, cases[i].says);
            says(cases[i].answer, task.all, "(sent \"V?\"");
            says(cases[i].answer, task.all, "in read of test.lua)");
        } else {
            is_done(&task);
            assert_true(task.result.voltage == cases[i].value);
            assert_true(isnan(task.result.current) && isnan(task.result.temperature));
        }
    }
    const char *what[] = {"V?=hello", NULL};
    says("", run_task(driver, DRIVER_READ, what).all,
         "\"hello\" is no number (sent \"V?\", came \"hello\", in read of test.lua); see its "
         "manual");
    close_driver(driver);
}

/* What was garbled on its way may be better next time; what the instrument reports will not. */
static void test_worth_asking_again(void **state)
{
    (void)state;
    static const struct {
        const char *answer;
        enum error_code code;
    } cases[] = {
        {"V?=1.2#45", ERROR_LOST},  {"V?=1.25,1.25", ERROR_LOST}, {"V?=", ERROR_LOST},
        {"V?=9.9E37", ERROR_BENCH}, {"V?=9.91E37", ERROR_BENCH},
    };
    struct driver *driver = with("{ ask = 'V?', gives = 'voltage' }");
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        const char *answers[] = {cases[i].answer, NULL};
        struct task task = run_task(driver, DRIVER_READ, answers);
        assert_int_equal(task.status, DRIVER_FAILED);
        assert_int_equal(task.error.code, cases[i].code);
    }
    close_driver(driver);
}

static void test_values(void **state)
{
    (void)state;
    static const struct {
        const char *questions, *answers[3];
        double voltage, current, temperature;
        const char *says;
    } cases[] = {
        {"{ ask = 'V?', gives = 'voltage' }, { ask = 'I?', gives = 'current', times = -0.5 }",
         {"V?=1.5", "I?=4"},
         1.5,
         -2,
         NAN,
         NULL},
        {"{ ask = 'A?', gives = { 'temperature', '', 'voltage' } }",
         {"A?=21.5, ON ,1.25"},
         1.25,
         NAN,
         21.5,
         NULL},
        {"{ ask = 'A?', gives = { 'current', 'voltage' }, times = { -1, 0.001 } }",
         {"A?=2,1250"},
         1.25,
         -2,
         NAN,
         NULL},
        {"{ ask = 'A?', gives = { 'current', 'voltage' }, times = 10 }",
         {"A?=2,3"},
         30,
         20,
         NAN,
         NULL},
        {"{ ask = function(self) return self.settings.ask end, gives = 'temperature',"
         " times = function(self) return self.settings.gain end }",
         {"T?=4"},
         NAN,
         NAN,
         8,
         NULL},
        {"{ ask = 'T?', gives = 'temperature', least = -10, most = 50, times = 10 }",
         {"T?=5"},
         NAN,
         NAN,
         50,
         NULL},
        {"{ ask = 'T?', gives = 'temperature', least = -10, most = 50, times = 10 }",
         {"T?=5.1"},
         0,
         0,
         0,
         "it tells 51 degC, which is not within -10 to 50 degC"},
        {"{ ask = 'T?', gives = 'temperature', least = -10 }",
         {"T?=-11"},
         0,
         0,
         0,
         "it tells -11 degC"},
        {"{ ask = 'A?', gives = { 'current', 'voltage' } }",
         {"A?=2"},
         0,
         0,
         0,
         "1 fields came and not 2"},
        {"{ ask = 'A?', gives = { 'current', 'voltage' } }",
         {"A?=2,3,4"},
         0,
         0,
         0,
         "3 fields came and not 2"},
        {"{ ask = 'A?', gives = { 'current', 'voltage' } }",
         {"A?=2,"},
         0,
         0,
         0,
         "\"\" is no number"},
        {"{ ask = 'A?', gives = { 'current', 'voltage' } }",
         {"A?=2,9.91E37"},
         0,
         0,
         0,
         "has no number"},
        {"{ ask = 'A?', gives = { 'current', 'voltage' } }",
         {"A?=2,\"3"},
         0,
         0,
         0,
         "1 fields came and not 2"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct driver *driver = with(cases[i].questions);
        const char *answers[4] = {NULL};
        memcpy(answers, cases[i].answers, sizeof cases[i].answers);
        struct task task = run_task(driver, DRIVER_READ, answers);
        const double is[] = {task.result.voltage, task.result.current, task.result.temperature};
        const double should[] = {cases[i].voltage, cases[i].current, cases[i].temperature};
        if (cases[i].says) {
            assert_int_equal(task.status, DRIVER_FAILED);
            says(cases[i].questions, task.all, cases[i].says);
        } else {
            is_done(&task);
            for (int k = 0; k < 3; k++)
                if (!(is[k] == should[k] || (isnan(is[k]) && isnan(should[k]))))
                    fail_msg("%s: %g and not %g", cases[i].questions, is[k], should[k]);
        }
        close_driver(driver);
    }
}

static void test_resistance(void **state)
{
    (void)state;
    struct driver *driver =
        with("{ ask = 'R?', gives = { 'resistance', 'voltage' }, times = { 0.001, 1 } }");
    const char *answers[] = {"R?=25,1.2", NULL};
    struct task task = run_task(driver, DRIVER_READ, answers);
    is_done(&task);
    assert_true(task.result.resistance == 25 * 0.001 && task.result.voltage == 1.2);
    close_driver(driver);
}

static struct task drive(struct driver *driver, const char *answer)
{
    const char *answers[] = {answer, NULL};
    return run_drive(driver, DRIVE_CURRENT, 1, 2, NAN, answers);
}

/* Whether the output is on is asked from a drive that was done until off, or until a failure. */
static void test_on(void **state)
{
    (void)state;
    const char *on[] = {"* V?=1", "* ON?=1", NULL}, *off[] = {"* V?=1", "* ON?=0", NULL};
    const char *neither[] = {"* V?=1", "* ON?=2", NULL};
    struct driver *driver =
        with("{ ask = 'V?', gives = 'voltage' }, { ask = 'ON?', on = 'it went off' }");
    assert_string_equal(run_task(driver, DRIVER_READ, on).sent, "?V? ");
    assert_int_equal(drive(driver, "GO?=1").status, DRIVER_DONE);
    struct task task = run_task(driver, DRIVER_READ, on);
    is_done(&task);
    assert_true(task.result.voltage == 1);
    assert_string_equal(task.sent, "?V? ?ON? ");
    task = run_task(driver, DRIVER_READ, off);
    assert_int_equal(task.status, DRIVER_FAILED);
    says("", task.all, "it went off (sent \"ON?\", came \"0\", in read of test.lua)");
    says("", task.all, "protection has tripped");
    assert_string_equal(run_task(driver, DRIVER_READ, off).sent, "?V? "); /* forgotten */

    assert_int_equal(drive(driver, "GO?=1").status, DRIVER_DONE);
    says("", run_task(driver, DRIVER_READ, neither).all, "\"2\" is none of 0, 1, OFF, ON");

    assert_int_equal(drive(driver, "GO?=1").status, DRIVER_DONE);
    task = run_task(driver, DRIVER_OFF, NULL);
    is_done(&task);
    assert_string_equal(run_task(driver, DRIVER_READ, off).sent, "?V? ");

    assert_int_equal(drive(driver, "GO?=0").status, DRIVER_FAILED);
    assert_string_equal(run_task(driver, DRIVER_READ, off).sent, "?V? ");
    close_driver(driver);
}

static void test_refused(void **state)
{
    (void)state;
    static const struct {
        const char *questions, *says;
    } cases[] = {
        {"", "read gives nothing"},
        {"5", "read holds a number"},
        {"{ gives = 'voltage' }", "asks nothing"},
        {"{ ask = 5, gives = 'voltage' }", "ask, in read, is no text"},
        {"{ ask = '', gives = 'voltage' }", "no line of 1 to"},
        {"{ ask = 'V?\\n', gives = 'voltage' }", "without its ending"},
        {"{ ask = 'V?' }", "has not just gives or on"},
        {"{ ask = 'V?', gives = 'voltage', on = 'x' }", "has not just gives or on"},
        {"{ ask = 'V?', on = 'x', times = 2 }", "has not just gives or on"},
        {"{ ask = 'V?', on = 5 }, { ask = 'V?', gives = 'voltage' }", "on, in read, is no text"},
        {"{ ask = 'V?', gives = 'voltag' }", "did you mean 'voltage'?"},
        {"{ ask = 'V?', gives = 5 }", "gives, in read, holds a number"},
        {"{ ask = 'V?', gives = {} }", "has not 1 to 16 names"},
        {"{ ask = 'V?', gives = { '' } }", "read gives nothing"},
        {"{ ask = 'V?', gives = 'voltage' }, { ask = 'W?', gives = 'voltage' }",
         "gives a voltage twice"},
        {"{ ask = 'V?', gives = 'voltage', times = 0 }", "times, in read, is 0"},
        {"{ ask = 'V?', gives = 'voltage', times = 1e13 }", "times, in read, is 1"},
        {"{ ask = 'V?', gives = 'voltage', times = 0/0 }", "times, in read, is no number"},
        {"{ ask = 'V?', gives = 'voltage', times = { 1, 2 } }", "2 factors for 1 names"},
        {"{ ask = 'V?', gives = 'voltage', least = '5' }", "least, in read, is no number"},
        {"{ ask = 'V?', gives = 'voltage', patience = 61 }", "a patience of 61"},
        {"{ ask = 'V?', gives = 'voltage', time = 1 }", "did you mean 'times'?"},
        {"{ ask = 'ON?', on = 'x' }", "read gives nothing"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct driver *driver = NULL;
        struct error error;
        char all[1400];
        const char *text = text_with(cases[i].questions);
        if (!lua_driver_open(&driver, "test.lua", text, strlen(text), NULL, &error))
            fail_msg("was read: %s", cases[i].questions);
        snprintf(all, sizeof all, "%s: %s; %s", error.what, error.why, error.todo);
        says(cases[i].questions, all, cases[i].says);
        assert_int_equal(error.code, ERROR_BENCH);
    }
    struct driver *driver = NULL;
    struct error error;
    const char *meter = "return driver { title = 't', can = { 'meter' },"
                        " identify = function(self) return { model = 'm' } end,"
                        " read = { { ask = 'V?', gives = 'voltage' }, { ask = 'O?', on = 'x' } } }";
    assert_int_equal(lua_driver_open(&driver, "test.lua", meter, strlen(meter), NULL, &error),
                     ERROR_BENCH);
    says("", error.why, "only a source or a sink can be on");
}

/* Given up in the middle, a reading begins anew, and with the first question. */
static void test_given_up(void **state)
{
    (void)state;
    struct driver *driver = with(
        "{ ask = 'V?', gives = 'voltage', patience = 2.5 }, { ask = 'I?', gives = 'current' }");
    struct driver_order order = {.task = DRIVER_READ};
    struct driver_call call;
    struct driver_result result = {NAN, NAN, NAN, NAN, {"", "", "", ""}};
    struct error error;
    struct link_reply reply = {.status = LINK_OK, .bytes = "1", .length = 1};
    assert_int_equal(driver->ops->begin(driver, &order, &call, &result, &error), DRIVER_AWAITS);
    assert_true(call.want == DRIVER_ASK && call.seconds == 2.5);
    assert_string_equal(call.bytes, "V?\n");
    assert_int_equal(driver->ops->resume(driver, &reply, &call, &result, &error), DRIVER_AWAITS);
    assert_true(call.seconds == 0);
    assert_string_equal(call.bytes, "I?\n");
    driver->ops->forget(driver);
    const char *answers[] = {"V?=1", "I?=2", NULL};
    struct task task = run_task(driver, DRIVER_READ, answers);
    is_done(&task);
    assert_string_equal(task.sent, "?V? ?I? ");
    close_driver(driver);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_ends),
        cmocka_unit_test(test_numbers),
        cmocka_unit_test(test_worth_asking_again),
        cmocka_unit_test(test_values),
        cmocka_unit_test(test_on),
        cmocka_unit_test(test_resistance),
        cmocka_unit_test(test_refused),
        cmocka_unit_test(test_given_up),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
