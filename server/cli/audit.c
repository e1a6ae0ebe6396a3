/* audit.c - fettle audit: a run judged by a spec, for people and for build servers. */
#include "cli/audit_table.h"
#include "cli/commands.h"
#include "cli/inputs.h"
#include "cli/options.h"
#include "cli/spec_file.h"
#include "report/junit.h"
#include "store/beside.h"
#include "store/runs.h"
#include "json/run_json.h"
#include "json/waivers.h"

#include <stdlib.h>
#include <string.h>

/* A record lists at most 1,000 places of a kind; the longest seen has 2 MiB. */
static const size_t record_bytes_max = (size_t)256 << 20, waiver_bytes_max = (size_t)1 << 20;
#define RECORD_ARENA ((size_t)1 << 30) /* address space, as store/verify.c has it */

enum key {
    KEY_SPEC = 1,
    KEY_AGAINST,
    KEY_KIND,
    KEY_UNITS,
    KEY_CERTIFY,
    KEY_SURFACE,
    KEY_RECORD,
    KEY_RUN,
    KEY_DATA,
    KEY_WAIVERS,
    KEY_DAY,
    KEY_JSON,
    KEY_JUNIT,
    KEY_SARIF,
    KEY_HELP,
};

static const struct option_spec specs[] = {
    {"--spec", true, false, KEY_SPEC},       {"--against", true, false, KEY_AGAINST},
    {"--kind", true, false, KEY_KIND},       {"--units", true, false, KEY_UNITS},
    {"--certify", true, false, KEY_CERTIFY}, {"--record", true, false, KEY_RECORD},
    {"--run", true, false, KEY_RUN},         {"--data", true, false, KEY_DATA},
    {"--waivers", true, false, KEY_WAIVERS}, {"--day", true, false, KEY_DAY},
    {"--json", false, false, KEY_JSON},      {"--junit", true, false, KEY_JUNIT},
    {"--sarif", true, false, KEY_SARIF},     {"--help", false, true, KEY_HELP},
    {"-h", false, true, KEY_HELP},           {"--surface", true, false, KEY_SURFACE},
};

static const char help[] =
    "usage: fettle audit --spec S FILE [--against SCAN] [OPTIONS]\n"
    "       fettle audit --spec S --record RECORD [OPTIONS]\n"
    "       fettle audit --spec S --run R --data DIR [OPTIONS]\n"
    "\n"
    "Judges a run by a spec, rule by rule: conforms, does not conform, or undecided with what would decide "
    "it.\n"
    "FILE is measured first; RECORD is one that fettle measure wrote; R is a run of a data folder, also "
    "while\n"
    "a server uses it.\n"
    "\n"
    "  --spec S           a spec file, or one that comes with fettle: print, cage, archive, cast\n"
    "  --against SCAN     the scan that FILE was made from\n"
    "  --kind scan|cage   what FILE is, where its faces do not tell\n"
    "  --units U          unit of both files: mm, cm, m, in or unknown (default)\n"
    "  --certify REL      wanted width of the interval of the largest distance (default 1e-4)\n"
    "  --surface S        what of a cage is measured: control (default), limit or both\n"
    "  --waivers FILE     a JSON list of {\"rule\", \"reason\", \"author\", \"expires\"}\n"
    "  --day DAY          the day for which waivers are looked at, such as 2026-12-31; default: today\n"
    "  --json             print the audit as JSON instead of a table\n"
    "  --junit FILE       also write it as JUnit XML\n"
    "  --sarif FILE       also write it as SARIF 2.1.0\n"
    "\n"
    "Exit status: 0 it conforms, 1 it does not, or is undecided, 2 wrong usage, 3 an input could not be "
    "read,\n"
    "4 a limit was exceeded, 5 a fault of the program or the machine.\n"
    "Measures describe the files, not the object. Nothing here clears a part for clinical, load-bearing or\n"
    "safety use.\n";

struct call {
    struct run_settings settings;
    const char *spec, *subject, *reference, *record, *data, *waivers, *day, *junit, *sarif;
    const char *how; /* an option that says how to measure; NULL: none */
    size_t run;      /* 0: none */
    bool json, help;
};

static bool take_option(int key, const char *value, struct call *call, struct error *err)
{
    static const char *const kinds[] = {[MESH_SCAN] = "scan", [MESH_CAGE] = "cage"};
    size_t chosen = 0;

    switch ((enum key)key) {
    case KEY_SURFACE:
        call->how = "--surface";
        return option_surface(value, &call->settings.surface, err);
    case KEY_KIND:
        call->how = "--kind";
        if (!option_word("--kind", value, kinds, 2, &chosen, err))
            return false;
        call->settings.kind_given = true;
        call->settings.kind = (enum mesh_kind)chosen;
        return true;
    case KEY_UNITS:
        call->how = "--units";
        return run_units_parse(value, &call->settings.units)
               || error_set(err, ERROR_USAGE, "--units is one of mm, cm, m, in, unknown, not '%s'", value);
    case KEY_CERTIFY:
        call->how = "--certify";
        return option_certify(value, &call->settings.deviation.certify, err);
    case KEY_RUN:
        return option_integer("--run", value, 1, INT64_MAX, &call->run, err);
    case KEY_DAY:
        call->day = value;
        return is_day(value)
               || error_set(err, ERROR_USAGE, "--day is a day such as 2026-12-31, not '%s'", value);
    case KEY_SPEC:
        call->spec = value;
        return true;
    case KEY_AGAINST:
        call->how = "--against";
        call->reference = value;
        return true;
    case KEY_RECORD:
        call->record = value;
        return true;
    case KEY_DATA:
        call->data = value;
        return true;
    case KEY_WAIVERS:
        call->waivers = value;
        return true;
    case KEY_JUNIT:
        call->junit = value;
        return true;
    case KEY_SARIF:
        call->sarif = value;
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
        return error_set(err, ERROR_USAGE, "one FILE is judged at a time: '%s' is one too many", value);
    call->subject = value;
    return true;
}

static bool be_whole(const struct call *call, struct error *err)
{
    int ways = (call->subject != NULL) + (call->record != NULL) + (call->run != 0);
    if (!call->spec)
        return error_set(err, ERROR_USAGE,
                         "name the spec with --spec: a file, or print, cage, archive, cast");
    if (ways != 1)
        return error_set(err, ERROR_USAGE, "name what to judge: a FILE to measure, or --record, or --run");
    if (!call->run != !call->data)
        return error_set(err, ERROR_USAGE, "--run R and --data DIR go together");
    if (call->how && !call->subject)
        return error_set(err, ERROR_USAGE, "%s goes with a FILE to measure: a record says how it was made",
                         call->how);
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
    return call->help || be_whole(call, err);
}

static bool measure_record(const struct call *call, char **text, size_t *size, struct error *err)
{
    struct run_input subject = {.fd = -1}, reference = {.fd = -1};
    struct run run;
    bool ok =
        input_open(call->subject, &subject, err)
        && (!call->reference || input_open(call->reference, &reference, err))
        && input_measure(&subject, call->reference ? &reference : NULL, &call->settings, false, &run, err);
    if (ok) {
        ok = run_record_text(&run, text, size, err);
        run_close(&run);
    }
    input_close(&reference);
    input_close(&subject);
    return ok;
}

static bool stored_record(const struct call *call, char **text, size_t *size, struct error *err)
{
    struct arena arena;
    struct store *store;
    const char *bytes;
    if (!arena_open(&arena, RECORD_ARENA, err))
        return false;
    bool ok = store_open_beside(call->data, &store, err);
    if (ok) {
        ok = store_run_record(store, (int64_t)call->run, &arena, &bytes, size, err);
        if (ok && !(*text = strndup(bytes, *size)))
            ok = error_set(err, ERROR_MACHINE, "memory is out while reading a record");
        store_close(store);
    }
    arena_close(&arena);
    return ok;
}

static bool get_record(const struct call *call, char **text, size_t *size, struct error *err)
{
    *text = NULL;
    return call->subject  ? measure_record(call, text, size, err)
           : call->record ? input_read(call->record, record_bytes_max, text, size, err)
                          : stored_record(call, text, size, err);
}

static bool get_waivers(const char *path, struct waiver_list *waivers, struct error *err)
{
    char *bytes;
    size_t size;
    memset(waivers, 0, sizeof *waivers);
    if (!path)
        return true;
    if (!input_read(path, waiver_bytes_max, &bytes, &size, err))
        return false;
    bool ok = waivers_open(bytes, size, waivers, err);
    free(bytes);
    return ok;
}

typedef bool audit_writer(const struct audited *audited, const struct audit_request *request, char **text,
                          size_t *size, struct error *err);

static bool write_as(audit_writer *writer, const char *path, const struct audited *audited,
                     const struct audit_request *request, struct error *err)
{
    char *text = NULL;
    size_t size;
    bool ok = !path || (writer(audited, request, &text, &size, err) && cli_write_file(path, text, size, err));
    free(text);
    return ok;
}

static bool print(const struct call *call, const struct audited *audited, const struct audit_request *request,
                  struct error *err)
{
    char *text = NULL;
    size_t size;
    if (!call->json) {
        audit_table_print(audited, request->spec, stdout);
        return true;
    }
    bool ok = audit_text(audited, request, &text, &size, err);
    if (ok)
        fwrite(text, 1, size, stdout);
    free(text);
    return ok;
}

static int judge(const struct call *call, const struct audit_request *request, const char *record,
                 size_t size, struct error *err)
{
    struct audited audited;
    if (!audited_make(record, size, request, &audited, err))
        return cli_fail(err);
    bool ok = print(call, &audited, request, err)
              && write_as(junit_write, call->junit, &audited, request, err)
              && write_as(audit_sarif, call->sarif, &audited, request, err);
    int status = ok ? cli_finish_output() : cli_fail(err);
    if (status == CLI_DONE)
        status = audit_status(&audited);
    audited_close(&audited);
    return status;
}

static int audit(const struct call *call, struct error *err)
{
    struct spec_file file;
    struct waiver_list waivers;
    char *record = NULL, day[11];
    size_t size;
    int status;

    if (!spec_file_open(call->spec, &file, err))
        return cli_fail(err);
    today(day);
    bool ok = get_waivers(call->waivers, &waivers, err) && get_record(call, &record, &size, err);
    struct audit_request request = {.spec = &file.spec,
                                    .measures = &file.measures,
                                    .waivers = waivers.items,
                                    .waiver_count = waivers.count,
                                    .day = call->day ? call->day : day};
    status = ok ? judge(call, &request, record, size, err) : cli_fail(err);
    free(record);
    waivers_close(&waivers);
    spec_file_close(&file);
    return status;
}

int cli_audit(int argc, char **argv)
{
    struct error err = {0};
    struct call call;

    if (!parse_call(argc, argv, &call, &err))
        return cli_fail_usage("audit", &err);
    if (call.help) {
        fputs(help, stdout);
        return cli_finish_output();
    }
    return audit(&call, &err);
}
