/* fork, exec, wait, kill. */
#include "process.h"

#include <errno.h>
#include <fcntl.h>
#include <signal.h>
#include <string.h>
#include <sys/prctl.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#include "base/text.h"
#include "findings.h"

#define OUTPUT_MOST (1024 * 1024)

double seconds_now(void)
{
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)now.tv_sec + (double)now.tv_nsec * 1e-9;
}

void pause_us(double us)
{
    struct timespec time = {(time_t)(us / 1e6), 0};
    time.tv_nsec = (long)((us - (double)time.tv_sec * 1e6) * 1e3);
    while (nanosleep(&time, &time) != 0 && errno == EINTR)
        continue;
}

void process_begin(struct process *process, const char *log, const char *const *words)
{
    memset(process, 0, sizeof(*process));
    process->status = -1;
    string_copy(process->log, sizeof(process->log), log);
    process->pid = fork();
    if (process->pid < 0)
        broken("cannot fork: %s", strerror(errno));
    if (process->pid > 0)
        return;
    prctl(PR_SET_PDEATHSIG, SIGKILL); /* an engine must not outlive a harness that was ended */
    int out = open(log, O_WRONLY | O_CREAT | O_APPEND, 0600);
    int in = open("/dev/null", O_RDONLY);
    if (out < 0 || in < 0 || dup2(in, 0) < 0 || dup2(out, 1) < 0 || dup2(out, 2) < 0)
        _exit(120);
    execv(words[0], (char *const *)words);
    _exit(121);
}

static void ended(struct process *process, int status)
{
    process->pid = 0;
    process->status = WIFEXITED(status) ? WEXITSTATUS(status) : -1;
    process->signal = WIFSIGNALED(status) ? WTERMSIG(status) : 0;
    if (process->status == 120 || process->status == 121)
        broken("the program under test cannot be run; see %s", process->log);
}

bool process_wait(struct process *process, double seconds)
{
    double until = seconds_now() + seconds;
    while (process->pid) {
        int status;
        pid_t who = waitpid(process->pid, &status, WNOHANG);
        if (who < 0)
            broken("cannot wait for a process: %s", strerror(errno));
        if (who > 0)
            ended(process, status);
        else if (seconds_now() >= until)
            return false;
        else
            pause_us(300);
    }
    return true;
}

void process_kill(struct process *process)
{
    int status;
    if (!process->pid)
        return;
    kill(process->pid, SIGKILL);
    if (waitpid(process->pid, &status, 0) != process->pid)
        broken("cannot wait for a process: %s", strerror(errno));
    ended(process, status);
}

char *process_output(const struct process *process)
{
    char *text = NULL;
    size_t length;
    struct error error;
    if (file_read(process->log, OUTPUT_MOST, &text, &length, &error))
        return xstrdup("");
    return text;
}
