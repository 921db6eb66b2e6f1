/* Memory that is there or ends the process: see text.h. */
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"

static void *present_or_die(void *pointer, size_t size)
{
    if (pointer != NULL || size == 0)
        return pointer;
    fprintf(stderr,
            "perdure: memory: no room for %zu bytes; close other programs and start again\n", size);
    abort();
}

void *xmalloc(size_t size)
{
    return present_or_die(malloc(size != 0 ? size : 1), size);
}

void *xcalloc(size_t count, size_t size)
{
    void *pointer = calloc(count != 0 ? count : 1, size != 0 ? size : 1);
    return present_or_die(pointer, size != 0 && count > SIZE_MAX / size ? SIZE_MAX : count * size);
}

void *xrealloc(void *pointer, size_t size)
{
    return present_or_die(realloc(pointer, size != 0 ? size : 1), size);
}

char *xstrdup(const char *string)
{
    size_t size = strlen(string) + 1;
    return memcpy(xmalloc(size), string, size);
}
