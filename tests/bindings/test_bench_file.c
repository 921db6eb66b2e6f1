/* Bench files: channels in their order, what the file names, and what is wrong with one at its
 * line. */
#include "bindings/drive.h"

#include "bench/simulated.h"
#include "bindings/bench_file.h"

struct place {
    struct clock clock;
    struct world *world;
    struct bench bench;
    struct error error;
    char all[1400];
};

static int read_bench(struct place *place, const char *text)
{
    memset(place, 0, sizeof *place);
    clock_open_virtual(&place->clock, DRIVE_NOW);
    assert_int_equal(world_open(&place->world, NULL, &place->error), 0);
    int code = bench_file_read("bench.lua", text, strlen(text), &place->clock, place->world, NULL,
                               &place->bench, &place->error);
    snprintf(place->all, sizeof place->all, "%s: %s; %s", place->error.what, place->error.why,
             place->error.todo);
    return code;
}

static void leave(struct place *place)
{
    bench_close(&place->bench);
    world_close(place->world);
}

static void reads(struct place *place, const char *text)
{
    if (read_bench(place, text))
        fail_msg("%s: %s", text, place->all);
}

static void test_order(void **state)
{
    (void)state;
    struct place place;
    reads(&place, "local c = {} for i = 1, 12 do c['S' .. i] = simulated {} end\n"
                  "c.A1 = simulated {} c['B02'] = simulated {} c.B1 = simulated {} c.b = c.A1\n"
                  "return bench { title = 'Twelve and more', channels = c }");
    static const char *const names[] = {"A1", "B1", "B02", "S1", "S2",  "S3",  "S4",  "S5",
                                        "S6", "S7", "S8",  "S9", "S10", "S11", "S12", "b"};
    assert_string_equal(place.bench.title, "Twelve and more");
    assert_int_equal(place.bench.count, 16);
    for (int i = 0; i < place.bench.count; i++) {
        assert_string_equal(place.bench.channels[i]->name, names[i]);
        assert_string_equal(place.bench.channels[i]->ops->kind, "simulated");
    }
    leave(&place);
}

static void test_accuracy(void **state)
{
    (void)state;
    struct place place;
    reads(&place,
          "return bench { channels = {\n"
          "S1 = simulated { accuracy = { current = '0.1 % + 1 mA', time = '1 s', shared = 1,\n"
          "  steady = '90 %' }, misreads = { current = '-0.3 % + 1 mA' } },\n"
          "H1 = by_hand { accuracy = { charge = '2 %' } }, S2 = simulated {} } }");
    const struct channel_accuracy *h = &place.bench.channels[0]->accuracy;
    const struct channel_accuracy *s = &place.bench.channels[1]->accuracy;
    assert_true(s->current.relative == 0.001 && s->current.absolute == 0.001);
    assert_true(s->time.relative == 0 && s->time.absolute == 1);
    assert_true(s->shared == 1 && fabs(s->steady - 0.9) < 1e-15);
    assert_true(isnan(s->voltage.relative) && isnan(s->charge.relative));
    assert_true(h->charge.relative == 0.02 && isnan(h->current.relative));
    s = &place.bench.channels[2]->accuracy;
    assert_true(isnan(s->current.relative) && isnan(s->shared));

    /* Read is what is, less 0.3 %, and 1 mA more. */
    struct channel *channel = place.bench.channels[1];
    struct cell_facts cell = drive_cell(NULL);
    struct drive drive = {DRIVE_CURRENT, -1, NAN};
    struct reading reading;
    assert_int_equal(channel->ops->insert(channel, &cell, &place.error), 0);
    assert_int_equal(channel->ops->drive(channel, &drive, &place.error), CHANNEL_NOW);
    assert_int_equal(channel->ops->read(channel, &reading, &place.error), CHANNEL_NOW);
    assert_true(fabs(reading.current - (-0.997 + 0.001)) < 1e-12);
    leave(&place);

    static const struct {
        const char *channel, *says;
    } wrong[] = {
        {"simulated { accuracy = { voltage = '5 A' } }", "5 A"},
        {"simulated { accuracy = { charge = '1 %' } }", "accuracy has no 'charge'"},
        {"simulated { accuracy = { voltage = '-1 mV' } }", "below zero"},
        {"simulated { accuracy = { shared = 2 } }", "from 0 to 1"},
        {"simulated { accuracy = '1 %' }", "accuracy is a string"},
        {"simulated { misreads = { temperature = '1 K' } }", "misreads has no 'temperature'"},
        {"simulated { misreads = { voltage = '1 A' } }", "1 A"},
        {"by_hand { accuracy = { current = '1 %' } }", "accuracy has no 'current'"},
    };
    for (size_t i = 0; i < sizeof wrong / sizeof *wrong; i++) {
        char text[200];
        snprintf(text, sizeof text, "return bench { channels = { S1 = %s } }", wrong[i].channel);
        assert_int_equal(read_bench(&place, text), ERROR_BENCH);
        drive_expect(text, place.all, wrong[i].says);
        leave(&place);
    }
}

/* What a channel with an ideal cell measures: the truth of the file, in SI. */
static void test_truth(void **state)
{
    (void)state;
    struct place place;
    reads(&place,
          "return bench { channels = {\n"
          "S1 = simulated { capacity = '2 Ah', open_circuit = '1.25 V', r0 = '25 mohm',\n"
          "  soc_new = '50 %', noise = 0, ambient = '23 degC', tick = '1 s', tick_most = 5,\n"
          "  rest_most = '10 min', void_after = '1 h',\n"
          "  limits = limits { voltage_most = '1.6 V', discharge_current_most = '3 A' } },\n"
          "S2 = simulated { capacity = 1.5, open_circuit = { { 0, 1 }, { '100 %', '1.4 V' } },\n"
          "  soc_new = 0.25 },\n"
          "S3 = simulated {} } }");
    assert_int_equal(place.bench.count, 3);
    struct channel *channel = place.bench.channels[0];
    assert_true(channel->tick_least == 1 && channel->tick_most == 5);
    assert_true(channel->rest_most == 600 && channel->void_after == 3600);
    assert_true(channel->limits.voltage_most == 1.6);
    assert_true(channel->limits.discharge_current_most == 3);

    struct cell_facts cell = drive_cell(NULL);
    struct reading reading;
    for (int i = 0; i < 2; i++) {
        channel = place.bench.channels[i];
        snprintf(cell.label, sizeof cell.label, "KES-%d", i);
        assert_int_equal(channel->ops->insert(channel, &cell, &place.error), 0);
        if (i == 0) { /* U = OCV - I R0: 1.25 V - 1 A * 25 mohm (Ohm's law) */
            struct drive drive = {DRIVE_CURRENT, -1, NAN};
            assert_int_equal(channel->ops->drive(channel, &drive, &place.error), CHANNEL_NOW);
        }
        assert_int_equal(channel->ops->read(channel, &reading, &place.error), CHANNEL_NOW);
        double wanted = i == 0 ? 1.225 : 1.1; /* a quarter of the way from 1 to 1.4 V */
        if (!(fabs(reading.voltage - wanted) < 1e-6))
            fail_msg("channel %d shows %g V and not %g", i, reading.voltage, wanted);
        channel->ops->make_safe(channel, &place.error);
    }
    assert_true(fabs(reading.temperature - 20) < 0.01);
    leave(&place);
}

static void test_typical_truth(void **state)
{
    (void)state;
    struct place place;
    reads(&place, "return bench { channels = {\n"
                  "S1 = simulated { chemistry = 'Li-ion', capacity = '3 Ah', noise = 0 } } }");
    struct channel *channel = place.bench.channels[0];
    struct cell_facts cell = drive_cell("Li-ion");
    struct reading reading;
    assert_int_equal(channel->ops->insert(channel, &cell, &place.error), 0);
    assert_int_equal(channel->ops->read(channel, &reading, &place.error), CHANNEL_NOW);
    assert_true(reading.voltage > 2.5 && reading.voltage < 4.3); /* common practice, no source */
    leave(&place);
}

static void test_wrong_files(void **state)
{
    (void)state;
    static const struct {
        const char *text, *where, *says;
    } cases[] = {
        {"return bench {\n channels = { S1 = simulated {} }", "bench.lua:2", "'}' expected"},
        {"return 5", "bench.lua", "does not return a bench"},
        {"", "bench.lua", "does not return a bench"},
        {"bench { channels = { S1 = simulated {} } }", "bench.lua", "does not return a bench"},
        {"return bench {}", "bench.lua:1", "no channels"},
        {"return bench { channels = {} }", "bench.lua:1", "no channels"},
        {"return bench { channels = { simulated {} } }", "bench.lua:1", "has no name"},
        {"return bench { channels = { S1 = 5 } }", "bench.lua:1", "channel 'S1' is a number"},
        {"return bench { channels = { ['S 1'] = simulated {} } }", "bench.lua:1", "no name"},
        {"return bench { channels = { [('x'):rep(32)] = simulated {} } }", "bench.lua:1",
         "1 to 31 characters"},
        {"return bench { chanels = {} }", "bench.lua:1", "did you mean 'channels'?"},
        {"return bench { title = 5, channels = { S1 = simulated {} } }", "bench.lua:1", "title"},
        {"return bench { channels = {\n S1 = simulated {},\n S2 = simulated {},\n"
         " S1 = simulated {} } }",
         "bench.lua:4", "'S1' is named twice in one table, first on line 2"},
        {"return bench { channels = {\n S1 = simulated {},\n ['S1'] = simulated {} } }",
         "bench.lua:3", "'S1' is named twice"},
        {"return bench { channels = { S1 = simulated {\n capcity = 1 } } }", "bench.lua:1",
         "did you mean 'capacity'?"},
        {"local a\nlocal s = simulated { capacity = '2 V' }", "bench.lua:2", "capacity"},
        {"local s = simulated { capacity = '2 Ah' }", "bench.lua:1", "needs capacity and open"},
        {"local s = simulated { noise = 0 }", "bench.lua:1", "needs capacity and open"},
        {"local s = simulated { chemistry = 'cheese' }", "bench.lua:1", "no chemistry 'cheese'"},
        {"local s = simulated { capacity = 2, open_circuit = { { 0, 1 } } }", "bench.lua:1",
         "has 1 points"},
        {"local s = simulated { capacity = 2, open_circuit = { 1, 2, 3 } }", "bench.lua:1",
         "is no pair"},
        {"local s = simulated { capacity = 2, open_circuit = { { 1, 1 }, { 0, 2 } } }",
         "bench.lua:1", ""},
        {"local s = simulated { capacity = 2, open_circuit = 1, efficiency = 5 }", "bench.lua:1",
         "efficiency"},
        {"local s = simulated { capacity = 2, open_circuit = 1, r0 = '-1 ohm' }", "bench.lua:1",
         "r0"},
        {"local s = simulated { tick = 0 }", "bench.lua:1", "tick of no length"},
        {"local s = simulated { limits = { voltage_mots = 1 } }", "bench.lua:1",
         "did you mean 'voltage_most'?"},
        {"local l = limits { voltage_most = '1 A' }", "bench.lua:1", "voltage_most"},
        {"local s = simulated { limits = { voltage_most = 1800 } }", "bench.lua:1",
         "1800 V is no limit of a cell"},
        {"local s = simulated { limits = { charge_current_most = 2000 } }", "bench.lua:1",
         "2000 A is no limit of a cell"},
        {"local l = limits(5)", "bench.lua:1", "limits is a number"},
        {"return bench { channels = { H1 =\n by_hand { tilte = 'x' } } }", "bench.lua:2",
         "did you mean 'title'"},
        {"return bench { channels = { H1 =\n by_hand { placed = 'yes' } } }", "bench.lua:2",
         "placed is a string"},
        {"record('n', 1)", "bench.lua:1", "there is no 'record' here"},
        {"io.open('/etc/hostname')", "bench.lua:1", "scripts have no 'io'"},
        {"while true do end", "bench.lua:1", "without asking for anything"},
        {"local b = bench { channels = { S1 = simulated {} } } b.channels.S1 = 5 return b",
         "bench.lua", "channel 'S1' is a number"},
        {"local b = bench { channels = { S1 = simulated {} } } b.channels = nil return b",
         "bench.lua", "no channels"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct place place;
        if (!read_bench(&place, cases[i].text))
            fail_msg("was read: %s", cases[i].text);
        drive_expect(cases[i].text, place.all, cases[i].says);
        assert_int_equal(place.error.code, ERROR_BENCH);
        if (strcmp(place.error.what, cases[i].where) != 0)
            fail_msg("%s: at %s and not %s", cases[i].text, place.error.what, cases[i].where);
        assert_int_equal(place.bench.count, 0);
        leave(&place);
    }
}

/* Keys named twice, and what only looks like it. */
static void test_doubled_keys(void **state)
{
    (void)state;
    static const char *const fine[] = {
        "local t = { a = 1, b = { a = 2 }, c = function() local a = 1; a = 2; a = 3 end }",
        "local t = { a == 1, a == 1, f = (function() a = 1 a = 2 end) } local a a = 1 a = 2",
        "local t = { -- a = 1, a = 2\n a = 1, --[[ a = 3, ]] b = 'a = 4, a = 5' }",
        "local t = { x = [==[ ]] a = 1, a = 2 ]==], y = \"\\\"a = 1, a = 2\" }",
        "local t = { a = function() if x then a = 1; a = 2 end for i = 1, 2 do a = 1; a = 2 end "
        "repeat a = 1; a = 2 until x while x do a = 1; a = 2 end end, b = 1 }",
        "local t = { [1] = 1, [2] = 2, ['a' .. 'b'] = 3, ['a' .. 'b'] = 4 }",
        "local t = { a = 1.5, b = 0x1F, c = 1e3 , d = 3 - -2 }",
    };
    for (size_t i = 0; i < sizeof fine / sizeof *fine; i++) {
        char text[600];
        struct place place;
        snprintf(text, sizeof text,
                 "local x = true local a = 0 %s\nreturn bench { channels = { S1 = "
                 "simulated {} } }",
                 fine[i]);
        if (strstr(fine[i], "local a a"))
            snprintf(text, sizeof text,
                     "local a, x %s\nreturn bench { channels = { S1 = simulated "
                     "{} } }",
                     fine[i]);
        reads(&place, text);
        leave(&place);
    }
    static const char *const doubled[] = {
        "local t = { a = 1, a = 2 }",
        "local t = { a = 1; a = 2 }",
        "local t = { b = { a = 1, c = {}, a = 2 } }",
        "local t = { a = function() local b = 1; b = 2 end, a = 2 }",
        "local t = { a = 1, [\"a\"] = 2 }",
        "local t = { a = 1, [ [[a]] ] = 2 }",
        "local t = { a = { 1, 2 }, (f()), a = 2 }",
        "local t = { a = if_x, a = 2 }",
    };
    for (size_t i = 0; i < sizeof doubled / sizeof *doubled; i++) {
        struct place place;
        if (!read_bench(&place, doubled[i]))
            fail_msg("was read: %s", doubled[i]);
        drive_expect(doubled[i], place.all, "'a' is named twice");
        leave(&place);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_order),         cmocka_unit_test(test_truth),
        cmocka_unit_test(test_typical_truth), cmocka_unit_test(test_wrong_files),
        cmocka_unit_test(test_doubled_keys),  cmocka_unit_test(test_accuracy),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
