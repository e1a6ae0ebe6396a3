/* executor_local.c - workers as child processes of our own binary, by posix_spawn. */
#include "job/executor.h"

#include <errno.h>
#include <fcntl.h>
#include <signal.h>
#include <spawn.h>
#include <stdlib.h>
#include <string.h>
#include <sys/syscall.h>
#include <sys/wait.h>
#include <unistd.h>

/* Copies of the descriptors above all numbers that the worker expects, so that moving one does not overwrite
 * another. */
enum { SAFE_FD = 64 };

struct worker_fds {
    int fds[WORKER_FD_COUNT]; /* copies by their number in the worker; -1: none */
};

static void close_copies(struct worker_fds *copies)
{
    for (int i = WORKER_FD_SUBJECT; i < WORKER_FD_COUNT; i++)
        if (copies->fds[i] >= 0)
            close(copies->fds[i]);
}

static bool make_copies(struct worker_fds *copies, const int originals[WORKER_FD_COUNT])
{
    bool ok = true;
    for (int i = WORKER_FD_SUBJECT; i < WORKER_FD_COUNT; i++) {
        copies->fds[i] = originals[i] < 0 ? -1 : fcntl(originals[i], F_DUPFD_CLOEXEC, SAFE_FD);
        ok = ok && (originals[i] < 0 || copies->fds[i] >= 0);
    }
    return ok;
}

/* Standard streams to nowhere (errors of a debug build stay visible), then the worker's own, nothing else. */
static int add_actions(posix_spawn_file_actions_t *actions, const struct worker_fds *copies)
{
    int rc = posix_spawn_file_actions_addopen(actions, STDIN_FILENO, "/dev/null", O_RDONLY, 0);
    if (!rc)
        rc = posix_spawn_file_actions_addopen(actions, STDOUT_FILENO, "/dev/null", O_WRONLY, 0);
#if defined(NDEBUG)
    if (!rc)
        rc = posix_spawn_file_actions_addopen(actions, STDERR_FILENO, "/dev/null", O_WRONLY, 0);
#endif
    for (int i = WORKER_FD_SUBJECT; i < WORKER_FD_COUNT && !rc; i++)
        if (copies->fds[i] >= 0)
            rc = posix_spawn_file_actions_adddup2(actions, copies->fds[i], i);
        else
            rc = posix_spawn_file_actions_addopen(actions, i, "/dev/null", O_RDONLY, 0);
    return rc ? rc : posix_spawn_file_actions_addclosefrom_np(actions, WORKER_FD_COUNT);
}

/* A group of its own (the terminal's Ctrl-C is for the server, which then deals with its workers), no blocked
 * and no ignored signal. */
static int set_attributes(posix_spawnattr_t *attributes)
{
    sigset_t none, all;
    sigemptyset(&none);
    sigfillset(&all);
    sigdelset(&all, SIGKILL);
    sigdelset(&all, SIGSTOP);
    int rc = posix_spawnattr_setflags(attributes,
                                      POSIX_SPAWN_SETPGROUP | POSIX_SPAWN_SETSIGMASK | POSIX_SPAWN_SETSIGDEF);
    if (!rc)
        rc = posix_spawnattr_setpgroup(attributes, 0);
    if (!rc)
        rc = posix_spawnattr_setsigmask(attributes, &none);
    return rc ? rc : posix_spawnattr_setsigdefault(attributes, &all);
}

static int spawn(const char *program, const struct worker_order *order, const struct worker_fds *copies,
                 pid_t *pid)
{
    struct worker_arguments arguments;
    char *environment[4] = {0};
    size_t count = 0;
    posix_spawn_file_actions_t actions;
    posix_spawnattr_t attributes;

    environment[count++] = (char *)(uintptr_t) "LC_ALL=C";
#if defined(__SANITIZE_ADDRESS__)
    /* a worker's signals are its parent's to judge; leaks are looked for by other tests, not in the sandbox
     */
    environment[count++] = (char *)(uintptr_t) "ASAN_OPTIONS=handle_segv=0:handle_abort=0:handle_sigbus=0:"
                                               "detect_leaks=0:allocator_may_return_null=1";
#endif
#if defined(FETTLE_TEST_HOOKS)
    char hook[200] = "FETTLE_TEST_WORKER=";
    const char *value = getenv("FETTLE_TEST_WORKER");
    if (value && strlen(value) < 150) {
        strcat(hook, value);
        environment[count++] = hook;
    }
#endif
    worker_order_write(order, program, &arguments);
    int rc = posix_spawn_file_actions_init(&actions);
    if (rc)
        return rc;
    rc = posix_spawnattr_init(&attributes);
    if (!rc) {
        rc = add_actions(&actions, copies);
        if (!rc)
            rc = set_attributes(&attributes);
        if (!rc)
            rc = posix_spawn(pid, program, &actions, &attributes, arguments.argv, environment);
        posix_spawnattr_destroy(&attributes);
    }
    posix_spawn_file_actions_destroy(&actions);
    return rc;
}

static bool start(const struct executor *executor, const struct worker_order *order, int subject_fd,
                  int reference_fd, int output_fd, struct execution *execution, struct error *err)
{
    struct worker_fds copies = {{-1, -1, -1, -1, -1, -1, -1}};
    int ends[2], rc = 0;
    pid_t pid = -1;

    if (pipe2(ends, O_CLOEXEC) != 0)
        return error_set(err, ERROR_MACHINE, "no pipe for a worker: %s", strerror(errno));
    const int originals[WORKER_FD_COUNT] = {[WORKER_FD_SUBJECT] = subject_fd,
                                            [WORKER_FD_REFERENCE] = reference_fd,
                                            [WORKER_FD_OUTPUT] = output_fd,
                                            [WORKER_FD_REPORT] = ends[1]};
    if (!make_copies(&copies, originals))
        rc = errno;
    else
        rc = spawn(executor->program ? executor->program : "/proc/self/exe", order, &copies, &pid);
    close_copies(&copies);
    close(ends[1]);
    if (rc) {
        close(ends[0]);
        return error_set(err, ERROR_MACHINE, "a worker could not be started: %s", strerror(rc));
    }
    fcntl(ends[0], F_SETFL, O_NONBLOCK);
    *execution =
        (struct execution){.id = pid, .end_fd = (int)syscall(SYS_pidfd_open, pid, 0), .report_fd = ends[0]};
    if (execution->end_fd
        < 0) { /* Linux before 5.3, or out of descriptors: a worker that cannot be watched */
        kill(pid, SIGKILL);
        waitpid(pid, NULL, 0);
        close(ends[0]);
        return error_set(err, ERROR_MACHINE, "a worker could not be watched: %s", strerror(errno));
    }
    fcntl(execution->end_fd, F_SETFD, FD_CLOEXEC);
    return true;
}

static void stop(struct execution *execution, bool force)
{
    kill((pid_t)execution->id, force ? SIGKILL : SIGTERM);
}

static bool ended(struct execution *execution, struct execution_end *end)
{
    int status;
    pid_t pid = waitpid((pid_t)execution->id, &status, WNOHANG);
    if (pid == 0 || (pid < 0 && errno == EINTR))
        return false;
    if (pid < 0) /* reaped by somebody else: its end is unknown */
        *end = (struct execution_end){.killed = false, .number = 255};
    else if (WIFSIGNALED(status))
        *end = (struct execution_end){.killed = true, .number = WTERMSIG(status)};
    else
        *end = (struct execution_end){.killed = false, .number = WEXITSTATUS(status)};
    return true;
}

static void release(struct execution *execution)
{
    if (execution->report_fd >= 0)
        close(execution->report_fd);
    if (execution->end_fd >= 0)
        close(execution->end_fd);
    execution->report_fd = execution->end_fd = -1;
}

struct executor executor_local(const char *program)
{
    return (struct executor){start, stop, ended, release, program};
}
