/* handoff_check.h - checking a handoff from elsewhere in a process of its own, fenced in as a worker is: it
 * can open nothing, and reads only the zip and writes only the files that it was started with.
 *
 * The service itself never looks into an archive that it was given. */
#ifndef JOB_HANDOFF_CHECK_H
#define JOB_HANDOFF_CHECK_H

#include "base/error.h"

#include <stdatomic.h>

struct handoff_check {
    const char *program;                            /* NULL: /proc/self/exe */
    int zip_fd, spool_fd, subject_fd, reference_fd; /* the latter three empty */
    uint64_t threads, memory_bytes, file_bytes;     /* memory_bytes 0: no limit of its own */
    uint64_t cpu_seconds, wall_seconds;
    const atomic_bool *stop; /* ends it when it becomes true */
};

/* Blocks until it has ended. *text is what it printed: one line of JSON (json/handoff_result.h), not
 * believed; the caller frees it. ERROR_LIMIT where it took too much time or memory, ERROR_CANCELLED where it
 * was stopped, ERROR_MACHINE where it broke down. */
bool handoff_check_run(const struct handoff_check *check, char **text, size_t *size, struct error *err);

/* The other side: `fettle work --handoff ...`. Returns the exit status; the caller ends with _exit. */
int handoff_check_main(int argc, char **argv);

#endif
