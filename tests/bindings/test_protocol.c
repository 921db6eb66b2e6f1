/* Protocols: what is wrong with one is said at its line, with the way out; and what a right one
 * asks for. The example is that of interface.md. */
#include "bindings/drive.h"

#include "base/quantity.h"

static const char capacity[] =
    "-- Rated capacity: fill, rest, empty at a fixed rate.\n"
    "return protocol {\n"
    "  title = \"Capacity\",\n"
    "  params = {\n"
    "    rate = { unit = \"A\", default = \"0.2 It\", about = \"current\" },\n"
    "    stop = { unit = \"V\", default = \"1.0 V\" },\n"
    "  },\n"
    "  results = { capacity = \"Ah\" },\n"
    "  run = function(cell, p)\n"
    "    cell:charge { current = \"0.1 It\", stop = { time = \"16 h\" } }\n"
    "    cell:rest   { time = \"1 h\" }\n"
    "    local out = cell:discharge { current = p.rate,\n"
    "      stop = { voltage = p.stop } }\n"
    "    record(\"capacity\", out.charge, \"Ah\")\n"
    "  end,\n"
    "}\n";

static void test_the_example(void **state)
{
    (void)state;
    struct drive_end end = drive(&(struct drive_case){0}, capacity);
    if (end.status != SCRIPT_DONE)
        fail_msg("%s", end.all);
    assert_string_equal(end.asked.bytes,
                        "charge {\"current\":\"0.1 It\",\"stop\":{\"time\":\"16 h\"}}\n"
                        "rest {\"time\":\"1 h\"}\n"
                        "discharge {\"current\":0.4,\"stop\":{\"voltage\":1.0}}\n"
                        "record {\"name\":\"capacity\",\"unit\":\"Ah\",\"value\":1.95}\n");
    drive_end_free(&end);
}

static void test_definition_for_others(void **state)
{
    (void)state;
    struct error error;
    struct script *script;
    struct script_context context = drive_context(
        &(struct drive_case){.params = "{\"rate\":\"1 A\"}"}, capacity, strlen(capacity));
    assert_int_equal(lua_script_ops()->open(&script, &context, &error), 0);
    const struct script_parameter *parameters;
    const struct script_result *results;
    assert_string_equal(script_title(script), "Capacity");
    assert_int_equal(script_parameters(script, &parameters), 2);
    assert_string_equal(parameters[0].name, "rate");
    assert_string_equal(parameters[0].value, "1.0");
    assert_string_equal(parameters[0].about, "current");
    assert_string_equal(parameters[1].unit, "V");
    assert_int_equal(script_results(script, &results), 1);
    assert_string_equal(results[0].name, "capacity");
    assert_string_equal(results[0].unit, "Ah");
    lua_script_ops()->close(script);
}

/* --- definitions ------------------------------------------------------------------------------ */

static void fails(const char *text, const char *params, const char *where, const char *says)
{
    struct drive_end end = drive(&(struct drive_case){.params = params}, text);
    if (end.status != SCRIPT_FAILED)
        fail_msg("did not fail: %s", text);
    drive_expect(text, end.all, says);
    assert_string_equal(end.error.what, where);
    assert_int_equal(end.error.code, ERROR_SCRIPT);
    drive_end_free(&end);
}

static void test_wrong_definitions(void **state)
{
    (void)state;
    fails("return protocol {\n title = 'x',\n run = function( end }", NULL, "test.lua:3",
          "expected near 'end'");
    fails("return protocol { titel = 'x', run = function() end }", NULL, "test.lua:1",
          "did you mean 'title'?");
    fails("return protocol { title = 'x', zzz = 1, run = function() end }", NULL, "test.lua:1",
          "it may have title, params, results, run");
    fails("return protocol { run = function() end }", NULL, "test.lua:1", "has no title");
    fails("return protocol { title = 5, run = function() end }", NULL, "test.lua:1",
          "'title' is a number");
    fails("\nreturn protocol { title = 'x' }", NULL, "test.lua:2", "no run function");
    fails("return protocol { title = 'x', run = 'y' }", NULL, "test.lua:1", "no run function");
    fails("return protocol { 5 }", NULL, "test.lua:1", "without a name");
    fails("return protocol 'x'", NULL, "test.lua:1", "wants a table");
    fails("return protocol { title = 'x', results = { n = 'furlong' }, run = print }", NULL,
          "test.lua:1", "there is no unit 'furlong'");
    fails("return protocol { title = 'x', results = 'n', run = print }", NULL, "test.lua:1",
          "results is a string");
    fails("return protocol { title = 'x', params = 'n', run = print }", NULL, "test.lua:1",
          "params is a string");
    fails("return protocol { title = 'x', params = { a = 5 }, run = print }", NULL, "test.lua:1",
          "params.a is a number");
    fails("return protocol { title = 'x', params = { a = { unti = 'A' } }, run = print }", NULL,
          "test.lua:1", "did you mean 'unit'?");
    fails("return protocol { title = 'x', params = { a = { unit = 'mA', default = 1 } }, run = "
          "print }",
          NULL, "test.lua:1", "in A, not in mA; write unit = \"A\"");
    fails("return protocol { title = 'x', params = { a = { unit = 'Q' } }, run = print }", NULL,
          "test.lua:1", "there is no unit 'Q'");
    fails("return protocol { title = 'x', params = { a = { unit = 'A', default = '1 V' } }, run = "
          "print }",
          NULL, "test.lua:1", "params.a");
    fails("return protocol { title = 'x', params = { a = { unit = 'A' } }, run = print }", NULL,
          "test.lua:1", "add --set a=VALUE");
    fails("return protocol { title = 'x', run = print,\n title = 'y' }", NULL, "test.lua:2",
          "'title' is named twice in one table, first on line 1");
    fails("local protcol = 1 return protocoll {}", NULL, "test.lua:1", "did you mean 'protocol'?");
}

static void test_parameters(void **state)
{
    (void)state;
    static const struct {
        const char *definition, *use, *params, *want;
    } cases[] = {
        {"a = { unit = 'A', default = '500 mA' }", "p.a", "{}", "0.5"},
        {"a = { unit = 'A', default = '0.2 It' }", "p.a", "{}", "0.4"},
        {"a = { unit = 'A', default = '0.2 C' }", "p.a", "{\"a\":\"1 It\"}", "2.0"},
        {"a = { unit = 'A', default = '0.2 C' }", "p.a", "{\"a\":\"0.75\"}", "0.75"},
        {"a = { unit = 'A', default = '0.2 C' }", "p.a", "{\"a\":0.75}", "0.75"},
        {"a = { unit = 'Ah', default = '500 mAh' }", "p.a", "{}", "0.5"},
        {"a = { unit = 's', default = '3 h 10 min' }", "p.a", "{}", "11400.0"},
        {"a = { unit = 's', default = 'PT16H' }", "p.a", "{}", "57600.0"},
        {"a = { unit = 'degC', default = '20 degC' }", "p.a", "{}", "20.0"},
        {"a = { unit = 'V', default = 1 }", "p.a", "{}", "1"},
        {"n = { default = 300 }", "math.type(p.n) .. p.n", "{}", "integer300"},
        {"n = { default = 300 }", "math.type(p.n) .. p.n", "{\"n\":\"50\"}", "integer50"},
        {"n = { unit = '1', default = 1.5 }", "p.n", "{\"n\":\"2.5\"}", "2.5"},
        {"t = { default = 'fresh' }", "p.t", "{}", "fresh"},
        {"t = { unit = 'text', default = 'fresh' }", "p.t", "{\"t\":\"12\"}", "12"},
        {"t = { unit = 'text' }", "p.t", "{\"t\":12}", "12"},
        {"b = { default = false }", "p.b", "{\"b\":\"true\"}", "true"},
        {"b = { default = true }", "p.b", "{}", "true"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        char text[400], want[100];
        snprintf(text, sizeof text,
                 "return protocol { title = 'x', params = { %s },\n"
                 " run = function(cell, p) note(%s) end }",
                 cases[i].definition, cases[i].use);
        snprintf(want, sizeof want, "note {\"text\":\"%s\"}\n", cases[i].want);
        struct drive_end end = drive(&(struct drive_case){.params = cases[i].params}, text);
        if (end.status != SCRIPT_DONE)
            fail_msg("%s: %s", cases[i].definition, end.all);
        assert_string_equal(end.asked.bytes, want);
        drive_end_free(&end);
    }
    static const char rate[] =
        "return protocol { title = 'x',\n params = { rate = { unit = 'A', "
        "default = 1 }, on = { default = true } },\n run = function(cell, p) "
        "\nlocal x = p.rat end }";
    fails(rate, "{\"rtae\":\"1 A\"}", "test.lua:1", "did you mean 'rate'?");
    fails(rate, "{\"rate\":\"1 V\"}", "test.lua:1", "params.rate");
    fails(rate, "{\"rate\":\"1 mAx\"}", "test.lua:1", "params.rate");
    fails(rate, "{\"rate\":true}", "test.lua:1", "params.rate is a boolean");
    fails(rate, "{\"on\":\"maybe\"}", "test.lua:1", "neither true nor false");
    fails(rate, "{}", "test.lua:4", "did you mean 'rate'?");
}

/* --- steps ------------------------------------------------------------------------------------ */

static void test_wrong_steps(void **state)
{
    (void)state;
    drive_fails("cell:charge { curent = '1 A', stop = { time = '1 h' } }",
                "did you mean 'current'?");
    drive_fails("cell:charge { current = '1 A', stop = { tiem = '1 h' } }", "did you mean 'time'?");
    drive_fails("cell:charge { current = '1 A', stop = { xyzzy = 1 } }",
                "it may have time, voltage");
    drive_fails("cell:charge { current = '1 A', time = '1 h' }", "write it inside stop");
    drive_fails("cell:discharge { current = '1 A', voltage = '1 V' }", "write it inside stop");
    drive_fails("cell:charge { stop = { power = '1 W', time = '1 h' } }", "write it beside stop");
    drive_fails("cell:discharge { current = '1 A' }", "no end");
    drive_fails("cell:discharge { current = '1 A', stop = {} }", "no end");
    drive_fails("cell:discharge { current = '1 A', stop = '1 h' }", "stop is a string");
    drive_fails("cell:discharge { current = '1 Q', stop = { time = '1 h' } }", "1 Q");
    drive_fails("cell:discharge { current = '1 V', stop = { time = '1 h' } }", "current");
    drive_fails("cell:discharge { current = {}, stop = { time = '1 h' } }", "current is a table");
    drive_fails("cell:discharge { current = 0/0, stop = { time = '1 h' } }", "not a finite number");
    drive_fails("cell:discharge { current = '-1 A', stop = { time = '1 h' } }", "give it positive");
    drive_fails("cell:discharge { current = '1 A', power = '1 W', stop = { time = '1 h' } }",
                "more than one of");
    drive_fails("cell:discharge { stop = { time = '1 h' } }", "");
    drive_fails("cell:discharge { current = '900 A', stop = { time = '1 h' } }", "");
    drive_fails("cell:charge { resistance = '1 ohm', stop = { time = '1 h' } }", "no 'resistance'");
    drive_fails("cell:charge('1 h')", "write cell:charge { ... }");
    drive_fails("cell.charge { current = '1 A', stop = { time = '1 h' } }", "with a colon");
    drive_fails("cell:chrage {}", "did you mean 'charge'?");
    drive_fails("local x = cell.lable", "did you mean 'label'?");
    drive_fails("cell:rest { time = '1 h', stop = { time = '1 h' } }", "inside and beside");
    drive_fails("cell:rest {}", "no end");
    drive_fails("cell:rest { time = '-1 h' }", "");
    drive_fails("cell:pulse { current = '1 A', time = '1 s' }", "is not a list of 2");
    drive_fails("cell:pulse { current = { 1, 2 } }", "");
    drive_fails("cell:pulse { current = { 1, -2 }, time = { 1, 1 } }", "give it positive");
    drive_fails("cell:read { time = 1 }", "no 'time'");
    drive_fails("cell:charge { current = 1, stop = { when = 5 } }", "stop.when is a number");
    drive_fails("local out = cell:rest { time = 1 } local x = out.voltages", "an outcome has no");
    drive_fails("local r = cell:read {} local x = r.last_voltage", "a reading has no");

    struct drive_end end = drive_body(&(struct drive_case){.chemistry = "alkaline"},
                                      "\n\ncell:charge { current = '0.1 A', stop = { time = 1 } }");
    assert_int_equal(end.status, SCRIPT_FAILED);
    assert_string_equal(end.error.what, "test.lua:3");
    drive_expect("primary cell", end.all, "charge");
    drive_end_free(&end);
}

/* The plan of the one step that the body asks for. */
static struct step_plan plan_of(const char *body)
{
    struct text text = TEXT_EMPTY;
    struct script_request request = {0};
    struct error error;
    struct script *script;
    text_addf(&text, "return protocol { title = 't', run = function(cell) %s end }", body);
    struct script_context context = drive_context(&(struct drive_case){0}, text.bytes, text.length);
    assert_int_equal(lua_script_ops()->open(&script, &context, &error), 0);
    if (lua_script_ops()->resume(script, NULL, DRIVE_NOW, &request, &error) != SCRIPT_AWAITS)
        fail_msg("%s: %s", body, error.why);
    assert_int_equal(request.kind, REQUEST_STEP);
    lua_script_ops()->close(script);
    text_free(&text);
    return request.plan;
}

#define NEAR(a, b) near_to(#a, a, b)

static void near_to(const char *what, double is, double wanted)
{
    if (!(fabs(is - wanted) <= 1e-9))
        fail_msg("%s is %.12g and not %.12g", what, is, wanted);
}

/* SI inside: A, V, s, A.s, J; what flows out is negative. */
static void test_plans(void **state)
{
    (void)state;
    struct step_plan plan = plan_of(
        "cell:charge { current = '500 mA', voltage = '1.5 V', every = '10 s', by_voltage = '2 mV', "
        "by_current = '5 mA', by_temperature = '0.5 K', stop = { time = '16 h', voltage = '1.48 "
        "V', "
        "current = '50 mA', charge = '2100 mAh', energy = 3, drop = '5 mV', blind = '5 min', flat "
        "= "
        "'1 mV/min', temperature = '45 degC', temperature_rate = '1 K/min' } }");
    assert_int_equal(plan.kind, STEP_CHARGE);
    assert_int_equal(plan.drive.mode, DRIVE_CURRENT);
    NEAR(plan.drive.amount, 0.5);
    NEAR(plan.drive.ceiling, 1.5);
    NEAR(plan.time, 57600);
    NEAR(plan.voltage, 1.48);
    NEAR(plan.current, 0.05);
    NEAR(plan.charge, 7560);
    NEAR(plan.energy, 10800);
    NEAR(plan.drop, 0.005);
    NEAR(plan.blind, 300);
    NEAR(plan.flat, 0.001 / 60);
    NEAR(plan.temperature, 45);
    NEAR(plan.temperature_rate, 1.0 / 60);
    NEAR(plan.every, 10);
    NEAR(plan.by_voltage, 0.002);
    NEAR(plan.by_current, 0.005);
    NEAR(plan.by_temperature, 0.5);
    assert_false(plan.when);

    /* It [A] = rated capacity [Ah] / 1 h (IEC 61434): 0.2 It of a 2 Ah cell is 0.4 A. */
    plan = plan_of("cell:discharge { current = '0.2 It', stop = { voltage = 1, when = "
                   "function() return true end } }");
    NEAR(plan.drive.amount, -0.4);
    assert_true(isnan(plan.drive.ceiling));
    assert_true(plan.when);
    assert_true(isnan(plan.time));
    plan = plan_of("cell:discharge { power = '800 mW', stop = { energy = '1 Wh' } }");
    assert_int_equal(plan.drive.mode, DRIVE_POWER);
    NEAR(plan.drive.amount, -0.8);
    NEAR(plan.energy, 3600);
    plan = plan_of("cell:discharge { resistance = '3.9 ohm', stop = { voltage = '0.9 V' } }");
    assert_int_equal(plan.drive.mode, DRIVE_RESISTANCE);
    NEAR(plan.drive.amount, 3.9);

    plan = plan_of("cell:rest { time = '3 h 10 min' }");
    assert_int_equal(plan.kind, STEP_REST);
    assert_int_equal(plan.drive.mode, DRIVE_OFF);
    NEAR(plan.time, 11400);
    plan = plan_of("cell:rest { stop = { time = 3600, flat = '0.1 mV/min' } }");
    NEAR(plan.time, 3600);

    /* The two levels of IEC 61951-2 for types L and M (from memory): 0.2 It 10 s, 2 It 3 s. */
    plan = plan_of("cell:pulse { current = { '0.2 It', '2 It' }, time = { '10 s', '3 s' } }");
    assert_int_equal(plan.kind, STEP_PULSE);
    NEAR(plan.level[0].amount, -0.4);
    NEAR(plan.level[1].amount, -4);
    NEAR(plan.level_time[0], 10);
    NEAR(plan.level_time[1], 3);
    assert_int_equal(plan_of("cell:read {}").kind, STEP_READ);
    assert_int_equal(plan_of("cell:read()").kind, STEP_READ);
}

/* --- words ------------------------------------------------------------------------------------ */

static void test_record(void **state)
{
    (void)state;
    static const char text[] =
        "return protocol { title = 't', results = { q = 'Ah', r = 'mohm', n = '1', k = '%' },\n"
        "run = function()\n%s end }";
    static const struct {
        const char *body, *asked, *says;
    } cases[] = {
        {"record('q', 1950, 'mAh')", "record {\"name\":\"q\",\"unit\":\"Ah\",\"value\":1.95}\n",
         NULL},
        {"record('r', 0.025, 'ohm', { uncertainty = 0.001 })",
         "record {\"name\":\"r\",\"uncertainty\":1,\"unit\":\"mohm\",\"value\":25}\n", NULL},
        {"record('q', 1950, 'mAh', 4)",
         "record {\"name\":\"q\",\"uncertainty\":0.004,\"unit\":\"Ah\",\"value\":1.95}\n", NULL},
        {"record('q', 1.95, 'Ah', nil)", "record {\"name\":\"q\",\"unit\":\"Ah\",\"value\":1.95}\n",
         NULL},
        {"record('q', 1.95, 'Ah', { uncertainty = 0.004, freedom = 2.5 })",
         "record {\"name\":\"q\",\"freedom\":2.5,\"uncertainty\":0.004,\"unit\":\"Ah\","
         "\"value\":1.95}\n",
         NULL},
        {"record('q', 1.95, 'Ah', 0/0)", NULL, "the uncertainty is no positive number"},
        {"record('q', 1.95, 'Ah', -0.1)", NULL, "the uncertainty is no positive number"},
        {"record('q', 1.95, 'Ah', 'big')", NULL, "the uncertainty is a string"},
        {"record('q', 1.95, 'Ah', { uncertainty = 1, freedom = 0 })", NULL,
         "less than one degree of freedom"},
        {"record('q', 1.95, 'Ah', { uncertanty = 1 })", NULL, "did you mean 'uncertainty'?"},
        {"record('n', 5)", "record {\"name\":\"n\",\"unit\":\"1\",\"value\":5}\n", NULL},
        {"record('k', 85, '%')", "record {\"name\":\"k\",\"unit\":\"%\",\"value\":85}\n", NULL},
        {"record('q', 1.95, 'V')", NULL, "record 'q' is declared in Ah, not V"},
        {"record('q', 1.95)", NULL, "declared in Ah, not a plain number"},
        {"record('q', 1.95, 'Axh')", NULL, "there is no unit 'Axh'"},
        {"record('qq', 1.95, 'Ah')", NULL, "did you mean 'q'?"},
        {"record('resistance', 1, 'ohm')", NULL, "add resistance = \"UNIT\" to results"},
        {"record('q', 0/0, 'Ah')", NULL, "not finite"},
        {"record('q', 'x', 'Ah')", NULL, "the value is a string"},
        {"record('q', nil, 'Ah')", NULL, "the value is a nil"},
        {"record('q', 1, 'Ah', { uncertainty = -1 })", NULL, "no positive number"},
        {"record('q', 1, 'Ah', { uncertainti = 1 })", NULL, "did you mean 'uncertainty'?"},
        {"record()", NULL, "bad argument #1 to 'record'"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct text whole = TEXT_EMPTY;
        text_add_bytes(&whole, text, (size_t)(strstr(text, "%s") - text));
        text_add(&whole, cases[i].body);
        text_add(&whole, strstr(text, "%s") + 2);
        struct drive_end end = drive(&(struct drive_case){0}, whole.bytes);
        if (cases[i].asked) {
            if (end.status != SCRIPT_DONE)
                fail_msg("%s", end.all);
            assert_string_equal(end.asked.bytes, cases[i].asked);
        } else {
            assert_int_equal(end.status, SCRIPT_FAILED);
            drive_expect(cases[i].body, end.all, cases[i].says);
            assert_string_equal(end.error.what, "test.lua:3");
        }
        drive_end_free(&end);
        text_free(&whole);
    }
}

static void test_time(void **state)
{
    (void)state;
    drive_asks("wait('42 d') wait('P6M') wait(60) wait(0)",
               "wait {\"time\":\"42 d\"}\nwait {\"time\":\"P6M\"}\nwait {\"time\":60}\n"
               "wait {\"time\":0}\n");
    drive_asks(
        "wait_until('2026-03-02') wait_until('2026-03-02T08:00+01:00') wait_until(now() + 1)",
        "wait_until {\"until\":\"2026-03-02T00:00:00Z\"}\n"
        "wait_until {\"until\":\"2026-03-02T07:00:00Z\"}\n"
        "wait_until {\"until\":\"2026-01-01T00:00:03Z\"}\n");
    drive_asks("note(now()) note(now())",
               "note {\"text\":\"1767225600.0\"}\nnote {\"text\":\"1767225601.0\"}\n");
    drive_fails("wait('42 parsecs')", "parsecs");
    drive_fails("wait(-1)", "negative");
    drive_fails("wait(0/0)", "not finite");
    drive_fails("wait_until('2026-02-30')", "2026-02-30");
    drive_fails("wait_until(math.huge)", "no such time");
}

/* The journal holds civil times as they were written, and no instant that the rules of the zone
 * could change. */
static void test_civil_time(void **state)
{
    (void)state;
    static const char text[] =
        "return protocol { title = 'x', run = function(cell, p)\n"
        "wait_until('2026-10-25T02:30') wait_until('2026-03-29') wait_until('2026-10-25T02:30Z')\n"
        "end }";
    struct zone *berlin;
    struct error error;
    if (zone_open(&berlin, "Europe/Berlin", &error)) {
        print_message("skipped: the time zone database is not there\n");
        skip();
    }
    struct drive_end end = drive_text(&(struct drive_case){.zone = berlin}, text, sizeof text - 1);
    zone_close(berlin);
    assert_int_equal(end.status, SCRIPT_DONE);
    assert_string_equal(
        end.asked.bytes,
        "wait_until {\"until\":\"2026-10-25T02:30:00\",\"zone\":\"Europe/Berlin\"}\n"
        "wait_until {\"until\":\"2026-03-29T00:00:00\",\"zone\":\"Europe/Berlin\"}\n"
        "wait_until {\"until\":\"2026-10-25T02:30:00Z\"}\n");
    drive_end_free(&end);
    /* In UTC they are one and the same. */
    drive_asks("wait_until('2026-10-25T02:30')",
               "wait_until {\"until\":\"2026-10-25T02:30:00Z\"}\n");
}

static void test_quantity(void **state)
{
    (void)state;
    drive_asks("note(quantity('500 mA'), quantity('0.2 It'), quantity('2100 mAh'), "
               "quantity('16 h'), quantity('85 mohm'))",
               "note {\"text\":\"0.5 0.4 2.1 57600.0 0.085\"}\n");
    drive_fails("quantity('5 furlongs')", "furlongs");
    drive_asks("note(cell.label, cell.model, cell.chemistry, cell.rated)",
               "note {\"text\":\"KES-07 Kestrel 2000 NiMH 2.0\"}\n");
}

static const char *ask_answer(const struct script_request *request, int n)
{
    static const char *const answers[] = {"1987", "\"green\"", "\"yes\"", "true", "1.5"};
    assert_true(n < 5 || request->kind == REQUEST_NOTE);
    return request->kind == REQUEST_ASK ? answers[n] : "true";
}

static void test_ask(void **state)
{
    (void)state;
    struct drive_end end =
        drive_body(&(struct drive_case){.answer = ask_answer},
                   "local a = ask { text = 'display', unit = 'mAh', least = '1 Ah', most = 3000 }\n"
                   "local b = ask { text = 'colour', kind = 'text' }\n"
                   "local c = ask { text = 'leak', choices = { 'yes', 'no' } }\n"
                   "local d = ask { text = 'put it in' }\n"
                   "local e = ask { text = 'weight', kind = 'number' }\n"
                   "note(a, b, c, d, e)");
    if (end.status != SCRIPT_DONE)
        fail_msg("%s", end.all);
    drive_expect("ask", end.asked.bytes, "note {\"text\":\"1987.0 green yes true 1.5\"}\n");
    drive_end_free(&end);
    drive_fails("ask { text = '' }", "no text");
    drive_fails("ask { text = 'x', unit = 'zz' }", "there is no unit");
    drive_fails("ask { text = 'x', kind = 'colour' }", "there is no kind");
    drive_fails("ask { text = 'x', choices = { 'only' } }", "not a list");
    drive_fails("ask { text = 'x', kind = 'text', choices = { 'a', 'b' } }", "go with");
    drive_fails("ask { txet = 'x' }", "did you mean 'text'?");
}

static void test_expects(void **state)
{
    (void)state;
    static const char text[] =
        "return protocol { title = 't', run = function() ask { text = 'display', unit = 'mAh', "
        "least = '1 Ah', most = 3000 } end }";
    struct script_context context = drive_context(&(struct drive_case){0}, text, strlen(text));
    struct script *script;
    struct script_request request;
    struct error error;
    assert_int_equal(lua_script_ops()->open(&script, &context, &error), 0);
    assert_int_equal(lua_script_ops()->resume(script, NULL, DRIVE_NOW, &request, &error),
                     SCRIPT_AWAITS);
    assert_string_equal(request.text, "display");
    assert_string_equal(request.expects,
                        "{\"kind\":\"number\",\"unit\":\"mAh\",\"least\":1000,\"most\":3000}");
    lua_script_ops()->close(script);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_the_example),
        cmocka_unit_test(test_definition_for_others),
        cmocka_unit_test(test_wrong_definitions),
        cmocka_unit_test(test_parameters),
        cmocka_unit_test(test_wrong_steps),
        cmocka_unit_test(test_plans),
        cmocka_unit_test(test_record),
        cmocka_unit_test(test_time),
        cmocka_unit_test(test_civil_time),
        cmocka_unit_test(test_quantity),
        cmocka_unit_test(test_ask),
        cmocka_unit_test(test_expects),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
