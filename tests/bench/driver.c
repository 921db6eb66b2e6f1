/* What a driver costs a reading: the shipped supply's (three questions, declared as a list), and
 * the same by a function in Lua, without a line, beside a bare loop that parses the same answers in
 * C in the same run. Prints a line for each; no pass or fail.
 *
 *   driver [READINGS]
 *
 * A reading over a real line takes milliseconds (9600 Bd: about one a character); what matters here
 * is that many channels share one processor. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "bindings/driver.h"

static double now_ns(void)
{
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)now.tv_sec * 1e9 + (double)now.tv_nsec;
}

static const char *const answers[] = {"+1.412345E+00", "+4.998700E-01", "1"};

static const char by_function[] =
    "return driver { title = 't', can = { 'meter' },\n"
    "identify = function(self) return identity(self:ask('*IDN?')) end,\n"
    "read = function(self)\n"
    "  local voltage, current = number(self:ask('MEAS:VOLT?')), number(self:ask('MEAS:CURR?'))\n"
    "  if not boolean(self:ask('OUTP?')) then fail('off') end\n"
    "  return { voltage = voltage, current = current }\n"
    "end }\n";

static double ours(struct driver *driver, long readings)
{
    struct driver_order order = {.task = DRIVER_READ};
    double sum = 0;
    for (long i = 0; i < readings; i++) {
        struct driver_call call;
        struct driver_result result;
        struct error error;
        int question = 0;
        enum driver_status status = driver->ops->begin(driver, &order, &call, &result, &error);
        while (status == DRIVER_AWAITS) {
            const char *answer = answers[question++ % 3];
            struct link_reply reply = {LINK_OK, answer, strlen(answer)};
            status = driver->ops->resume(driver, &reply, &call, &result, &error);
        }
        if (status != DRIVER_DONE) {
            fprintf(stderr, "%s\n", error.why);
            exit(1);
        }
        sum += result.voltage + result.current;
    }
    return sum;
}

static double bare(long readings)
{
    double sum = 0;
    for (long i = 0; i < readings; i++)
        for (int question = 0; question < 3; question++) {
            double value = 0;
            scpi_number(answers[question], strlen(answers[question]), &value);
            sum += value;
        }
    return sum;
}

int main(int count, char **values)
{
    long readings = count > 1 ? atol(values[1]) : 200000;
    struct driver *driver = NULL, *function = NULL;
    struct error error;
    setenv("PERDURE_DRIVERS", SOURCE_DIR "/bindings/drivers", 0);
    if (lua_driver_find(&driver, "supply", NULL, NULL, &error) ||
        lua_driver_open(&function, "function.lua", by_function, sizeof by_function - 1, NULL,
                        &error)) {
        fprintf(stderr, "%s: %s\n", error.what, error.why);
        return 1;
    }
    double began = now_ns();
    double sum = ours(driver, readings);
    double middle = now_ns();
    sum += bare(readings);
    double end = now_ns();
    printf("reading by driver  %8.0f ns   bare parsing %6.0f ns   sum %g\n",
           (middle - began) / (double)readings, (end - middle) / (double)readings, sum);
    began = now_ns();
    sum = ours(function, readings);
    printf("reading in Lua     %8.0f ns   sum %g\n", (now_ns() - began) / (double)readings, sum);

    began = now_ns();
    for (int i = 0; i < 1000; i++) { /* what a failure costs: forgotten, and opened anew */
        function->ops->forget(function);
        ours(function, 1);
    }
    printf("opening it anew    %8.0f ns\n", (now_ns() - began) / 1000);
    driver->ops->close(driver);
    function->ops->close(function);
    return 0;
}
