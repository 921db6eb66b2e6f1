/* Making a scene, and commands in it. */
#include "scene.h"

#include <errno.h>
#include <fcntl.h>
#include <ftw.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/un.h>
#include <time.h>
#include <unistd.h>

#include "base/text.h"
#include "query.h"

#define COMMAND_SECONDS 30.0
#define RATED           "2 Ah"

/* --- files ------------------------------------------------------------------------------------ */

void copy_file(const char *from, const char *to)
{
    char bytes[65536];
    ssize_t count = 0;
    unlink(to);
    int in = open(from, O_RDONLY | O_CLOEXEC);
    if (in < 0 && errno == ENOENT)
        return; /* then neither is there a copy */
    int out = open(to, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0600);
    if (in < 0 || out < 0)
        broken("cannot copy %s to %s: %s", from, to, strerror(errno));
    while ((count = read(in, bytes, sizeof(bytes))) > 0)
        if (write(out, bytes, (size_t)count) != count)
            broken("cannot write %s: %s", to, strerror(errno));
    if (count < 0)
        broken("cannot read %s: %s", from, strerror(errno));
    close(in);
    close(out);
}

void copy_logbook(const char *from, const char *to)
{
    static const char *const parts[] = {"", "-wal"};
    char source[300], target[300];
    for (int i = 0; i < 2; i++) {
        snprintf(source, sizeof(source), "%s%s", from, parts[i]);
        snprintf(target, sizeof(target), "%s%s", to, parts[i]);
        copy_file(source, target);
    }
    snprintf(target, sizeof(target), "%s-shm", to);
    unlink(target);
}

void scene_copy(const struct scene *scene)
{
    copy_logbook(scene->logbook, scene->check);
    copy_file(scene->world, scene->check_world);
}

static int remove_one(const char *path, const struct stat *about, int flag, struct FTW *ftw)
{
    (void)about, (void)flag, (void)ftw;
    return remove(path);
}

void scene_remove(const struct scene *scene)
{
    nftw(scene->folder, remove_one, 16, FTW_DEPTH | FTW_PHYS);
}

/* --- commands --------------------------------------------------------------------------------- */

void scene_begin(const struct scene *scene, struct process *process, const char *const *words)
{
    static int number;
    const char *line[WORDS_MOST + 4] = {scene->perdure, "--logbook", scene->logbook};
    char log[300];
    int count = 3;
    for (; *words && count < WORDS_MOST + 3; words++)
        line[count++] = *words;
    snprintf(log, sizeof(log), "%s/said-%d", scene->folder, ++number);
    process_begin(process, log, line);
}

/* "perdure: WHAT: WHY; WHAT TO DO" */
static bool is_one_line(const char *said)
{
    const char *at = strncmp(said, "perdure: ", 9) == 0 ? strstr(said + 9, ": ") : NULL;
    at = at ? strstr(at, "; ") : NULL;
    at = at ? strchr(at, '\n') : NULL;
    return at && at[1] == '\0';
}

void scene_judge(const struct scene *scene, const struct process *process, const char *what,
                 bool may_refuse)
{
    char *said = process_output(process);
    if (process->signal)
        found(scene->findings, "program", "%s was ended by signal %d: %s", what, process->signal,
              said);
    else if (process->status == 0 || (may_refuse && process->status < 5 && is_one_line(said)))
        unlink(process->log);
    else
        found(scene->findings, "program", "%s ended with status %d: %s", what, process->status,
              said);
    free(said);
}

char *scene_do(const struct scene *scene, const char *const *words)
{
    struct process process;
    scene_begin(scene, &process, words);
    if (!process_wait(&process, COMMAND_SECONDS)) {
        process_kill(&process);
        broken("%s %s does not come to an end", words[0], words[1] ? words[1] : "");
    }
    char *said = process_output(&process);
    scene_judge(scene, &process, words[0], false);
    return said;
}

static void do_quietly(const struct scene *scene, const char *const *words)
{
    free(scene_do(scene, words));
}

void scene_engine(const struct scene *scene, struct process *process, bool until_idle)
{
    const char *words[] = {"engine",
                           "--bench",
                           scene->bench,
                           "--commit-every",
                           scene->commit_every,
                           until_idle ? "--until-idle" : NULL,
                           NULL};
    scene_begin(scene, process, words);
}

static bool listens(const char *path)
{
    struct sockaddr_un address = {.sun_family = AF_UNIX};
    string_copy(address.sun_path, sizeof(address.sun_path), path);
    int fd = socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0);
    bool there = fd >= 0 && connect(fd, (struct sockaddr *)&address, sizeof(address)) == 0;
    if (fd >= 0)
        close(fd);
    return there;
}

bool scene_wait_engine(const struct scene *scene, struct process *process)
{
    char path[300];
    snprintf(path, sizeof(path), "%s-socket", scene->logbook);
    while (!listens(path))
        if (process_wait(process, 0.002))
            return false;
    return true;
}

/* --- making ----------------------------------------------------------------------------------- */

const char *scene_label(int cell)
{
    static const char *const labels[CELLS] = {"X-01", "X-02", "X-03", "X-04",
                                              "X-05", "X-06", "N-01", "N-02"};
    return labels[cell];
}

/* Exact cells: no losses, no noise, no ageing. Their open-circuit voltage is nearly flat but for a
 * steep window in the middle of the state of charge, so that a step to a voltage is short and there
 * is room on both sides for what a channel goes on doing while no engine lives. */
static void write_bench(const struct scene *scene)
{
    FILE *file = fopen(scene->bench, "w");
    if (!file)
        broken("cannot write %s: %s", scene->bench, strerror(errno));
    fputs("local ticks = { ", file);
    fprintf(file, "tick = %.6f, tick_most = %.6f, rest_most = %.6f }\n", scene->span / 75,
            scene->span / 7.5, scene->span / 5);
    fputs("local function cell(truth)\n"
          "  for name, value in pairs(ticks) do truth[name] = value end\n"
          "  return simulated(truth)\n"
          "end\n"
          "local channels = {}\n",
          file);
    fprintf(file,
            "for i = 1, %d do\n"
            "  channels[\"E\" .. i] = cell { capacity = %.9g, r0 = \"50 mohm\", soc_new = 0.5,\n"
            "    open_circuit = { { 0, \"1.10 V\" }, { 0.48, \"1.15 V\" }, { 0.52, \"1.35 V\" },\n"
            "                     { 1, \"1.40 V\" } } }\n"
            "end\n",
            EXACT_CHANNELS, 40 * scene->span / 3600);
    fputs("channels.N1 = cell { chemistry = \"NiMH\", capacity = \"" RATED "\", soc_new = 0.96 }\n"
          "return bench { title = \"Exact and typical cells\", channels = channels }\n",
          file);
    if (fclose(file) != 0)
        broken("cannot write %s: %s", scene->bench, strerror(errno));
}

static void name_paths(struct scene *scene)
{
    snprintf(scene->logbook, sizeof(scene->logbook), "%s/book.perdure", scene->folder);
    snprintf(scene->world, sizeof(scene->world), "%s/book.perdure-world", scene->folder);
    snprintf(scene->bench, sizeof(scene->bench), "%s/bench.lua", scene->folder);
    snprintf(scene->check, sizeof(scene->check), "%s/check.perdure", scene->folder);
    snprintf(scene->check_world, sizeof(scene->check_world), "%s/check-world", scene->folder);
}

static void enrol(const struct scene *scene)
{
    do_quietly(scene, (const char *const[]){"enrol", "--model", "Exact 2000", "--chemistry", "NiMH",
                                            "--rated", RATED, "--labels",
                                            "X-01,X-02,X-03,X-04,X-05,X-06", NULL});
    do_quietly(scene,
               (const char *const[]){"enrol", "--model", "Nickel 2000", "--chemistry", "NiMH",
                                     "--rated", RATED, "--labels", "N-01,N-02", NULL});
    char glance[300];
    snprintf(glance, sizeof(glance), "%s/glance.lua", scene->protocols);
    do_quietly(scene, (const char *const[]){"start", glance, "--channel", "E1", "--cells",
                                            "X-01,X-02,X-03,X-04,X-05,X-06", NULL});
    do_quietly(scene, (const char *const[]){"start", glance, "--channel", "N1", "--cells",
                                            "N-01,N-02", NULL});
    do_quietly(scene, (const char *const[]){"engine", "--bench", scene->bench, "--commit-every",
                                            scene->commit_every, "--until-idle", NULL});
}

void scene_make(struct scene *scene)
{
    char seed[24], clock[24];
    name_paths(scene);
    if (mkdir(scene->folder, 0700) != 0)
        broken("cannot make %s: %s", scene->folder, strerror(errno));
    write_bench(scene);
    snprintf(seed, sizeof(seed), "%llu", (unsigned long long)scene->seed);
    snprintf(clock, sizeof(clock), "x%g", scene->scale);
    do_quietly(scene, (const char *const[]){"new", "--clock", scene->scale > 0 ? clock : "virtual",
                                            "--seed", seed, NULL});
    sqlite3 *book = query_open(scene->logbook);
    if (!book)
        broken("%s was not made", scene->logbook);
    scene->utc_origin = query_number(book, "SELECT utc_origin FROM logbook");
    scene->real_origin = query_number(book, "SELECT real_origin FROM logbook");
    sqlite3_close(book);
    enrol(scene);
}

utc_us scene_now(const struct scene *scene)
{
    struct timespec now;
    clock_gettime(CLOCK_REALTIME, &now);
    double us = (double)now.tv_sec * 1e6 + (double)now.tv_nsec * 1e-3;
    return scene->utc_origin + (utc_us)((us - (double)scene->real_origin) * scene->scale);
}
