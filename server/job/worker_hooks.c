/* worker_hooks.c - see worker_hooks.h; empty in release builds. */
#include "job/worker_hooks.h"

#if defined(FETTLE_TEST_HOOKS)
#include "base/error.h"
#include "job/report.h"
#include "job/worker_order.h"

#include <fcntl.h>
#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/syscall.h>
#include <unistd.h>

const char *worker_hook_named(const char *file_name)
{
    const char *hook = getenv("FETTLE_TEST_WORKER");
    const char *part = hook ? strchr(hook, '@') : NULL;
    return hook && (!part || strstr(file_name, part + 1)) ? hook : NULL;
}

static bool is(const char *hook, const char *way)
{
    size_t size = strlen(way);
    return strncmp(hook, way, size) == 0 && (hook[size] == '\0' || hook[size] == '@');
}

/* Takes memory until the limit says no, as a run would that needs too much. */
static void run_out_of_memory(void)
{
    volatile size_t piece = (size_t)1 << 46;
    while (malloc(piece))
        piece = piece / 2 + 4096;
    report_write(WORKER_FD_REPORT, "error out-of-memory - 0 - the machine refuses more memory");
    _exit(0);
}

static void spin(bool stuck)
{
    if (stuck)
        signal(SIGTERM, SIG_IGN);
    for (volatile int turn = 0;; turn = !turn) {
    }
}

void worker_hook_run(const char *hook)
{
    char *const nothing[] = {NULL};
    if (!hook)
        return;
    if (is(hook, "abort"))
        abort();
    if (is(hook, "segv"))
        raise(SIGSEGV);
    if (is(hook, "kill"))
        syscall(SYS_tgkill, getpid(), gettid(), SIGKILL);
    if (is(hook, "oom"))
        run_out_of_memory();
    if (is(hook, "spin") || is(hook, "stuck"))
        spin(is(hook, "stuck"));
    if (is(hook, "open"))
        _exit(open("/etc/passwd", O_RDONLY | O_CLOEXEC) >= 0 ? 70 : 71);
    if (is(hook, "socket"))
        _exit(socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0) >= 0 ? 70 : 71);
    if (is(hook, "fork"))
        _exit(fork() >= 0 ? 70 : 71);
    if (is(hook, "exec"))
        _exit(execve("/proc/self/exe", nothing, nothing));
}
#endif
