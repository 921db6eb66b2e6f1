/* Kills the engine with SIGKILL at random instants, again and again, over protocols of its own, and
 * checks after each that nothing acknowledged was lost and nothing was counted twice; at the end,
 * that every run came to what it would have come to uninterrupted, within what its gaps allow.
 *
 *   kill [--kills N] [--seed N] [--round N] [--keep] [--no-controls]
 *
 * The program under test is $PERDURE, else the one that was built along. KIND=sanitized in the
 * environment gives a slower build more time and fewer kills. The seed is printed: it decides what
 * is done and when, though not how far the program had come at that moment.
 *
 * Exit status 0: nothing found, and every control was reported. 1: findings. 2: could not be
 * done. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include "base/text.h"
#include "round.h"

/* --- the command line ------------------------------------------------------------------------- */

static long long number_of(const char *text, const char *option)
{
    char *end;
    long long number = text ? strtoll(text, &end, 10) : 0;
    if (!text || *end || number < 1)
        broken("%s needs a whole number", option);
    return number;
}

static void read_arguments(struct settings *settings, int count, char **words)
{
    for (int i = 1; i < count; i++) {
        if (strcmp(words[i], "--kills") == 0)
            settings->kills = (int)number_of(words[++i], "--kills");
        else if (strcmp(words[i], "--seed") == 0)
            settings->seed = (uint64_t)number_of(words[++i], "--seed");
        else if (strcmp(words[i], "--round") == 0)
            settings->kills_a_round = (int)number_of(words[++i], "--round");
        else if (strcmp(words[i], "--keep") == 0)
            settings->keep = true;
        else if (strcmp(words[i], "--no-controls") == 0)
            settings->controls = false;
        else
            broken("usage: kill [--kills N] [--seed N] [--round N] [--keep] [--no-controls]");
    }
}

static struct settings usual_settings(char *folder)
{
    const char *program = getenv("PERDURE"), *kind = getenv("KIND"), *place = getenv("TMPDIR");
    bool sanitized = kind && strcmp(kind, "sanitized") == 0;
    sprintf(folder, "%.100s/kill-XXXXXX", place ? place : "/tmp");
    return (struct settings){
        .perdure = program ? program : PERDURE_PROGRAM,
        .protocols = SOURCE_DIR "/tests/fault/protocols",
        .folder = folder,
        .seed = (uint64_t)time(NULL),
        .kills = sanitized ? 15 : 50,
        .kills_a_round = 50,
        .slow = sanitized ? 3 : 1,
        .controls = true,
    };
}

int main(int count, char **words)
{
    char folder[140];
    struct findings findings = {0};
    struct totals totals = {.closest = 1};
    struct settings settings = usual_settings(folder);
    double began = seconds_now();
    read_arguments(&settings, count, words);
    if (!mkdtemp(folder))
        broken("no folder can be made beside %s", folder);
    /* A report of a sanitizer must not look like a refusal. */
    setenv("ASAN_OPTIONS", "exitcode=99", 0);
    setenv("UBSAN_OPTIONS", "exitcode=99", 0);
    printf("seed %llu, %d kills, %s\n", (unsigned long long)settings.seed, settings.kills,
           settings.perdure);
    fflush(stdout);
    for (int number = 1, left = settings.kills; left > 0 && findings.count == 0; number++) {
        int kills = left < settings.kills_a_round ? left : settings.kills_a_round;
        play_round(&settings, &findings, number, kills, &totals);
        left -= kills;
    }
    printf("%d engines and %d commands killed: %d findings. %lld runs, %lld steps (%lld "
           "interrupted), %lld samples; %lld acknowledged facts, none lost. %d controls, %d "
           "reported. Seed %llu, %.0f s\n",
           totals.kills, totals.commands_killed, findings.count, (long long)totals.runs,
           (long long)totals.steps, (long long)totals.interrupted, (long long)totals.samples,
           (long long)totals.facts, totals.controls.tried, totals.controls.reported,
           (unsigned long long)settings.seed, seconds_now() - began);
    if (findings.count == 0 && !settings.keep)
        rmdir(folder);
    else
        printf("kept: %s\n", folder);
    return findings.count == 0 && totals.controls.tried == totals.controls.reported ? 0 : 1;
}
