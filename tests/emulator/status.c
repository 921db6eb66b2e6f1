/* Registers and the queue. Numbers and texts of errors: SCPI-1999 volume 2, 21.8.9 to 21.8.12;
 * those that the sheet of standards does not hold are from memory. */
#include "status.h"

#include <string.h>

static const struct {
    int code;
    const char *text;
} texts[] = {
    {0, "No error"},
    {-101, "Invalid character"},
    {-102, "Syntax error"},
    {-104, "Data type error"},
    {-108, "Parameter not allowed"},
    {-109, "Missing parameter"},
    {-112, "Program mnemonic too long"},
    {-113, "Undefined header"},
    {-114, "Header suffix out of range"},
    {-121, "Invalid character in number"},
    {-123, "Exponent too large"},
    {-124, "Too many digits"},
    {-128, "Numeric data not allowed"},
    {-131, "Invalid suffix"},
    {-134, "Suffix too long"},
    {-138, "Suffix not allowed"},
    {-148, "Character data not allowed"},
    {-151, "Invalid string data"},
    {-158, "String data not allowed"},
    {-171, "Invalid expression"},
    {-221, "Settings conflict"},
    {-222, "Data out of range"},
    {-224, "Illegal parameter value"},
    {-230, "Data corrupt or stale"},
    {-240, "Hardware error"},
    {-310, "System error"},
    {-350, "Queue overflow"},
    {-363, "Input buffer overrun"},
    {-400, "Query error"},
    {-440, "Query UNTERMINATED after indefinite response"},
};

static const char *text_of(int code)
{
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++)
        if (texts[i].code == code)
            return texts[i].text;
    return "Device-specific error";
}

static uint8_t event_of(int code)
{
    if (code <= -400)
        return ESR_QYE;
    if (code <= -300 || code > 0)
        return ESR_DDE;
    return code <= -200 ? ESR_EXE : ESR_CME;
}

void status_power_on(struct status *status)
{
    memset(status, 0, sizeof *status);
    status->events = ESR_PON;
}

void status_clear(struct status *status)
{
    status->events = 0;
    status->questionable.event = 0;
    status->operation.event = 0;
    status->count = 0;
}

void status_preset(struct status *status)
{
    status->questionable.enable = 0;
    status->operation.enable = 0;
}

void status_trouble(struct status *status, int code, const char *detail)
{
    status->events |= event_of(code);
    if (status->count == TROUBLES_MOST) {
        int last = (status->first + TROUBLES_MOST - 1) % TROUBLES_MOST;
        status->troubles[last].code = -350;
        status->troubles[last].detail[0] = '\0';
        status->events |= ESR_DDE;
        return;
    }
    int at = (status->first + status->count++) % TROUBLES_MOST;
    status->troubles[at].code = code;
    string_copy(status->troubles[at].detail, sizeof status->troubles[at].detail,
                detail != NULL ? detail : "");
}

void status_next_trouble(struct status *status, struct text *answer)
{
    if (status->count == 0) {
        text_add(answer, "0,\"No error\"");
        return;
    }
    int code = status->troubles[status->first].code;
    const char *detail = status->troubles[status->first].detail;
    text_addf(answer, "%d,\"%s", code, text_of(code));
    if (detail[0] != '\0')
        text_add(answer, ";");
    for (; *detail != '\0'; detail++)
        text_add_bytes(answer, *detail == '"' ? "\"\"" : detail, *detail == '"' ? 2 : 1);
    text_add(answer, "\"");
    status->first = (status->first + 1) % TROUBLES_MOST;
    status->count--;
}

void condition_set(struct condition_register *reg, uint16_t bit, bool on)
{
    if (on && !(reg->condition & bit))
        reg->event |= bit;
    reg->condition = (uint16_t)(on ? reg->condition | bit : reg->condition & ~bit);
}

uint8_t status_byte(const struct status *status, bool answer_waits)
{
    int byte = 0;
    if (status->count > 0)
        byte |= STB_QUEUE;
    if (status->questionable.event & status->questionable.enable)
        byte |= STB_QUESTIONABLE;
    if (answer_waits)
        byte |= STB_MESSAGE;
    if (status->events & status->event_enable)
        byte |= STB_EVENT;
    if (status->operation.event & status->operation.enable)
        byte |= STB_OPERATION;
    if (byte & status->service_enable & ~STB_SUMMARY)
        byte |= STB_SUMMARY;
    return (uint8_t)byte;
}
