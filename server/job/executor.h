/* executor.h - the seam behind which workers run: child processes here, a batch system elsewhere.
 *
 * All calls are made by one thread, the scheduler's. Nothing outside this seam knows which executor ran. */
#ifndef JOB_EXECUTOR_H
#define JOB_EXECUTOR_H

#include "job/worker_order.h"

struct execution {
    int64_t id;    /* the executor's: a process id */
    int end_fd;    /* readable when it has ended */
    int report_fd; /* the worker's lines, not blocking; -1 once it is through */
};

struct execution_end {
    bool killed; /* by signal `number`; else it returned `number` */
    int number;
};

struct executor {
    /* The descriptors stay the caller's; reference_fd is -1 when there is none. On success the caller owes
     * release. */
    bool (*start)(const struct executor *executor, const struct worker_order *order, int subject_fd,
                  int reference_fd, int output_fd, struct execution *execution, struct error *err);
    /* Asks it to stop, or with force: makes it. */
    void (*stop)(struct execution *execution, bool force);
    /* After end_fd turned readable: false while it still runs. */
    bool (*ended)(struct execution *execution, struct execution_end *end);
    /* Closes the descriptors of an ended execution. */
    void (*release)(struct execution *execution);
    const char *program; /* NULL: /proc/self/exe */
};

struct executor executor_local(const char *program);

#endif
