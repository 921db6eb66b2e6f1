/* What every instrument here understands: the common commands of IEEE 488.2 chapter 10, and SYSTem
 * and STATus of SCPI-1999. */
#ifndef EMULATOR_COMMON_COMMANDS_H
#define EMULATOR_COMMON_COMMANDS_H

#include "message.h"

extern const struct command common_commands[];

#endif
