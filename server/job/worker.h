/* worker.h - the process that measures one job and then ends: `fettle work`. */
#ifndef JOB_WORKER_H
#define JOB_WORKER_H

/* argv[0] is "work"; descriptors as in worker_order.h. Returns the exit status: 0 when "done" or an error was
 * reported, 2 for wrong usage. The caller ends the process at once with _exit. */
int worker_main(int argc, char **argv);

#endif
