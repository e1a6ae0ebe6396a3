/* worker.c - one measurement inside the sandbox: files are opened, the door closes, then the input is read.
 */
#include "job/worker.h"

#include "base/digest.h"
#include "job/report.h"
#include "job/sandbox.h"
#include "job/worker_hooks.h"
#include "picture/surface.h"
#include "picture/thumbnail.h"
#include "run/own_status.h"
#include "run/run.h"
#include "run/run_memory.h"
#include "store/tolerances.h"
#include "json/measures.h"
#include "json/run_json.h"
#include "json/writer.h"

#include <assert.h>
#include <endian.h>
#include <errno.h>
#include <fcntl.h>
#include <math.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

/* The fields a run may have; their files are made before the sandbox closes. */
static const char *const field_names[] = {"distance",
                                          "distance_lower",
                                          "distance_upper",
                                          "signed",
                                          "nearest_face",
                                          "normal_angle",
                                          "limit_position",
                                          "face_distance_lower",
                                          "face_distance_upper",
                                          "face_distance_peak",
                                          "reference_face_distance_lower",
                                          "reference_face_distance_upper",
                                          "reference_face_distance_peak"};
enum { FIELD_COUNT = sizeof field_names / sizeof field_names[0] };

struct worker {
    struct worker_order order;
    int record_fd, field_fds[FIELD_COUNT], surface_fd, thumbnail_fd;
    struct timespec told;
    double done; /* share of the whole job */
};

static volatile sig_atomic_t asked_to_stop;

static void stop(int signal_number)
{
    (void)signal_number;
    asked_to_stop = 1;
}

/* --- progress --- */

/* Where in the whole job a stage lies; shares found by looking at a scan of a million triangles, no source.
 */
struct stage {
    const char *name;
    double begin, end;
};
static const struct stage stages_alone[] = {
    {"read", 0, 0.4}, {"topology", 0.4, 0.7}, {"quality", 0.7, 0.95}, {"findings", 0.95, 1}};
static const struct stage stages_against[] = {
    {"read", 0, 0.15},     {"topology", 0.15, 0.25}, {"quality", 0.25, 0.35},
    {"index", 0.35, 0.38}, {"hausdorff", 0.38, 0.5}, {"statistics", 0.5, 0.7},
    {"limit", 0.7, 0.96},  {"mend", 0.96, 0.97},     {"findings", 0.97, 1}};

#define PICTURES_SHARE 0.1 /* of a job that makes them */

static double overall(const struct worker *worker, const char *stage, double fraction)
{
    double measuring = worker->order.pictures ? 1 - PICTURES_SHARE : 1;
    bool alone = !worker->order.reference_sha256;
    const struct stage *stages = alone ? stages_alone : stages_against;
    size_t count = alone ? sizeof stages_alone / sizeof *stages : sizeof stages_against / sizeof *stages;
    for (size_t i = 0; i < count; i++)
        if (strcmp(stages[i].name, stage) == 0)
            return measuring * (stages[i].begin + (stages[i].end - stages[i].begin) * fraction);
    return strcmp(stage, "picture") == 0 ? measuring + (1 - measuring) * fraction : 0;
}

/* Some ten lines a second at most. */
static bool tell(void *context, const char *stage, double fraction)
{
    struct worker *worker = context;
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    double waited =
        (double)(now.tv_sec - worker->told.tv_sec) + 1e-9 * (double)(now.tv_nsec - worker->told.tv_nsec);
    if (waited >= 0.1) {
        worker->told = now;
        worker->done = fmax(worker->done, overall(worker, stage, fraction));
        report_write(WORKER_FD_REPORT, "progress %s %.4f", stage, worker->done);
    }
    return !asked_to_stop;
}

/* --- what goes wrong --- */

static void report_error(const char *code, const struct error *err)
{
    char byte[24] = "-";
    if (err->has_byte)
        snprintf(byte, sizeof byte, "%zu", err->byte);
    report_write(WORKER_FD_REPORT, "error %s %s %zu %s %s", code, err->format[0] ? err->format : "-",
                 err->line, byte, err->text);
}

/* The word for the parent. Memory refused by the machine is told by the text alone: no code of its own. */
static const char *code_of(const struct error *err)
{
    if (err->code == ERROR_CANCELLED || error_is_reject(err->code))
        return error_word(err->code);
    return strstr(err->text, "memory") ? "out-of-memory" : "machine";
}

/* Whether an input still has the hash under which it was stored; false with the error reported. */
static bool hash_holds(int fd, const char *sha256, const char *name)
{
    enum { PIECE = 1 << 16 };
    static unsigned char piece[PIECE];
    struct digest digest;
    struct error err = {0};
    char found[DIGEST_HEX_SIZE];
    off_t at = 0;
    ssize_t got;

    digest_begin(&digest);
    while ((got = pread(fd, piece, sizeof piece, at)) > 0) {
        digest_add(&digest, piece, (size_t)got);
        at += got;
    }
    digest_end(&digest, found);
    if (got == 0 && strcmp(found, sha256) == 0)
        return true;
    error_set(&err, ERROR_STORE, "the stored bytes of %.100s are not those that were uploaded", name);
    report_error("blob-corrupt", &err);
    return false;
}

static bool hashes_hold(const struct worker_order *order)
{
    return hash_holds(WORKER_FD_SUBJECT, order->subject_sha256, order->subject_name)
           && (!order->reference_sha256
               || hash_holds(WORKER_FD_REFERENCE, order->reference_sha256, order->reference_name));
}

/* --- what comes out --- */

static bool write_all(int fd, const void *bytes, size_t count, struct error *err)
{
    const char *at = bytes;
    while (count) {
        ssize_t put = write(fd, at, count);
        if (put < 0 && errno == EINTR)
            continue;
        if (put <= 0)
            return error_set(err, ERROR_MACHINE, "the result cannot be written: %s", strerror(errno));
        at += put;
        count -= (size_t)put;
    }
    return true;
}

static void report_measures(const struct measure_list *list, const struct json_t *record)
{
    for (size_t i = 0; i < list->measure_count; i++) {
        double value;
        if (!list->measures[i].stored)
            continue;
        if (measure_number(record, list->measures[i].path, &value))
            report_write(WORKER_FD_REPORT, "measure %s %.17g", list->measures[i].path, value);
        else
            report_write(WORKER_FD_REPORT, "measure %s null", list->measures[i].path);
    }
}

static bool write_record(const struct worker *worker, const struct run *run, const struct measure_list *list,
                         struct error *err)
{
    char *text = NULL;
    size_t size;
    struct json_t *record = run_to_json(run, err);
    bool ok = record && writer_dump(record, WRITER_LINE, &text, &size, err)
              && write_all(worker->record_fd, text, size, err);
    if (ok)
        report_measures(list, record);
    free(text);
    if (record)
        run_json_release(record);
    return ok;
}

static int field_fd(const struct worker *worker, const char *name)
{
    for (size_t i = 0; i < FIELD_COUNT; i++)
        if (strcmp(field_names[i], name) == 0)
            return worker->field_fds[i];
    return -1;
}

static bool write_field(const struct worker *worker, const struct deviation_field *field, struct error *err)
{
    enum { PIECE = 4096 };
    uint64_t words[PIECE];
    int fd = field_fd(worker, field->name);
    if (fd < 0)
        return error_set(err, ERROR_MACHINE, "there is no file for the field %s", field->name);
    for (size_t at = 0; at < field->count;) {
        size_t count = field->count - at < PIECE ? field->count - at : PIECE;
        for (size_t i = 0; i < count; i++) {
            memcpy(&words[i], &field->values[at + i], sizeof words[i]);
            words[i] = htole64(words[i]);
        }
        if (!write_all(fd, words, count * sizeof words[0], err))
            return false;
        at += count;
    }
    report_write(WORKER_FD_REPORT, "field %s %s %zu", field->name, field->per_face ? "face" : "vertex",
                 field->count);
    return true;
}

static bool write_results(const struct worker *worker, const struct run *run, const struct measure_list *list,
                          struct error *err)
{
    bool ok = write_record(worker, run, list, err);
    static_assert(DEVIATION_FIELD_MAX <= REPORT_FIELDS_MAX, "every field can be told");
    for (size_t i = 0; ok && i < run->fields.count; i++)
        ok = write_field(worker, &run->fields.fields[i], err);
    if (ok)
        report_write(WORKER_FD_REPORT, "format %s", run->subject.file.format);
    return ok;
}

/* --- the order of things --- */

static bool make_file(const char *name, int *fd)
{
    *fd = openat(WORKER_FD_OUTPUT, name, O_WRONLY | O_CREAT | O_EXCL | O_NOFOLLOW | O_CLOEXEC, 0600);
    return *fd >= 0;
}

static bool make_files(struct worker *worker, struct error *err)
{
    char name[40];
    bool ok = make_file("record.json", &worker->record_fd);
    for (size_t i = 0; ok && i < FIELD_COUNT; i++) {
        snprintf(name, sizeof name, "%s.bin", field_names[i]);
        ok = make_file(name, &worker->field_fds[i]);
    }
    if (ok && worker->order.pictures)
        ok = make_file("surface.bin", &worker->surface_fd)
             && make_file("thumbnail.png", &worker->thumbnail_fd);
    close(WORKER_FD_OUTPUT);
    return ok || error_set(err, ERROR_MACHINE, "the output cannot be made: %s", strerror(errno));
}

static bool settings_of(const struct worker_order *order, struct run_settings *settings, struct error *err)
{
    static_assert(STORE_TOLERANCES_MAX <= DEVIATION_TOLERANCES_ASKED, "a run takes as many");
    struct store_tolerances tolerances;

    *settings = run_settings_default();
    settings->deviation.threads = (size_t)order->threads;
    settings->kind_given = true;
    settings->kind = strcmp(order->kind, "cage") == 0 ? MESH_CAGE : MESH_SCAN;
    if (!store_tolerances_read(order->tolerances, &tolerances, err))
        return false;
    settings->deviation.tolerance_count = tolerances.count;
    memcpy(settings->deviation.tolerances, tolerances.lengths, sizeof tolerances.lengths);
    if (order->certify) {
        settings->deviation.certify = strtod(order->certify, NULL);
        if (!(settings->deviation.certify > 0 && settings->deviation.certify <= 1))
            return error_set(err, ERROR_USAGE, "no certify: %.40s", order->certify);
    }
    return run_units_parse(order->units, &settings->units)
           || error_set(err, ERROR_USAGE, "unknown units: %.20s", order->units);
}

static bool written(int fd, uint64_t *bytes)
{
    struct stat status;
    *bytes = fstat(fd, &status) == 0 && status.st_size > 0 ? (uint64_t)status.st_size : 0;
    return *bytes > 0;
}

/* For pictures: the rest of the address space is for the heap, from which the simplifier takes what it needs.
 * 0, as much as a run, where it has no limit. */
static size_t arenas_bytes(const struct worker_order *order)
{
    return (size_t)order->address_space_bytes / 8 * 5;
}

/* The job is done already: where this fails, or ends the process, the version has no pictures. */
static void make_pictures(struct worker *worker)
{
    const struct progress progress = {tell, worker};
    struct surface_request request = surface_request_default();
    struct mesh_file file;
    struct arena keep = {0}, scratch = {0};
    struct mesh mesh;
    struct error err = {0};
    uint64_t surface_bytes, thumbnail_bytes;
    struct stat status;

    request.threads = (size_t)worker->order.threads;
    request.progress = &progress;
    if (fstat(WORKER_FD_SUBJECT, &status) == 0
        && run_memory_open(arenas_bytes(&worker->order), (size_t)status.st_size, request.threads, &keep,
                           &scratch, &err)
        && mesh_file_read(WORKER_FD_SUBJECT, worker->order.subject_name, request.threads, NULL, &mesh, &file,
                          &keep, scratch, &err)
        && surface_write(&mesh, &request, worker->surface_fd, scratch, &err)
        && thumbnail_write(&mesh, THUMBNAIL_WIDTH, THUMBNAIL_HEIGHT, worker->thumbnail_fd, scratch, &err)
        && written(worker->surface_fd, &surface_bytes) && written(worker->thumbnail_fd, &thumbnail_bytes))
        report_write(WORKER_FD_REPORT, "pictures %llu %llu", (unsigned long long)surface_bytes,
                     (unsigned long long)thumbnail_bytes);
    arena_close(&scratch);
    arena_close(&keep);
}

/* In the sandbox from the first line to the last. Returns whether it measured. */
static bool measure(struct worker *worker, const struct run_settings *settings,
                    const struct measure_list *list)
{
    const struct worker_order *order = &worker->order;
    const struct run_input subject = {WORKER_FD_SUBJECT, order->subject_name};
    const struct run_input reference = {WORKER_FD_REFERENCE, order->reference_name};
    const struct progress progress = {tell, worker};
    struct error err = {0};
    struct run run;
    bool alone = !order->reference_sha256, done = false;

    if (!run_measure(&subject, alone ? NULL : &reference, settings, true, &progress, &run, &err)) {
        /* rotten bytes are not the uploader's fault */
        if (!error_is_reject(err.code) || hashes_hold(order))
            report_error(code_of(&err), &err);
        return false;
    }
    if (strcmp(run.subject.file.sha256, order->subject_sha256) != 0
        || (!alone && strcmp(run.reference.file.sha256, order->reference_sha256) != 0)) {
        if (hashes_hold(order)) {
            error_set(&err, ERROR_MACHINE, "the input changed while it was read");
            report_error("machine", &err);
        }
    } else {
        done = write_results(worker, &run, list, &err);
        if (done)
            report_write(WORKER_FD_REPORT, "done");
        else
            report_error(code_of(&err), &err);
    }
    run_close(&run);
    return done;
}

static void enter_sandbox(void)
{
    int abi;
    bool seccomp;
    sandbox_close(&abi, &seccomp);
    report_write(WORKER_FD_REPORT, "sandbox %d %d", abi, seccomp);
}

/* Opening a file must end the process here; coming back tells the parent that nothing held it. */
static int probe(void)
{
    enter_sandbox();
    int fd = open("/", O_RDONLY | O_CLOEXEC);
    if (fd >= 0)
        close(fd);
    return 0;
}

int worker_main(int argc, char **argv)
{
    struct worker worker = {0};
    struct run_settings settings;
    struct measure_list list;
    struct error err = {0};

    if (!worker_order_read(argc, argv, &worker.order, &err)) {
        fprintf(stderr, "fettle: %s\n", err.text);
        return 2;
    }
    signal(SIGPIPE, SIG_IGN);
    signal(SIGTERM, stop);
    if (!sandbox_limit(&worker.order, &err)) {
        report_error("machine", &err);
        return 0;
    }
    if (worker.order.probe)
        return probe();
    if (!own_status_hold(&err) || !make_files(&worker, &err) || !settings_of(&worker.order, &settings, &err)
        || !measures_open(&list, &err)) {
        report_error("machine", &err);
        return 0;
    }
    const char *hook = worker_hook_named(worker.order.subject_name);
    enter_sandbox();
    worker_hook_run(hook);
    if (measure(&worker, &settings, &list) && worker.order.pictures)
        make_pictures(&worker);
    measures_close(&list);
    return 0;
}
