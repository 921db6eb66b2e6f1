/* Drivers in Lua: their words, what is wrong with one, what is remembered, what a message says. */
#include "bindings/talk.h"

/* A meter whose read is `body`. */
static struct driver *with_read(const char *body)
{
    char text[2000];
    snprintf(text, sizeof text,
             "return driver { title = 't', can = { 'meter' },\n"
             "identify = function(self) return identity(self:ask('*IDN?')) end,\n"
             "read = function(self, point) %s\nend }",
             body);
    return open_text(text, NULL);
}

/* --- the words ------------------------------------------------------------------------------- */

static void test_number(void **state)
{
    (void)state;
    /* NR1, NR2, NR3: IEEE 488.2, 8.7.2 to 8.7.4; infinity and not-a-number: SCPI-1999 vol. 1,
     * 7.2.1.4 and 7.2.1.5, as quoted by texts that follow them. */
    static const struct {
        const char *answer;
        double value;
        const char *says;
    } cases[] = {
        {"V?=42", 42, NULL},
        {"V?=+4.20", 4.2, NULL},
        {"V?=-4.20E-01", -0.42, NULL},
        {"V?=1.25e0", 1.25, NULL},
        {"V?=9.9E37", 0, "overload"},
        {"V?=-9.9E+37", 0, "overload"},
        {"V?=9.91E37", 0, "has no number"},
        {"V?=1.25 V", 0, "\"1.25 V\" is no number"},
        {"V?=1,25", 0, "\"1,25\" is no number"},
        {"V?=", 0, "\"\" is no number"},
        {"V?=nan", 0, "is no number"},
        {"V?=0x10", 0, "is no number"},
        {"V?=(hang-up)", 0, "the line went"},
        {"V?=(garbled)", 0, "what came is no answer"},
        {"X", 0, "no answer in time"},
    };
    struct driver *driver = with_read("return { voltage = number(self:ask('V?')) }");
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        const char *answers[] = {cases[i].answer, NULL};
        struct task task = run_task(driver, DRIVER_READ, answers);
        if (cases[i].says) {
            assert_int_equal(task.status, DRIVER_FAILED);
            says(cases[i].answer, task.all, cases[i].says);
            says(cases[i].answer, task.all, "sent \"V?\"");
            says(cases[i].answer, task.all, "in read of test.lua:3");
        } else {
            is_done(&task);
            assert_true(task.result.voltage == cases[i].value);
            assert_true(isnan(task.result.current) && isnan(task.result.temperature));
        }
    }
    close_driver(driver);
}

/* What a person needs: what was sent, what came, where, what to try. The instrument adds its
 * name. */
static void test_message(void **state)
{
    (void)state;
    struct driver *driver = with_read("return { voltage = number(self:ask('MEAS:VOLT?')) }");
    const char *answers[] = {"MEAS:VOLT?=hello", NULL};
    struct task task = run_task(driver, DRIVER_READ, answers);
    assert_string_equal(task.all,
                        "\"hello\" is no number (sent \"MEAS:VOLT?\", came \"hello\", in read of "
                        "test.lua:3); see its manual for what it answers");
    assert_string_equal(task.error.what, "");
    close_driver(driver);
}

static void test_asking(void **state)
{
    (void)state;
    static const struct {
        const char *body, *answers[6], *sent, *says;
        double voltage;
    } cases[] = {
        {"self:tell('A') self:wait(0.5) return { voltage = number(self:ask('B?', 2)) }",
         {"B?=1.5"},
         "!A ~0.5 ?B? ",
         NULL,
         1.5},
        {"return { voltage = #self:block('DATA?') }", {"DATA?=abcdef"}, "?DATA? ", NULL, 6},
        {"return { voltage = #self:errors() }",
         {"SYST:ERR?=0,\"No error\""},
         "?SYST:ERR? ",
         NULL,
         0},
        {"return { voltage = #self:errors('ERR?') }",
         {"ERR?=-222,\"Data out of range\"", "ERR?=-113,\"Undefined header\"",
          "ERR?=0,\"No error\""},
         "?ERR? ?ERR? ?ERR? ",
         NULL,
         49}, /* -222 "Data out of range", -113 "Undefined header" */
        {"self:tell('VOLT 99') self:check()",
         {"SYST:ERR?=-222,\"Data out of range\"", "SYST:ERR?=0,\"No error\""},
         "!VOLT 99 ?SYST:ERR? ?SYST:ERR? ",
         "it reported -222 \"Data out of range\" (sent \"VOLT 99\"",
         0},
        {"self:check()", {"SYST:ERR?=what"}, "?SYST:ERR? ", "the answer is no error message", 0},
        {"local ok, why = pcall(self.ask, self, 'B?') return { voltage = ok and 1 or 2 }",
         {NULL},
         "?B? ",
         NULL,
         2},
        {"return { voltage = boolean(self:ask('B?')) and 1 or 0 }", {"B?=ON"}, "?B? ", NULL, 1},
        {"return { voltage = boolean(self:ask('B?')) and 1 or 0 }",
         {"B?=2"},
         "?B? ",
         "\"2\" is none of 0, 1, OFF, ON",
         0},
        {"local f = fields(self:ask('B?'), 3) return { voltage = number(f[2]) }",
         {"B?=1, 2.5 ,3"},
         "?B? ",
         NULL,
         2.5},
        {"fields(self:ask('B?'), 3)", {"B?=1,2"}, "?B? ", "2 fields came and not 3", 0},
        {"return { voltage = #unquote(self:ask('B?')) }", {"B?=\"a\"\"b\""}, "?B? ", NULL, 3},
        {"self:tell('CURR ' .. nr3(0.5) .. ',' .. fixed(1.005, 1))",
         {NULL},
         "!CURR 5.0E-01,1.0 ",
         "",
         0},
        {"self:tell('DISP ' .. quote('3 \"C\" cells'))",
         {NULL},
         "!DISP \"3 \"\"C\"\" cells\" ",
         "",
         0},
        {"self:tell(quote('a\\0b'))", {NULL}, "", "'quote' cannot write that", 0},
        {"fail('it smokes', 'open a window')", {NULL}, "", "it smokes (in read of", 0},
        {"self:ask('A\\nB')", {NULL}, "", "'ask' was given no line", 0},
        {"self:ask('')", {NULL}, "", "'ask' was given no line", 0},
        {"self.ask('A?')", {NULL}, "", "write self:ask(\"...\")", 0},
        {"self:wait(-1)", {NULL}, "", "'wait' wants 0 to 60 seconds", 0},
        {"self:ask('A?', 1e9)", {NULL}, "", "is not within 0 to 60 s", 0},
        {"table.sort({2, 1}, function() self:ask('A?') end)",
         {NULL},
         "",
         "'ask' can only be used",
         0},
        {"while true do end", {NULL}, "", "worked too long", 0},
        {"return 5", {NULL}, "", "read gave no table", 0},
        {"return { voltge = 5 }", {NULL}, "", "did you mean 'voltage'?", 0},
        {"return { voltage = '5' }", {NULL}, "", "read gave a voltage that is no number", 0},
        {"return { voltage = 0/0 }", {NULL}, "", "read gave a voltage that is no number", 0},
        {"return { voltage = self.settings.gain.x }", {NULL}, "", "nil value", 0},
        {"record('n', 1)", {NULL}, "", "there is no 'record' here", 0},
        {"io.open('x')", {NULL}, "", "have no 'io'", 0},
        {"return { voltage = point }", {NULL}, "", NULL, 3},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct driver *driver = with_read(cases[i].body);
        const char *answers[7] = {NULL};
        memcpy(answers, cases[i].answers, sizeof cases[i].answers);
        struct task task = run_task(driver, DRIVER_READ, answers);
        if (!cases[i].says) {
            is_done(&task);
            if (task.result.voltage != cases[i].voltage)
                fail_msg("%s: %g", cases[i].body, task.result.voltage);
        } else if (task.status != DRIVER_FAILED) {
            fail_msg("did not fail: %s", cases[i].body);
        } else {
            says(cases[i].body, task.all, cases[i].says);
        }
        if (strcmp(task.sent, cases[i].sent) != 0)
            fail_msg("%s: sent \"%s\"", cases[i].body, task.sent);
        close_driver(driver);
    }
}

/* After a failure nothing is remembered; after success all is. */
static void test_memory(void **state)
{
    (void)state;
    struct driver *driver = with_read("self.count = (self.count or 0) + 1\n"
                                      "if self.count == 3 then number(self:ask('V?')) end\n"
                                      "return { voltage = self.count }");
    assert_true(run_task(driver, DRIVER_READ, NULL).result.voltage == 1);
    assert_true(run_task(driver, DRIVER_READ, NULL).result.voltage == 2);
    assert_int_equal(run_task(driver, DRIVER_READ, NULL).status, DRIVER_FAILED);
    assert_true(run_task(driver, DRIVER_READ, NULL).result.voltage == 1);
    /* A task that is given up in the middle: the same. */
    assert_true(run_task(driver, DRIVER_READ, NULL).result.voltage == 2);
    struct driver_order order = {.task = DRIVER_READ};
    struct driver_call call;
    struct driver_result result;
    struct error error;
    assert_int_equal(driver->ops->begin(driver, &order, &call, &result, &error), DRIVER_AWAITS);
    driver->ops->forget(driver);
    assert_true(run_task(driver, DRIVER_READ, NULL).result.voltage == 1);
    close_driver(driver);
}

/* --- definitions ----------------------------------------------------------------------------- */

#define IDENTIFY "identify = function(self) return { model = 'm' } end,"

static void test_definitions(void **state)
{
    (void)state;
    static const struct {
        const char *text, *settings, *says;
    } cases[] = {
        {"local x = 1", NULL, "the file does not return a driver"},
        {"return { title = 't' }", NULL, "the file does not return a driver"},
        {"return driver {}", NULL, "the driver has no title"},
        {"return driver { title = 't' }", NULL, "has no identify"},
        {"return driver { title = 't'," IDENTIFY " }", NULL,
         "does not say what its instrument can be"},
        {"return driver { title = 't'," IDENTIFY " can = {} }", NULL, "does not say"},
        {"return driver { title = 't'," IDENTIFY " can = { 'sorce' } }", NULL,
         "did you mean 'source'?"},
        {"return driver { title = 't'," IDENTIFY " can = { 'meter' } }", NULL,
         "a meter has no read"},
        {"return driver { title = 't'," IDENTIFY " can = { 'source' }, drive = print }", NULL,
         "there is no 'print' here"},
        {"local function f() end return driver { title = 't'," IDENTIFY
         " can = { 'source' }, drive = f, off = f, read = f }",
         NULL, "a source has no safe"},
        {"local function f() end return driver { title = 't'," IDENTIFY
         " can = { 'relay' }, connect = f, safe = 'x' }",
         NULL, "a relay has no disconnect"},
        {"return driver { title = 't'," IDENTIFY " can = { 'meter' }, read = 5 }", NULL,
         "read is a number"},
        {"local function f() end return driver { title = 't'," IDENTIFY
         " can = { 'meter' }, read = f, safe = 5 }",
         NULL, "safe is no text"},
        {"local function f() end return driver { title = 't'," IDENTIFY
         " can = { 'meter' }, read = f, ending = '' }",
         NULL, "the ending has not 1 or 2 bytes"},
        {"local function f() end return driver { title = 't'," IDENTIFY
         " can = { 'meter' }, read = f, sync = {} }",
         NULL, "sync asks nothing"},
        {"local function f() end return driver { title = 't'," IDENTIFY
         " can = { 'meter' }, reed = f }",
         NULL, "did you mean 'read'?"},
        {"local function f() end local d = driver { title = 't'," IDENTIFY
         " can = { 'meter' }, read = f } return driver { title = 'u'," IDENTIFY
         " can = { 'meter' }, read = f }",
         NULL, "a file defines one driver"},
        {"local function f() end return driver { title = 't'," IDENTIFY
         " can = { 'meter' }, read = f, settings = { gain = 1.0 } }",
         "{\"gian\":2.0}", "did you mean 'gain'?"},
        {"local function f() end return driver { title = 't'," IDENTIFY
         " can = { 'meter' }, read = f, settings = { gain = 1.0 } }",
         "{\"gain\":\"2\"}", "'gain' is a string and should be a number"},
        {"local function f() end return driver { title = 't', title = 'u'," IDENTIFY
         " can = { 'meter' }, read = f }",
         NULL, "'title' is named twice"},
        {"while true do end", NULL, "worked too long"},
        {"return driver { title = 't', = }", NULL, "unexpected symbol"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct driver *driver = NULL;
        struct error error;
        char all[1400];
        if (!lua_driver_open(&driver, "test.lua", cases[i].text, strlen(cases[i].text),
                             cases[i].settings, &error))
            fail_msg("was read: %s", cases[i].text);
        snprintf(all, sizeof all, "%s: %s; %s", error.what, error.why, error.todo);
        says(cases[i].text, all, cases[i].says);
        assert_int_equal(strncmp(error.what, "test.lua", 8), 0);
        assert_int_equal(error.code, ERROR_BENCH);
    }
}

static void test_facts(void **state)
{
    (void)state;
    struct driver *driver = open_text(
        "local function f() end\n"
        "return driver { title = 'A board', can = { 'relay', 'source', 'sink' },"
        " ending = '\\r\\n', connect = f, disconnect = f, off = f, drive = f, read = f,\n"
        "safe = function(self) return 'OFF ' .. self.settings.bank end,\n"
        "sync = { ask = 'ID', answer = 'B' }, settings = { bank = 1, label = 'x' }," IDENTIFY " }",
        "{\"bank\":7}");
    assert_string_equal(driver->title, "A board");
    assert_string_equal(driver->name, "test");
    assert_int_equal(driver->can, CAN_RELAY | CAN_SOURCE | CAN_SINK);
    assert_string_equal(driver->safe, "OFF 7\r\n");
    assert_string_equal(driver->sync, "ID\r\n");
    assert_string_equal(driver->sync_known, "B");
    struct task task = run_task(driver, DRIVER_IDENTIFY, NULL);
    is_done(&task);
    assert_string_equal(task.result.identity.model, "m");
    task = run_task(driver, DRIVER_PREPARE, NULL); /* has none: nothing to do */
    is_done(&task);
    close_driver(driver);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_number),      cmocka_unit_test(test_message),
        cmocka_unit_test(test_asking),      cmocka_unit_test(test_memory),
        cmocka_unit_test(test_definitions), cmocka_unit_test(test_facts),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
