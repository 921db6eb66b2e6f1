/* The terminal as a screen that is drawn anew: size, clipping, and giving it back as it was. Only
 * sequences that every usual terminal knows (ECMA-48, and the second screen of the xterm kind). */
#ifndef PERDURE_CLI_SCREEN_H
#define PERDURE_CLI_SCREEN_H

#include <stdbool.h>

#include "base/text.h"

struct screen_size {
    int columns, lines;
};

/* Whether standard output is a terminal that can do this. */
bool screen_is_there(void);

/* Takes the screen and hides the cursor, until screen_leave: call it on every way out. Signals that
 * end a program only set a flag from then on; a stop (Ctrl-Z) gives the screen back meanwhile. */
void screen_enter(void);
void screen_leave(void);

/* The same flag for output that is no screen. */
void screen_heed_signals(void);

/* Waits so long, less when the window is resized or the program is to end: then false. */
bool screen_wait(double seconds);

struct screen_size screen_size(void);

/* Lines apart by '\n'; one that begins with SCREEN_BOLD is bold. What does not fit is cut. */
#define SCREEN_BOLD "\001"
void screen_draw(const char *lines);

/* Text of others as one line, without what a terminal would take for a command. */
void screen_add_plain(struct text *out, const char *text);

/* Columns that UTF-8 text takes (one a character), and as many of its bytes as fit in `columns`. */
int screen_width(const char *text);
size_t screen_fit(const char *text, size_t length, int columns);

#endif
