/* Bench files with instruments: what is wrong with one at its line; what stands for them in a
 * rehearsal; and from a bench file to a reading, over TCP, with each fault on the way. */
#include "bench/wires.h"

#include <math.h>

#include "bench/bench.h"
#include "bench/world.h"
#include "bindings/bench_file.h"

struct place {
    struct wires wires;
    struct world *world;
    struct bench bench;
    struct bench_access access;
    struct error error;
    char all[1400];
    int readings, answers, failures;
    struct reading reading;
};

static void open_place(struct place *place)
{
    memset(place, 0, sizeof *place);
    setenv("PERDURE_DRIVERS", SOURCE_DIR "/bindings/drivers", 1);
    wires_open(&place->wires);
    assert_int_equal(world_open(&place->world, NULL, &place->error), 0);
    place->access = (struct bench_access){
        .uv_loop = place->wires.loop, .folder = "", .tell = wires_tell, .owner = &place->wires};
}

static int read_bench(struct place *place, const char *text)
{
    int code = bench_file_read("bench.lua", text, strlen(text), &place->wires.clock, place->world,
                               &place->access, &place->bench, &place->error);
    snprintf(place->all, sizeof place->all, "%s: %s; %s", place->error.what, place->error.why,
             place->error.todo);
    return code;
}

static void leave(struct place *place)
{
    bench_close(&place->bench);
    wires_run(&place->wires, 0.005);
    world_close(place->world);
    wires_close(&place->wires);
}

/* A thousand instruments are opened in more processor time than a script may take: it is not
 * its. */
static void test_a_thousand(void **state)
{
    struct place place;
    (void)state;
    open_place(&place);
    if (read_bench(&place, "local all = {} for i = 1, 1000 do\n"
                           "  local both = instrument { driver = 'two_quadrant', name = 'Q' .. i,\n"
                           "    link = pty('/nowhere/' .. i) }\n"
                           "  all['A' .. i] = channel { source = both, sink = both }\n"
                           "end return bench { channels = all }"))
        fail_msg("%s", place.all);
    assert_int_equal(place.bench.count, 1000);
    assert_int_equal(place.bench.instrument_count, 1000);
    leave(&place);
}

/* --- what is wrong --------------------------------------------------------------------------- */

#define PSU   "local psu = instrument { driver = 'supply', link = tcp('127.0.0.1', 1) } "
#define DMM   "local dmm = instrument { driver = 'meter', link = tcp('127.0.0.1', 2) } "
#define OHM   "local ohm = instrument { driver = 'ohmmeter', link = tcp('127.0.0.1', 4) } "
#define BOARD "local board = instrument { driver = 'relay', link = tcp('127.0.0.1', 3) } "

static void test_wrong_files(void **state)
{
    (void)state;
    static const struct {
        const char *text, *says;
    } cases[] = {
        {"tcp()", "tcp wants a host in quotes"},
        {"serial('')", "serial wants a path in quotes"},
        {"tcp('h', 70000)", "that is no port"},
        {"serial('/dev/x', { sped = 9600 })", "did you mean 'speed'?"},
        {"serial('/dev/x', { parity = 'evn' })", "did you mean 'even'?"},
        {"serial('/dev/x', { speed = 9600.5 })", "speed is no whole number"},
        {"tcp('h', 1, { terminator = 'abc' })", "the terminator has not 1 or 2 bytes"},
        {"tcp('h', 1, { patience = '1 V' })", "patience"},
        {"tcp('h', 1, { speed = 9600 })", "tcp has no 'speed'"},
        {"usbtmc('/dev/x', {}, {})", "too many arguments"},
        {"instrument {}", "the instrument has no driver"},
        {"instrument { driver = 'supply' }", "the instrument has no link"},
        {"instrument { driver = 'suply', link = tcp('h') }", "no driver has this name"},
        {"instrument { driver = 'supply', link = tcp('h'), settings = { remot = 'x' } }",
         "did you mean 'remote'?"},
        {"instrument { driver = 'supply', link = tcp('h'), identity = { model = 5 } }",
         "'model' is a number"},
        {"instrument { driver = 'supply', link = tcp('h'), limits = { voltage_mots = 5 } }",
         "did you mean 'voltage_most'?"},
        {"route(5, 1)", "route wants an instrument"},
        {BOARD "route(board, 0)", "route wants the number"},
        {"channel {}", "nothing on the channel measures a voltage"},
        {"channel { source = 5 }", "the source is a number"},
        {PSU "channel { sink = psu }", "cannot be a sink"},
        {PSU BOARD "channel { source = psu, relay = board }", "the relay has no number"},
        {DMM BOARD "channel { meter = dmm, relay = route(board, 1) }",
         "nothing for the relay to part the cell from"},
        {PSU BOARD "channel { source = psu, scanner = route(board, 1) }",
         "no meter behind the scanner"},
        {DMM "channel { meter = dmm, ohmmeter = dmm }", "cannot be an ohmmeter"},
        {OHM "channel { ohmmeter = ohm }", "nothing on the channel measures a voltage"},
        {DMM BOARD "channel { meter = dmm, ohmmeter_scanner = route(board, 1) }",
         "no ohmmeter behind its scanner"},
        {DMM OHM BOARD "channel { meter = dmm, ohmmeter = ohm, ohmmeter_scanner = board }",
         "the ohmmeter_scanner has no number"},
        {DMM OHM BOARD "channel { meter = dmm, scanner = route(board, 1), ohmmeter = ohm,\n"
                       "ohmmeter_scanner = route(board, 1) }",
         "joined to the cell by one relay"},
        {PSU DMM OHM "return bench { channels = { A1 = channel { meter = dmm, ohmmeter = ohm },\n"
                     "A2 = channel { source = psu, ohmmeter = ohm } } }",
         "put a scanner before it: ohmmeter_scanner = route(...)"},
        {PSU "channel { source = psu, accuracy = { resistance = '5 V' } }", "5 V"},
        {PSU "channel { source = psu, accuracy = { voltage = '5 A' } }", "5 A"},
        {PSU "channel { source = psu, accuracy = { volts = '5 V' } }", "accuracy has no 'volts'"},
        {PSU "channel { source = psu, frozen_after = 1 }", "frozen_after"},
        {PSU "channel { source = psu, tick = 0 }", "a tick of no length"},
        {PSU "return bench { channels = { A1 = channel { source = psu },\n"
             "A2 = channel { source = psu } } }",
         "channels A1 and A2 share the source"},
        {DMM "return bench { channels = { A1 = channel { meter = dmm }, A2 = channel { meter = dmm "
             "} } }",
         "channels A1 and A2 share the meter"},
        {PSU DMM BOARD "return bench { channels = {\n"
                       "A1 = channel { source = psu, relay = route(board, 1) },\n"
                       "A2 = channel { meter = dmm, scanner = route(board, 1) } } }",
         "channels A1 and A2 share the scanner"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct place place;
        open_place(&place);
        if (!read_bench(&place, cases[i].text))
            fail_msg("was read: %s", cases[i].text);
        assert_says(place.all, cases[i].says);
        assert_int_equal(place.error.code, ERROR_BENCH);
        assert_int_equal(place.bench.count + place.bench.instrument_count, 0);
        leave(&place);
    }
}

/* The clock: real; or scaled where the cells keep its pace, and then every result says so. */
static void test_clock(void **state)
{
    (void)state;
    static const char text[] = PSU "return bench { channels = { A1 = channel { source = psu } } }";
    static const char emulated[] =
        PSU "return bench { emulated = true, channels = { A1 = channel { source = psu } } }";
    struct place place;
    open_place(&place);
    clock_open_scaled(&place.wires.clock, 60, 0, 0);
    assert_int_equal(read_bench(&place, text), ERROR_BENCH);
    assert_says(place.all, "instruments keep real time");
    assert_int_equal(read_bench(&place, emulated), 0);
    assert_string_equal(place.bench.channels[0]->ops->kind, "emulated");
    bench_close(&place.bench);
    clock_open_virtual(&place.wires.clock, 0);
    assert_int_equal(read_bench(&place, emulated), ERROR_BENCH);
    /* A rehearsal looks at no instrument: a simulated channel with the same limits stands there. */
    place.access.uv_loop = NULL;
    assert_int_equal(
        read_bench(&place,
                   "local psu = instrument { driver = 'supply', link = tcp('h'),\n"
                   "  limits = { charge_current_most = '2 A' } }\n"
                   "return bench { channels = { A1 = channel { source = psu, tick = '2 s',\n"
                   "  limits = { voltage_most = '1.7 V', charge_current_most = '3 A' } } } }"),
        0);
    const struct channel *channel = place.bench.channels[0];
    assert_string_equal(channel->ops->kind, "simulated");
    assert_true(channel->limits.charge_current_most == 2 && channel->limits.voltage_most == 1.7);
    assert_true(channel->tick_least == 2);
    assert_int_equal(place.bench.instrument_count, 0);
    bench_close(&place.bench);
    /* But its driver is read: a mistake is found before the day. */
    assert_int_equal(read_bench(&place, "instrument { driver = 'nosuch', link = tcp('h') }"),
                     ERROR_BENCH);
    clock_open_real(&place.wires.clock);
    leave(&place);
}

static void test_keys(void **state)
{
    (void)state;
    struct place place;
    open_place(&place);
    assert_int_equal(
        read_bench(
            &place,
            "local psu = instrument { driver = 'supply', link = tcp('127.0.0.1', 1),\n"
            "  limits = limits { charge_current_most = '2 A', voltage_most = '20 V' } }\n"
            "return bench { channels = { A1 = channel { source = psu, void_after = '1 h',\n"
            "  accuracy = { voltage = '0.05 % + 2 mV', temperature = '1 K' },\n"
            "  limits = { voltage_most = '1.7 V' }, tick_most = 3, rest_most = '5 min' } } }"),
        0);
    const struct channel *channel = place.bench.channels[0];
    assert_string_equal(channel->ops->kind, "instruments");
    assert_true(channel->physical);
    assert_true(channel->limits.charge_current_most == 2 && channel->limits.voltage_most == 1.7);
    assert_near(channel->accuracy.voltage.relative, 0.0005, 1e-12);
    assert_near(channel->accuracy.voltage.absolute, 0.002, 1e-12);
    assert_true(isnan(channel->accuracy.current.relative));
    assert_near(channel->accuracy.temperature.absolute, 1, 1e-12);
    assert_true(channel->tick_most == 3 && channel->rest_most == 300 &&
                channel->void_after == 3600);
    leave(&place);
}

/* --- from file to reading -------------------------------------------------------------------- */

static void say(struct far *far, const char *text)
{
    char line[96];
    snprintf(line, sizeof line, "%s\n", text);
    far_write(far, line);
}

/* A small supply that speaks SCPI. `later_on` delays the answer to a line, once. */
static void supply_hears(struct far *far, const char *line)
{
    struct wires *wires = far->wires;
    char number[40] = "";
    size_t used = strlen(wires->record);
    snprintf(wires->record + used, sizeof wires->record - used, "%s;", line);
    if (far_is(line, far->hang_up_on)) {
        far->hang_up_on = NULL;
        far_hang_up(far);
        return;
    }
    if (far_is(line, far->garbage_on)) {
        far->garbage_on = NULL;
        say(far, "@@@@");
        return;
    }
    if (strcmp(line, "*IDN?") == 0)
        snprintf(number, sizeof number, "%s", far->is);
    else if (strcmp(line, "*OPC?") == 0)
        snprintf(number, sizeof number, "1");
    else if (strcmp(line, "SYST:ERR?") == 0)
        snprintf(number, sizeof number,
                 far->error ? "-222,\"Data out of range\"" : "0,\"No error\"");
    else if (strcmp(line, "OUTP?") == 0)
        snprintf(number, sizeof number, "%d", far->on);
    else if (strcmp(line, "VOLT?") == 0)
        snprintf(number, sizeof number, "%.4E", far->degrees);
    else if (strcmp(line, "CURR?") == 0)
        snprintf(number, sizeof number, "%.4E", far->amps);
    else if (strcmp(line, "MEAS:VOLT?") == 0)
        snprintf(number, sizeof number, "%.4E", far->volts);
    else if (strcmp(line, "MEAS:CURR?") == 0)
        snprintf(number, sizeof number, "%.4E", far->on ? far->amps : 0);
    else if (strncmp(line, "VOLT ", 5) == 0)
        far->degrees = atof(line + 5);
    else if (strncmp(line, "CURR ", 5) == 0)
        far->amps = atof(line + 5);
    else if (strncmp(line, "OUTP O", 6) == 0)
        far->on = line[6] == 'N';
    if (strcmp(line, "SYST:ERR?") == 0)
        far->error = false;
    if (!number[0] || far_is(line, far->silent_on))
        return;
    if (far_is(line, far->later_on)) {
        far->later_on = NULL;
        snprintf(far->later, sizeof far->later, "%s\n", number);
        uv_timer_start(&far->timer, far_say_late, 180, 0);
        return;
    }
    say(far, number);
}

static void notify(void *owner, const struct reading *reading, const struct error *failure)
{
    struct place *place = owner;
    place->readings += reading != NULL;
    place->answers += !reading && !failure;
    place->failures += failure != NULL;
    if (reading)
        place->reading = *reading;
    if (failure) {
        place->error = *failure;
        snprintf(place->all, sizeof place->all, "%s: %s; %s", failure->what, failure->why,
                 failure->todo);
    }
}

static struct channel *bring_up(struct place *place, struct far **far)
{
    char text[600];
    open_place(place);
    *far = wires_far(&place->wires, 'S', "Saltmere Instruments,SP-1,0001,1.0");
    (*far)->hear = supply_hears;
    snprintf(
        text, sizeof text,
        "local psu = instrument { name = 'psu', driver = 'supply', identity = { serial = '0001' "
        "},\n link = tcp('127.0.0.1', %d, { patience = '120 ms', quiet = '3 ms' }) }\n"
        "return bench { channels = { A1 = channel { source = psu,\n"
        "  limits = { voltage_most = '1.8 V' } } } }",
        (*far)->port);
    if (read_bench(place, text))
        fail_msg("%s", place->all);
    assert_int_equal(bench_reach(&place->bench, 3), 0);
    struct channel *channel = place->bench.channels[0];
    struct cell_facts cell = {
        .label = "KES-07", .profile = profile_find("NiMH"), .rated_charge = 7200};
    assert_int_equal(channel->ops->insert(channel, &cell, &place->error), 0);
    channel->notify = notify;
    channel->owner = place;
    wires_run(&place->wires, 0.005);
    wires_forget(&place->wires);
    return channel;
}

static void until(struct place *place, const int *count, int wanted)
{
    for (int i = 0; i < 3000 && *count < wanted; i++)
        wires_run(&place->wires, 0.001);
    if (*count != wanted)
        fail_msg("%d and not %d: %s", *count, wanted, place->all);
}

static const struct drive one_ampere = {DRIVE_CURRENT, 1, NAN};

static void test_charge(void **state)
{
    (void)state;
    struct place place;
    struct far *far;
    struct channel *channel = bring_up(&place, &far);
    assert_int_equal(channel->ops->drive(channel, &one_ampere, &place.error), CHANNEL_LATER);
    until(&place, &place.answers, 1);
    assert_true(far->on);
    assert_true(far->degrees == 1.8); /* without a ceiling it is set to the limit */
    assert_int_equal(channel->ops->read(channel, &place.reading, &place.error), CHANNEL_LATER);
    until(&place, &place.readings, 1);
    assert_true(place.reading.voltage == 1.25 && place.reading.current == 1);
    assert_int_equal(channel->ops->make_safe(channel, &place.error), CHANNEL_LATER);
    until(&place, &place.answers, 2);
    assert_false(far->on);
    leave(&place);
}

/* Each fault while the cell is driven: the reading fails with a message that says which instrument,
 * what was sent, what came and what to try; and the output is off after make_safe. */
static void test_faults(void **state)
{
    (void)state;
    static const struct {
        const char *later, *garbage, *hang_up;
        bool off;
        const char *says[4];
    } cases[] = {
        {"MEAS:VOLT?",
         NULL,
         NULL,
         false,
         {"psu: no answer in time (sent \"MEAS:VOLT?\"", "in read of supply.lua)",
          "see that it is on"}},
        {NULL,
         "MEAS:CURR?",
         NULL,
         false,
         {"psu: \"@@@@\" is no number (sent \"MEAS:CURR?\", came \"@@@@\"", "see its manual"}},
        {NULL, NULL, "MEAS:CURR?", false, {"psu: 127.0.0.1: the other end hung up", "cable is in"}},
        {NULL, NULL, NULL, true, {"psu: its output went off by itself", "protection has tripped"}},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct place place;
        struct far *far;
        struct channel *channel = bring_up(&place, &far);
        assert_int_equal(channel->ops->drive(channel, &one_ampere, &place.error), CHANNEL_LATER);
        until(&place, &place.answers, 1);
        far->later_on = cases[i].later;
        far->garbage_on = cases[i].garbage;
        far->hang_up_on = cases[i].hang_up;
        far->on = !cases[i].off;
        assert_int_equal(channel->ops->read(channel, &place.reading, &place.error), CHANNEL_LATER);
        until(&place, &place.failures, 1);
        for (int k = 0; cases[i].says[k]; k++)
            assert_says(place.all, cases[i].says[k]);
        enum channel_reply reply = channel->ops->make_safe(channel, &place.error);
        if (cases[i].hang_up) { /* cannot be reached: said so, and done when it is back */
            assert_int_equal(reply, CHANNEL_FAILED);
            wires_until(&place.wires, place.bench.instruments[0], INSTRUMENT_READY);
        } else {
            assert_int_equal(reply, CHANNEL_LATER);
            until(&place, &place.answers, 2);
        }
        assert_false(far->on);
        assert_int_equal(place.readings, 0);
        /* And it works again. */
        assert_int_equal(channel->ops->read(channel, &place.reading, &place.error), CHANNEL_LATER);
        until(&place, &place.readings, 1);
        leave(&place);
    }
}

static void test_refused_setting(void **state)
{
    (void)state;
    struct place place;
    struct far *far;
    struct channel *channel = bring_up(&place, &far);
    far->error = true;
    assert_int_equal(channel->ops->drive(channel, &one_ampere, &place.error), CHANNEL_LATER);
    until(&place, &place.failures, 1);
    assert_says(place.all, "psu: it reported -222 \"Data out of range\" (sent \"VOLT 1.8E+00\"");
    wires_run(&place.wires, 0.003);
    assert_false(far->on);
    assert_null(strstr(place.wires.record, "OUTP ON"));
    leave(&place);
}

static void test_wrong_identity(void **state)
{
    (void)state;
    struct place place;
    struct far *far;
    struct channel *channel = bring_up(&place, &far);
    far->is = "Saltmere Instruments,SP-1,0009,1.0"; /* the cables were changed over */
    far_hang_up(far);
    wires_until(&place.wires, place.bench.instruments[0], INSTRUMENT_DOWN);
    wires_forget(&place.wires);
    wires_run(&place.wires, 0.4);
    assert_says(place.wires.record, "*IDN?;");
    assert_null(strstr(place.wires.record, "OUTP ON"));
    assert_int_equal(bench_reach(&place.bench, 0.5), 1);
    assert_int_equal(channel->ops->read(channel, &place.reading, &place.error), CHANNEL_FAILED);
    assert_string_equal(place.error.what, "psu");
    assert_says(place.error.why, "another instrument answers at tcp 127.0.0.1");
    leave(&place);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_a_thousand),      cmocka_unit_test(test_wrong_files),
        cmocka_unit_test(test_clock),           cmocka_unit_test(test_keys),
        cmocka_unit_test(test_charge),          cmocka_unit_test(test_faults),
        cmocka_unit_test(test_refused_setting), cmocka_unit_test(test_wrong_identity),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
