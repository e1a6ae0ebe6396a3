/* measure.c - fettle measure: options, files in, one run, its record or table out. */
#include "cli/audit_table.h"
#include "cli/commands.h"
#include "cli/inputs.h"
#include "cli/measure_table.h"
#include "cli/options.h"
#include "cli/spec_file.h"
#include "run/length.h"
#include "run/run.h"
#include "json/run_files.h"
#include "json/run_json.h"

#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

enum { THREADS_MAX = 256 };

enum key {
    KEY_KIND = 1,
    KEY_AGAINST,
    KEY_UNITS,
    KEY_TOLERANCE,
    KEY_CERTIFY,
    KEY_SURFACE,
    KEY_BOUNDARY,
    KEY_NO_CREASES,
    KEY_FIELDS,
    KEY_SPEC,
    KEY_THREADS,
    KEY_JSON,
    KEY_OUT,
    KEY_HELP,
};

static const struct option_spec specs[] = {
    {"--kind", true, false, KEY_KIND},
    {"--against", true, false, KEY_AGAINST},
    {"--units", true, false, KEY_UNITS},
    {"--tolerance", true, true, KEY_TOLERANCE},
    {"--certify", true, false, KEY_CERTIFY},
    {"--surface", true, false, KEY_SURFACE},
    {"--boundary", true, false, KEY_BOUNDARY},
    {"--no-creases", false, false, KEY_NO_CREASES},
    {"--fields", true, false, KEY_FIELDS},
    {"--spec", true, false, KEY_SPEC},
    {"--threads", true, false, KEY_THREADS},
    {"--json", false, false, KEY_JSON},
    {"--out", true, false, KEY_OUT},
    {"--help", false, true, KEY_HELP},
    {"-h", false, true, KEY_HELP},
};

/* What the arguments ask for. */
struct call {
    struct run_settings settings;
    const char *subject, *reference, *fields, *out, *spec;
    const char *tolerances[DEVIATION_TOLERANCES_ASKED]; /* as stated: --units may come after them */
    size_t tolerance_count;
    bool json, help;
};

static void print_help(void)
{
    fputs("usage: fettle measure FILE [--against SCAN] [OPTIONS]\n"
          "\n"
          "Measures a mesh (OBJ, STL, PLY, OFF; also compressed by gzip or zstd), alone or against a scan.\n"
          "\n"
          "  --against SCAN     the scan that FILE was made from, or the raw scan that FILE repairs\n"
          "  --kind scan|cage   what FILE is; without it, a cage when most of its faces have four corners\n"
          "  --units U          unit of both files: mm, cm, m, in or unknown (default)\n"
          "  --tolerance LEN    tell the share of area within LEN, such as 0.4 or 0.4mm; up to 16 times\n"
          "  --certify REL      wanted width of the interval of the largest distance, as a share of the\n"
          "                     scan's box diagonal (default 1e-4)\n"
          "  --surface S        what of a cage is measured: control (its faces as they are), limit\n"
          "                     (the Catmull-Clark surface they stand for) or both (default)\n"
          "  --boundary RULE    edge-only or edge-and-corner (default): corners of a cage's open edges\n"
          "  --no-creases       ignore creases stored in a cage\n"
          "  --fields DIR       write a value per vertex or face into DIR, listed in fields.json\n"
          "  --spec S           also judge it by a spec: a file, or print, cage, archive, cast\n"
          "  --threads N        threads to use; the record does not depend on it\n"
          "  --json             print the run record instead of a table\n"
          "  --out FILE         write the run record to FILE\n"
          "\n"
          "Exit status: 0 measured, 1 measured but it does not conform to the spec or is undecided, 2 wrong\n"
          "usage, 3 an input could not be read, 4 a limit was exceeded, 5 a fault of the program or the "
          "machine.\n"
          "Measures describe the files, not the object.\n",
          stdout);
}

static bool take_tolerance(const char *value, struct call *call, struct error *err)
{
    if (call->tolerance_count == DEVIATION_TOLERANCES_ASKED)
        return error_set(err, ERROR_USAGE, "more than %d tolerances; leave some out",
                         DEVIATION_TOLERANCES_ASKED);
    call->tolerances[call->tolerance_count++] = value;
    return true;
}

static bool take_option(int key, const char *value, struct call *call, struct error *err)
{
    static const char *const kinds[] = {[MESH_SCAN] = "scan", [MESH_CAGE] = "cage"};
    static const char *const rules[] = {
        [BOUNDARY_EDGE_ONLY] = "edge-only", [BOUNDARY_EDGE_AND_CORNER] = "edge-and-corner"};
    struct run_settings *settings = &call->settings;
    size_t chosen = 0;

    switch ((enum key)key) {
    case KEY_KIND:
        if (!option_word("--kind", value, kinds, 2, &chosen, err))
            return false;
        settings->kind_given = true;
        settings->kind = (enum mesh_kind)chosen;
        return true;
    case KEY_BOUNDARY:
        if (!option_word("--boundary", value, rules, 2, &chosen, err))
            return false;
        settings->boundary = (enum boundary_rule)chosen;
        return true;
    case KEY_UNITS:
        return run_units_parse(value, &settings->units)
               || error_set(err, ERROR_USAGE, "--units is one of mm, cm, m, in, unknown, not '%s'", value);
    case KEY_THREADS:
        return option_integer("--threads", value, 1, THREADS_MAX, &settings->deviation.threads, err);
    case KEY_CERTIFY:
        return option_certify(value, &settings->deviation.certify, err);
    case KEY_TOLERANCE:
        return take_tolerance(value, call, err);
    case KEY_SURFACE:
        return option_surface(value, &settings->surface, err);
    case KEY_SPEC:
        call->spec = value;
        return true;
    case KEY_NO_CREASES:
        settings->ignore_creases = true;
        return true;
    case KEY_AGAINST:
        call->reference = value;
        return true;
    case KEY_FIELDS:
        call->fields = value;
        return true;
    case KEY_OUT:
        call->out = value;
        return true;
    case KEY_JSON:
        call->json = true;
        return true;
    case KEY_HELP:
        call->help = true;
        return true;
    }
    return false;
}

static bool take_operand(const char *value, struct call *call, struct error *err)
{
    if (call->subject)
        return error_set(err, ERROR_USAGE, "one FILE is measured at a time: '%s' is one too many", value);
    call->subject = value;
    return true;
}

static int compare_lengths(const void *left, const void *right)
{
    const double *a = left, *b = right;
    return (*a > *b) - (*a < *b);
}

/* Ascending, each once. */
static bool settle_tolerances(struct call *call, struct error *err)
{
    struct deviation_settings *settings = &call->settings.deviation;
    double lengths[DEVIATION_TOLERANCES_ASKED] = {0};

    for (size_t i = 0; i < call->tolerance_count; i++)
        if (!length_parse(call->tolerances[i], call->settings.units, &lengths[i], err))
            return false;
    qsort(lengths, call->tolerance_count, sizeof *lengths, compare_lengths);
    settings->tolerance_count = 0;
    for (size_t i = 0; i < call->tolerance_count; i++)
        if (i == 0 || lengths[i] != lengths[i - 1])
            settings->tolerances[settings->tolerance_count++] = lengths[i];
    return true;
}

static bool parse_call(int argc, char **argv, struct call *call, struct error *err)
{
    struct options options = options_begin(specs, sizeof specs / sizeof specs[0], argc, argv);
    const char *value;
    int key;

    *call = (struct call){.settings = run_settings_default()};
    while ((key = options_next(&options, &value, err)) != OPTION_END) {
        if (key == OPTION_WRONG)
            return false;
        if (key == OPTION_OPERAND ? !take_operand(value, call, err) : !take_option(key, value, call, err))
            return false;
    }
    if (call->help)
        return true;
    if (!call->subject) {
        error_set(err, ERROR_USAGE, "name the FILE to measure");
        return false;
    }
    if (call->json && call->out)
        return error_set(err, ERROR_USAGE, "--json prints the record and --out writes it; say one of them");
    if (call->fields && !call->reference)
        return error_set(err, ERROR_USAGE, "--fields writes distances to a scan; name it with --against");
    return settle_tolerances(call, err);
}

static bool open_fields_folder(const char *path, int *fd, struct error *err)
{
    if (mkdir(path, 0777) != 0 && errno != EEXIST)
        return error_set(err, ERROR_MACHINE, "cannot make the folder '%s': %s", path, strerror(errno));
    *fd = open(path, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    return *fd >= 0
           || error_set(err, ERROR_MACHINE, "cannot open the folder '%s': %s", path, strerror(errno));
}

/* The places that a run's results go to; -1: not asked for. */
struct outputs {
    int fields, out_folder, out_device; /* a device or pipe named by --out is written to as it is */
    char out_path[PATH_MAX];
};

static bool open_out_folder(const char *path, struct outputs *outputs, struct error *err)
{
    char *real = outputs->out_path, *slash = strrchr(real, '/');

    if (slash)
        *slash = '\0';
    outputs->out_folder = open(!slash ? "." : slash == real ? "/" : real, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (slash)
        *slash = '/';
    return outputs->out_folder >= 0
           || error_set(err, ERROR_MACHINE, "cannot write '%s': %s", path, strerror(errno));
}

/* FILE of --out is replaced when it is a regular file, or a link to one. */
static bool open_out(const char *path, struct outputs *outputs, struct error *err)
{
    struct stat status;

    if (!realpath(path, outputs->out_path))
        snprintf(outputs->out_path, PATH_MAX, "%s", path);
    bool exists = stat(path, &status) == 0;
    if (exists && S_ISDIR(status.st_mode))
        return error_set(err, ERROR_USAGE, "--out: '%s' is a folder; name a file in it", path);
    if (!*path_last_part(outputs->out_path))
        return error_set(err, ERROR_USAGE, "--out: '%s' does not name a file", path);
    if (!exists || S_ISREG(status.st_mode))
        return open_out_folder(path, outputs, err);
    outputs->out_device = open(path, O_WRONLY | O_CLOEXEC | O_NOCTTY);
    return outputs->out_device >= 0
           || error_set(err, ERROR_MACHINE, "cannot write '%s': %s", path, strerror(errno));
}

static bool print_record(const struct run *run, FILE *stream, struct error *err)
{
    char *text = NULL;
    size_t size;
    bool ok = run_record_text(run, &text, &size, err);

    if (ok)
        fwrite(text, 1, size, stream);
    free(text);
    return ok;
}

static bool write_device(const struct run *run, int fd, const char *path, struct error *err)
{
    int own = dup(fd);
    FILE *stream = own < 0 ? NULL : fdopen(own, "w");
    bool ok = stream && print_record(run, stream, err);

    if (!stream || (ok && (fflush(stream) != 0 || ferror(stream))))
        ok = error_set(err, ERROR_MACHINE, "cannot write '%s': %s", path, strerror(errno));
    if (stream)
        fclose(stream);
    else
        close(own);
    return ok;
}

static int deliver(const struct run *run, const struct call *call, const struct outputs *outputs,
                   struct error *err)
{
    if (outputs->fields >= 0 && !run_fields_save(run, outputs->fields, err))
        return cli_fail(err);
    if (outputs->out_folder >= 0
        && !run_record_save(run, outputs->out_folder, path_last_part(outputs->out_path), err))
        return cli_fail(err);
    if (outputs->out_device >= 0 && !write_device(run, outputs->out_device, call->out, err))
        return cli_fail(err);
    if (call->json ? !print_record(run, stdout, err) : !measure_table_print(run, stdout, err))
        return cli_fail(err);
    return cli_finish_output();
}

/* Standard output is the record alone where that was asked for: then only the exit status tells. */
static int judge(const struct run *run, const struct call *call, const struct spec_file *spec,
                 struct error *err)
{
    struct audited audited;
    char *text = NULL, day[11];
    size_t size;
    today(day);
    struct audit_request request = {.spec = &spec->spec, .measures = &spec->measures, .day = day};
    bool ok = run_record_text(run, &text, &size, err) && audited_make(text, size, &request, &audited, err);
    free(text);
    if (!ok)
        return cli_fail(err);
    if (!call->json) {
        fputc('\n', stdout);
        audit_table_print(&audited, &spec->spec, stdout);
    }
    int status = audit_status(&audited);
    audited_close(&audited);
    return cli_finish_output() == CLI_DONE ? status : CLI_MACHINE;
}

static int measure_and_deliver(const struct call *call, const struct run_input *subject,
                               const struct run_input *reference, const struct outputs *outputs,
                               const struct spec_file *spec, struct error *err)
{
    struct run run;
    if (!input_measure(subject, reference, &call->settings, call->fields != NULL, &run, err))
        return cli_fail(err);
    int status = deliver(&run, call, outputs, err);
    if (status == CLI_DONE && call->spec)
        status = judge(&run, call, spec, err);
    run_close(&run);
    return status;
}

static void close_open(int fd)
{
    if (fd >= 0)
        close(fd);
}

int cli_measure(int argc, char **argv)
{
    struct error err = {0};
    struct call call;
    struct run_input subject = {.fd = -1}, reference = {.fd = -1};
    struct outputs outputs = {.fields = -1, .out_folder = -1, .out_device = -1};
    struct spec_file spec = {0};
    int status;

    if (!parse_call(argc, argv, &call, &err))
        return cli_fail_usage("measure", &err);
    if (call.help) {
        print_help();
        return cli_finish_output();
    }
    if ((call.spec && !spec_file_open(call.spec, &spec, &err)) || !input_open(call.subject, &subject, &err)
        || (call.reference && !input_open(call.reference, &reference, &err))
        || (call.fields && !open_fields_folder(call.fields, &outputs.fields, &err))
        || (call.out && !open_out(call.out, &outputs, &err)))
        status = cli_fail(&err);
    else
        status =
            measure_and_deliver(&call, &subject, call.reference ? &reference : NULL, &outputs, &spec, &err);
    close_open(outputs.out_device);
    close_open(outputs.out_folder);
    close_open(outputs.fields);
    input_close(&reference);
    input_close(&subject);
    spec_file_close(&spec);
    return status;
}
