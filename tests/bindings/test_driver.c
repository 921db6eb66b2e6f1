/* Drivers in Lua, without a line: tasks begun and resumed by hand, with answers from a list. */
#include "support/cmocka_setup.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "bindings/driver.h"

struct task {
    enum driver_status status;
    struct driver_result result;
    struct error error;
    char all[1400];  /* the whole message */
    char sent[2000]; /* what it asked '?', told '!' and waited '~', in order */
};

/* Answers: "LINE=ANSWER" each, ended by NULL; the first that fits is used up unless it begins with
 * '*'. A line without one gets no answer in time. */
static const char *answer_to(const char *line, const char **answers, bool *used)
{
    size_t length = strcspn(line, "\r\n");
    for (int i = 0; answers && answers[i]; i++) {
        const char *entry = answers[i];
        bool lasts = entry[0] == '*' && entry[1] == ' ';
        const char *key = lasts ? entry + 2 : entry;
        if (used[i] || strncmp(key, line, length) != 0 || key[length] != '=')
            continue;
        used[i] = !lasts;
        return key + length + 1;
    }
    return NULL;
}

static struct task run(struct driver *driver, const struct driver_order *order,
                       const char **answers)
{
    struct task task = {.result = {NAN, NAN, NAN, {"", "", "", ""}}};
    struct driver_call call;
    bool used[64] = {false};
    task.status = driver->ops->begin(driver, order, &call, &task.result, &task.error);
    for (int i = 0; task.status == DRIVER_AWAITS; i++) {
        struct link_reply reply = {.status = LINK_OK, .bytes = ""};
        size_t length = strlen(task.sent);
        assert_true(i < 200);
        if (call.want == DRIVER_WAIT) {
            snprintf(task.sent + length, sizeof task.sent - length, "~%g ", call.seconds);
            task.status = driver->ops->resume(driver, NULL, &call, &task.result, &task.error);
            continue;
        }
        assert_true(call.length == strlen(call.bytes));
        snprintf(task.sent + length, sizeof task.sent - length, "%c%.*s ",
                 call.want == DRIVER_TELL ? '!' : '?', (int)strcspn(call.bytes, "\r\n"),
                 call.bytes);
        if (call.want != DRIVER_TELL) {
            const char *answer = answer_to(call.bytes, answers, used);
            reply.bytes = answer ? answer : "";
            reply.status = answer ? LINK_OK : LINK_TIMEOUT;
            if (answer && strcmp(answer, "(hang-up)") == 0)
                reply.status = LINK_HANGUP;
            if (answer && strcmp(answer, "(garbled)") == 0)
                reply.status = LINK_GARBLED;
            reply.length = strlen(reply.bytes);
        }
        task.status = driver->ops->resume(driver, &reply, &call, &task.result, &task.error);
    }
    if (task.status == DRIVER_FAILED) {
        assert_int_equal(task.error.code, ERROR_BENCH);
        snprintf(task.all, sizeof task.all, "%s; %s", task.error.why, task.error.todo);
        driver->ops->forget(driver); /* as the instrument does */
    }
    return task;
}

static struct task run_task(struct driver *driver, enum driver_task what, const char **answers)
{
    struct driver_order order = {.task = what, .point = 3};
    return run(driver, &order, answers);
}

static struct task run_drive(struct driver *driver, enum drive_mode mode, double amount,
                             double voltage_most, double voltage_least, const char **answers)
{
    struct driver_order order = {.task = DRIVER_DRIVE,
                                 .drive = {mode, amount, NAN},
                                 .voltage_most = voltage_most,
                                 .voltage_least = voltage_least};
    return run(driver, &order, answers);
}

static void says(const char *where, const char *text, const char *part)
{
    if (!strstr(text, part))
        fail_msg("%s: expected \"%s\" in \"%s\"", where, part, text);
}

static void is_done(const struct task *task)
{
    if (task->status != DRIVER_DONE)
        fail_msg("failed: %s", task->all);
}

static struct driver *open_text(const char *text, const char *settings)
{
    struct driver *driver = NULL;
    struct error error;
    if (lua_driver_open(&driver, "test.lua", text, strlen(text), settings, &error))
        fail_msg("%s: %s; %s", error.what, error.why, error.todo);
    return driver;
}

static void close_driver(struct driver *driver)
{
    driver->ops->close(driver);
}

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

/* --- the words --------------------------------------------------------------------------------- */

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

/* What a person needs: what was sent, what came, where, what to try. The instrument adds its name. */
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
        {"return { voltage = #self:errors() }", {"SYST:ERR?=0,\"No error\""}, "?SYST:ERR? ", NULL, 0},
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
        {"self:tell('CURR ' .. nr3(0.5) .. ',' .. fixed(1.005, 1))", {NULL}, "!CURR 5.0E-01,1.0 ", "", 0},
        {"fail('it smokes', 'open a window')", {NULL}, "", "it smokes (in read of", 0},
        {"self:ask('A\\nB')", {NULL}, "", "'ask' was given no line", 0},
        {"self:ask('')", {NULL}, "", "'ask' was given no line", 0},
        {"self.ask('A?')", {NULL}, "", "write self:ask(\"...\")", 0},
        {"self:wait(-1)", {NULL}, "", "'wait' wants 0 to 60 seconds", 0},
        {"self:ask('A?', 1e9)", {NULL}, "", "is not within 0 to 60 s", 0},
        {"table.sort({2, 1}, function() self:ask('A?') end)", {NULL}, "", "'ask' can only be used", 0},
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

/* --- definitions ------------------------------------------------------------------------------- */

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
        {"return driver { title = 't'," IDENTIFY " }", NULL, "does not say what its instrument can be"},
        {"return driver { title = 't'," IDENTIFY " can = {} }", NULL, "does not say"},
        {"return driver { title = 't'," IDENTIFY " can = { 'sorce' } }", NULL, "did you mean 'source'?"},
        {"return driver { title = 't'," IDENTIFY " can = { 'meter' } }", NULL, "a meter has no read"},
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
    struct driver *driver =
        open_text("local function f() end\n"
                  "return driver { title = 'A board', can = { 'relay', 'source', 'sink' },"
                  " ending = '\\r\\n', connect = f, disconnect = f, off = f, drive = f, read = f,\n"
                  "safe = function(self) return 'OFF ' .. self.settings.bank end,\n"
                  "sync = { ask = 'ID', answer = 'B' }, settings = { bank = 1, label = 'x' },"
                  IDENTIFY " }",
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

/* --- those that are shipped -------------------------------------------------------------------- */

static struct driver *shipped(const char *name, const char *settings)
{
    struct driver *driver = NULL;
    struct error error;
    setenv("PERDURE_DRIVERS", SOURCE_DIR "/bindings/drivers", 1);
    if (lua_driver_find(&driver, name, NULL, settings, &error))
        fail_msg("%s: %s; %s", error.what, error.why, error.todo);
    return driver;
}

#define CLEAN "* SYST:ERR?=0,\"No error\""
#define READY "* *OPC?=1"

static void expect(struct task task, const char *sent)
{
    is_done(&task);
    if (strcmp(task.sent, sent) != 0)
        fail_msg("sent \"%s\" and not \"%s\"", task.sent, sent);
}

static void expect_failure(struct task task, const char *part)
{
    if (task.status != DRIVER_FAILED)
        fail_msg("did not fail with \"%s\"", part);
    says("", task.all, part);
}

static void test_supply(void **state)
{
    (void)state;
    struct driver *driver = shipped("supply", "{\"remote\":\"SYST:REM\"}");
    const char *answers[] = {CLEAN, READY, "* VOLT?=1.8000E+00", "* CURR?=5.001E-01", "* OUTP?=1",
                             "* MEAS:VOLT?=+1.41", "* MEAS:CURR?=+0.4999", NULL};
    assert_int_equal(driver->can, CAN_SOURCE);
    assert_string_equal(driver->safe, "OUTP OFF\n");
    expect(run_task(driver, DRIVER_PREPARE, answers), "!SYST:REM !*CLS ?SYST:ERR? ");
    expect(run_drive(driver, DRIVE_CURRENT, 0.5, 1.8, NAN, answers),
           "!VOLT 1.8E+00 ?SYST:ERR? ?VOLT? !CURR 5.0E-01 ?SYST:ERR? ?CURR? !OUTP ON ?*OPC? ?SYST:ERR? "
           "?OUTP? ");
    struct task task = run_task(driver, DRIVER_READ, answers);
    expect(task, "?MEAS:VOLT? ?MEAS:CURR? ?OUTP? ");
    assert_true(task.result.voltage == 1.41 && task.result.current == 0.4999);

    const char *tripped[] = {"OUTP?=0", "MEAS:VOLT?=1.3", "MEAS:CURR?=0", NULL};
    expect_failure(run_task(driver, DRIVER_READ, tripped), "its output went off by itself");
    expect_failure(run_drive(driver, DRIVE_POWER, 0.5, 1.8, NAN, answers), "cannot hold a power");
    const char *clamped[] = {CLEAN, READY, "* VOLT?=1.8", "* CURR?=0.3", NULL};
    expect_failure(run_drive(driver, DRIVE_CURRENT, 0.5, 1.8, NAN, clamped),
                   "CURR was set to 5.0E-01 and is 3.0E-01");
    const char *refused[] = {"SYST:ERR?=-222,\"Data out of range\"", CLEAN, NULL};
    expect_failure(run_drive(driver, DRIVE_CURRENT, 0.5, 1.8, NAN, refused),
                   "-222 \"Data out of range\" (sent \"VOLT 1.8E+00\"");
    const char *stays[] = {READY, "OUTP?=1", NULL};
    expect_failure(run_task(driver, DRIVER_OFF, stays), "its output does not go off");
    const char *goes[] = {READY, "OUTP?=0", NULL};
    expect(run_task(driver, DRIVER_OFF, goes), "!OUTP OFF ?*OPC? ?OUTP? ");
    const char *is[] = {"*IDN?=Saltmere Instruments,SP-1,0001,1.0", NULL};
    task = run_task(driver, DRIVER_IDENTIFY, is);
    expect(task, "?*IDN? ");
    assert_string_equal(task.result.identity.serial, "0001");
    close_driver(driver);
}

static void test_load(void **state)
{
    (void)state;
    struct driver *driver = shipped("load", NULL);
    const char *answers[] = {CLEAN, READY, "* CURR?=2.0", "* POW?=3", "* RES?=1.5", "* INP?=1",
                             "* MEAS:VOLT?=1.2", "* MEAS:CURR?=2", NULL};
    expect(run_task(driver, DRIVER_PREPARE, answers), "!*CLS ?SYST:ERR? ");
    expect(run_drive(driver, DRIVE_CURRENT, -2, NAN, 1, answers),
           "!FUNC CURR !CURR 2.0E+00 ?SYST:ERR? ?CURR? !INP ON ?*OPC? ?SYST:ERR? ?INP? ");
    /* From one level to the next without a hole; from one mode to another through off. */
    assert_null(strstr(run_drive(driver, DRIVE_CURRENT, -2, NAN, 1, answers).sent, "INP OFF"));
    expect(run_drive(driver, DRIVE_POWER, -3, NAN, 1, answers),
           "!INP OFF !FUNC POW !POW 3.0E+00 ?SYST:ERR? ?POW? !INP ON ?*OPC? ?SYST:ERR? ?INP? ");
    expect(run_drive(driver, DRIVE_RESISTANCE, 1.5, NAN, 1, answers),
           "!INP OFF !FUNC RES !RES 1.5E+00 ?SYST:ERR? ?RES? !INP ON ?*OPC? ?SYST:ERR? ?INP? ");
    struct task task = run_task(driver, DRIVER_READ, answers);
    assert_true(task.result.current == 2);
    close_driver(driver);
}

static void test_two_quadrant(void **state)
{
    (void)state;
    struct driver *driver = shipped("two_quadrant", "{\"floor\":\"VOLT:LIM:LOW\"}");
    const char *answers[] = {CLEAN, READY, "* VOLT?=1.6", "* CURR?=-1.0", "* VOLT:LIM:LOW?=0.9",
                             "* OUTP?=1", NULL};
    assert_int_equal(driver->can, CAN_SOURCE | CAN_SINK);
    expect(run_drive(driver, DRIVE_CURRENT, -1, 1.6, 0.9, answers),
           "!VOLT 1.6E+00 ?SYST:ERR? ?VOLT? !VOLT:LIM:LOW 9.0E-01 ?SYST:ERR? ?VOLT:LIM:LOW? "
           "!CURR -1.0E+00 ?SYST:ERR? ?CURR? !OUTP ON ?*OPC? ?SYST:ERR? ?OUTP? ");
    close_driver(driver);
}

static void test_meters(void **state)
{
    (void)state;
    struct driver *driver = shipped("meter", "{\"range\":2.0,\"cycles\":10.0}");
    const char *answers[] = {CLEAN, READY, "* READ?=+1.234567E+00", NULL};
    expect(run_task(driver, DRIVER_PREPARE, answers),
           "!*CLS !CONF:VOLT !VOLT:RANG 2.0E+00 !VOLT:NPLC 1.0E+01 ?*OPC? ?SYST:ERR? ");
    assert_true(run_task(driver, DRIVER_READ, answers).result.voltage == 1.234567);
    const char *overload[] = {"READ?=9.9E37", NULL};
    expect_failure(run_task(driver, DRIVER_READ, overload), "overload");
    close_driver(driver);

    driver = shipped("meter", "{\"measures\":\"current\"}");
    struct task task = run_task(driver, DRIVER_READ, answers);
    assert_true(task.result.current == 1.234567 && isnan(task.result.voltage));
    close_driver(driver);
    driver = shipped("meter", "{\"measures\":\"colour\"}");
    expect_failure(run_task(driver, DRIVER_PREPARE, answers), "cannot measure colour");
    close_driver(driver);

    driver = shipped("plain_thermometer", "{\"name\":\"\",\"ask\":\"T\"}");
    const char *degrees[] = {"* T=21.5", NULL};
    expect(run_task(driver, DRIVER_IDENTIFY, degrees), "?T ");
    assert_true(run_task(driver, DRIVER_READ, degrees).result.temperature == 21.5);
    const char *broken[] = {"T=-273.1", NULL};
    expect_failure(run_task(driver, DRIVER_READ, broken), "see its sensor");
    close_driver(driver);
}

static void test_relays(void **state)
{
    (void)state;
    struct driver *driver = shipped("relay", NULL);
    const char *closed[] = {CLEAN, READY, "ROUT:CLOS? (@3)=1", NULL};
    const char *open[] = {CLEAN, READY, "ROUT:CLOS? (@3)=0", NULL};
    assert_string_equal(driver->safe, "ROUT:OPEN:ALL\n");
    expect(run_task(driver, DRIVER_CONNECT, closed),
           "!ROUT:CLOS (@3) ?*OPC? ?SYST:ERR? ?ROUT:CLOS? (@3) ~0.02 ");
    expect(run_task(driver, DRIVER_DISCONNECT, open),
           "!ROUT:OPEN (@3) ?*OPC? ?SYST:ERR? ?ROUT:CLOS? (@3) ~0.02 ");
    expect_failure(run_task(driver, DRIVER_CONNECT, open), "relay 3 does not close");
    expect_failure(run_task(driver, DRIVER_DISCONNECT, closed), "relay 3 does not open");
    close_driver(driver);

    driver = shipped("plain_relay", "{\"close\":\"on #\",\"open_all\":\"all off\",\"settle\":0.0}");
    const char *answers[] = {"state 3=closed", "state 3=open", NULL};
    assert_string_equal(driver->safe, "all off\n");
    expect(run_task(driver, DRIVER_CONNECT, answers), "!on 3 ?state 3 ~0 ");
    const char *state_open[] = {"state 3=open", NULL};
    expect(run_task(driver, DRIVER_DISCONNECT, state_open), "!open 3 ?state 3 ~0 ");
    close_driver(driver);
}

static void test_find(void **state)
{
    (void)state;
    struct driver *driver = NULL;
    struct error error;
    setenv("PERDURE_DRIVERS", SOURCE_DIR "/bindings/drivers", 1);
    assert_int_equal(lua_driver_find(&driver, "suply", NULL, NULL, &error), ERROR_BENCH);
    says("", error.why, "no driver has this name");
    assert_int_equal(lua_driver_find(&driver, "../nowhere.lua", "/tmp", NULL, &error), ERROR_BENCH);
    assert_int_equal(
        lua_driver_find(&driver, "./drivers/meter.lua", SOURCE_DIR "/bindings", NULL, &error), 0);
    assert_string_equal(driver->name, "meter");
    close_driver(driver);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_number),      cmocka_unit_test(test_message),
        cmocka_unit_test(test_asking),      cmocka_unit_test(test_memory),
        cmocka_unit_test(test_definitions), cmocka_unit_test(test_facts),
        cmocka_unit_test(test_supply),      cmocka_unit_test(test_load),
        cmocka_unit_test(test_two_quadrant), cmocka_unit_test(test_meters),
        cmocka_unit_test(test_relays),      cmocka_unit_test(test_find),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
