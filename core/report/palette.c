/* The series' colours, dashes and shapes. */
#include "report/palette.h"

#include <stddef.h>

struct series_style series_style(unsigned number)
{
    static const char *const colours[PALETTE_STYLES] = {"#0072B2", "#D55E00", "#009E73",
                                                        "#7250E6", "#AA8F50", "#C872AA"};
    static const char *const dashes[PALETTE_STYLES] = {NULL,       "9 4",  "2.5 3",
                                                       "12 3 3 3", "16 5", "6 2.5 2.5 2.5 2.5 2.5"};
    unsigned round = number / PALETTE_STYLES;
    return (struct series_style){colours[number % PALETTE_STYLES],
                                 dashes[(number + round) % PALETTE_STYLES],
                                 (enum mark_shape)((number + 2 * round) % MARK_SHAPES)};
}
