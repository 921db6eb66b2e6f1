/* Drawing on a terminal, its signals, its settings. */
#include "cli/screen.h"

#include <errno.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <termios.h>
#include <time.h>
#include <unistd.h>

#define ENTER      "\033[?1049h\033[?25l" /* the second screen; no cursor */
#define LEAVE      "\033[0m\033[?25h\033[?1049l"
#define HOME       "\033[H"
#define CLEAR_LINE "\033[K"

static volatile sig_atomic_t ending, stopping;
static struct termios settings;
static bool entered, has_settings;
static sigset_t usual_mask;

/* --- signals ---------------------------------------------------------------------------------- */

static void on_end(int number)
{
    ending = number;
}

static void on_resize(int number)
{
    (void)number; /* that the wait ends is enough: it is drawn by the size as it is then */
}

static void on_stop(int number)
{
    (void)number;
    stopping = 1;
}

static void heed(int number, void (*handler)(int))
{
    struct sigaction action = {.sa_handler = handler};
    sigaction(number, &action, NULL);
}

static const int end_signals[] = {SIGINT, SIGTERM, SIGHUP, SIGQUIT};
#define END_SIGNALS (sizeof end_signals / sizeof *end_signals)

/* A rehearsal's event loop takes SIGINT and SIGTERM for itself and leaves them to their default. */
static void heed_ends(void)
{
    for (size_t i = 0; i < END_SIGNALS; i++)
        heed(end_signals[i], on_end);
}

/* Blocked but while waiting: none is lost between a look at a flag and the wait. */
void screen_heed_signals(void)
{
    sigset_t mask;
    heed_ends();
    sigemptyset(&mask);
    for (size_t i = 0; i < END_SIGNALS; i++)
        sigaddset(&mask, end_signals[i]);
    sigaddset(&mask, SIGWINCH);
    sigaddset(&mask, SIGTSTP);
    sigprocmask(SIG_BLOCK, &mask, &usual_mask);
}

bool screen_wait(double seconds)
{
    struct timespec wait = {.tv_sec = (time_t)seconds};
    wait.tv_nsec = (long)((seconds - (double)wait.tv_sec) * 1e9);
    heed_ends();
    /* Nothing to read: pselect waits, and lets the signals in. */
    (void)pselect(0, NULL, NULL, NULL, &wait, &usual_mask);
    if (stopping && entered) {
        screen_leave();
        raise(SIGSTOP);
        screen_enter();
    }
    stopping = 0;
    return !ending;
}

/* --- the screen ------------------------------------------------------------------------------- */

bool screen_is_there(void)
{
    const char *kind = getenv("TERM");
    return isatty(STDOUT_FILENO) && kind && kind[0] && strcmp(kind, "dumb") != 0;
}

static void say(const char *sequence)
{
    fputs(sequence, stdout);
    fflush(stdout);
}

/* From the background a change of settings would stop the program. */
static bool in_foreground(void)
{
    return tcgetpgrp(STDOUT_FILENO) == getpgrp();
}

void screen_enter(void)
{
    heed(SIGWINCH, on_resize);
    heed(SIGTSTP, on_stop);
    struct termios silent;
    has_settings = in_foreground() && !tcgetattr(STDOUT_FILENO, &settings);
    if (has_settings) {
        silent = settings;
        silent.c_lflag &= ~(tcflag_t)(ECHO | ICANON); /* keys shall not write into the screen */
        tcsetattr(STDOUT_FILENO, TCSADRAIN, &silent);
    }
    entered = true;
    say(ENTER);
}

void screen_leave(void)
{
    if (!entered)
        return;
    entered = false;
    say(LEAVE);
    if (has_settings && in_foreground())
        tcsetattr(STDOUT_FILENO, TCSAFLUSH, &settings); /* and what was typed meanwhile is gone */
}

struct screen_size screen_size(void)
{
    struct winsize size;
    if (ioctl(STDOUT_FILENO, TIOCGWINSZ, &size) || !size.ws_col || !size.ws_row)
        return (struct screen_size){80, 24};
    return (struct screen_size){size.ws_col, size.ws_row};
}

/* Each line is cleared before it is written: behind a full one, clearing would take its last
 * column. */
void screen_draw(const char *lines)
{
    struct screen_size size = screen_size();
    fputs(HOME, stdout);
    for (int line = 0; line < size.lines; line++) {
        size_t length = strcspn(lines, "\n");
        const char *next = lines + length + (lines[length] == '\n');
        const bool bold = lines[0] == SCREEN_BOLD[0];
        fputs(line ? "\r\n" CLEAR_LINE : CLEAR_LINE, stdout);
        if (bold)
            fputs("\033[1m", stdout);
        fwrite(lines + bold, 1, screen_fit(lines + bold, length - bold, size.columns), stdout);
        if (bold)
            fputs("\033[0m", stdout);
        lines = next;
    }
    fflush(stdout);
}

/* --- text ------------------------------------------------------------------------------------- */

static bool goes_on(char byte)
{
    return ((unsigned char)byte & 0xC0) == 0x80;
}

int screen_width(const char *text)
{
    int width = 0;
    for (; *text; text++)
        width += !goes_on(*text);
    return width;
}

size_t screen_fit(const char *text, size_t length, int columns)
{
    size_t at = 0;
    for (int width = 0; at < length; at++)
        if (!goes_on(text[at]) && width++ == columns)
            break;
    return at;
}

void screen_add_plain(struct text *out, const char *text)
{
    for (; *text; text++) {
        unsigned char byte = (unsigned char)*text;
        /* C0 and DEL; C1, which UTF-8 writes as C2 80 to C2 9F. */
        if (byte < 0x20 || byte == 0x7F) {
            text_add(out, " ");
        } else if (byte == 0xC2 && (unsigned char)text[1] >= 0x80 &&
                   (unsigned char)text[1] < 0xA0) {
            text_add(out, " ");
            text++;
        } else {
            text_add_bytes(out, text, 1);
        }
    }
}
