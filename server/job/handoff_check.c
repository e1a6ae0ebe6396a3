/* handoff_check.c - both ends of the fence. */
#include "job/handoff_check.h"

#include "handoff/handoff_verify.h"
#include "job/sandbox.h"
#include "job/worker_order.h"
#include "run/own_status.h"
#include "json/measures.h"

#include <errno.h>
#include <fcntl.h>
#include <inttypes.h>
#include <poll.h>
#include <signal.h>
#include <spawn.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

/* Descriptors as the child finds them. */
enum { FD_ZIP = 3, FD_SPOOL, FD_SUBJECT, FD_REFERENCE, FD_RESULT, FD_COUNT, FD_SAFE = 64 };
/* A result lists at most 200 problems and 50 differences. */
static const size_t result_bytes_max = (size_t)1 << 20;

/* --- the parent --- */

/* Copies above all numbers that the child expects, so that moving one does not overwrite another. */
static bool make_copies(const int originals[FD_COUNT], int copies[FD_COUNT])
{
    bool ok = true;
    for (int i = FD_ZIP; i < FD_COUNT; i++) {
        copies[i] = fcntl(originals[i], F_DUPFD_CLOEXEC, FD_SAFE);
        ok = ok && copies[i] >= 0;
    }
    return ok;
}

static int add_actions(posix_spawn_file_actions_t *actions, const int copies[FD_COUNT])
{
    int rc = posix_spawn_file_actions_addopen(actions, STDIN_FILENO, "/dev/null", O_RDONLY, 0);
    if (!rc)
        rc = posix_spawn_file_actions_addopen(actions, STDOUT_FILENO, "/dev/null", O_WRONLY, 0);
#if defined(NDEBUG)
    if (!rc)
        rc = posix_spawn_file_actions_addopen(actions, STDERR_FILENO, "/dev/null", O_WRONLY, 0);
#endif
    for (int i = FD_ZIP; i < FD_COUNT && !rc; i++)
        rc = posix_spawn_file_actions_adddup2(actions, copies[i], i);
    return rc ? rc : posix_spawn_file_actions_addclosefrom_np(actions, FD_COUNT);
}

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

static int spawn(const struct handoff_check *check, const int copies[FD_COUNT], pid_t *pid)
{
    const char *program = check->program ? check->program : "/proc/self/exe";
    char numbers[5][24], work[] = "work", flag[] = "--handoff", name[] = "fettle", locale[] = "LC_ALL=C";
    const uint64_t values[] = {check->threads, check->memory_bytes, check->file_bytes, check->cpu_seconds,
                               (uint64_t)getpid()};
    char *argv[] = {name, work, flag, numbers[0], numbers[1], numbers[2], numbers[3], numbers[4], NULL};
#if defined(__SANITIZE_ADDRESS__)
    char sanitizer[] = "ASAN_OPTIONS=handle_segv=0:handle_abort=0:handle_sigbus=0:detect_leaks=0:"
                       "allocator_may_return_null=1";
    char *environment[] = {locale, sanitizer, NULL};
#else
    char *environment[] = {locale, NULL};
#endif
    posix_spawn_file_actions_t actions;
    posix_spawnattr_t attributes;
    for (size_t i = 0; i < 5; i++)
        snprintf(numbers[i], sizeof numbers[i], "%" PRIu64, values[i]);
    int rc = posix_spawn_file_actions_init(&actions);
    if (rc)
        return rc;
    rc = posix_spawnattr_init(&attributes);
    if (!rc) {
        rc = add_actions(&actions, copies);
        if (!rc)
            rc = set_attributes(&attributes);
        if (!rc)
            rc = posix_spawn(pid, program, &actions, &attributes, argv, environment);
        posix_spawnattr_destroy(&attributes);
    }
    posix_spawn_file_actions_destroy(&actions);
    return rc;
}

static bool start(const struct handoff_check *check, pid_t *pid, int *result_fd, struct error *err)
{
    int ends[2], copies[FD_COUNT] = {-1, -1, -1, -1, -1, -1, -1, -1}, rc;
    if (pipe2(ends, O_CLOEXEC) != 0)
        return error_set(err, ERROR_MACHINE, "no pipe for a check: %s", strerror(errno));
    const int originals[FD_COUNT] = {[FD_ZIP] = check->zip_fd,
                                     [FD_SPOOL] = check->spool_fd,
                                     [FD_SUBJECT] = check->subject_fd,
                                     [FD_REFERENCE] = check->reference_fd,
                                     [FD_RESULT] = ends[1]};
    rc = make_copies(originals, copies) ? spawn(check, copies, pid) : errno;
    for (int i = FD_ZIP; i < FD_COUNT; i++)
        if (copies[i] >= 0)
            close(copies[i]);
    close(ends[1]);
    if (!rc) {
        *result_fd = ends[0];
        return true;
    }
    close(ends[0]);
    return error_set(err, ERROR_MACHINE, "a check could not be started: %s", strerror(rc));
}

static int64_t now_s(void)
{
    struct timespec time;
    clock_gettime(CLOCK_MONOTONIC, &time);
    return time.tv_sec;
}

/* Reads until the child closes its end. False where it is to be ended, with why. */
static bool listen_to(const struct handoff_check *check, int fd, char *text, size_t *size, struct error *err)
{
    int64_t end_s = now_s() + (int64_t)check->wall_seconds;
    struct pollfd poll_fd = {.fd = fd, .events = POLLIN};
    for (;;) {
        if (atomic_load(check->stop))
            return error_set(err, ERROR_CANCELLED, "the service was stopped");
        if (now_s() >= end_s)
            return error_set(err, ERROR_LIMIT,
                             "the check took longer than %" PRIu64
                             " seconds and was ended; run fettle verify-handoff by hand",
                             check->wall_seconds);
        if (poll(&poll_fd, 1, 250) <= 0)
            continue;
        ssize_t got = read(fd, text + *size, result_bytes_max - *size);
        if (got == 0)
            return true;
        if (got > 0)
            *size += (size_t)got;
        else if (errno != EINTR)
            return error_set(err, ERROR_MACHINE, "a check cannot be heard: %s", strerror(errno));
        if (*size == result_bytes_max)
            return error_set(err, ERROR_MACHINE, "a check said more than it may");
    }
}

static bool judge_end(int status, size_t size, struct error *err)
{
    if (WIFEXITED(status) && WEXITSTATUS(status) == 0 && size > 0)
        return true;
    if (WIFSIGNALED(status) && WTERMSIG(status) == SIGXCPU)
        return error_set(err, ERROR_LIMIT,
                         "the check used up its time on the processor; run fettle verify-handoff by hand");
    if (WIFSIGNALED(status) && WTERMSIG(status) == SIGKILL)
        return error_set(err, ERROR_LIMIT, "the machine ran short of memory and ended the check");
    if (WIFSIGNALED(status))
        return error_set(err, ERROR_MACHINE,
                         "the check broke down (signal %d); the handoff is not to be trusted",
                         WTERMSIG(status));
    return error_set(err, ERROR_MACHINE, "the check ended without a result (exit status %d)",
                     WEXITSTATUS(status));
}

bool handoff_check_run(const struct handoff_check *check, char **out, size_t *size, struct error *err)
{
    char *text = malloc(result_bytes_max + 1);
    int fd = -1, status = 0;
    pid_t pid;
    *size = 0;
    if (!text || !start(check, &pid, &fd, err)) {
        bool ok = text || error_set(err, ERROR_MACHINE, "memory is out");
        free(text);
        return ok && false;
    }
    bool ok = listen_to(check, fd, text, size, err);
    if (!ok)
        kill(pid, SIGKILL);
    while (waitpid(pid, &status, 0) < 0 && errno == EINTR)
        ;
    close(fd);
    ok = ok && judge_end(status, *size, err);
    if (ok) {
        text[*size] = '\0';
        *out = text;
    } else {
        free(text);
    }
    return ok;
}

/* --- the child --- */

static bool number_of(const char *text, uint64_t *value)
{
    char *end;
    *value = strtoull(text, &end, 10);
    return *text && !*end;
}

static bool read_order(int argc, char **argv, struct worker_order *order)
{
    *order = (struct worker_order){0};
    return argc == 7 && number_of(argv[2], &order->threads) && number_of(argv[3], &order->address_space_bytes)
           && number_of(argv[4], &order->file_bytes) && number_of(argv[5], &order->cpu_seconds)
           && number_of(argv[6], &order->parent);
}

static bool say(const char *text, size_t size)
{
    while (size) {
        ssize_t put = write(FD_RESULT, text, size);
        if (put < 0 && errno == EINTR)
            continue;
        if (put <= 0)
            return false;
        text += put;
        size -= (size_t)put;
    }
    return true;
}

static bool verify(const struct worker_order *order, struct arena *arena, struct handoff_result *result,
                   struct error *err)
{
    const struct handoff_verify_call call = {.zip_fd = FD_ZIP,
                                             .folder_fd = -1,
                                             .spool_fd = FD_SPOOL,
                                             .subject_fd = FD_SUBJECT,
                                             .reference_fd = FD_REFERENCE,
                                             .limits = bag_limits_default(),
                                             .measure = true,
                                             .threads = order->threads};
    struct error why = {0};
    char *text = NULL;
    size_t size;
    bool ok = handoff_verify(&call, arena, result, &why) ? handoff_result_text(result, &text, &size, err)
                                                         : handoff_refusal_text(&why, &text, &size, err);
    ok = ok && say(text, size);
    free(text);
    return ok;
}

/* What a library may open at first use, a time zone or a random seed, is used before the door closes. */
static bool prepare(struct error *err)
{
    struct measure_list measures;
    if (!measures_open(&measures, err))
        return false;
    measures_close(&measures);
    return own_status_hold(err);
}

int handoff_check_main(int argc, char **argv)
{
    enum { ARENA = 1 << 30 }; /* address space */
    struct worker_order order;
    struct error err = {0};
    struct arena arena;
    int abi;
    bool seccomp;
    if (!read_order(argc, argv, &order)) {
        fprintf(stderr, "fettle: work --handoff is not for use by hand\n");
        return 2;
    }
    signal(SIGPIPE, SIG_IGN);
    struct handoff_result *result = malloc(sizeof *result);
    if (!result || !sandbox_limit(&order, &err) || !prepare(&err) || !arena_open(&arena, ARENA, &err)) {
        free(result);
        return 1;
    }
    sandbox_close(&abi, &seccomp);
    bool ok = verify(&order, &arena, result, &err);
    free(result);
    return ok ? 0 : 1;
}
