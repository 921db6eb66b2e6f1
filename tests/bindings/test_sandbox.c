/* Scripts that try to get out, to hang, to eat the machine, or to be different twice. */
#include "bindings/drive.h"

#include <sys/wait.h>
#include <unistd.h>

#include "base/random.h"

#define STOPPED  "without asking for anything"
#define FULL     "too much memory"
#define TOO_DEEP "calls itself too deeply"
#define NO_WORD  "scripts have no"
#define ENDS     NULL
#define EITHER   "" /* work or memory, whichever the machine runs out of first */

/* A script that is let run is stopped after about 15 ms of work, or 250 ms of processor time. The
 * time allowed here is for slow machines and sanitizers; what was seen is printed. */
#define MS_MOST 3000.0

struct hostile {
    const char *body; /* of the run function */
    const char
        *says; /* part of the message it fails with; ENDS: it ends well, see its own checks */
};

static const struct hostile hostiles[] = {
    /* work without end */
    {"while true do end", STOPPED},
    {"::again:: goto again", STOPPED},
    {"for i = 1, math.huge do end", STOPPED},
    {"local function f() return f() end f()", STOPPED},
    {"repeat pcall(function() while true do end end) until false", STOPPED},
    {"while true do pcall(error, 'x') end", STOPPED},
    {"local function f() while true do pcall(f) end end f()", STOPPED},
    {"pcall(pcall, pcall, pcall, function() while true do end end) while true do end", STOPPED},
    {"table.sort({3, 2, 1}, function() while true do end end)", STOPPED},
    {"('aaa'):gsub('a', function() while true do end end)", STOPPED},
    {"local _ = setmetatable({}, {__index = function() while true do end end}).x", STOPPED},
    {"local _ = setmetatable({}, {__eq = function() while true do end end}) == {}", STOPPED},
    {"tostring(setmetatable({}, {__tostring = function() while true do end end}))", STOPPED},
    {"for _ in function() return 1 end do end", STOPPED},
    {"local t = setmetatable({}, {__index = function(_, i) return i end}) "
     "for _ in ipairs(t) do end",
     STOPPED},
    {"local s = ('x'):rep(60000) local a, b = s .. 'a', s .. 'b' "
     "while true do local _ = a == b, a < b, a == b, a < b, a == b, a < b end",
     STOPPED},
    {"local s = ('x'):rep(60000) while true do local _ = s .. 'y' end", STOPPED},
    {"local s = ('x'):rep(60000) while true do s:byte(1, 8000) s:upper() s:reverse() end", STOPPED},
    {"local t = {} for i = 1, 20000 do t[i] = i end while true do next(t, 1) end", STOPPED},
    {"local t = {} for i = 1, 20000 do t[i] = i end while true do for _ in pairs(t) do end end",
     STOPPED},
    {"local t = {} for i = 1, 20000 do t[i] = -i end while true do table.sort(t) t[1] = 0 end",
     STOPPED},
    {"local t = {} for i = 1, 20000 do table.insert(t, 1, i) end while true do end", STOPPED},
    {"local function grow(n, ...) if n > 0 then return grow(n - 1, 1, 2, 3, 4, 5, 6, 7, 8, ...) "
     "end "
     "while true do (function(...) end)(...) end end grow(2000)",
     STOPPED},

    /* one call of C that would not come back */
    {"local _ = (''):rep(1e9) .. ('').rep('', math.maxinteger)", ENDS},
    {"local _ = ('x'):rep(1e9)", "too large"},
    {"local _ = ('x'):rep(2, ('y'):rep(60000)):rep(60000)", "too large"},
    {"local _ = ('x'):rep(math.maxinteger, 'xxxxxxxx')", "too large"},
    {"table.move({}, 1, 1e9, 2)", STOPPED},
    {"table.move({}, math.mininteger, math.maxinteger, 2)", "too many elements"},
    {"table.concat({}, '', 1, 1e9)", "invalid value"},
    {"local t = {} for i = 1, 1e5 do t[i] = 'xxxx' end table.concat(t)", FULL},
    {"table.unpack({}, 1, 1e7)", "too many results"},
    {"table.unpack({}, math.mininteger, math.maxinteger)", "too many results"},
    {"local _ = ('a'):rep(40000):find(('.-'):rep(12) .. 'b')", STOPPED},
    {"local _ = ('a'):rep(40000):match('(a*)*(a*)a*a*a*a*b')", STOPPED},
    {"local _ = ('a'):rep(40000):gsub('.-.-.-.-b', '')", STOPPED},
    {"for _ in ('a'):rep(40000):gmatch('.-.-.-.-b') do end", STOPPED},
    {"local _ = ('('):rep(60000):find('%b()%b()%b()')", STOPPED},
    {"local _ = ('x'):find(('('):rep(40) .. (')'):rep(40))", "too many captures"},
    {"local _ = ('x'):rep(300):find(('x?'):rep(100) .. 'y')", STOPPED},
    {"local _ = ('x'):rep(300):match(('x-'):rep(300))", "too complex"},
    {"local _ = ('x'):find('[a')", "missing ']'"},
    {"local _ = ('x'):find('%')", "ends with '%'"},
    {"local _ = ('x'):find('%f')", "missing '['"},
    {"local _ = ('x'):find('%b')", "missing arguments"},
    {"local _ = ('x'):find('%1')", "invalid capture index"},
    {"local _ = ('x'):gsub('x', '%2')", "invalid capture index"},
    {"local _ = string.format('%99999d', 1)", "invalid conversion"},
    {"local t = {} local m = {} setmetatable(t, m) m.__len = function() return 1e12 end "
     "table.insert(t, 1) table.sort(t) assert(table.concat(t) == '1') assert(#t == 1e12) "
     "assert(table.remove(t) == 1) assert(select('#', table.unpack(t)) == 0)",
     ENDS},

    /* memory */
    {"local s = 'x' while true do s = s .. s end", FULL},
    {"local t = {} while true do t[#t + 1] = {} end", EITHER},
    {"local t = {} for i = 1, 1e9 do t[i] = ('x'):rep(60000) .. i end", FULL},
    {"local t = {} for i = 1, 1e9 do t[i] = i end", FULL},
    {"local t = {} for i = 1, 1e9 do t['k' .. i] = i end", EITHER},
    {"local t = {} while true do pcall(function() for i = 1, 1e9 do t[#t + 1] = {i} end end) end",
     EITHER},
    {"local t, s = {}, ('x'):rep(65000) for i = 1, 500 do t[i] = s .. i end "
     "while true do t[501] = {} t[501] = s .. 'z' end",
     EITHER},
    {"local t = {} for i = 1, 130000 do t[i] = {i, {}} end "
     "while true do local _ = {{}, {}, {}, {}} end",
     EITHER},
    {"local function f() return 1 + f() end f()", TOO_DEEP},
    {"local function f() return 1 + f() end while true do pcall(f) end", TOO_DEEP},
    {"local function f() local ok, m = pcall(f) if not ok then error(m, 0) end end f()",
     "calls of pcall in each other"},
    {"local function f() while true do pcall(f) end end f()", STOPPED},
    {"local t = setmetatable({}, {}) getmetatable(t).__index = t local _ = t.x", "loop"},
    {"local function f(...) return f(1, ...) end f()", EITHER},

    /* catching what is not to be caught */
    {"for i = 1, 1e9 do local ok = pcall(function() while true do end end) end", STOPPED},
    {"local m = {} local c = setmetatable({}, m) m.__close = function() while true do end end "
     "pcall(function() for _ in function() return 1 end, nil, nil, c do end end) "
     "while true do end",
     STOPPED},
    {"local m = {} local c = setmetatable({}, m) m.__close = function() record('n', 1) end "
     "local x <close> = c while true do end",
     STOPPED},
    {"local m = {} m.__close = function() error('again') end local function f(n) "
     "local x <close> = setmetatable({}, m) m.__close = nil m.__close = function() error('again') "
     "end "
     "if n > 0 then f(n - 1) end while true do end end f(20)",
     "may not have __close"},
    {"setmetatable({}, {__gc = function() end})", "may not have __gc"},
    {"setmetatable({}, {__close = function() end})", "may not have __close"},
    {"setmetatable({}, {__mode = 'k'})", "may not have __mode"},
    {"setmetatable({}, {__len = function() return 1 end})", "may not have __len"},
    {"pcall(setmetatable, {}, {__gc = 1}) local t = {} local m = {} setmetatable(t, m) "
     "m.__gc = function() while true do end end t = nil "
     "for i = 1, 1e4 do local _ = {} end",
     ENDS},

    /* ways out */
    {"os.exit(1)", NO_WORD},
    {"io.open('/etc/hostname')", NO_WORD},
    {"debug.getregistry()", NO_WORD},
    {"load('return 1')()", NO_WORD},
    {"loadstring('return 1')()", NO_WORD},
    {"dofile('/etc/hostname')", NO_WORD},
    {"loadfile('/etc/hostname')", NO_WORD},
    {"coroutine.wrap(function() end)()", NO_WORD},
    {"xpcall(error, function() end)", NO_WORD},
    {"collectgarbage('stop')", NO_WORD},
    {"package.loadlib('x', 'y')", "there is no 'package'"},
    {"require('/etc/hostname')", "not the name of a module"},
    {"require('../secret')", "not the name of a module"},
    {"require('lib')", "no modules"},
    {"_G.os = 1", "there is no '_G'"},
    {"string.dump(function() end)", "nil value (field 'dump')"},
    {"string.pack('c2000000000', '')", "nil value (field 'pack')"},
    {"math.randomseed(1)", "nil value (field 'randomseed')"},
    {"getmetatable('').__index = nil", "index a boolean"},
    {"assert(getmetatable('') == false) assert(not pcall(setmetatable, '', {}))", ENDS},
    {"setmetatable(_ENV, nil)", "protected"},
    {"assert(getmetatable(cell) == false) setmetatable(cell, nil)", "protected"},
    {"cell.label = 'other'", "cannot be changed"},
    {"local _ = string.format('%p', {})", "'%p'"},
    {"local _ = string.format('%-10.3p', {})", "'%p'"},
    {"_ENV = {} x = 1 y()", "nil value (global 'y')"},
    {"pcall = nil error = nil while true do end", STOPPED},
    {"rawset(_ENV, 'pcall', function(f) return f() end) pcall(function() error('mine') end)",
     "mine"},
    {"protocol { title = 'u', run = function() end }", "one protocol"},

    /* a table's order, an address, a stop in the wrong place */
    {"for _ in pairs { [{}] = 1 } do end", "no fixed order"},
    {"next({ [print] = 1 })", "no fixed order"},
    {"table.sort({3, 1, 2}, function() return true end)", ENDS},
    {"local t = {} for i = 1, 500 do t[i] = i * 7919 % 503 end local n = 0 "
     "table.sort(t, function(a, b) n = n + 1 return n % 3 == 0 end) "
     "local sum = 0 for _, v in ipairs(t) do sum = sum + v end local want = 0 "
     "for i = 1, 500 do want = want + i * 7919 % 503 end assert(sum == want and #t == 500)",
     ENDS},
    {"local t = {3, 2, 1} table.sort(t, function(a, b) t[#t + 1] = 9 return a < b end)", ENDS},
    {"local t = {3, 2, 1} table.sort(t, function(a, b) for i = 1, 3 do t[i] = nil end return true "
     "end)",
     ENDS},
    {"table.sort({3, 'x'})", "attempt to compare"},
    {"table.sort({3, 2}, function(a, b) record('n', 1) end)", "inside a comparator"},
    {"('x'):gsub('x', function() note('x') end)", "inside a comparator"},
    {"tostring(setmetatable({}, {__tostring = function() return {} end}))", "__tostring"},
    {"error(setmetatable({}, {__tostring = function() while true do end end}))", "error value"},
    {"error({ message = 'of my own' })", "of my own"},
    {"error()", "nil"},
    {"error(('x'):rep(60000))", "xxx"},
    {"local t = {} for i = 1, 100 do t = {t} end restart_with(t)", "deeper than"},
    {"local t = {} t.t = t restart_with(t)", "deeper than"},
    {"local t = {} for i = 1, 30 do t = {t, t} end restart_with(t)", "larger than"},
    {"restart_with({ x = 0 / 0 })", "not finite"},
    {"restart_with({ [1.5] = 1 })", "as a key"},
    {"restart_with(cell.read)", ENDS},
};

static void test_hostile_scripts_are_stopped(void **state)
{
    (void)state;
    double longest = 0;
    const char *slowest = "";
    size_t count = sizeof hostiles / sizeof *hostiles;
    for (size_t i = 0; i < count; i++) {
        const struct hostile *hostile = &hostiles[i];
        struct drive_end end = drive_body(&(struct drive_case){0}, hostile->body);
        if (hostile->says == ENDS) {
            if (end.status != SCRIPT_DONE)
                fail_msg("%s: %s", hostile->body, end.all);
        } else {
            if (end.status != SCRIPT_FAILED)
                fail_msg("ran to its end: %s", hostile->body);
            drive_expect(hostile->body, end.all, hostile->says);
            drive_expect(hostile->body, end.error.what, "test.lua:1");
        }
        if (end.ms > MS_MOST)
            fail_msg("%s: took %.0f ms", hostile->body, end.ms);
        if (getenv("SHOW_TIMES"))
            printf("%7.1f ms  %.100s\n", end.ms, hostile->body);
        if (end.ms > longest) {
            longest = end.ms;
            slowest = hostile->body;
        }
        drive_end_free(&end);
    }
    printf("%zu hostile scripts, the slowest took %.1f ms: %.60s\n", count, longest, slowest);
}

/* The same at the top level, where no run function has begun. */
static void test_hostile_top_level(void **state)
{
    (void)state;
    static const struct hostile tops[] = {
        {"while true do end", STOPPED},
        {"local function f() return 1 + f() end f()", TOO_DEEP},
        {"local t = {} while true do t[#t + 1] = {} end", EITHER},
        {"record('n', 1)", "inside run"},
        {"wait('1 h')", "inside run"},
        {"print('x')", "inside run"},
        {"return", "does not return a protocol"},
        {"return {}", "does not return a protocol"},
        {"return 5", "does not return a protocol"},
        {"x = = 1", "unexpected symbol"},
        {"return protocol {", "unexpected symbol near <eof>"},
        {"return study { title = 'x' }", "the study has no run function"},
    };
    for (size_t i = 0; i < sizeof tops / sizeof *tops; i++) {
        struct drive_end end = drive(&(struct drive_case){0}, tops[i].body);
        assert_int_equal(end.status, SCRIPT_FAILED);
        drive_expect(tops[i].body, end.all, tops[i].says);
        drive_expect(tops[i].body, end.error.what, "test.lua");
        assert_true(end.ms < MS_MOST);
        drive_end_free(&end);
    }
}

static void fails_to_load(const char *text, size_t length, const char *says)
{
    struct drive_end end = drive_text(&(struct drive_case){0}, text, length);
    assert_int_equal(end.status, SCRIPT_FAILED);
    drive_expect("text", end.all, says);
    assert_true(end.ms < MS_MOST);
    drive_end_free(&end);
}

static void repeated(struct text *text, const char *part, int count)
{
    for (int i = 0; i < count; i++)
        text_add(text, part);
}

/* Texts that are hard on the compiler. */
static void test_hostile_texts(void **state)
{
    (void)state;
    fails_to_load("\033LuaT", 5, "binary");
    fails_to_load("", 0, "does not return");
    fails_to_load("return protocol\0{}", 18, "test.lua");
    static const struct {
        const char *part, *says;
        int count;
    } texts[] = {
        {"(", "overflow", 100000},
        {"f{", "", 100000},
        {"a=function()", "overflow", 20000},
        {"local a\n", "too many local variables", 1000},
        {"do ", "overflow", 100000},
        {"function f() ", "overflow", 10000},
        {"--[[", "unfinished long comment", 100000},
        {"--xxxxxx", "longer than", 200000},
    };
    for (size_t i = 0; i < sizeof texts / sizeof *texts; i++) {
        struct text text = TEXT_EMPTY;
        repeated(&text, texts[i].part, texts[i].count);
        fails_to_load(text.bytes, text.length, texts[i].says);
        text_free(&text);
    }
    struct text chain = TEXT_EMPTY;
    text_add(&chain, "x = 'a'");
    repeated(&chain, " .. 'a'", 10000);
    fails_to_load(chain.bytes, chain.length, "");
    text_free(&chain);
}

/* A script that was stopped stays stopped. */
static void test_never_resumed(void **state)
{
    (void)state;
    const struct script_ops *ops = lua_script_ops();
    const char *text = "return protocol { title = 't', run = function() while true do end end }";
    struct script_context context = drive_context(&(struct drive_case){0}, text, strlen(text));
    struct script *script;
    struct script_request request;
    struct error error;
    assert_int_equal(ops->open(&script, &context, &error), 0);
    assert_int_equal(ops->resume(script, NULL, DRIVE_NOW, &request, &error), SCRIPT_FAILED);
    for (int i = 0; i < 3; i++)
        assert_int_equal(ops->resume(script, "true", DRIVE_NOW, &request, &error), SCRIPT_FAILED);
    ops->close(script);
}

/* --- the same in every process ---------------------------------------------------------------- */

static const char same[] =
    "return protocol { title = 't', results = { n = '1' }, run = function(cell)\n"
    "local t = { 3, 1, [true] = 1, [false] = 2, [-7] = 0, [2.5] = 0, zeta = 1, alpha = 2, Beta = "
    "3,\n"
    "  ['with space'] = 4, [''] = 5, ['\\xc3\\xa4'] = 6, [math.mininteger] = 7 }\n"
    "local keys = {} for k, v in pairs(t) do keys[#keys + 1] = tostring(k) .. '=' .. tostring(v) "
    "end\n"
    "note(table.concat(keys, ' '))\n"
    "local k, walk = nil, {} repeat k = next(t, k) walk[#walk + 1] = tostring(k) until k == nil\n"
    "note(table.concat(walk, ' '))\n"
    "local big = {} for i = 1, 300 do big['key' .. (i * 7919) % 1009] = i end\n"
    "local out = {} for k in pairs(big) do out[#out + 1] = k end note(table.concat(out, ' '))\n"
    "note(tostring({}), tostring(print), tostring(nil), tostring(true), tostring(1), "
    "tostring(1.0),\n"
    "  tostring(-0.0), tostring(1e100), tostring(cell), tostring(setmetatable({}, {__name = "
    "'x'})))\n"
    "note(string.format('%s %s %5.2f %q %d', {}, print, 1.5, 'a\\n', 3))\n"
    "note(select(2, pcall(error, {})), select(2, pcall(function() return {} .. 'x' end)))\n"
    "for i = 1, 20 do note(math.random(), random(), math.random(6), random(-5, 5), random(0)) end\n"
    "local items = {} for i = 1, 200 do items[i] = { key = i * 37 % 11, i = i } end\n"
    "table.sort(items, function(a, b) return a.key < b.key end)\n"
    "local last for _, item in ipairs(items) do\n"
    "  assert(not last or last.key < item.key or (last.key == item.key and last.i < item.i))\n"
    "  last = item end\n"
    "local order = {} for i, item in ipairs(items) do order[i] = item.i end\n"
    "note(table.concat(order, ' '))\n"
    "local mess = {} for i = 1, 100 do mess[i] = i end\n"
    "local turn = 0 table.sort(mess, function() turn = turn + 1 return turn % 7 < 3 end)\n"
    "note(table.concat(mess, ' '))\n"
    "note(now())\n"
    "end }";

static void print_same(void)
{
    struct drive_end end = drive(&(struct drive_case){.seed = 42}, same);
    printf("%d %s\n%s", end.status, end.all, end.asked.bytes);
    drive_end_free(&end);
}

/* Runs this program anew, where memory lies elsewhere and hashes are seeded differently. */
static void output_of_new_process(struct text *out)
{
    int ends[2];
    assert_int_equal(pipe(ends), 0);
    fflush(stdout);
    pid_t child = fork();
    if (child == 0) {
        dup2(ends[1], STDOUT_FILENO);
        close(ends[0]);
        close(ends[1]);
        execl("/proc/self/exe", "test_sandbox", "same", (char *)NULL);
        _exit(127);
    }
    close(ends[1]);
    char block[4096];
    for (ssize_t n; (n = read(ends[0], block, sizeof block)) > 0;)
        text_add_bytes(out, block, (size_t)n);
    close(ends[0]);
    int status;
    waitpid(child, &status, 0);
    assert_true(WIFEXITED(status) && WEXITSTATUS(status) == 0);
}

static void test_same_in_two_processes(void **state)
{
    (void)state;
    struct text first = TEXT_EMPTY, second = TEXT_EMPTY;
    output_of_new_process(&first);
    output_of_new_process(&second);
    assert_string_equal(first.bytes, second.bytes);
    char done[8];
    snprintf(done, sizeof done, "%d ", SCRIPT_DONE);
    assert_memory_equal(first.bytes, done, strlen(done));
    assert_null(strstr(first.bytes, "0x"));
    drive_expect("pairs", first.bytes,
                 "-9223372036854775808=7 -7=0 1=3 2=1 2.5=0 =5 Beta=3 alpha=2 with space=4 zeta=1");
    drive_expect("pairs", first.bytes, "false=2 true=1");
    text_free(&first);
    text_free(&second);
}

/* The draws are those of base/random.h, from the run's seed. */
static void test_random_is_the_runs(void **state)
{
    (void)state;
    struct random random;
    random_seed(&random, seed_for(42, "script"));
    char want[200];
    double unit = random_unit(&random);
    int64_t six = random_range(&random, 1, 6);
    snprintf(want, sizeof want, "note {\"text\":\"%.14g %d\"}\n", unit, (int)six);
    struct drive_end end =
        drive_body(&(struct drive_case){.seed = 42}, "note(math.random(), random(6))");
    assert_string_equal(end.asked.bytes, want);
    drive_end_free(&end);
    drive_fails("random(2, 1)", "interval is empty");
    drive_fails("random(1, 2, 3)", "wrong number of arguments");
    drive_asks("for i = 1, 1000 do local x = random(3) assert(x >= 1 and x <= 3) end", "");
}

int main(int count, char **arguments)
{
    if (count == 2 && strcmp(arguments[1], "same") == 0) {
        print_same();
        return 0;
    }
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_hostile_scripts_are_stopped),
        cmocka_unit_test(test_hostile_top_level),
        cmocka_unit_test(test_hostile_texts),
        cmocka_unit_test(test_never_resumed),
        cmocka_unit_test(test_same_in_two_processes),
        cmocka_unit_test(test_random_is_the_runs),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
