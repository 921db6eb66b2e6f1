/* Findings: counted and shown. */
#include "findings.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define SHOWN_MOST 40

void found(struct findings *findings, const char *check, const char *format, ...)
{
    char text[1200];
    va_list list;
    va_start(list, format);
    vsnprintf(text, sizeof(text), format, list);
    va_end(list);
    if (findings->awaited && strcmp(findings->awaited, check) == 0)
        findings->came = true;
    if (findings->count++ == 0)
        snprintf(findings->first, sizeof(findings->first), "%s: %.560s", check, text);
    if (!findings->quiet && findings->count <= SHOWN_MOST)
        printf("FOUND   %s: %s\n", check, text);
}

void broken(const char *format, ...)
{
    va_list list;
    fputs("kill: ", stderr);
    va_start(list, format);
    vfprintf(stderr, format, list);
    va_end(list);
    fputs("\n", stderr);
    exit(2);
}
