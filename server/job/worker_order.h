/* worker_order.h - what a worker is told on its command line, and on which descriptors it finds what.
 *
 * Both ends of the line are here: executors write an order as arguments of `fettle work`, the worker reads it
 * back. Nothing in it is a path. */
#ifndef JOB_WORKER_ORDER_H
#define JOB_WORKER_ORDER_H

#include "base/error.h"

enum worker_fd {
    WORKER_FD_SUBJECT = 3, /* read only */
    WORKER_FD_REFERENCE,   /* read only, when there is one */
    WORKER_FD_OUTPUT,      /* an empty folder: record.json and NAME.bin go there */
    WORKER_FD_REPORT,      /* a pipe: see report.h */
    WORKER_FD_COUNT
};

struct worker_order {
    const char *subject_name, *subject_sha256;
    const char *reference_name, *reference_sha256; /* NULL: measured alone */
    const char *kind, *units;
    const char *tolerances; /* store/tolerances.h; NULL: none */
    const char *certify;    /* a number; NULL: the run room's own */
    uint64_t threads;
    uint64_t address_space_bytes, file_bytes, cpu_seconds; /* limits; see sandbox.h */
    uint64_t parent;                                       /* process id: a worker without it ends */
    uint64_t pictures; /* 1: the surface and the thumbnail of the subject are to be made as well */
    uint64_t probe;    /* 1: only close the sandbox and try whether it holds */
};

#define WORKER_ARGUMENTS_MAX 34
struct worker_arguments {
    char *argv[WORKER_ARGUMENTS_MAX + 1]; /* NULL-terminated; points into texts and the order */
    char texts[WORKER_ARGUMENTS_MAX][24];
};
void worker_order_write(const struct worker_order *order, const char *program,
                        struct worker_arguments *arguments);
/* argv[0] is "work". ERROR_USAGE names what is wrong. */
bool worker_order_read(int argc, char **argv, struct worker_order *order, struct error *err);

#endif
