/* work.c - fettle work: the worker process that `fettle serve` starts for each job; not for use by hand. */
#include "cli/commands.h"
#include "job/worker.h"

#include <unistd.h>

int cli_work(int argc, char **argv)
{
    _exit(worker_main(argc, argv)); /* what exit would flush or free does not matter, and is forbidden */
}
