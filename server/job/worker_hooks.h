/* worker_hooks.h - ways for a test to make a worker die, in builds with FETTLE_TEST_HOOKS (debug) only.
 *
 * The environment's FETTLE_TEST_WORKER is WAY or WAY@PART, where the hook is for files whose name contains
 * PART. WAY: abort, segv, oom (malloc fails), kill (as the kernel does when memory is short), spin, stuck
 * (ignores SIGTERM too), open, socket, fork, exec. */
#ifndef JOB_WORKER_HOOKS_H
#define JOB_WORKER_HOOKS_H

#if defined(FETTLE_TEST_HOOKS)
/* NULL when no hook is for this file. Looked up before the sandbox, run inside it. */
const char *worker_hook_named(const char *file_name);
void worker_hook_run(const char *hook);
#else
static inline const char *worker_hook_named(const char *file_name)
{
    (void)file_name;
    return (const char *)0;
}
static inline void worker_hook_run(const char *hook)
{
    (void)hook;
}
#endif

#endif
