/* work.c - fettle work: the worker process that `fettle serve` starts for each job, and each
 * check of a handoff; not for use by hand. */
#include "cli/commands.h"
#include "job/handoff_check.h"
#include "job/worker.h"

#include <string.h>
#include <unistd.h>

int cli_work(int argc, char **argv)
{
    if (argc > 1 && strcmp(argv[1], "--handoff") == 0)
        _exit(handoff_check_main(argc, argv));
    _exit(worker_main(argc, argv)); /* what exit would flush or free does not matter, and is forbidden */
}
