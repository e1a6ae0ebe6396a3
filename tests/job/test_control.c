/* test_control.c
 *   ask_*      the running server answers
 *   nobody_*   no server, no answer */
#include "job/control.h"
#include "store/folder.h"

#include <criterion/criterion.h>
#include <fcntl.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static struct folder folder;
static struct control *control;
static char answer[400];
static bool reached;

static void begin(void)
{
    folder_begin(&folder);
    cr_assert(control_start(folder.store, &control, &folder.err), "%s", folder.err.text);
}
static void end(void)
{
    control_stop(control);
    folder_end(&folder);
}
TestSuite(control, .init = begin, .fini = end, .timeout = 60);

static bool ask(const char *request, int fd)
{
    return control_ask(folder.path, request, fd, &reached, answer, sizeof answer, &folder.err);
}

Test(control, ask_to_remeasure_queues_jobs)
{
    int64_t specimen = add_specimen(&folder, "A-1"), scan = add_version(&folder, specimen, "scan", 0, "s");
    run_next_job(&folder, 1, NAN);

    cr_expect(ask("remeasure 0 0", -1), "%s", folder.err.text);
    cr_expect_str_eq(answer, "0");
    cr_expect(ask("remeasure 0 1", -1), "%s", folder.err.text);
    cr_expect_str_eq(answer, "1");

    cr_expect_eq(version_of(&folder, scan).job_count, 2);
}

Test(control, ask_for_a_backup_passes_the_folder)
{
    char dest[80], command[128];
    int64_t specimen = add_specimen(&folder, "A-1");
    add_version(&folder, specimen, "scan", 0, "s");
    snprintf(dest, sizeof dest, "%s-copy", folder.path);
    cr_assert_eq(mkdir(dest, 0700), 0);
    int fd = open(dest, O_RDONLY | O_DIRECTORY);

    cr_expect(ask("backup", fd), "%s", folder.err.text);

    close(fd);
    cr_expect_eq(strncmp(answer, "1 files copied (1 bytes)", 24), 0, "%s", answer);
    struct folder copy = folder;
    strcpy(copy.path, dest);
    cr_expect_eq(verify_folder(&copy).figures.findings, 0);
    snprintf(command, sizeof command, "rm -rf %s", dest);
    cr_expect_eq(system(command), 0);
}

Test(control, ask_for_what_is_wrong_gives_the_servers_error)
{
    cr_expect_not(ask("remeasure 999 0", -1));
    cr_expect(reached);
    cr_expect_eq(folder.err.code, ERROR_NOT_FOUND);
    cr_expect_not(ask("backup", -1));
    cr_expect_eq(folder.err.code, ERROR_USAGE);
    cr_expect_not(ask("dance", -1));
    cr_expect_eq(folder.err.code, ERROR_USAGE);
    cr_expect(ask("remeasure 0 0", -1), "and the server goes on");
}

Test(control, ask_makes_a_socket_for_its_user_only)
{
    struct stat status;
    cr_assert_eq(stat(path_in(&folder, "control"), &status), 0);
    cr_expect_eq(status.st_mode & 077, 0);
}

Test(control, nobody_answers_once_it_stopped)
{
    control_stop(control);
    control = NULL;
    cr_expect_not(ask("remeasure 0 0", -1));
    cr_expect_not(reached);
    cr_expect_eq(folder.err.code, ERROR_NOT_FOUND);
}
