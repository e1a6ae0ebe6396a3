/* sandbox.h - what a worker gives up before it reads the first byte of an upload. */
#ifndef JOB_SANDBOX_H
#define JOB_SANDBOX_H

#include "job/worker_order.h"

/* Limits on address space (not under the address sanitizer, which reserves terabytes), CPU time (the soft
 * one, SIGXCPU, 5 s before the hard one), size and number of files, no core; no new privileges, ends with its
 * parent, not dumpable, first to go when memory is short, nice 10. False with ERROR_MACHINE when a limit
 * cannot be set. */
bool sandbox_limit(const struct worker_order *order, struct error *err);

/* Closes the door: Landlock without any rule (files, and TCP, abstract sockets and signals where the kernel
 * knows), then seccomp with an allow-list, anything else ends the process. What is already open stays usable.
 * Reports what the kernel could do: an ABI of 0 or seccomp false where it could not. */
void sandbox_close(int *landlock_abi, bool *seccomp);

#endif
