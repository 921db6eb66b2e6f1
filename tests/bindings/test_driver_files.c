/* The drivers that are shipped: what each sends, and what it makes of the answers. */
#include "bindings/talk.h"

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
    const char *answers[] = {CLEAN,
                             READY,
                             "* VOLT?=1.8000E+00",
                             "* CURR?=5.001E-01",
                             "* OUTP?=1",
                             "* MEAS:VOLT?=+1.41",
                             "* MEAS:CURR?=+0.4999",
                             NULL};
    assert_int_equal(driver->can, CAN_SOURCE);
    assert_string_equal(driver->safe, "OUTP OFF\n");
    expect(run_task(driver, DRIVER_PREPARE, answers), "!SYST:REM !*CLS ?SYST:ERR? ");
    expect(run_drive(driver, DRIVE_CURRENT, 0.5, 1.8, NAN, answers),
           "!VOLT 1.8E+00 ?SYST:ERR? ?VOLT? !CURR 5.0E-01 ?SYST:ERR? ?CURR? !OUTP ON ?*OPC? "
           "?SYST:ERR? "
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
    const char *answers[] = {CLEAN,        READY,      "* CURR?=2.0",      "* POW?=3",
                             "* RES?=1.5", "* INP?=1", "* MEAS:VOLT?=1.2", "* MEAS:CURR?=2",
                             NULL};
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
    const char *answers[] = {
        CLEAN, READY, "* VOLT?=1.6", "* CURR?=-1.0", "* VOLT:LIM:LOW?=0.9", "* OUTP?=1", NULL};
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
    struct error error;
    assert_int_equal(lua_driver_find(&driver, "meter", NULL, "{\"measures\":\"colour\"}", &error),
                     ERROR_BENCH);
    says("", error.why, "cannot measure colour");
    driver = shipped("meter", "{\"patience\":7.5}");
    struct driver_order reading = {.task = DRIVER_READ};
    struct driver_call call;
    assert_int_equal(driver->ops->begin(driver, &reading, &call, &task.result, &error),
                     DRIVER_AWAITS);
    assert_true(call.seconds == 7.5);
    close_driver(driver);

    driver = shipped("plain_thermometer", "{\"name\":\"\",\"ask\":\"T\"}");
    const char *degrees[] = {"* T=21.5", NULL};
    expect(run_task(driver, DRIVER_IDENTIFY, degrees), "?T ");
    assert_true(run_task(driver, DRIVER_READ, degrees).result.temperature == 21.5);
    const char *broken[] = {"T=-273.1", NULL};
    expect_failure(run_task(driver, DRIVER_READ, broken), "see its sensor");
    close_driver(driver);
}

static void test_ohmmeter(void **state)
{
    (void)state;
    struct driver *driver = shipped("ohmmeter", NULL);
    const char *answers[] = {CLEAN, READY, "* READ?=+2.346E-02", NULL};
    assert_int_equal(driver->can, CAN_OHMMETER);
    expect(run_task(driver, DRIVER_PREPARE, answers), "!*CLS !CONF:RES ?*OPC? ?SYST:ERR? ");
    struct task task = run_task(driver, DRIVER_READ, answers);
    assert_true(task.result.resistance == 0.02346 && isnan(task.result.voltage));
    const char *overload[] = {"READ?=+9.90000000E+37", NULL};
    expect_failure(run_task(driver, DRIVER_READ, overload),
                   "one of its four wires does not touch the cell");
    const char *garbled[] = {"READ?=23 mohm", NULL};
    expect_failure(run_task(driver, DRIVER_READ, garbled), "is no number");
    close_driver(driver);

    /* Milliohm, the second of two numbers, and an overload of its own. */
    driver = shipped("ohmmeter", "{\"unit\":\"mohm\",\"ask\":\"FETC?\",\"configure\":\"\","
                                 "\"item\":2,\"open\":1e9}");
    expect(run_task(driver, DRIVER_PREPARE, answers), "!*CLS ?*OPC? ?SYST:ERR? ");
    const char *both[] = {"FETC?=1.2501,23.46", NULL};
    assert_true(fabs(run_task(driver, DRIVER_READ, both).result.resistance - 0.02346) < 1e-15);
    const char *open[] = {"FETC?=1.2501,+1.0000E+9", NULL};
    expect_failure(run_task(driver, DRIVER_READ, open), "overload");
    const char *single[] = {"FETC?=23.46", NULL};
    expect_failure(run_task(driver, DRIVER_READ, single), "has no number 2");
    close_driver(driver);
    driver = shipped("ohmmeter", "{\"unit\":\"kohm\"}");
    expect_failure(run_task(driver, DRIVER_PREPARE, answers), "cannot tell kohm");
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
        cmocka_unit_test(test_supply),       cmocka_unit_test(test_load),
        cmocka_unit_test(test_two_quadrant), cmocka_unit_test(test_meters),
        cmocka_unit_test(test_ohmmeter),     cmocka_unit_test(test_relays),
        cmocka_unit_test(test_find),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
