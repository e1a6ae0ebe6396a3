/* folder.c - see folder.h. */
#include "store/folder.h"

#include "store/audits.h"
#include "store/specs.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

void folder_begin(struct folder *folder)
{
    memset(folder, 0, sizeof *folder);
    strcpy(folder->path, "/tmp/fettle-test-XXXXXX");
    cr_assert(mkdtemp(folder->path) != NULL);
    folder->options =
        (struct store_options){.definitions = 1, .settings = "test", .reserve_bytes = 1, .readers = 3};
    cr_assert(arena_open(&folder->arena, (size_t)32 << 20, &folder->err));
    cr_assert(store_open(folder->path, true, &folder->options, &folder->store, &folder->err), "%s",
              folder->err.text);
}

void folder_reopen(struct folder *folder)
{
    store_close(folder->store);
    cr_assert(store_open(folder->path, false, &folder->options, &folder->store, &folder->err), "%s",
              folder->err.text);
}

void folder_end(struct folder *folder)
{
    char command[128];
    store_close(folder->store);
    arena_close(&folder->arena);
    snprintf(command, sizeof command, "rm -rf %s", folder->path);
    cr_assert_eq(system(command), 0);
}

int64_t add_specimen(struct folder *folder, const char *number)
{
    int64_t id = 0;
    const struct store_specimen_new specimen = {number, "a shell", "mm", NULL, NULL};
    cr_assert(store_specimen_create(folder->store, &specimen, &id, &folder->err), "%s", folder->err.text);
    return id;
}

bool try_version(struct folder *folder, const struct store_version_new *wanted, const char *bytes,
                 int64_t *id, bool *created)
{
    struct store_upload *upload = NULL;
    bool ok = store_upload_begin(folder->store, strlen(bytes), &upload, &folder->err)
              && store_upload_write(upload, bytes, strlen(bytes), &folder->err)
              && store_upload_finish(upload, NULL, &folder->err)
              && store_version_create(folder->store, wanted, upload, id, created, &folder->err);
    store_upload_close(upload);
    return ok;
}

int64_t add_version(struct folder *folder, int64_t specimen, const char *kind, int64_t made_from,
                    const char *bytes)
{
    const struct store_version_new wanted = {.specimen = specimen,
                                             .kind = kind,
                                             .made_from = made_from,
                                             .face_size = NAN,
                                             .face_size_share = NAN,
                                             .file_name = "a.obj"};
    int64_t id = 0;
    bool created;
    cr_assert(try_version(folder, &wanted, bytes, &id, &created), "%s", folder->err.text);
    return id;
}

int64_t claim_next_job(struct folder *folder)
{
    struct store_claim claim;
    bool claimed = false;
    cr_assert(store_job_peek(folder->store, &folder->arena, &claim, &folder->err), "%s", folder->err.text);
    cr_assert_neq(claim.job, 0, "a job should wait");
    cr_assert(store_job_claim(folder->store, &claim, &claimed, &folder->err) && claimed);
    return claim.job;
}

int64_t finish_job(struct folder *folder, int64_t job, const char *record, double open_edges, double lost)
{
    const struct store_measure measures[] = {
        {STORE_PATH_OPEN_EDGES, open_edges}, {STORE_PATH_LOST, lost}, {STORE_PATH_DIAGONAL, 200}};
    const struct store_run_new run = {.record = record,
                                      .record_bytes = strlen(record),
                                      .engine_version = "0.1.0",
                                      .engine_commit = "abc",
                                      .subject_format = "obj",
                                      .measure_count = 3,
                                      .measures = measures};
    int64_t id = 0;
    cr_assert(store_job_done(folder->store, job, &run, &id, &folder->err), "%s", folder->err.text);
    return id;
}

int64_t run_next_job(struct folder *folder, double open_edges, double lost)
{
    return finish_job(folder, claim_next_job(folder), "{\"schema\":\"fettle/run/1\"}\n", open_edges, lost);
}

int64_t add_spec(struct folder *folder, const char *name, int64_t version)
{
    struct store_spec_new added = {.name = name, .version = version, .body = "{}"};
    int64_t id;
    bool created;
    snprintf(added.sha256, sizeof added.sha256, "%060d%04lld", (int)strlen(name), (long long)version);
    cr_assert(store_spec_add(folder->store, &added, &id, &created, &folder->err), "%s", folder->err.text);
    return id;
}

int64_t add_audit(struct folder *folder, int64_t run, int64_t spec, const char *outcome)
{
    struct store_audit_new added = {.run = run, .spec = spec, .outcome = outcome, .body = "{\"a\":1}\n"};
    int64_t id;
    bool created;
    memset(added.sha256, outcome[0], 64);
    cr_assert(store_audit_add(folder->store, &added, &id, &created, &folder->err), "%s", folder->err.text);
    return id;
}

struct store_specimen specimen_of(struct folder *folder, int64_t id)
{
    struct store_specimen specimen = {0};
    cr_assert(store_specimen_get(folder->store, id, &folder->arena, &specimen, &folder->err));
    return specimen;
}

struct store_version version_of(struct folder *folder, int64_t id)
{
    struct store_version version = {0};
    cr_assert(store_version_get(folder->store, id, &folder->arena, &version, &folder->err));
    return version;
}

struct store_job job_of(struct folder *folder, int64_t id)
{
    struct store_job job = {0};
    cr_assert(store_job_get(folder->store, id, &folder->arena, &job, &folder->err));
    return job;
}

const char *path_in(const struct folder *folder, const char *name)
{
    static char path[400];
    snprintf(path, sizeof path, "%s/%s", folder->path, name);
    return path;
}

const char *blob_path_of(struct folder *folder, int64_t version)
{
    char name[160];
    const char *sha256 = version_of(folder, version).sha256;
    snprintf(name, sizeof name, "blobs/%.2s/%.2s/%s", sha256, sha256 + 2, sha256);
    return path_in(folder, name);
}

void flip_byte(const char *path, long at)
{
    cr_assert_eq(chmod(path, 0600), 0);
    FILE *file = fopen(path, "r+b");
    cr_assert(file != NULL);
    fseek(file, at, SEEK_SET);
    int byte = fgetc(file);
    fseek(file, at, SEEK_SET);
    fputc(byte ^ 1, file);
    fclose(file);
}

static void take_finding(void *context, bool is_note, const char *text)
{
    struct verdict *verdict = context;
    char *first = is_note ? verdict->first_note : verdict->first_finding;
    if (!first[0])
        snprintf(first, sizeof verdict->first_note, "%s", text);
}

struct verdict verify_folder(struct folder *folder)
{
    struct verdict verdict = {0};
    cr_assert(store_verify(folder->path, 1, 1, take_finding, &verdict, &verdict.figures, &folder->err), "%s",
              folder->err.text);
    return verdict;
}
