/* The limit on open files: RLIMIT_NOFILE. */
#include "base/descriptors.h"

#include <dirent.h>
#include <limits.h>
#include <sys/resource.h>

long descriptors_raise(void)
{
    struct rlimit limit;
    if (getrlimit(RLIMIT_NOFILE, &limit) != 0)
        return 1024; /* what every kernel gives */
    if (limit.rlim_cur < limit.rlim_max) {
        struct rlimit raised = {limit.rlim_max, limit.rlim_max};
        if (setrlimit(RLIMIT_NOFILE, &raised) == 0)
            limit = raised;
    }
    return limit.rlim_cur > LONG_MAX ? LONG_MAX : (long)limit.rlim_cur;
}

static long open_now(void)
{
    long count = 0;
    DIR *folder = opendir("/proc/self/fd");
    if (!folder)
        return 3;
    while (readdir(folder))
        count++;
    closedir(folder);
    return count - 3; /* ".", ".." and the folder itself */
}

int descriptors_need(long wanted, const char *what, struct error *error)
{
    long most = descriptors_raise(), used = open_now();
    if (wanted <= most - used)
        return 0;
    return error_set(
        error, ERROR_BENCH, what,
        "raise the limit (ulimit -Hn, or LimitNOFILE= of its service), or take some "
        "instruments out",
        "it needs %ld more open files, and this process may have %ld, of which %ld are "
        "in use",
        wanted, most, used);
}
