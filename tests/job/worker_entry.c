/* worker_entry.c - lets the test program be the worker that a scheduler starts from /proc/self/exe. */
#include "job/worker.h"

#include <string.h>
#include <unistd.h>

__attribute__((constructor)) static void be_a_worker(int argc, char **argv)
{
    if (argc > 1 && strcmp(argv[1], "work") == 0)
        _exit(worker_main(argc - 1, argv + 1));
}
