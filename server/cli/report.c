/* report.c - fettle report: an audit as a document for print or for keeping. */
#include "cli/commands.h"
#include "cli/data_command.h"
#include "report/audit_report.h"
#include "store/beside.h"

#include <stdlib.h>
#include <string.h>

static const char help[] =
    "usage: fettle report --audit A --data DIR --out FILE.pdf|FILE.html\n"
    "\n"
    "Writes the report of audit A of a data folder, also while a server uses it: as PDF for print, or as "
    "one\n"
    "HTML file that needs nothing else, by the name of FILE. The same audit gives the same bytes on one\n"
    "installation.\n"
    "\n"
    "  --audit A    the audit's number, as in the page's address\n"
    "  --data DIR   the data folder\n"
    "  --out FILE   where to write it\n"
    "\n"
    "The PDF is set in the fonts of fonts-dejavu-core; the variable FETTLE_FONTS names another folder that "
    "has\n"
    "them.\n";

enum { KEY_AUDIT = DATA_COMMAND_OWN, KEY_OUT };

static const struct option_spec specs[] = {
    DATA_COMMAND_SPECS, {"--audit", true, false, KEY_AUDIT}, {"--out", true, false, KEY_OUT}};

struct call {
    size_t audit; /* 0: none */
    const char *out;
    enum report_form form;
};

static bool take_out(const char *path, struct call *call, struct error *err)
{
    const char *dot = strrchr(path, '.');
    call->out = path;
    return (dot && report_form_parse(dot + 1, &call->form, err))
           || error_set(err, ERROR_USAGE, "--out ends in .pdf or .html, not as in '%s'", path);
}

static bool take(int key, const char *value, void *context, struct error *err)
{
    struct call *call = context;
    return key == KEY_AUDIT ? option_integer("--audit", value, 1, INT64_MAX, &call->audit, err)
                            : take_out(value, call, err);
}

static const struct data_command command = {.name = "report",
                                            .help = help,
                                            .specs = specs,
                                            .spec_count = sizeof specs / sizeof specs[0],
                                            .take = take};

static bool make(const char *data, const struct call *call, struct error *err)
{
    struct measure_list measures;
    struct store *store;
    char *bytes = NULL;
    size_t size;
    if (!measures_open(&measures, err))
        return false;
    bool ok = store_open_beside(data, &store, err);
    if (ok) {
        ok = audit_report_write(store, (int64_t)call->audit, &measures, call->form, &bytes, &size, err)
             && cli_write_file(call->out, bytes, size, err);
        free(bytes);
        store_close(store);
    }
    measures_close(&measures);
    return ok;
}

int cli_report(int argc, char **argv)
{
    struct data_arguments arguments;
    struct call call = {0};
    struct error err = {0};
    int status;

    if (!data_command_begin(&command, argc, argv, &arguments, &call, &status))
        return status;
    if (!call.audit || !call.out) {
        error_set(&err, ERROR_USAGE, "name the audit with --audit and the file to write with --out");
        return cli_fail_usage("report", &err);
    }
    return make(arguments.data, &call, &err) ? CLI_DONE : cli_fail(&err);
}
