/* A QR code (ISO/IEC 18004) as the path of an SVG. Inside report. */
#ifndef PERDURE_REPORT_QR_H
#define PERDURE_REPORT_QR_H

#include <stdbool.h>

#include "base/text.h"

#define QR_QUIET 4 /* modules of white on each side that the standard asks for */

/* Appends the path data, one unit a module, from (0, 0); *side is how many modules wide it is. The
 * smallest code that holds the text, then the strongest correction that fits it: a label on a round
 * cell is never seen whole. False when the text is empty or longer than any code holds. */
bool qr_path(struct text *out, const char *string, int *side);

#endif
