/* A result as it is shown: value and expanded uncertainty, rounded as JCGM 100:2008, 7.2.6 has it.
 */
#ifndef PERDURE_VERDICT_MEASURED_H
#define PERDURE_VERDICT_MEASURED_H

#include <jansson.h>

#define MEASURED_CONFIDENCE 0.95

/* To rows of LIST_RESULTS that have an uncertainty: coverage (k), expanded (U = k u, of about 95
 * %), confidence, and percent_expanded where there is a percentage of the rating. */
void measured_expand(json_t *rows);

/* The same for people: value_text, expanded_text and percent_text to the place of U's second digit.
 * Rows without uncertainty get their plain numbers. */
void measured_say(json_t *rows);

/* True when a row has an expanded uncertainty, which then wants its note. */
int measured_any(const json_t *rows);
extern const char measured_note[];

/* True when what was typed of the result was corrected; when that is so of any, which then wants
 * its note. */
int measured_corrected(const json_t *row);
int measured_any_corrected(const json_t *rows);
extern const char corrected_note[];

#endif
