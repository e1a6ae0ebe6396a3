/* verify.c - is everything there, and is it what it was? Reads only; works beside a running server.
 *
 * Rows are read in one transaction. A row's blob was durable before the row, so what is missing then is
 * lost; a blob without a row may be an upload on its way, so it is only a note. */
#include "store/backup.h"

#include "seal/key_file.h"
#include "store/inside.h"

#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#define RECORD_ARENA ((size_t)1 << 30) /* address space; more than two of the longest records */

struct verify {
    int folder_fd, blobs_fd;
    struct connection connection;
    size_t sample_at, sample_of, nth; /* blobs are counted by nth, in the order of their names */
    store_verify_listener *listener;
    void *context;
    struct store_verify_figures *figures;
};

__attribute__((format(printf, 3, 4))) static void report(struct verify *verify, bool is_note,
                                                         const char *format, ...)
{
    char text[400];
    va_list args;
    va_start(args, format);
    vsnprintf(text, sizeof text, format, args);
    va_end(args);
    if (is_note)
        verify->figures->notes++;
    else
        verify->figures->findings++;
    verify->listener(verify->context, is_note, text);
}

/* --- blobs --- */

static void check_hash(struct verify *verify, int fd, const char *sha256, const char *user)
{
    char found[DIGEST_HEX_SIZE];
    uint64_t bytes;
    verify->figures->blobs_hashed++;
    if (!blob_hash(fd, found, &bytes))
        report(verify, false, "blob %s of %s cannot be read: %s", sha256, user, strerror(errno));
    else if (strcmp(found, sha256) != 0)
        report(verify, false, "blob %s of %s is damaged: its bytes have the hash %s", sha256, user, found);
}

static void check_blob(struct verify *verify, const char *sha256, uint64_t bytes, const char *user)
{
    struct stat status;
    int fd = blob_open_unchecked(verify->blobs_fd, sha256);
    bool in_sample = verify->nth++ % verify->sample_of == verify->sample_at - 1;

    verify->figures->blobs++;
    if (fd < 0 || fstat(fd, &status) != 0)
        report(verify, false, "blob %s of %s is missing: %s", sha256, user, strerror(errno));
    else if (!S_ISREG(status.st_mode))
        report(verify, false, "blob %s of %s is not a file", sha256, user);
    else if ((uint64_t)status.st_size != bytes)
        report(verify, false, "blob %s of %s has %lld bytes instead of %llu", sha256, user,
               (long long)status.st_size, (unsigned long long)bytes);
    else if (in_sample)
        check_hash(verify, fd, sha256, user);
    if (fd >= 0)
        close(fd);
}

static bool check_blobs(struct verify *verify, struct error *err)
{
    static const char read[] =
        "SELECT b.sha256, b.bytes, (SELECT 'specimen ' || s.catalogue_number || ' ' || v.kind || ' ' ||"
        " v.number FROM version v JOIN specimen s ON s.id = v.specimen WHERE v.blob = b.id LIMIT 1)"
        " FROM blob b ORDER BY b.sha256";
    int step;
    sqlite3_stmt *row = statement_begin(&verify->connection, read, err, "");
    while ((step = statement_step(&verify->connection, row, err)) == 1) {
        const char *user = (const char *)sqlite3_column_text(row, 2);
        check_blob(verify, (const char *)sqlite3_column_text(row, 0), (uint64_t)column_id(row, 1),
                   user ? user : "a run's field");
    }
    statement_end(row);
    return step == 0;
}

static bool check_name(void *context, int dir_fd, const char *name)
{
    static const char find[] = "SELECT 1 FROM blob WHERE sha256 = ?1";
    struct verify *verify = context;
    int64_t one;
    bool found = false;
    (void)dir_fd;
    if (!digest_is_hex(name))
        report(verify, true, "blobs/ holds something that is not a blob: %.80s", name);
    else if (statement_value(&verify->connection, find, &one, &found, NULL, "t", name) && !found)
        report(verify, true, "blob %s has no row: left by an upload that was not acknowledged", name);
    return true;
}

/* --- records --- */

static bool check_records(struct verify *verify, struct error *err)
{
    static const char read[] = "SELECT id FROM run ORDER BY id";
    struct arena arena;
    int step;
    if (!arena_open(&arena, RECORD_ARENA, err))
        return false;
    sqlite3_stmt *row = statement_begin(&verify->connection, read, err, "");
    while ((step = statement_step(&verify->connection, row, err)) == 1) {
        struct arena scratch = arena; /* empty again for each */
        struct error fault = {0};
        const char *text;
        size_t bytes;
        if (record_read(&verify->connection, column_id(row, 0), false, &scratch, &text, &bytes, &fault))
            continue;
        if (fault.code == ERROR_NOT_FOUND)
            report(verify, false, "run %lld has no record", (long long)column_id(row, 0));
        else
            report(verify, false, "the record of run %lld is damaged", (long long)column_id(row, 0));
    }
    statement_end(row);
    arena_close(&arena);
    return step == 0;
}

/* --- the database itself --- */

static bool check_integrity(struct verify *verify, struct error *err)
{
    static const char integrity[] = "PRAGMA integrity_check(20)";
    int step;
    sqlite3_stmt *row = statement_begin(&verify->connection, integrity, err, "");
    while ((step = statement_step(&verify->connection, row, err)) == 1) {
        const char *text = (const char *)sqlite3_column_text(row, 0);
        if (strcmp(text, "ok") != 0)
            report(verify, false, "the database is damaged: %.300s", text);
    }
    statement_end(row);
    return step == 0;
}

static bool check_foreign_keys(struct verify *verify, struct error *err)
{
    static const char keys[] = "PRAGMA foreign_key_check";
    int step;
    sqlite3_stmt *row = statement_begin(&verify->connection, keys, err, "");
    while ((step = statement_step(&verify->connection, row, err)) == 1)
        report(verify, false, "row %lld of table %s points to a row of %s that is not there",
               (long long)column_id(row, 1), (const char *)sqlite3_column_text(row, 0),
               (const char *)sqlite3_column_text(row, 2));
    statement_end(row);
    return step == 0;
}

/* What the summary columns say must follow from the rows they sum up. */
static bool check_summaries(struct verify *verify, struct error *err)
{
    static const char read[] =
        "SELECT catalogue_number FROM specimen s WHERE scan_count + cage_count <>"
        " (SELECT count(*) FROM version v WHERE v.specimen = s.id)"
        " UNION ALL SELECT s.catalogue_number FROM version v JOIN specimen s ON s.id = v.specimen"
        " WHERE v.latest_run IS NOT " LATEST_RUN("v");
    int step;
    sqlite3_stmt *row = statement_begin(&verify->connection, read, err, "");
    while ((step = statement_step(&verify->connection, row, err)) == 1)
        report(verify, false, "the summary of specimen %s does not follow from its versions and runs",
               (const char *)sqlite3_column_text(row, 0));
    statement_end(row);
    return step == 0;
}

/* --- the service's key --- */

static bool check_key(struct verify *verify, struct error *err)
{
    static const char others[] = "SELECT count(*) FROM signoff WHERE fingerprint <> ?1";
    struct seal_key key;
    struct error fault;
    char fingerprint[DIGEST_HEX_SIZE] = "";
    bool found = false;
    int64_t count;
    if (!seal_file_read(verify->folder_fd, &key, &found, &fault))
        report(verify, false, "%s", fault.text);
    if (found) {
        seal_fingerprint(&key.public_key, fingerprint);
        seal_key_forget(&key);
    }
    if (!statement_value(&verify->connection, others, &count, NULL, err, "t", fingerprint))
        return false;
    if (count && !found)
        report(verify, false,
               "there is no key " SEAL_FILE " that can be used, and %lld sign-offs were made with one",
               (long long)count);
    else if (count)
        report(verify, true, "%lld sign-offs were made with another key than " SEAL_FILE, (long long)count);
    return true;
}

static bool count_rows(struct verify *verify, struct error *err)
{
    return connection_number(&verify->connection, "SELECT count(*) FROM specimen",
                             &verify->figures->specimens, err)
           && connection_number(&verify->connection, "SELECT count(*) FROM version",
                                &verify->figures->versions, err)
           && connection_number(&verify->connection, "SELECT count(*) FROM run", &verify->figures->runs, err);
}

/* A database too damaged to be read is a finding, not a failure to look. */
static bool ran(struct verify *verify, bool ok, struct error *err)
{
    if (!ok && err->code == ERROR_STORE) {
        report(verify, false, "%s", err->text);
        return true;
    }
    return ok;
}

static bool open_parts(struct verify *verify, const char *folder, struct error *err)
{
    char path[PATH_MAX + 16];
    snprintf(path, sizeof path, "%s/blobs", folder);
    verify->blobs_fd = open(path, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    verify->folder_fd = open(folder, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    return connection_open_beside(&verify->connection, folder, err);
}

static bool check_all(struct verify *verify, struct error *err)
{
    static bool (*const checks[])(struct verify *, struct error *) = {
        check_integrity, check_foreign_keys, count_rows, check_summaries,
        check_records,   check_key,          check_blobs};
    bool ok = connection_exec(&verify->connection, "BEGIN", err);
    for (size_t i = 0; ok && i < sizeof checks / sizeof checks[0]; i++)
        ok = ran(verify, checks[i](verify, err), err);
    if (ok && !sqlite3_get_autocommit(verify->connection.db))
        sqlite3_exec(verify->connection.db, "COMMIT", NULL, NULL, NULL); /* a row may have come since */
    if (ok && (verify->blobs_fd < 0 || !blob_each(verify->blobs_fd, check_name, verify)))
        report(verify, false, "the folder blobs/ cannot be read: %s", strerror(errno));
    return ok;
}

bool store_verify(const char *folder, size_t sample_at, size_t sample_of, store_verify_listener *listener,
                  void *context, struct store_verify_figures *figures, struct error *err)
{
    struct verify verify = {
        .folder_fd = -1,
        .blobs_fd = -1,
        .sample_at = sample_at,
        .sample_of = sample_of,
        .listener = listener,
        .context = context,
        .figures = figures,
    };
    memset(figures, 0, sizeof *figures);
    if (sample_at < 1 || sample_at > sample_of)
        return error_set(err, ERROR_USAGE, "the sample must be n/t with n from 1 to t");
    bool ok = ran(&verify, open_parts(&verify, folder, err), err);
    if (ok && verify.connection.db)
        ok = check_all(&verify, err);
    connection_close(&verify.connection);
    if (verify.blobs_fd >= 0)
        close(verify.blobs_fd);
    if (verify.folder_fd >= 0)
        close(verify.folder_fd);
    return ok;
}
