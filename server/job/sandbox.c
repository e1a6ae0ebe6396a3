/* sandbox.c - rlimits, prctl, Landlock by its system calls, seccomp by libseccomp.
 *
 * Sources: setrlimit(2), prctl(2), seccomp(2); Linux kernel documentation, "Landlock: unprivileged access
 * control" (ABI versions and what each adds). */
#include "job/sandbox.h"

#include <errno.h>
#include <fcntl.h>
#include <sched.h>
#include <seccomp.h>
#include <signal.h>
#include <stdio.h>
#include <string.h>
#include <sys/prctl.h>
#include <sys/resource.h>
#include <sys/syscall.h>
#include <unistd.h>

/* --- limits --- */

static bool limit(int resource, rlim_t soft, rlim_t hard, const char *what, struct error *err)
{
    struct rlimit now, wanted = {soft, hard};
    if (getrlimit(resource, &now) == 0 && now.rlim_max < wanted.rlim_max) {
        wanted.rlim_max = now.rlim_max; /* an outer limit is stricter already */
        if (wanted.rlim_cur > wanted.rlim_max)
            wanted.rlim_cur = wanted.rlim_max;
    }
    return setrlimit(resource, &wanted) == 0
           || error_set(err, ERROR_MACHINE, "the limit on %s cannot be set: %s", what, strerror(errno));
}

static void be_first_to_go(void)
{
    int fd = open("/proc/self/oom_score_adj", O_WRONLY | O_CLOEXEC);
    if (fd < 0)
        return;
    if (write(fd, "1000", 4) != 4) {
        close(fd); /* only a preference: going on without it is right */
        return;
    }
    close(fd);
}

bool sandbox_limit(const struct worker_order *order, struct error *err)
{
    rlim_t cpu = order->cpu_seconds, file = order->file_bytes;

    signal(SIGXFSZ, SIG_IGN); /* a file too long is an error of write, not a death */
    be_first_to_go();
    setpriority(PRIO_PROCESS, 0, 10);
#if !defined(__SANITIZE_ADDRESS__)
    rlim_t space = order->address_space_bytes;
    if (space && !limit(RLIMIT_AS, space, space, "memory", err))
        return false;
#endif
    if (!limit(RLIMIT_CPU, cpu, cpu + 5, "CPU time", err)
        || !limit(RLIMIT_FSIZE, file, file, "file size", err)
        || !limit(RLIMIT_NOFILE, 32, 32, "open files", err) || !limit(RLIMIT_CORE, 0, 0, "core files", err))
        return false;
    if (prctl(PR_SET_NO_NEW_PRIVS, 1, 0, 0, 0) != 0 || prctl(PR_SET_PDEATHSIG, SIGKILL) != 0
        || prctl(PR_SET_DUMPABLE, 0) != 0)
        return error_set(err, ERROR_MACHINE, "the worker cannot give up its rights: %s", strerror(errno));
    if ((uint64_t)getppid() != order->parent) /* it died before PDEATHSIG was set */
        return error_set(err, ERROR_MACHINE, "the server is gone");
    return true;
}

/* --- Landlock: the headers of the kernel here may be older than the kernel --- */

struct landlock_rules {
    uint64_t files, network, scopes;
};

static uint64_t low_bits(int count)
{
    return ((uint64_t)1 << count) - 1;
}

/* How many file rights each ABI handles: 13 at first, then refer (2), truncate (3), ioctl of devices (5). */
static int landlock(void)
{
    struct landlock_rules rules = {0};
    size_t size = sizeof rules.files;
    int abi = (int)syscall(SYS_landlock_create_ruleset, NULL, 0, 1 /* tell the version */);
    if (abi < 1)
        return 0;
    rules.files = low_bits(13 + (abi >= 2) + (abi >= 3) + (abi >= 5));
    if (abi >= 4) {
        rules.network = low_bits(2); /* bind and connect TCP */
        size = 2 * sizeof rules.files;
    }
    if (abi >= 6) {
        rules.scopes = low_bits(2); /* abstract sockets, signals to others */
        size = sizeof rules;
    }
    int fd = (int)syscall(SYS_landlock_create_ruleset, &rules, size, 0);
    bool closed = fd >= 0 && syscall(SYS_landlock_restrict_self, fd, 0) == 0;
    if (fd >= 0)
        close(fd);
    return closed ? abi : 0;
}

/* --- seccomp --- */

/* What measuring needs: reading what is open, memory, threads, time, writing what is open, ending. */
static const int allowed[] = {
    SCMP_SYS(read),
    SCMP_SYS(pread64),
    SCMP_SYS(readv),
    SCMP_SYS(write),
    SCMP_SYS(pwrite64),
    SCMP_SYS(writev),
    SCMP_SYS(lseek),
    SCMP_SYS(fstat),
    SCMP_SYS(fsync),
    SCMP_SYS(ftruncate),
    SCMP_SYS(close),
    SCMP_SYS(fadvise64),
    SCMP_SYS(mmap),
    SCMP_SYS(munmap),
    SCMP_SYS(mremap),
    SCMP_SYS(mprotect),
    SCMP_SYS(madvise),
    SCMP_SYS(brk),
    SCMP_SYS(futex),
    SCMP_SYS(set_robust_list),
    SCMP_SYS(rseq),
    SCMP_SYS(sched_yield),
    SCMP_SYS(sched_getaffinity),
    SCMP_SYS(getpid),
    SCMP_SYS(gettid),
    SCMP_SYS(getrusage),
    SCMP_SYS(sysinfo),
    SCMP_SYS(getrandom),
    SCMP_SYS(clock_gettime),
    SCMP_SYS(clock_nanosleep),
    SCMP_SYS(restart_syscall),
    SCMP_SYS(rt_sigaction),
    SCMP_SYS(rt_sigprocmask),
    SCMP_SYS(rt_sigreturn),
    SCMP_SYS(exit),
    SCMP_SYS(exit_group),
#if defined(__SANITIZE_ADDRESS__)
    SCMP_SYS(sigaltstack), /* by the sanitizer, for each thread */
#endif
};

/* Calls allowed only in one form. */
static bool allow_forms(scmp_filter_ctx filter)
{
    return /* glibc's fstat; a path is refused by Landlock where it would be followed */
        seccomp_rule_add(filter, SCMP_ACT_ALLOW, SCMP_SYS(newfstatat), 1, SCMP_A3(SCMP_CMP_EQ, AT_EMPTY_PATH))
            == 0
        /* threads of this process, no other process */
        && seccomp_rule_add(filter, SCMP_ACT_ALLOW, SCMP_SYS(clone), 1,
                            SCMP_A0(SCMP_CMP_MASKED_EQ, CLONE_THREAD, CLONE_THREAD))
               == 0
        && seccomp_rule_add(filter, SCMP_ACT_ERRNO(ENOSYS), SCMP_SYS(clone3), 0) == 0
        /* abort of itself */
        && seccomp_rule_add(filter, SCMP_ACT_ALLOW, SCMP_SYS(tgkill), 1,
                            SCMP_A0(SCMP_CMP_EQ, (scmp_datum_t)getpid()))
               == 0
        /* reading its own limits */
        && seccomp_rule_add(filter, SCMP_ACT_ALLOW, SCMP_SYS(prlimit64), 2, SCMP_A0(SCMP_CMP_EQ, 0),
                            SCMP_A2(SCMP_CMP_EQ, 0))
               == 0
        && seccomp_rule_add(filter, SCMP_ACT_ALLOW, SCMP_SYS(fcntl), 1, SCMP_A1(SCMP_CMP_EQ, F_GETFL)) == 0;
}

static bool seccomp(void)
{
    scmp_filter_ctx filter = seccomp_init(SCMP_ACT_KILL_PROCESS);
    bool ok = filter != NULL;
    for (size_t i = 0; ok && i < sizeof allowed / sizeof allowed[0]; i++)
        ok = seccomp_rule_add(filter, SCMP_ACT_ALLOW, allowed[i], 0) == 0;
    ok = ok && allow_forms(filter) && seccomp_load(filter) == 0;
    if (filter)
        seccomp_release(filter);
    return ok;
}

void sandbox_close(int *landlock_abi, bool *has_seccomp)
{
    *landlock_abi = landlock();
    *has_seccomp = seccomp();
}
