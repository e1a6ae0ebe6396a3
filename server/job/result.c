/* result.c - taking over what a worker wrote. Its files are opened by fixed names, without following links,
 * and must have the sizes that the report says. */
#include "job/result.h"

#include "run/version.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#define RECORD_MAX ((off_t)64 << 20)

/* Opens a regular file; ERROR_DATA where it is not there. */
static bool open_file(int folder_fd, const char *name, int *fd, off_t *size, struct error *err)
{
    struct stat status;
    *size = 0;
    *fd = openat(folder_fd, name, O_RDONLY | O_CLOEXEC | O_NOFOLLOW | O_NONBLOCK);
    if (*fd >= 0 && fstat(*fd, &status) == 0 && S_ISREG(status.st_mode)) {
        *size = status.st_size;
        return true;
    }
    if (*fd >= 0)
        close(*fd);
    return error_set(err, ERROR_DATA, "the result %s is missing", name);
}

static bool read_record(int folder_fd, char **text, size_t *bytes, struct error *err)
{
    int fd;
    off_t size;
    if (!open_file(folder_fd, "record.json", &fd, &size, err))
        return false;
    bool ok = size > 0 && size <= RECORD_MAX;
    *text = ok ? malloc((size_t)size) : NULL;
    if (!ok)
        error_set(err, ERROR_DATA, "the record has an impossible size");
    else if (!*text)
        ok = error_set(err, ERROR_MACHINE, "out of memory for the record");
    for (off_t at = 0; ok && at < size;) {
        ssize_t got = pread(fd, *text + at, (size_t)(size - at), at);
        if (got <= 0)
            ok = error_set(err, ERROR_MACHINE, "the record cannot be read: %s", strerror(errno));
        at += got > 0 ? got : 0;
    }
    *bytes = (size_t)size;
    close(fd);
    return ok;
}

static bool upload_file(int fd, struct store_upload *upload, struct error *err)
{
    enum { PIECE = 1 << 18 };
    char *piece = malloc(PIECE);
    ssize_t got = -1;
    bool ok = piece || error_set(err, ERROR_MACHINE, "out of memory");
    while (ok && (got = read(fd, piece, PIECE)) > 0)
        ok = store_upload_write(upload, piece, (size_t)got, err);
    free(piece);
    return ok && (got == 0 || error_set(err, ERROR_MACHINE, "a field cannot be read: %s", strerror(errno)));
}

static bool take_file(struct store *store, int folder_fd, const char *name, uint64_t told,
                      struct store_upload **upload, char sha256[DIGEST_HEX_SIZE], struct error *err)
{
    int fd;
    off_t size;

    if (!open_file(folder_fd, name, &fd, &size, err))
        return false;
    bool ok = ((uint64_t)size == told
               || error_set(err, ERROR_DATA, "the result %s has another size than was told", name))
              && store_upload_begin(store, told, upload, err) && upload_file(fd, *upload, err)
              && store_upload_finish(*upload, sha256, err);
    close(fd);
    return ok;
}

static bool take_field(struct store *store, int folder_fd, const struct report_field *told,
                       struct store_upload **upload, struct store_field_new *field, struct error *err)
{
    char name[sizeof told->name + 8];

    snprintf(name, sizeof name, "%s.bin", told->name);
    field->name = told->name;
    field->per_face = told->per_face;
    field->bytes = told->count * sizeof(double);
    return take_file(store, folder_fd, name, field->bytes, upload, field->sha256, err);
}

/* Both or none. */
static bool take_pictures(struct store *store, int folder_fd, const struct report *report,
                          struct store_upload *uploads[2], struct store_pictures_new *pictures,
                          struct error *err)
{
    pictures->surface_bytes = report->surface_bytes;
    pictures->thumbnail_bytes = report->thumbnail_bytes;
    return take_file(store, folder_fd, "surface.bin", pictures->surface_bytes, &uploads[0],
                     pictures->surface_sha256, err)
           && take_file(store, folder_fd, "thumbnail.png", pictures->thumbnail_bytes, &uploads[1],
                        pictures->thumbnail_sha256, err);
}

bool result_store(struct store *store, int64_t job, int output_fd, const struct report *report,
                  int64_t *run_id, struct error *err)
{
    struct store_upload *uploads[REPORT_FIELDS_MAX] = {0}, *picture_uploads[2] = {0};
    struct store_pictures_new pictures;
    struct store_field_new fields[REPORT_FIELDS_MAX];
    struct store_measure measures[REPORT_MEASURES_MAX];
    char *record = NULL;
    size_t record_bytes = 0, field_count = 0;
    bool has_pictures = report->surface_bytes > 0 && report->thumbnail_bytes > 0;
    bool ok = read_record(output_fd, &record, &record_bytes, err);

    for (size_t i = 0; ok && i < report->field_count; i++)
        if (report->fields[i].count) {
            ok = take_field(store, output_fd, &report->fields[i], &uploads[i], &fields[field_count], err);
            field_count++;
        }
    ok = ok && (!has_pictures || take_pictures(store, output_fd, report, picture_uploads, &pictures, err));
    for (size_t i = 0; i < report->measure_count; i++)
        measures[i] = (struct store_measure){report->measures[i].path, report->measures[i].value};
    const struct store_run_new run = {
        .record = record,
        .record_bytes = record_bytes,
        .engine_version = engine_version(),
        .engine_commit = engine_commit(),
        .subject_format = report->format,
        .measure_count = report->measure_count,
        .measures = measures,
        .field_count = field_count,
        .fields = fields,
        .pictures = has_pictures ? &pictures : NULL,
    };
    ok = ok && store_job_done(store, job, &run, run_id, err);
    for (size_t i = 0; i < REPORT_FIELDS_MAX; i++)
        store_upload_close(uploads[i]);
    for (size_t i = 0; i < 2; i++)
        store_upload_close(picture_uploads[i]);
    free(record);
    return ok;
}

/* --- folders --- */

static void folder_name(int64_t job, char name[24])
{
    snprintf(name, 24, "%lld", (long long)job);
}

static void remove_folder(int jobs_fd, const char *name)
{
    const struct dirent *entry;
    int fd = openat(jobs_fd, name, O_RDONLY | O_DIRECTORY | O_CLOEXEC | O_NOFOLLOW);
    DIR *dir = fd >= 0 ? fdopendir(fd) : NULL;
    while (dir && (entry = readdir(dir)))
        if (strcmp(entry->d_name, ".") != 0 && strcmp(entry->d_name, "..") != 0)
            unlinkat(fd, entry->d_name, 0);
    if (dir)
        closedir(dir);
    unlinkat(jobs_fd, name, AT_REMOVEDIR);
}

bool result_folder_make(int jobs_fd, int64_t job, int *output_fd, struct error *err)
{
    char name[24];
    folder_name(job, name);
    remove_folder(jobs_fd, name);
    *output_fd = mkdirat(jobs_fd, name, 0700) == 0
                     ? openat(jobs_fd, name, O_RDONLY | O_DIRECTORY | O_CLOEXEC | O_NOFOLLOW)
                     : -1;
    return *output_fd >= 0
           || error_set(err, ERROR_MACHINE, "the job's folder cannot be made: %s", strerror(errno));
}

void result_folder_remove(int jobs_fd, int64_t job)
{
    char name[24];
    folder_name(job, name);
    remove_folder(jobs_fd, name);
}

void result_folders_clear(int jobs_fd)
{
    const struct dirent *entry;
    int fd = openat(jobs_fd, ".", O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    DIR *dir = fd >= 0 ? fdopendir(fd) : NULL;
    while (dir && (entry = readdir(dir)))
        if (strspn(entry->d_name, "0123456789") == strlen(entry->d_name))
            remove_folder(jobs_fd, entry->d_name);
    if (dir)
        closedir(dir);
}
