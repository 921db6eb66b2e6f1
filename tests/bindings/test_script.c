/* Scripts through the seam: outcomes in, requests out; the same again on replay; failures with
 * their line; predicates; what a script costs. */
#include "bindings/drive.h"

#include "base/calendar.h"

/* --- outcomes --------------------------------------------------------------------------------- */

static void test_outcome_fields(void **state)
{
    (void)state;
    drive_asks("local o = cell:discharge { current = 1, stop = { time = 60 } }\n"
               "note(o.charge, o.energy, o.duration, o.first_voltage, o.last_voltage,\n"
               "  o.mean_voltage, o.mid_voltage, o.peak_voltage, o.max_temperature, o.ended_by,\n"
               "  o.gaps, o.quality, o.resistance, o.last_current)",
               "discharge {\"current\":1,\"stop\":{\"time\":60}}\n"
               "note {\"text\":\"1.95 2.4 17550.0 1.35 1.0 1.23 1.25 1.35 23.5 "
               "voltage 0 good nil -0.4\"}\n");
    drive_asks("local r = cell:read {} note(r.voltage, r.current, r.temperature, r.quality)",
               "read {}\nnote {\"text\":\"1.0 -0.4 23.5 good\"}\n");
}

static const char *no_temperature(const struct script_request *request, int n)
{
    (void)n;
    return request->kind == REQUEST_STEP ? "{\"ended_by\":\"time\",\"last_voltage\":1.2,"
                                           "\"max_temperature\":null,\"resistance\":0.025}"
                                         : "true";
}

static void test_outcome_without_a_field(void **state)
{
    (void)state;
    struct drive_end end = drive_body(
        &(struct drive_case){.answer = no_temperature},
        "local o = cell:pulse { current = { '0.2 It', '2 It' }, time = { 10, 3 } }\n"
        "assert(o.max_temperature == nil and o.charge == nil and o.resistance == 0.025)\n"
        "local n = 0 for k in pairs(o) do n = n + 1 end assert(n == 3)");
    if (end.status != SCRIPT_DONE)
        fail_msg("%s", end.all);
    drive_end_free(&end);
}

static const char *refusal(const struct script_request *request, int n)
{
    (void)n;
    return request->kind == REQUEST_STEP ? "{\"error\":\"channel S1: not today; ask tomorrow\"}"
                                         : "true";
}

static void test_error_outcome_is_raised(void **state)
{
    (void)state;
    struct drive_case how = {.answer = refusal};
    struct drive_end end = drive_body(&how, "\nlocal x = 1\ncell:rest { time = 1 }");
    assert_int_equal(end.status, SCRIPT_FAILED);
    assert_string_equal(end.error.what, "test.lua:3");
    assert_string_equal(end.error.why, "channel S1: not today; ask tomorrow");
    drive_end_free(&end);

    end = drive_body(&how, "local ok, why = pcall(cell.rest, cell, { time = 1 })\n"
                           "assert(not ok) note(why) note('goes on')");
    assert_int_equal(end.status, SCRIPT_DONE);
    drive_expect("caught", end.asked.bytes, "channel S1: not today; ask tomorrow");
    drive_expect("caught", end.asked.bytes, "note {\"text\":\"goes on\"}");
    drive_end_free(&end);
}

#ifdef __SANITIZE_ADDRESS__
#define PATIENCE "1000 ms"
#else
#define PATIENCE "250 ms"
#endif

static void test_failures_have_their_line(void **state)
{
    (void)state;
    static const struct {
        const char *body, *where, *why;
    } cases[] = {
        {"\n\nerror('mine')", "test.lua:3", "mine"},
        {"\nlocal t = nil\nlocal x = t.y", "test.lua:3",
         "attempt to index a nil value (local 't')"},
        {"\nerror({ message = 'in a table' })", "test.lua:2", "in a table"},
        {"\nerror({ code = 5 })", "test.lua:2", "an error value that is a table without a message"},
        {"\nerror(42)", "test.lua:2", "42"},
        {"\nerror('plain', 0)", "test.lua:2", "plain"},
        {"\nerror()", "test.lua:2", "nil"},
        {"\nassert(false, 'so')", "test.lua:2", "so"},
        {"\nassert(1 == 2)", "test.lua:2", "assertion failed!"},
        {"\nlocal function f()\nlocal x = {} + 1 end\nf()", "test.lua:3",
         "attempt to perform arithmetic on a table value"},
        {"\n\nwhile true do\nend", "test.lua:3",
         "worked too long without asking for anything: over 3000000 instructions or " PATIENCE
         " of "
         "processor time"},
        {"\nlocal a, b = pcall(error, 'x')\nerror(b, 0)", "test.lua:3", "x"},
        {"\n(cell.read)(cell, 5)", "test.lua:2", "read wants a table and got a number"},
        {"\nrecord('n', 1) record('m', 2)", "test.lua:2", "the protocol declares no result 'm'"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct drive_end end = drive_body(&(struct drive_case){0}, cases[i].body);
        assert_int_equal(end.status, SCRIPT_FAILED);
        assert_string_equal(end.error.what, cases[i].where);
        assert_string_equal(end.error.why, cases[i].why);
        drive_end_free(&end);
    }
}

/* --- waiting inside pcall, in a loop, over a restart ------------------------------------------ */

static void test_waits_inside_pcall(void **state)
{
    (void)state;
    drive_asks("local ok, out = pcall(function()\n"
               "  local ok2, deeper = pcall(cell.rest, cell, { time = 1 })\n"
               "  assert(ok2 and deeper.charge == 1.95)\n"
               "  return cell:rest { time = 2 } end)\n"
               "assert(ok and out.charge == 1.95)\n"
               "note(select('#', pcall(function() return 1, nil, nil end)))",
               "rest {\"time\":1}\nrest {\"time\":2}\nnote {\"text\":\"4\"}\n");
    drive_asks("for i = 1, 3 do pcall(function() wait(i) error('x') end) end",
               "wait {\"time\":1}\nwait {\"time\":2}\nwait {\"time\":3}\n");
}

static void test_restart(void **state)
{
    (void)state;
    struct drive_case how = {.state = "{\"cycle\":3,\"list\":[1.5,\"x\"]}"};
    struct drive_end end =
        drive_body(&how, "note(state.cycle, state.list[1], state.list[2])\n"
                         "restart_with { cycle = state.cycle + 1, list = state.list }");
    assert_string_equal(end.asked.bytes,
                        "note {\"text\":\"3 1.5 x\"}\n"
                        "restart_with {\"state\":{\"cycle\":4,\"list\":[1.5,\"x\"]}}\n");
    drive_end_free(&end);
    drive_asks("note(state)", "note {\"text\":\"nil\"}\n");

    /* Each segment draws anew, and the same each time it is replayed. */
    struct text draws[3] = {TEXT_EMPTY, TEXT_EMPTY, TEXT_EMPTY};
    const char *const states[] = {NULL, "{\"cycle\":1}", "{\"cycle\":1}"};
    for (int i = 0; i < 3; i++) {
        how = (struct drive_case){.state = states[i], .seed = 5};
        end = drive_body(&how, "note(random(1000000), random(1000000))");
        text_add(&draws[i], end.asked.bytes);
        drive_end_free(&end);
    }
    assert_string_not_equal(draws[0].bytes, draws[1].bytes);
    assert_string_equal(draws[1].bytes, draws[2].bytes);
    for (int i = 0; i < 3; i++)
        text_free(&draws[i]);
}

/* --- replay ----------------------------------------------------------------------------------- */

static const char long_script[] =
    "return protocol { title = 't', results = { n = 'Ah' },\n"
    "params = { cycles = { default = 40 } },\n"
    "run = function(cell, p)\n"
    "  local kept = {}\n"
    "  for cycle = 1, p.cycles do\n"
    "    cell:charge { current = '0.25 It', stop = { time = '3 h 10 min' } }\n"
    "    local out = cell:discharge { current = '0.25 It', stop = { voltage = '1.0 V' } }\n"
    "    kept[#kept + 1] = out.charge + random() / 1000\n"
    "    if out.charge < 1.94 then note('low in ' .. cycle) end\n"
    "    if cycle % 10 == 0 then record('n', out.charge, 'Ah') wait(random(5) * 60) end\n"
    "    table.sort(kept)\n"
    "  end\n"
    "  local names = { b = kept[1], a = kept[#kept] }\n"
    "  for k, v in pairs(names) do note(k, v) end\n"
    "  note(ask { text = 'done?' }, now())\n"
    "end }";

static char *journal[DRIVE_MOST];
static int journaled;

/* Invented outcomes of a live run; kept, as a journal does. */
static const char *live(const struct script_request *request, int n)
{
    char outcome[200];
    if (request->kind == REQUEST_STEP)
        snprintf(outcome, sizeof outcome,
                 "{\"ended_by\":\"voltage\",\"quality\":\"good\",\"gaps\":0,\"charge\":%.17g}",
                 1.9 + (n * 7919 % 101) / 1000.0);
    else
        snprintf(outcome, sizeof outcome, "true");
    assert_int_equal(n, journaled);
    journal[journaled++] = xstrdup(outcome);
    return journal[n];
}

static const char *replayed(const struct script_request *request, int n)
{
    (void)request;
    assert_true(n < journaled);
    return journal[n];
}

static void test_replay_asks_the_same(void **state)
{
    (void)state;
    struct drive_case first = {.answer = live, .seed = 9};
    struct drive_case again = {.answer = replayed, .seed = 9};
    struct drive_end one = drive(&first, long_script);
    if (one.status != SCRIPT_DONE)
        fail_msg("%s", one.all);
    assert_true(one.requests > 80);
    for (int i = 0; i < 3; i++) {
        struct drive_end two = drive(&again, long_script);
        assert_string_equal(two.asked.bytes, one.asked.bytes);
        drive_end_free(&two);
    }
    /* Another seed is another run: the test can tell. */
    again.seed = 10;
    struct drive_end other = drive(&again, long_script);
    assert_string_not_equal(other.asked.bytes, one.asked.bytes);
    drive_end_free(&other);
    drive_end_free(&one);
    for (int i = 0; i < journaled; i++)
        free(journal[i]);
    journaled = 0;
}

/* --- modules ---------------------------------------------------------------------------------- */

static int modules_asked;

static int find_module(void *owner, const char *name, char **text, size_t *length,
                       struct error *error)
{
    (void)owner;
    static const struct {
        const char *name, *text;
    } modules[] = {
        {"lib", "local m = {} function m.twice(x) return 2 * x end return m"},
        {"broken", "local x =\n= 1"},
        {"fails", "\nerror('at the top')"},
        {"round", "return require('round')"},
        {"asks", "note('x')"},
        {"hangs", "while true do end"},
        {"silent", "local x = 1"},
        {"doubled", "return { a = 1,\n a = 2 }"},
    };
    modules_asked++;
    for (size_t i = 0; i < sizeof modules / sizeof *modules; i++)
        if (strcmp(modules[i].name, name) == 0) {
            *text = xstrdup(modules[i].text);
            *length = strlen(*text);
            return 0;
        }
    return error_set(error, ERROR_SCRIPT, name, "put it beside the script",
                     "there is no such module");
}

static void module_fails(const char *body, const char *what, const char *says)
{
    struct drive_end end = drive_body(&(struct drive_case){.module = find_module}, body);
    assert_int_equal(end.status, SCRIPT_FAILED);
    assert_string_equal(end.error.what, what);
    drive_expect(body, end.all, says);
    drive_end_free(&end);
}

static void test_modules(void **state)
{
    (void)state;
    modules_asked = 0;
    struct drive_end end = drive_body(&(struct drive_case){.module = find_module},
                                      "local a, b = require('lib'), require('lib') assert(a == b)\n"
                                      "note(a.twice(21), require('silent'), require('silent'))");
    if (end.status != SCRIPT_DONE)
        fail_msg("%s", end.all);
    assert_string_equal(end.asked.bytes, "note {\"text\":\"42 true true\"}\n");
    assert_int_equal(modules_asked, 2);
    drive_end_free(&end);
    module_fails("require('nowhere')", "test.lua:1", "there is no such module");
    module_fails("require('broken')", "broken:2", "unexpected symbol");
    module_fails("require('fails')", "fails:2", "at the top");
    module_fails("require('round')", "round:1", "requires itself");
    module_fails("require('asks')", "asks:1", "cannot be used inside");
    module_fails("require('hangs')", "hangs:1", "without asking for anything");
    module_fails("require('doubled')", "doubled:2", "named twice");
}

/* --- predicates ------------------------------------------------------------------------------- */

static struct script *open_with_when(const char *when)
{
    struct text text = TEXT_EMPTY;
    struct script *script;
    struct script_request request;
    struct error error;
    text_addf(&text,
              "local calls = 0\nreturn protocol { title = 't', run = function(cell)\n"
              "cell:discharge { current = '0.2 It', stop = { when = %s } } note(calls) end }",
              when);
    struct script_context context = drive_context(&(struct drive_case){0}, text.bytes, text.length);
    assert_int_equal(lua_script_ops()->open(&script, &context, &error), 0);
    assert_int_equal(lua_script_ops()->resume(script, NULL, DRIVE_NOW, &request, &error),
                     SCRIPT_AWAITS);
    assert_true(request.plan.when);
    text_free(&text);
    return script;
}

static int ask_when(const char *when, double voltage, bool *holds, struct error *error)
{
    struct script *script = open_with_when(when);
    struct reading reading = {.voltage = voltage, .current = -0.4, .temperature = NAN};
    struct step step = {.active = 90, .charge = 36, .energy = 3600};
    step.plan.kind = STEP_DISCHARGE;
    int code = lua_script_ops()->predicate(script, &reading, &step, holds, error);
    if (!code) { /* the script goes on as if nothing had been */
        struct script_request request;
        assert_int_equal(
            lua_script_ops()->resume(script, DRIVE_OUTCOME, DRIVE_NOW, &request, error),
            SCRIPT_AWAITS);
        assert_int_equal(request.kind, REQUEST_NOTE);
    }
    lua_script_ops()->close(script);
    return code;
}

static void test_predicate(void **state)
{
    (void)state;
    static const struct {
        const char *when;
        bool holds;
    } cases[] = {
        {"function(r) return r.voltage < 1.1 end", true},
        {"function(r) return r.voltage > 1.1 end", false},
        {"function(r) return r.current == 0.4 end", true}, /* in the step's direction */
        {"function(r) return r.elapsed == 90 and r.charge == 0.01 and r.energy == 1 end", true},
        {"function(r) return r.temperature == nil end", true},
        {"function(r) calls = calls + 1 return calls > 1 end", false},
        {"function(r) end", false},
        {"function(r) return now() == 1767225600 end", true},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct error error;
        bool holds = !cases[i].holds;
        if (ask_when(cases[i].when, 1.05, &holds, &error))
            fail_msg("%s: %s", cases[i].when, error.why);
        assert_int_equal(holds, cases[i].holds);
    }
    static const struct {
        const char *when, *says;
    } wrong[] = {
        {"function(r) while true do end end", "without asking for anything"},
        {"function(r) pcall(function() while true do end end) while true do end end",
         "without asking for anything"},
        {"function(r) note('x') end", "cannot be used inside `when`"},
        {"function(r) return cell:read {} end", "cannot be used inside `when`"},
        {"function(r) return r.voltege end", "did you mean 'voltage'?"},
        {"function(r) return 1 end", "returned a number"},
        {"function(r) error('mine') end", "mine"},
        {"function(r) local t = {} while true do t[#t + 1] = {} end end", ""},
    };
    for (size_t i = 0; i < sizeof wrong / sizeof *wrong; i++) {
        struct error error;
        bool holds = true;
        char all[1200];
        double began = drive_ms();
        assert_int_not_equal(ask_when(wrong[i].when, 1.05, &holds, &error), 0);
        assert_true(drive_ms() - began < 3000);
        snprintf(all, sizeof all, "%s; %s", error.why, error.todo);
        drive_expect(wrong[i].when, all, wrong[i].says);
        if (strcmp(error.what, "test.lua:3") != 0)
            fail_msg("%s: at %s: %s", wrong[i].when, error.what, all);
        assert_false(holds);
    }
}

/* --- what it costs ---------------------------------------------------------------------------- */

static const char *take(const struct script_request *request, int n)
{
    (void)request, (void)n;
    return "true";
}

static void test_cost(void **state)
{
    (void)state;
    static const char one[] = "return protocol { title = 't', results = { n = '1' },\n"
                              "run = function() for i = 1, 100000 do record('n', i) end end }";
    const struct script_ops *ops = lua_script_ops();
    struct script_context context = drive_context(&(struct drive_case){0}, one, strlen(one));
    struct error error;
    double began = drive_ms();
    for (int i = 0; i < 200; i++) {
        struct script *script;
        assert_int_equal(ops->open(&script, &context, &error), 0);
        ops->close(script);
    }
    double open_us = (drive_ms() - began) * 1000 / 200;

    struct script *script;
    struct script_request request;
    assert_int_equal(ops->open(&script, &context, &error), 0);
    size_t bytes = script_memory(script);
    began = drive_ms();
    const char *outcome = NULL;
    int count = 0;
    while (ops->resume(script, outcome, DRIVE_NOW, &request, &error) == SCRIPT_AWAITS) {
        outcome = take(&request, count);
        assert_true(request.value == ++count);
    }
    double each_us = (drive_ms() - began) * 1000 / count;
    assert_int_equal(count, 100000);
    size_t after = script_memory(script);
    ops->close(script);
    printf("a script: %zu bytes in Lua, opened and closed in %.0f us; a record %.2f us\n", bytes,
           open_us, each_us);
    assert_true(after < bytes + 20000); /* 100,000 requests leave nothing behind */
    assert_true(bytes < 100000);
    assert_true(each_us < 50 && open_us < 5000); /* for slow machines and sanitizers */
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_outcome_fields),
        cmocka_unit_test(test_outcome_without_a_field),
        cmocka_unit_test(test_error_outcome_is_raised),
        cmocka_unit_test(test_failures_have_their_line),
        cmocka_unit_test(test_waits_inside_pcall),
        cmocka_unit_test(test_restart),
        cmocka_unit_test(test_replay_asks_the_same),
        cmocka_unit_test(test_modules),
        cmocka_unit_test(test_predicate),
        cmocka_unit_test(test_cost),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
