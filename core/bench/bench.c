/* The list of channels: owns them, finds them by name, makes them all safe at the end. */
#include "bench/bench.h"

#include <stdlib.h>
#include <string.h>

#include "base/text.h"

int bench_add(struct bench *bench, struct channel *channel, struct error *error)
{
    if (bench_find(bench, channel->name) != NULL) {
        error_set(error, ERROR_BENCH, channel->name, "give each channel a name of its own",
                  "the bench already has a channel of this name");
        channel->ops->close(channel);
        return ERROR_BENCH;
    }
    size_t size = sizeof(bench->channels[0]) * ((size_t)bench->count + 1);
    bench->channels = xrealloc(bench->channels, size);
    bench->channels[bench->count++] = channel;
    return 0;
}

struct channel *bench_find(const struct bench *bench, const char *name)
{
    for (int i = 0; i < bench->count; i++)
        if (strcmp(bench->channels[i]->name, name) == 0)
            return bench->channels[i];
    return NULL;
}

void bench_close(struct bench *bench)
{
    /* All safe before any is closed: closing one may take time, and the others wait energised. */
    for (int i = 0; i < bench->count; i++)
        bench->channels[i]->ops->make_safe(bench->channels[i], NULL);
    for (int i = 0; i < bench->count; i++)
        bench->channels[i]->ops->close(bench->channels[i]);
    free(bench->channels);
    bench->channels = NULL;
    bench->count = 0;
}
