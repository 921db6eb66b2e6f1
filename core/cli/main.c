/* The program: finds the verb, runs it, turns its error into one line and an exit status. */
#include <errno.h>
#include <signal.h>
#include <stdbool.h>
#include <stdio.h>
#include <string.h>

#include "cli/cli.h"

#define HELP_WIDTH 80

/* Words from column `at` on, further lines from column `indent`. */
static void print_words(const char *words, size_t indent, size_t at)
{
    while (*words) {
        size_t length = strcspn(words, " ");
        bool first = at <= indent;
        if (!first && at + 1 + length > HELP_WIDTH) {
            printf("\n%*s", (int)indent, "");
            at = indent;
            first = true;
        }
        printf("%s%.*s", first ? "" : " ", (int)length, words);
        at += length + !first;
        words += length;
        words += strspn(words, " ");
    }
    putchar('\n');
}

/* What is too long for its column has a line of its own. */
static void print_option(const char *left, size_t width, const char *about)
{
    if (strlen(left) > width)
        printf("  %s\n  %-*s ", left, (int)width, "");
    else
        printf("  %-*s ", (int)width, left);
    print_words(about, width + 3, width + 3);
}

static void help(void)
{
    puts("perdure " PERDURE_VERSION ": test protocols for rechargeable cells, run for days or "
         "months,\non record\n\nusage: perdure [--logbook FILE] [--json] VERB ...\n");
    for (int i = 0; verbs[i]; i++) {
        char call[64];
        snprintf(call, sizeof call, "%s %s", verbs[i]->name, verbs[i]->words);
        print_option(call, 28, verbs[i]->about);
    }
    putchar('\n');
    print_words(
        "--logbook FILE: else $PERDURE_LOGBOOK, else ./logbook.perdure. --json: one JSON "
        "document. perdure help VERB shows a verb's options. Exit: 0 done; 1 what was asked "
        "about failed; 2 usage; 3 the logbook cannot be used; 4 the bench cannot be "
        "reached.",
        0, 0);
    putchar('\n');
    print_words("Charging can vent hydrogen and start a fire. Never charge primary cells; lithium "
                "cells need limits of their own. Local codes, the maker's sheet and licensed "
                "practice come first.",
                0, 0);
}

static int help_verb(const char *name)
{
    for (int i = 0; verbs[i]; i++) {
        const struct verb *verb = verbs[i];
        if (strcmp(verb->name, name) != 0)
            continue;
        printf("usage: perdure %s%s%s\n\n", verb->name, verb->words[0] ? " " : "", verb->words);
        print_words(verb->about, 0, 0);
        for (const struct option_spec *o = verb->options; o && o->name; o++) {
            char left[64];
            snprintf(left, sizeof left, "%s%s%s%s", o->name[1] ? "--" : "-", o->name,
                     o->value ? " " : "", o->value ? o->value : "");
            print_option(left, 24, o->about);
        }
        if (strcmp(name, "engine") == 0 || strcmp(name, "run") == 0)
            puts(
                "\nIt drives cells. Charging can vent hydrogen and start a fire: ventilate, never\n"
                "charge primary cells, fuse every channel, and do not trust software alone.");
        return 0;
    }
    fprintf(stderr, "perdure: %s: there is no such verb; perdure help lists them\n", name);
    return 2;
}

static bool asks_for_help(const char *word)
{
    return strcmp(word, "--help") == 0 || strcmp(word, "-h") == 0;
}

int main(int count, char **values)
{
    struct error error;
    struct arguments arguments;
    const struct verb *verb = NULL;
    error_clear(&error);
    signal(SIGPIPE, SIG_IGN);
    setvbuf(stdout, NULL, _IOFBF, 1 << 16);

    if (count > 1 && (strcmp(values[1], "help") == 0 || asks_for_help(values[1]))) {
        if (count > 2)
            return help_verb(values[2]);
        help();
        return 0;
    }
    if (count > 1 && strcmp(values[1], "--version") == 0) {
        puts("perdure " PERDURE_VERSION);
        return 0;
    }
    if (count > 2 && asks_for_help(values[count - 1]))
        return help_verb(values[1]);
    if (!arguments_parse(count - 1, values + 1, &arguments, &verb, &error)) {
        if (!verb) {
            help();
            return 2;
        }
        verb->run(&arguments, &error);
    }
    /* A reader that has seen enough, as of `| head`, is no error. */
    if (fflush(stdout) != 0 && errno != EPIPE && !error.code)
        error_set(&error, ERROR_FAILED, "output", "make room where it goes, then ask again",
                  "it could not be written: %s", strerror(errno));
    if (error.code)
        error_print(stderr, &error);
    return error_exit_status(&error);
}
