/* A driver's tasks: begun, resumed with what the instrument said, and told apart when they fail. */
#include "bindings/driver.h"

#include <lauxlib.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "bindings/driver_internal.h"
#include "bindings/fields.h"
#include "bindings/returned.h"

const char *const driver_task_names[DRIVER_TASKS] = {
    [DRIVER_IDENTIFY] = "identify",     [DRIVER_PREPARE] = "prepare", [DRIVER_OFF] = "off",
    [DRIVER_DRIVE] = "drive",           [DRIVER_READ] = "read",       [DRIVER_CONNECT] = "connect",
    [DRIVER_DISCONNECT] = "disconnect",
};

static struct lua_driver *of(struct driver *driver)
{
    return (struct lua_driver *)driver;
}

/* --- what a task is given, and gives --------------------------------------------------------- */

static void set_number(lua_State *L, const char *name, double value)
{
    if (!isfinite(value))
        return;
    lua_pushnumber(L, value);
    lua_setfield(L, -2, name);
}

/* { mode, way, amount, current | power | resistance, voltage_most, voltage_least, point }: the
 * amount is positive; the one by the mode's name has the sign, positive into the cell. */
static void push_wanted(lua_State *L, const struct driver_order *order)
{
    static const char *const modes[] = {
        [DRIVE_CURRENT] = "current", [DRIVE_POWER] = "power", [DRIVE_RESISTANCE] = "resistance"};
    static const char *const names[] = {"mode",         "way",           "amount",
                                        "current",      "power",         "resistance",
                                        "voltage_most", "voltage_least", NULL};
    const struct drive *drive = &order->drive;
    const char *mode = modes[drive->mode];
    bool charge = drive->mode != DRIVE_RESISTANCE && drive->amount > 0;
    lua_createtable(L, 0, 6);
    lua_pushstring(L, mode);
    lua_setfield(L, -2, "mode");
    lua_pushstring(L, charge ? "charge" : "discharge");
    lua_setfield(L, -2, "way");
    set_number(L, "amount", fabs(drive->amount));
    set_number(L, mode, drive->amount);
    set_number(L, "voltage_most", order->voltage_most);
    set_number(L, "voltage_least", order->voltage_least);
    fields_strict(L, "what is wanted", names);
}

static void take_number(lua_State *L, const char *name, double *into)
{
    if (!field_push(L, -1, name))
        return;
    if (lua_type(L, -1) != LUA_TNUMBER || !isfinite(lua_tonumber(L, -1)))
        guest_fail(L, "make it a number with number(...)", "read gave a %s that is no number",
                   name);
    *into = lua_tonumber(L, -1);
    lua_pop(L, 1);
}

static void take_reading(lua_State *L, struct driver_result *result)
{
    static const char *const names[] = {"voltage", "current", "temperature", "resistance", NULL};
    if (!lua_istable(L, -1)) {
        guest_fail(L, "return { voltage = ..., current = ... }", "read gave no table");
        return;
    }
    fields_check(L, -1, "what read gives", names);
    take_number(L, "voltage", &result->voltage);
    take_number(L, "current", &result->current);
    take_number(L, "temperature", &result->temperature);
    take_number(L, "resistance", &result->resistance);
}

static void take_text(lua_State *L, const char *name, char *into, size_t size)
{
    const char *text = field_text(L, -1, "what identify gives", name);
    string_copy(into, size, text ? text : "");
}

static void take_identity(lua_State *L, struct scpi_identity *identity)
{
    static const char *const names[] = {"maker", "model", "serial", "firmware", NULL};
    if (!lua_istable(L, -1)) {
        guest_fail(L, "return identity(answer), or a table", "identify gave no table");
        return;
    }
    fields_check(L, -1, "what identify gives", names);
    take_text(L, "maker", identity->maker, sizeof identity->maker);
    take_text(L, "model", identity->model, sizeof identity->model);
    take_text(L, "serial", identity->serial, sizeof identity->serial);
    take_text(L, "firmware", identity->firmware, sizeof identity->firmware);
}

static int after_task(lua_State *L, int status, lua_KContext context)
{
    struct lua_driver *driver = driver_of(L);
    (void)status;
    if (context == DRIVER_READ)
        take_reading(L, driver->result);
    else if (context == DRIVER_IDENTIFY)
        take_identity(L, &driver->result->identity);
    return 0;
}

static int run_task(lua_State *L)
{
    struct lua_driver *driver = driver_of(L);
    const struct driver_order *order = driver->order;
    if (driver->task_ref[order->task] == LUA_NOREF) {
        if (order->task == DRIVER_PREPARE || order->task == DRIVER_OFF)
            return 0; /* there is nothing to do */
        return guest_fail(L, "add it to the driver, or use another driver", "the driver has no %s",
                          driver_task_names[order->task]);
    }
    lua_rawgeti(L, LUA_REGISTRYINDEX, driver->task_ref[order->task]);
    lua_rawgeti(L, LUA_REGISTRYINDEX, driver->self_ref);
    if (order->task == DRIVER_DRIVE)
        push_wanted(L, order);
    else
        lua_pushinteger(L, order->point);
    lua_callk(L, 2, 1, order->task, after_task);
    return after_task(L, LUA_OK, order->task);
}

/* --- the file -------------------------------------------------------------------------------- */

static int open_words(lua_State *L)
{
    driver_words_open(L);
    return 0;
}

static int run_file(lua_State *L)
{
    struct lua_driver *driver = driver_of(L);
    returned_push(L, &(struct returned_file){driver->file, driver->text, driver->length, driver,
                                             "driver", "the file does not return a driver"});
    return 0;
}

static void close_guest(struct lua_driver *driver)
{
    guest_close(driver->guest);
    driver->guest = NULL;
    driver->defined = driver->running = driver->drives = false;
    driver->self_ref = LUA_NOREF;
    for (int i = 0; i < DRIVER_TASKS; i++)
        driver->task_ref[i] = LUA_NOREF;
}

static int open_guest(struct lua_driver *driver, struct error *error)
{
    close_guest(driver);
    int code = guest_open(&driver->guest, 0, driver, error);
    if (!code)
        code = guest_call(driver->guest, open_words, NULL, GUEST_WORK, error);
    if (!code && guest_begin(driver->guest, run_file, NULL, error) != GUEST_RETURNED)
        code = ERROR_BENCH;
    if (code) {
        close_guest(driver);
        error->code = ERROR_BENCH;
        if (!error->what[0])
            string_copy(error->what, sizeof error->what, driver->file);
    }
    return code;
}

/* --- the seam -------------------------------------------------------------------------------- */

/* What went wrong, what had been sent, what came, and where. The instrument adds its name. */
static enum driver_status fail(struct lua_driver *driver, struct error *error)
{
    char sent[80], came[80], where[sizeof error->what];
    struct text text = TEXT_EMPTY;
    string_copy(where, sizeof where, error->what);
    text_addf(&text, "%.400s (", error->why);
    if (driver->sent.length)
        text_addf(&text, "sent %s, ", string_quote(driver->sent.bytes, sent, sizeof sent));
    if (driver->came.length)
        text_addf(&text, "came %s, ", string_quote(driver->came.bytes, came, sizeof came));
    text_addf(&text, "in %s of %s)", driver_task_names[driver->order->task],
              where[0] ? where : driver->file);
    if (error->code != ERROR_LOST)
        error->code = ERROR_BENCH;
    error->what[0] = '\0';
    string_copy(error->why, sizeof error->why, text.bytes);
    text_free(&text);
    return DRIVER_FAILED;
}

static enum driver_status go_on(struct lua_driver *driver, bool begins, struct error *error)
{
    driver->running = true;
    enum guest_end end = begins ? guest_begin(driver->guest, run_task, NULL, error)
                                : guest_resume(driver->guest, error);
    driver->running = false;
    driver->reply = NULL;
    if (end == GUEST_FAILED)
        return fail(driver, error);
    return end == GUEST_WAITS ? DRIVER_AWAITS : DRIVER_DONE;
}

/* Whether it drives, for the questions that are about that. */
static enum driver_status noted(struct lua_driver *driver, enum driver_status status)
{
    if (status == DRIVER_DONE && driver->order->task == DRIVER_DRIVE)
        driver->drives = true;
    return status;
}

/* The next question of a declared reading from `asked` on; done when there is none. */
static enum driver_status ask_on(struct lua_driver *driver, struct driver_call *call)
{
    const struct questions *questions = &driver->questions;
    while (driver->asked < questions->count && questions->all[driver->asked].on && !driver->drives)
        driver->asked++;
    if (driver->asked == questions->count)
        return DRIVER_DONE;
    const struct question *question = &questions->all[driver->asked];
    *call = (struct driver_call){DRIVER_ASK, question->ask, question->length, question->patience};
    return DRIVER_AWAITS;
}

static enum driver_status answer(struct lua_driver *driver, const struct link_reply *reply,
                                 struct driver_call *call, struct driver_result *result,
                                 struct error *error)
{
    const struct question *question = &driver->questions.all[driver->asked];
    if (question_answered(question, reply, result, error)) {
        text_clear(&driver->sent);
        text_clear(&driver->came);
        text_add_bytes(&driver->sent, question->ask, question->length - strlen(driver->ending));
        if (reply->status == LINK_OK)
            text_add_bytes(&driver->came, reply->bytes, reply->length);
        return fail(driver, error);
    }
    driver->asked++;
    return ask_on(driver, call);
}

static bool reads_by_questions(const struct lua_driver *driver)
{
    return driver->order->task == DRIVER_READ && driver->questions.count;
}

static enum driver_status begin(struct driver *base, const struct driver_order *order,
                                struct driver_call *call, struct driver_result *result,
                                struct error *error)
{
    struct lua_driver *driver = of(base);
    driver->order = order;
    driver->call = call;
    driver->result = result;
    if (reads_by_questions(driver)) {
        driver->asked = 0;
        return ask_on(driver, call);
    }
    text_clear(&driver->sent);
    text_clear(&driver->came);
    if (order->task == DRIVER_OFF)
        driver->drives = false;
    if (!driver->guest && open_guest(driver, error))
        return fail(driver, error);
    return noted(driver, go_on(driver, true, error));
}

static enum driver_status resume(struct driver *base, const struct link_reply *reply,
                                 struct driver_call *call, struct driver_result *result,
                                 struct error *error)
{
    struct lua_driver *driver = of(base);
    if (reads_by_questions(driver))
        return answer(driver, reply, call, result, error);
    driver->call = call;
    driver->result = result;
    driver->reply = reply;
    return noted(driver, go_on(driver, false, error));
}

static void forget(struct driver *base)
{
    close_guest(of(base));
}

static void close_driver(struct driver *base)
{
    struct lua_driver *driver = of(base);
    close_guest(driver);
    free(driver->text);
    free(driver->file);
    free(driver->settings);
    free(driver->safe);
    free(driver->sync);
    free(driver->sync_known);
    questions_free(&driver->questions);
    text_free(&driver->out);
    text_free(&driver->sent);
    text_free(&driver->came);
    free(driver);
}

static const struct driver_ops ops = {begin, resume, forget, close_driver};

int lua_driver_open(struct driver **out, const char *name, const char *text, size_t length,
                    const char *settings, struct error *error)
{
    struct lua_driver *driver = xcalloc(1, sizeof *driver);
    driver->driver.ops = &ops;
    driver->driver.name = driver->name;
    driver->driver.title = driver->title;
    driver->text = xmalloc(length + 1);
    memcpy(driver->text, text, length);
    driver->text[length] = '\0';
    driver->length = length;
    driver->file = xstrdup(name);
    driver->settings = xstrdup(settings ? settings : "{}");
    strcpy(driver->ending, "\n");
    size_t stem = strlen(name);
    if (stem > 4 && strcmp(name + stem - 4, ".lua") == 0)
        stem -= 4;
    snprintf(driver->name, sizeof driver->name, "%.*s", (int)stem, name);
    if (open_guest(driver, error)) {
        close_driver(&driver->driver);
        return ERROR_BENCH;
    }
    driver->driver.safe = driver->safe;
    driver->driver.sync = driver->sync;
    driver->driver.sync_known = driver->sync_known;
    *out = &driver->driver;
    return 0;
}
