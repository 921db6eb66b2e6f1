/* Runs, their scripts and modules. */
#include "bench_day.h"

/* --- scripts ---------------------------------------------------------------------------------- */

/* The hash is the published one: SHA-256 of "abc", FIPS 180-2, appendix B.1. */
static void test_a_script_is_kept_once_by_its_hash(void **state)
{
    struct logbook *logbook = memory_logbook();
    char hash[SHA256_HEX], again[SHA256_HEX], *text;
    size_t length;

    (void)state;
    must(logbook_begin(logbook, &error));
    must(logbook_add_script(logbook, "a.lua", "abc", 3, hash, &error));
    assert_string_equal(hash, "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
    must(logbook_add_script(logbook, "b.lua", "abc", 3, again, &error));
    assert_string_equal(hash, again);
    must(logbook_add_script(logbook, "zero.lua", "a\0b", 3, again, &error));
    must(logbook_commit(logbook, &error));
    assert_int_equal(ask(logbook, "SELECT count(*) FROM script"), 2);
    must(logbook_script(logbook, hash, &text, &length, &error));
    assert_int_equal(length, 3);
    assert_string_equal(text, "abc");
    free(text);
    must(logbook_script(logbook, again, &text, &length, &error));
    assert_int_equal(length, 3);
    assert_memory_equal(text, "a\0b", 4);
    free(text);
    refused(ERROR_FAILED, logbook_script(logbook, "00", &text, &length, &error));
    assert_null(text);
    close_sound(logbook);
}

static void test_a_changed_text_is_noticed(void **state)
{
    struct logbook *logbook = memory_logbook();
    char hash[SHA256_HEX], *text;
    size_t length;

    (void)state;
    must(logbook_begin(logbook, &error));
    must(logbook_add_script(logbook, "a.lua", "abc", 3, hash, &error));
    must(logbook_commit(logbook, &error));
    must(sql_script(logbook->db, ":memory:", "UPDATE script SET text = 'abd'", &error));
    refused(ERROR_LOGBOOK, logbook_script(logbook, hash, &text, &length, &error));
    close_sound(logbook);
}

static void test_modules_are_pinned(void **state)
{
    struct logbook *logbook = memory_logbook();
    char hash[SHA256_HEX], found[SHA256_HEX];
    int64_t run;

    (void)state;
    must(logbook_begin(logbook, &error));
    run = add_run(logbook, 0);
    must(logbook_add_script(logbook, "forms.lua", "return 1", 8, hash, &error));
    must(logbook_add_run_module(logbook, run, "forms", hash, &error));
    must(logbook_run_module(logbook, run, "forms", found, &error));
    assert_string_equal(found, hash);
    refused(ERROR_FAILED, logbook_run_module(logbook, run, "other", found, &error));
    refused(ERROR_FAILED, logbook_run_module(logbook, run + 1, "forms", found, &error));
    /* One of this name is replaced: an adopted text brings its modules. */
    must(logbook_add_script(logbook, "forms.lua", "return 2", 8, hash, &error));
    must(logbook_add_run_module(logbook, run, "forms", hash, &error));
    must(logbook_run_module(logbook, run, "forms", found, &error));
    assert_string_equal(found, hash);
    refused(ERROR_INTERNAL, logbook_add_run_module(logbook, run, "none", "00", &error));
    must(logbook_commit(logbook, &error));
    close_sound(logbook);
}

/* --- runs ------------------------------------------------------------------------------------- */

static void test_a_run_comes_back_as_it_went_in(void **state)
{
    struct logbook *logbook = memory_logbook();
    struct run_record run = {.kind = "protocol", .script_name = "capacity.lua"}, back;
    char params[] = "{\"rate\":0.4}", segment_state[] = "[1]";

    (void)state;
    must(logbook_begin(logbook, &error));
    run.cell = add_cell(logbook, "KES-07");
    run.parent = add_run(logbook, 0);
    run.params = params;
    run.segment = 3;
    run.segment_state = segment_state;
    run.segment_at = DAY_ONE + 5;
    run.seed = UINT64_MAX;
    run.queued_at = DAY_ONE + 1;
    string_copy(run.channel, sizeof(run.channel), "S1");
    string_copy(run.engine_version, sizeof(run.engine_version), "0.1.0");
    string_copy(run.lua_version, sizeof(run.lua_version), "Lua 5.4");
    must(logbook_add_script(logbook, "capacity.lua", "x", 1, run.script_hash, &error));
    must(logbook_add_run(logbook, &run, &error));
    assert_string_equal(run.cell_label, "KES-07");
    must(logbook_commit(logbook, &error));

    must(logbook_run(logbook, run.id, &back, &error));
    assert_int_equal(back.id, run.id);
    assert_int_equal(back.parent, run.parent);
    assert_string_equal(back.kind, "protocol");
    assert_string_equal(back.script_name, "capacity.lua");
    assert_string_equal(back.script_hash, run.script_hash);
    assert_string_equal(back.params, params);
    assert_int_equal(back.cell, run.cell);
    assert_string_equal(back.cell_label, "KES-07");
    assert_string_equal(back.channel, "S1");
    assert_true(back.seed == UINT64_MAX);
    assert_int_equal(back.state, RUN_QUEUED);
    assert_int_equal(back.segment, 3);
    assert_string_equal(back.segment_state, "[1]");
    assert_int_equal(back.segment_at, DAY_ONE + 5);
    assert_int_equal(back.queued_at, DAY_ONE + 1);
    assert_int_equal(back.started_at, 0);
    assert_int_equal(back.ended_at, 0);
    assert_null(back.why);
    assert_string_equal(back.engine_version, "0.1.0");
    assert_string_equal(back.lua_version, "Lua 5.4");
    run_record_free(&back);
    refused(ERROR_FAILED, logbook_run(logbook, 99, &back, &error));
    close_sound(logbook);
}

static void expect_run(struct logbook *logbook, int64_t id, enum run_state want, utc_us started_at,
                       utc_us ended_at, const char *why)
{
    struct run_record run;

    must(logbook_run(logbook, id, &run, &error));
    assert_int_equal(run.state, want);
    assert_int_equal(run.started_at, started_at);
    assert_int_equal(run.ended_at, ended_at);
    if (why == NULL)
        assert_null(run.why);
    else
        assert_string_equal(run.why, why);
    run_record_free(&run);
}

static void test_the_life_of_a_run(void **state)
{
    struct logbook *logbook = memory_logbook();
    struct run_record record;
    int64_t run;

    (void)state;
    must(logbook_begin(logbook, &error));
    run = add_run(logbook, 0);
    expect_run(logbook, run, RUN_QUEUED, 0, 0, NULL);
    must(logbook_set_run_state(logbook, run, RUN_RUNNING, DAY_ONE + 1, NULL, &error));
    expect_run(logbook, run, RUN_RUNNING, DAY_ONE + 1, 0, NULL);
    must(logbook_run(logbook, run, &record, &error));
    assert_int_equal(record.segment_at, DAY_ONE + 1); /* segment 0 begins with the run */
    run_record_free(&record);
    must(logbook_set_run_state(logbook, run, RUN_PAUSED, DAY_ONE + 2, NULL, &error));
    must(logbook_set_run_state(logbook, run, RUN_RUNNING, DAY_ONE + 3, NULL, &error));
    expect_run(logbook, run, RUN_RUNNING, DAY_ONE + 1, 0, NULL);
    must(logbook_set_run_state(logbook, run, RUN_ATTENTION, DAY_ONE + 4, "no match", &error));
    expect_run(logbook, run, RUN_ATTENTION, DAY_ONE + 1, 0, "no match");
    must(logbook_set_run_state(logbook, run, RUN_RUNNING, DAY_ONE + 5, NULL, &error));
    expect_run(logbook, run, RUN_RUNNING, DAY_ONE + 1, 0, NULL);
    must(logbook_set_run_channel(logbook, run, "A1", &error));
    must(logbook_set_run_segment(logbook, run, 1, "{\"cycle\":7}", DAY_ONE + 6, &error));
    must(logbook_set_run_state(logbook, run, RUN_FAILED, DAY_ONE + 9, "too hot", &error));
    expect_run(logbook, run, RUN_FAILED, DAY_ONE + 1, DAY_ONE + 9, "too hot");
    refused(ERROR_FAILED,
            logbook_set_run_state(logbook, run, RUN_RUNNING, DAY_ONE + 10, NULL, &error));
    refused(ERROR_FAILED, logbook_set_run_state(logbook, 99, RUN_RUNNING, DAY_ONE, NULL, &error));
    refused(ERROR_FAILED, logbook_set_run_channel(logbook, 99, "A1", &error));
    refused(ERROR_FAILED, logbook_set_run_segment(logbook, 99, 1, NULL, DAY_ONE, &error));
    must(logbook_commit(logbook, &error));
    must(logbook_run(logbook, run, &record, &error));
    assert_string_equal(record.channel, "A1");
    assert_int_equal(record.segment, 1);
    assert_int_equal(record.segment_at, DAY_ONE + 6);
    assert_string_equal(record.segment_state, "{\"cycle\":7}");
    run_record_free(&record);
    close_sound(logbook);
}

static void test_state_names(void **state)
{
    (void)state;
    assert_string_equal(run_state_name(RUN_QUEUED), "queued");
    assert_string_equal(run_state_name(RUN_ATTENTION), "attention");
    assert_string_equal(run_state_name(RUN_STOPPED), "stopped");
}

static void test_a_cell_is_in_one_open_run(void **state)
{
    static const enum run_state open[] = {RUN_RUNNING, RUN_PAUSED, RUN_ATTENTION};
    struct logbook *logbook = memory_logbook();
    struct run_record other = {.kind = "protocol", .script_name = "rest.lua", .queued_at = 1};
    struct cell_record cell;
    int64_t run;

    (void)state;
    must(logbook_begin(logbook, &error));
    other.cell = add_cell(logbook, "KES-07");
    run = add_run(logbook, other.cell);
    must(logbook_add_script(logbook, "rest.lua", "x", 1, other.script_hash, &error));
    must(logbook_cell(logbook, "KES-07", &cell, &error));
    assert_int_equal(cell.busy_run, run);
    refused(ERROR_FAILED, logbook_add_run(logbook, &other, &error));
    for (size_t i = 0; i < 3; i++) {
        must(logbook_set_run_state(logbook, run, open[i], DAY_ONE, NULL, &error));
        assert_int_equal(logbook_add_run(logbook, &other, &error), ERROR_FAILED);
        assert_string_equal(error.what, "KES-07");
        assert_non_null(strstr(error.why, run_state_name(open[i])));
    }
    must(logbook_set_run_state(logbook, run, RUN_STOPPED, DAY_ONE, NULL, &error));
    must(logbook_cell(logbook, "KES-07", &cell, &error));
    assert_int_equal(cell.busy_run, 0);
    must(logbook_add_run(logbook, &other, &error));
    other.cell = 99;
    refused(ERROR_INTERNAL, logbook_add_run(logbook, &other, &error));
    must(logbook_commit(logbook, &error));
    close_sound(logbook);
}

static void test_open_runs_in_order_of_queueing(void **state)
{
    struct logbook *logbook = memory_logbook();
    int64_t first, second, over, *ids;
    int count;

    (void)state;
    must(logbook_open_runs(logbook, &ids, &count, &error));
    assert_int_equal(count, 0);
    free(ids);
    must(logbook_begin(logbook, &error));
    second = add_run(logbook, 0);
    over = add_run(logbook, 0);
    first = add_run(logbook, 0);
    must(logbook_set_run_state(logbook, over, RUN_DONE, DAY_ONE, NULL, &error));
    must(sql_script(logbook->db, ":memory:", "UPDATE run SET queued_at = 1 WHERE id = 3", &error));
    for (int i = 0; i < 40; i++)
        add_run(logbook, 0);
    must(logbook_commit(logbook, &error));
    must(logbook_open_runs(logbook, &ids, &count, &error));
    assert_int_equal(count, 42);
    assert_int_equal(ids[0], first);
    assert_int_equal(ids[1], second);
    assert_int_equal(ids[41], second + 42);
    free(ids);
    close_sound(logbook);
}

static void test_a_run_moves_to_another_text(void **state)
{
    struct logbook *logbook = memory_logbook();
    struct run_record record;
    char hash[SHA256_HEX];
    int64_t run;

    (void)state;
    must(logbook_begin(logbook, &error));
    run = add_run(logbook, 0);
    must(logbook_add_script(logbook, "capacity.lua", "edited", 6, hash, &error));
    must(logbook_set_run_script(logbook, run, hash, &error));
    refused(ERROR_INTERNAL, logbook_set_run_script(logbook, run, "00", &error));
    refused(ERROR_FAILED, logbook_set_run_script(logbook, run + 1, hash, &error));
    must(logbook_commit(logbook, &error));
    must(logbook_run(logbook, run, &record, &error));
    assert_string_equal(record.script_hash, hash);
    run_record_free(&record);
    close_sound(logbook);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_a_script_is_kept_once_by_its_hash),
        cmocka_unit_test(test_a_changed_text_is_noticed),
        cmocka_unit_test(test_modules_are_pinned),
        cmocka_unit_test(test_a_run_comes_back_as_it_went_in),
        cmocka_unit_test(test_the_life_of_a_run),
        cmocka_unit_test(test_state_names),
        cmocka_unit_test(test_a_cell_is_in_one_open_run),
        cmocka_unit_test(test_open_runs_in_order_of_queueing),
        cmocka_unit_test(test_a_run_moves_to_another_text),
    };

    return cmocka_run_group_tests_name("runs", tests, NULL, NULL);
}
