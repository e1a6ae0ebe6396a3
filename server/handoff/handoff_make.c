/* handoff_make.c - whether it may be, what goes in, and keeping it. */
#include "handoff/handoff_make.h"

#include "bag/bag_writer.h"
#include "bag/name.h"
#include "handoff/paths.h"
#include "handoff/readme.h"
#include "report/compose.h"
#include "report/html.h"
#include "report/pdf.h"
#include "run/version.h"
#include "seal/seal.h"
#include "json/handoff_json.h"
#include "json/sign_off.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

/* Address space: the record, and what the report is composed of. */
#define HANDOFF_ARENA (((size_t)REPORT_ARENA_MIB << 20) + ((size_t)512 << 20))

struct making {
    struct store *store;
    const struct measure_list *measures;
    struct store_dossier dossier;
    struct sign_offs offs;
    struct seal_key key;
    struct handoff_facts facts;
    char time[STORE_TIME_SIZE], name[160], fingerprint[DIGEST_HEX_SIZE];
    char subject_path[BAG_PATH_MAX], reference_path[BAG_PATH_MAX];
    struct bag_writer *writer;
    struct arena *keep;
};

/* --- whether it may be --- */

static bool be_signed(struct making *making, struct error *err)
{
    const struct sign_offs *offs = &making->offs;
    if (offs->state == SIGN_OFF_DONE)
        return true;
    if (offs->state == SIGN_OFF_BROKEN)
        return error_set(
            err, ERROR_CONFLICT,
            "a sign-off of audit %lld is broken: what was signed has changed; judge and sign anew",
            (long long)making->dossier.audit.id);
    return error_set(
        err, ERROR_CONFLICT,
        "audit %lld is signed off by %zu of the %zu persons that its spec wants: have it signed off "
        "first",
        (long long)making->dossier.audit.id, offs->persons, offs->needed);
}

static bool be_allowed(struct making *making, int64_t audit, struct error *err)
{
    return sign_off_allowed(making->store, audit, making->keep, err)
           && store_dossier_get(making->store, audit, making->keep, &making->dossier, err)
           && sign_offs_get(making->store, audit, making->keep, &making->offs, err) && be_signed(making, err);
}

/* --- names --- */

static void name_file(const struct store_version *version, char path[BAG_PATH_MAX])
{
    char safe[100];
    bag_name_safe(version->file_name, safe, sizeof safe);
    snprintf(path, BAG_PATH_MAX, "data/files/%s-%lld/%s", version->kind, (long long)version->number, safe);
}

/* "handoff-NH-0042-20261128T212000Z" */
static void name_handoff(struct making *making)
{
    char safe[100], compact[STORE_TIME_SIZE], *put = compact;
    for (const char *c = making->time; *c; c++)
        if (*c != '-' && *c != ':')
            *put++ = *c;
    *put = '\0';
    bag_name_safe(making->dossier.specimen.catalogue_number, safe, sizeof safe);
    snprintf(making->name, sizeof making->name, "handoff-%s-%s", safe, compact);
}

static void settle_facts(struct making *making, const char *by)
{
    bool alone = making->dossier.reference.id == 0;
    store_time_now(making->time);
    name_handoff(making);
    name_file(&making->dossier.subject, making->subject_path);
    if (!alone)
        name_file(&making->dossier.reference, making->reference_path);
    seal_fingerprint(&making->key.public_key, making->fingerprint);
    making->facts = (struct handoff_facts){.dossier = &making->dossier,
                                           .signoffs = &making->offs.list,
                                           .name = making->name,
                                           .by = by,
                                           .time = making->time,
                                           .fingerprint = making->fingerprint,
                                           .subject_path = making->subject_path,
                                           .reference_path = alone ? NULL : making->reference_path};
}

static int64_t seconds_of(const char *time)
{
    struct tm parts = {0};
    strptime(time, "%Y-%m-%dT%H:%M:%SZ", &parts);
    return (int64_t)timegm(&parts);
}

/* --- what goes in --- */

static bool add_text(struct making *making, const char *path, const char *text, struct error *err)
{
    return bag_writer_add(making->writer, path, text, strlen(text), err);
}

/* Takes bytes. */
static bool add_made(struct making *making, const char *path, bool made, char *bytes, size_t size,
                     struct error *err)
{
    bool ok = made && bag_writer_add(making->writer, path, bytes, size, err);
    if (made)
        free(bytes);
    return ok;
}

static bool add_blob(struct making *making, const char *path, const struct store_version *version,
                     struct error *err)
{
    uint64_t bytes;
    int fd;
    if (!store_blob_open(making->store, version->sha256, &fd, &bytes, err))
        return false;
    bool ok = bag_writer_add_file(making->writer, path, fd, bytes, err);
    close(fd);
    return ok;
}

static bool add_sign_off(struct making *making, size_t i, struct error *err)
{
    const struct store_signoff *signoff = &making->offs.list.items[i];
    struct seal_signature signature;
    char path[64];
    int stem = snprintf(path, sizeof path, HANDOFF_SIGN_OFFS_PATH "%zu", i + 1);
    if (!seal_signature_read(signoff->signature, &signature))
        return error_set(err, ERROR_STORE, "the signature of sign-off %lld is damaged",
                         (long long)signoff->id);
    strcpy(path + stem, ".statement.json");
    if (!add_text(making, path, signoff->statement, err))
        return false;
    strcpy(path + stem, ".sig");
    if (!bag_writer_add(making->writer, path, signature.bytes, sizeof signature.bytes, err))
        return false;
    strcpy(path + stem, ".key.pem");
    return add_text(making, path, signoff->public_key, err);
}

static bool add_reports(struct making *making, struct error *err)
{
    struct document document;
    char *bytes = NULL;
    size_t size = 0;
    if (!report_compose(making->store, &making->dossier, making->measures, making->keep, &document, err))
        return false;
    bool made = pdf_write(&document, &bytes, &size, err);
    if (!add_made(making, HANDOFF_PDF_PATH, made, bytes, size, err))
        return false;
    made = html_write(&document, &bytes, &size, err);
    return add_made(making, HANDOFF_HTML_PATH, made, bytes, size, err);
}

/* What was written from one on, as the documents name it. */
static struct handoff_file *list_files(struct making *making, size_t from, size_t *count, struct error *err)
{
    const struct bag_written *all = bag_writer_all(making->writer, count);
    struct handoff_file *files = ARENA_NEW(making->keep, struct handoff_file, *count);
    if (!files) {
        arena_error(err);
        return NULL;
    }
    *count -= from;
    for (size_t i = 0; i < *count; i++)
        files[i] = (struct handoff_file){all[from + i].path, all[from + i].sha256, all[from + i].sha512,
                                         all[from + i].bytes};
    return files;
}

static bool add_documents(struct making *making, struct error *err)
{
    char *text = NULL;
    size_t size = 0, count;
    bool made = handoff_specimen_text(&making->facts, &text, &size, err);
    if (!add_made(making, HANDOFF_SPECIMEN_PATH, made, text, size, err))
        return false;
    const struct handoff_file *files = list_files(making, 0, &count, err);
    made = files && handoff_crate_text(&making->facts, files, count, &text, &size, err);
    return add_made(making, HANDOFF_CRATE_PATH, made, text, size, err);
}

static bool add_payload(struct making *making, struct error *err)
{
    const struct store_dossier *dossier = &making->dossier;
    if (!add_blob(making, making->subject_path, &dossier->subject, err)
        || (dossier->reference.id && !add_blob(making, making->reference_path, &dossier->reference, err))
        || !bag_writer_add(making->writer, HANDOFF_RECORD_PATH, dossier->record, dossier->record_bytes, err)
        || !add_text(making, HANDOFF_SPEC_PATH, dossier->spec.body, err)
        || !add_text(making, HANDOFF_AUDIT_PATH, dossier->audit.body, err) || !add_reports(making, err))
        return false;
    for (size_t i = 0; i < making->offs.list.count; i++)
        if (!add_sign_off(making, i, err))
            return false;
    return add_documents(making, err);
}

static bool add_readme(struct making *making, struct error *err)
{
    char *text = NULL;
    size_t size = 0;
    bool made = readme_write(&making->facts, &text, &size, err);
    return add_made(making, HANDOFF_README_PATH, made, text, size, err);
}

static bool add_manifests(struct making *making, struct error *err)
{
    const struct store_specimen *specimen = &making->dossier.specimen;
    char info[STORE_NUMBER_MAX + STORE_TITLE_MAX + 800];
    snprintf(info, sizeof info,
             "Bag-Software-Agent: fettle %s\n"
             "Bagging-Date: %.10s\n"
             "Contact-Name: %s\n"
             "External-Identifier: %s\n"
             "External-Description: %s: %s\n"
             "Internal-Sender-Identifier: audit %lld\n",
             engine_version(), making->time, making->facts.by, making->name, specimen->catalogue_number,
             specimen->title, (long long)making->dossier.audit.id);
    return bag_writer_manifests(making->writer, info, err);
}

static bool add_seal(struct making *making, size_t payload_count, struct error *err)
{
    char *text = NULL, pem[SEAL_PEM_SIZE];
    size_t size = 0, count;
    const struct handoff_file *tags = list_files(making, payload_count, &count, err);
    if (!tags || !handoff_statement_text(&making->facts, tags, count, &text, &size, err))
        return false;
    struct seal_signature signature = seal_sign(&making->key, text, size);
    seal_public_write(&making->key.public_key, pem);
    return add_made(making, HANDOFF_STATEMENT_PATH, true, text, size, err)
           && bag_writer_add(making->writer, HANDOFF_SIGNATURE_PATH, signature.bytes, sizeof signature.bytes,
                             err)
           && add_text(making, HANDOFF_KEY_PATH, pem, err);
}

static bool write_bag(struct making *making, struct error *err)
{
    size_t payload_count;
    if (!add_payload(making, err))
        return false;
    bag_writer_all(making->writer, &payload_count);
    return add_readme(making, err) && add_manifests(making, err) && add_seal(making, payload_count, err)
           && bag_writer_finish(making->writer, err);
}

/* --- keeping it --- */

typedef bool take_piece(void *context, const char *bytes, size_t count, struct error *err);

static bool copy_out(int fd, take_piece *take, void *context, struct error *err)
{
    enum { PIECE = 1 << 18 };
    char *piece = malloc(PIECE);
    off_t at = 0;
    ssize_t got = -1;
    bool ok = piece != NULL || error_set(err, ERROR_MACHINE, "memory is out while keeping a handoff");
    while (ok && (got = pread(fd, piece, PIECE, at)) != 0) {
        if (got < 0 && errno == EINTR)
            continue;
        ok = got > 0 ? take(context, piece, (size_t)got, err)
                     : error_set(err, ERROR_MACHINE, "a handoff cannot be read: %s", strerror(errno));
        at += got;
    }
    free(piece);
    return ok;
}

static bool upload_piece(void *context, const char *bytes, size_t count, struct error *err)
{
    return store_upload_write(context, bytes, count, err);
}

static bool keep_handoff(struct making *making, int fd, int64_t *id, struct error *err)
{
    const struct store_handoff_new added = {.audit = making->dossier.audit.id,
                                            .specimen = making->dossier.specimen.id,
                                            .revision = making->dossier.specimen.revision,
                                            .name = making->name,
                                            .by = making->facts.by,
                                            .seal = making->fingerprint};
    struct store_upload *upload;
    if (!store_upload_begin(making->store, 0, &upload, err))
        return false;
    bool ok = copy_out(fd, upload_piece, upload, err) && store_upload_finish(upload, NULL, err)
              && store_handoff_add(making->store, &added, upload, id, err);
    store_upload_close(upload);
    return ok;
}

static bool write_and_keep(struct making *making, int64_t *id, struct error *err)
{
    uint64_t bytes = making->dossier.subject.bytes + making->dossier.reference.bytes;
    int fd;
    if (!store_scratch_file(making->store, 2 * bytes, &fd, err))
        return false;
    bool ok = bag_writer_open(fd, making->name, seconds_of(making->time), &making->writer, err);
    if (ok) {
        ok = write_bag(making, err) && keep_handoff(making, fd, id, err);
        bag_writer_close(making->writer);
    }
    close(fd);
    return ok;
}

static bool make(struct making *making, int64_t audit, const char *by, int64_t *id, struct error *err)
{
    if (!be_allowed(making, audit, err) || !store_key_need(making->store, &making->key, err))
        return false;
    settle_facts(making, by);
    bool ok = write_and_keep(making, id, err);
    seal_key_forget(&making->key);
    return ok;
}

bool handoff_make(struct store *store, const struct measure_list *measures, int64_t audit, const char *by,
                  int64_t *id, struct error *err)
{
    struct arena arena;
    struct making making = {.store = store, .measures = measures, .keep = &arena};
    if (!store_handoff_by_check(by, err) || !arena_open(&arena, HANDOFF_ARENA, err))
        return false;
    bool ok = make(&making, audit, by, id, err);
    arena_close(&arena);
    return ok;
}

/* --- giving it out --- */

static bool write_all(int fd, const char *bytes, size_t count, struct error *err)
{
    while (count) {
        ssize_t put = write(fd, bytes, count);
        if (put < 0 && errno == EINTR)
            continue;
        if (put <= 0)
            return error_set(err, ERROR_MACHINE, "the handoff cannot be written: %s", strerror(errno));
        bytes += put;
        count -= (size_t)put;
    }
    return true;
}

static bool write_piece(void *context, const char *bytes, size_t count, struct error *err)
{
    return write_all(*(const int *)context, bytes, count, err);
}

static bool open_handoff(struct store *store, int64_t id, int *fd, struct error *err)
{
    struct arena arena;
    struct store_handoff handoff;
    uint64_t bytes;
    if (!arena_open(&arena, (size_t)1 << 20, err))
        return false;
    bool ok = store_handoff_get(store, id, &arena, &handoff, err)
              && store_blob_open(store, handoff.sha256, fd, &bytes, err);
    arena_close(&arena);
    return ok;
}

bool handoff_export(struct store *store, int64_t id, int fd, struct error *err)
{
    int from;
    if (!open_handoff(store, id, &from, err))
        return false;
    bool ok = copy_out(from, write_piece, &fd, err);
    if (ok && fsync(fd) != 0)
        ok = error_set(err, ERROR_MACHINE, "the handoff cannot be written: %s", strerror(errno));
    close(from);
    return ok;
}
