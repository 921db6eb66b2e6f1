/* A value and its uncertainty, rounded for people as JCGM 100:2008, 7.2.6 has it: two significant
 * digits of the uncertainty, and the value to the same place. */
#ifndef PERDURE_REPORT_ROUNDED_H
#define PERDURE_REPORT_ROUNDED_H

#include <stddef.h>

/* With an uncertainty that is not above zero, or none (NAN): whole numbers whole, others with five
 * digits. Both return buffer. */
char *rounded_value(double value, double uncertainty, char *buffer, size_t size);

/* Empty where there is none. */
char *rounded_uncertainty(double uncertainty, char *buffer, size_t size);

#endif
