/* verify_handoff.c - fettle verify-handoff: is a handoff whole, unaltered, sealed, signed, and measured
 * right? */
#include "cli/commands.h"
#include "cli/handoff_table.h"
#include "cli/inputs.h"
#include "cli/options.h"
#include "cli/scratch.h"
#include "handoff/handoff_verify.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static const size_t key_bytes_max = 4096;
#define VERIFY_ARENA ((size_t)2 << 30) /* address space: directory, names, documents */

enum key {
    KEY_KEY = 1,
    KEY_JSON,
    KEY_NO_MEASURE,
    KEY_THREADS,
    KEY_FILES,
    KEY_BYTES,
    KEY_RATIO,
    KEY_HELP,
};

static const struct option_spec specs[] = {
    {"--key", true, false, KEY_KEY},         {"--json", false, false, KEY_JSON},
    {"--threads", true, false, KEY_THREADS}, {"--no-measure", false, false, KEY_NO_MEASURE},
    {"--max-files", true, false, KEY_FILES}, {"--max-bytes", true, false, KEY_BYTES},
    {"--max-ratio", true, false, KEY_RATIO}, {"--help", false, true, KEY_HELP},
    {"-h", false, true, KEY_HELP},
};

static const char help[] =
    "usage: fettle verify-handoff PATH [OPTIONS]\n"
    "\n"
    "Checks a handoff, a zip or the folder unpacked of one, without any server: that every file is there "
    "and\n"
    "unaltered (BagIt 1.0, RFC 8493), that the seal and the sign-offs hold, that the documents speak of "
    "these\n"
    "files, that judging again gives the audit, and that measuring again gives the record.\n"
    "\n"
    "  --key PUBLIC.pem   it must be sealed with this key, which you have from elsewhere\n"
    "  --no-measure       do not measure again\n"
    "  --json             print the outcome as JSON instead of a table\n"
    "  --threads N        threads to measure with\n"
    "  --max-files N      files that a handoff may hold (default 10,000)\n"
    "  --max-bytes N      bytes that they may have, unpacked (default 64 GiB)\n"
    "  --max-ratio N      how much larger a file may become when unpacked (default 200 times)\n"
    "\n"
    "Nothing is unpacked to where its name says: files go into one private temporary file (TMPDIR), which "
    "is\n"
    "gone at the end. Exit status: 0 it holds, 1 it does not, 2 wrong usage, 3 it could not be read or is "
    "not\n"
    "safe to, 4 a limit was exceeded, 5 a fault of the program or the machine.\n";

struct call {
    const char *path, *key;
    struct handoff_verify_call verify;
    bool json, help;
};

static bool take_option(int key, const char *value, struct call *call, struct error *err)
{
    struct bag_limits *limits = &call->verify.limits;
    size_t number = 0;
    bool ok = true;
    switch ((enum key)key) {
    case KEY_KEY:
        call->key = value;
        return true;
    case KEY_JSON:
        call->json = true;
        return true;
    case KEY_NO_MEASURE:
        call->verify.measure = false;
        return true;
    case KEY_THREADS:
        return option_integer("--threads", value, 1, 1024, &call->verify.threads, err);
    case KEY_FILES:
        return option_integer("--max-files", value, 1, 1000000, &limits->files, err);
    case KEY_BYTES:
        ok = option_integer("--max-bytes", value, 1, INT64_MAX, &number, err);
        limits->bytes = number;
        return ok;
    case KEY_RATIO:
        ok = option_integer("--max-ratio", value, 1, 2000, &number, err);
        limits->ratio = number;
        return ok;
    case KEY_HELP:
        call->help = true;
        return true;
    }
    return false;
}

static bool parse_call(int argc, char **argv, struct call *call, struct error *err)
{
    struct options options = options_begin(specs, sizeof specs / sizeof specs[0], argc, argv);
    const char *value;
    int key;
    *call = (struct call){.verify = {.zip_fd = -1,
                                     .folder_fd = -1,
                                     .spool_fd = -1,
                                     .subject_fd = -1,
                                     .reference_fd = -1,
                                     .limits = bag_limits_default(),
                                     .measure = true}};
    while ((key = options_next(&options, &value, err)) != OPTION_END) {
        if (key == OPTION_WRONG)
            return false;
        if (key == OPTION_OPERAND && call->path)
            return error_set(err, ERROR_USAGE, "one handoff is checked at a time: '%s' is one too many",
                             value);
        if (key == OPTION_OPERAND)
            call->path = value;
        else if (!take_option(key, value, call, err))
            return false;
    }
    return call->help || call->path || error_set(err, ERROR_USAGE, "name the handoff: a zip or a folder");
}

/* A folder by a descriptor of its own; everything else must be a regular file. */
static bool open_path(struct call *call, struct error *err)
{
    struct run_input input = {.fd = -1};
    struct stat status;
    if (stat(call->path, &status) == 0 && S_ISDIR(status.st_mode)) {
        call->verify.folder_fd = open(call->path, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
        return call->verify.folder_fd >= 0
               || error_set(err, ERROR_NOT_FOUND, "cannot read '%s': %s", call->path, strerror(errno));
    }
    bool ok = input_open(call->path, &input, err);
    call->verify.zip_fd = input.fd;
    return ok;
}

static bool open_all(struct call *call, char **key, struct error *err)
{
    size_t size;
    *key = NULL;
    bool ok = open_path(call, err) && scratch_open(&call->verify.spool_fd, err)
              && scratch_open(&call->verify.subject_fd, err) && scratch_open(&call->verify.reference_fd, err)
              && (!call->key || input_read(call->key, key_bytes_max, key, &size, err));
    call->verify.key = *key;
    return ok;
}

static void close_all(const struct call *call)
{
    const int fds[] = {call->verify.zip_fd, call->verify.folder_fd, call->verify.spool_fd,
                       call->verify.subject_fd, call->verify.reference_fd};
    for (size_t i = 0; i < sizeof fds / sizeof *fds; i++)
        if (fds[i] >= 0)
            close(fds[i]);
}

static bool print(const struct call *call, const struct handoff_result *result, struct error *err)
{
    char *text = NULL;
    size_t size;
    if (!call->json) {
        handoff_table_print(result, stdout);
        return true;
    }
    if (!handoff_result_text(result, &text, &size, err))
        return false;
    fwrite(text, 1, size, stdout);
    free(text);
    return true;
}

static void print_refusal(const struct call *call, const struct error *why)
{
    struct error err;
    char *text = NULL;
    size_t size;
    if (call->json && error_is_reject(why->code) && handoff_refusal_text(why, &text, &size, &err))
        fwrite(text, 1, size, stdout);
    free(text);
}

static int verify(const struct call *call, struct error *err)
{
    struct handoff_result *result = malloc(sizeof *result);
    struct arena arena;
    int status;
    if (!result || !arena_open(&arena, VERIFY_ARENA, err)) {
        free(result);
        error_set(err, ERROR_MACHINE, "memory is out");
        return cli_fail(err);
    }
    if (!handoff_verify(&call->verify, &arena, result, err)) {
        print_refusal(call, err);
        status = cli_fail(err);
    } else if (!print(call, result, err)) {
        status = cli_fail(err);
    } else {
        status = cli_finish_output();
        if (status == CLI_DONE && !handoff_holds(result))
            status = CLI_SPEC_NOT_MET;
    }
    arena_close(&arena);
    free(result);
    return status;
}

int cli_verify_handoff(int argc, char **argv)
{
    struct error err = {0};
    struct call call;
    char *key;
    if (!parse_call(argc, argv, &call, &err))
        return cli_fail_usage("verify-handoff", &err);
    if (call.help) {
        fputs(help, stdout);
        return cli_finish_output();
    }
    int status = open_all(&call, &key, &err) ? verify(&call, &err) : cli_fail(&err);
    free(key);
    close_all(&call);
    return status;
}
