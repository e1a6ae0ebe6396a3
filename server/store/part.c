/* part.c - rows of files that come in pieces, and appending to their bytes. */
#include "store/part.h"

#include "store/inside.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/random.h>
#include <sys/stat.h>
#include <unistd.h>

#define ROW_ARENA ((size_t)1 << 20)
#define PREFIX "part-"
#define FILE_NAME_SIZE (sizeof PREFIX - 1 + STORE_PART_NAME_SIZE)

struct store_piece {
    struct store *store;
    struct store_piece *next; /* list of open ones, under state_lock */
    char name[STORE_PART_NAME_SIZE];
    int fd;
    bool is_checked, finished;
    bool removed; /* under state_lock */
    uint64_t bytes, begin, arrived, looked_at;
    struct digest digest; /* of the file, where the piece is its beginning */
};

static void file_name(const char *name, char path[FILE_NAME_SIZE])
{
    snprintf(path, FILE_NAME_SIZE, PREFIX "%.32s", name);
}

static bool is_name(const char *name)
{
    return strlen(name) == STORE_PART_NAME_SIZE - 1
           && strspn(name, "0123456789abcdef") == STORE_PART_NAME_SIZE - 1;
}

static bool no_part(struct error *err)
{
    return error_set(err, ERROR_NOT_FOUND, "there is no such upload, or it has expired; begin it anew");
}

static bool file_fault(struct error *err)
{
    return error_set(err, ERROR_MACHINE, "the file of an upload cannot be used: %s", strerror(errno));
}

/* --- rows --- */

struct row {
    struct store_part part; /* but arrived */
    int64_t unsure_from;    /* -1: none */
    struct store_version_new version;
    const char *metadata;
};

static void take_row(sqlite3_stmt *from, struct arena *keep, struct row *row)
{
    *row = (struct row){
        .part.bytes = (uint64_t)column_id(from, 0),
        .part.version = column_id(from, 2),
        .unsure_from = sqlite3_column_type(from, 3) == SQLITE_NULL ? -1 : column_id(from, 3),
        .metadata = column_text(from, 4, keep),
        .version = {.specimen = column_id(from, 5),
                    .kind = column_text(from, 6, keep),
                    .made_from = column_id(from, 7),
                    .against_given = column_id(from, 8) != 0,
                    .against = column_id(from, 9),
                    .face_size = column_real(from, 10),
                    .face_size_share = column_real(from, 11),
                    .file_name = column_text(from, 12, keep),
                    .by = column_text(from, 13, keep),
                    .note = column_text(from, 14, keep)},
    };
    snprintf(row->part.expires, sizeof row->part.expires, "%s", (const char *)sqlite3_column_text(from, 1));
}

/* One that has expired is there only for the piece that is being written to it. */
static bool read_row(struct store *store, const char *name, bool even_expired, struct arena *keep,
                     struct row *row, struct error *err)
{
    static const char read[] =
        "SELECT bytes, expires, version, unsure_from, metadata, specimen, kind, made_from,"
        " against_given, against, face_size, face_size_share, file_name, uploader, note"
        " FROM part WHERE name = ?1 AND expires > ?2";
    struct connection *connection;
    char now[STORE_TIME_SIZE] = "";

    memset(row, 0, sizeof *row);
    if (!is_name(name))
        return no_part(err);
    if (!even_expired)
        store_time_now(now);
    if (!read_begin(store, &connection, err))
        return false;
    sqlite3_stmt *from = statement_begin(connection, read, err, "tt", name, now);
    int step = statement_step(connection, from, err);
    if (step == 1) {
        take_row(from, keep, row);
        memcpy(row->part.name, name, sizeof row->part.name);
    }
    statement_end(from);
    read_end(store, connection);
    if (step == 0)
        return no_part(err);
    return step == 1 && (!keep->failed || arena_error(err));
}

static bool insert_row(struct write *write, const struct store_version_new *version, const char *metadata,
                       const struct store_part *part, struct error *err)
{
    static const char add[] =
        "INSERT INTO part (name, specimen, bytes, kind, made_from, against_given, against, face_size,"
        " face_size_share, file_name, uploader, note, metadata, expires)"
        " VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14)";
    return statement_run(write->connection, add, NULL, err, "tiitkikrrttttt", part->name, version->specimen,
                         (int64_t)part->bytes, version->kind, version->made_from,
                         (int64_t)version->against_given, version->against, version->face_size,
                         version->face_size_share, version->file_name, version->by ? version->by : "",
                         version->note ? version->note : "", metadata, part->expires);
}

/* After a piece: what has come is sure, the part stays for longer, and its version is noted (0: none yet). */
static bool settle_row(struct write *write, struct store_part *part, struct error *err)
{
    static const char change[] =
        "UPDATE part SET unsure_from = NULL, expires = ?2, version = ?3 WHERE name = ?1";
    store_time_after(write->store->options.part_keep_s, part->expires);
    return statement_run(write->connection, change, NULL, err, "ttk", part->name, part->expires,
                         part->version);
}

static bool set_unsure(struct store *store, const char *name, bool is_unsure, uint64_t from,
                       struct error *err)
{
    static const char change[] = "UPDATE part SET unsure_from = CASE ?2 WHEN 0 THEN NULL ELSE ?3 END"
                                 " WHERE name = ?1";
    struct write write;
    if (!write_begin(store, &write, err))
        return false;
    bool ok =
        statement_run(write.connection, change, NULL, err, "tii", name, (int64_t)is_unsure, (int64_t)from);
    return write_end(&write, ok, err);
}

static bool remove_row(struct store *store, const char *name, struct error *err)
{
    static const char take[] = "DELETE FROM part WHERE name = ?1";
    struct write write;
    int64_t removed = 0;
    if (!write_begin(store, &write, err))
        return false;
    bool ok = statement_run(write.connection, take, &removed, err, "t", name);
    return write_end(&write, ok, err) && (removed || no_part(err));
}

/* --- one at a time --- */

/* The piece that is being written, NULL: none. Under state_lock. */
static struct store_piece *holder_of(const struct store *store, const char *name)
{
    struct store_piece *piece = store->pieces;
    while (piece && strcmp(piece->name, name) != 0)
        piece = piece->next;
    return piece;
}

static bool is_held(struct store *store, const char *name)
{
    pthread_mutex_lock(&store->state_lock);
    bool held = holder_of(store, name) != NULL;
    pthread_mutex_unlock(&store->state_lock);
    return held;
}

static bool take_hold(struct store *store, struct store_piece *piece, bool *locked, struct error *err)
{
    pthread_mutex_lock(&store->state_lock);
    *locked = holder_of(store, piece->name) != NULL;
    if (!*locked) {
        piece->next = store->pieces;
        store->pieces = piece;
    }
    pthread_mutex_unlock(&store->state_lock);
    return !*locked
           || error_set(err, ERROR_CONFLICT,
                        "another piece of this upload is being written; try again in a moment");
}

/* Whether it was taken away meanwhile. */
static bool is_removed(const struct store_piece *piece)
{
    pthread_mutex_lock(&piece->store->state_lock);
    bool removed = piece->removed;
    pthread_mutex_unlock(&piece->store->state_lock);
    return removed;
}

static void let_go(const struct store_piece *piece)
{
    struct store *store = piece->store;
    pthread_mutex_lock(&store->state_lock);
    for (struct store_piece **link = &store->pieces; *link; link = &(*link)->next)
        if (*link == piece) {
            *link = piece->next;
            break;
        }
    pthread_mutex_unlock(&store->state_lock);
}

/* --- the whole --- */

/* 0 where there is none. Asked before the row is read: a file is there before its row, and gone only once the
 * row names a version. */
static uint64_t file_length(const struct store *store, const char *name)
{
    char path[FILE_NAME_SIZE];
    struct stat status;
    file_name(name, path);
    return fstatat(store->uploads_fd, path, &status, AT_SYMLINK_NOFOLLOW) == 0 ? (uint64_t)status.st_size : 0;
}

/* The file's length, without what a checked piece left that was not finished. */
static uint64_t arrived_of(const struct row *row, uint64_t length)
{
    uint64_t sure = row->unsure_from >= 0 ? (uint64_t)row->unsure_from : row->part.bytes;
    return row->part.version ? row->part.bytes : length < sure ? length : sure;
}

bool store_part_get(struct store *store, const char *name, struct arena *keep, struct store_part *part,
                    const char **metadata, struct error *err)
{
    struct row row;
    uint64_t length = is_name(name) ? file_length(store, name) : 0;
    if (!read_row(store, name, false, keep, &row, err))
        return false;
    *part = row.part;
    part->arrived = arrived_of(&row, length);
    if (metadata)
        *metadata = row.metadata;
    return true;
}

static void remove_file(struct store *store, const char *name)
{
    char path[FILE_NAME_SIZE];
    file_name(name, path);
    unlinkat(store->uploads_fd, path, 0);
}

/* An empty file that a crash cannot lose. */
static bool make_file(struct store *store, const char *name, struct error *err)
{
    char path[FILE_NAME_SIZE];
    file_name(name, path);
    int fd = openat(store->uploads_fd, path, O_RDWR | O_CREAT | O_EXCL | O_NOFOLLOW | O_CLOEXEC, 0600);
    if (fd < 0)
        return file_fault(err);
    close(fd);
    if (store->options.sync(store->uploads_fd) == 0)
        return true;
    unlinkat(store->uploads_fd, path, 0);
    return store_spoil(store, "a file could not be made durable; check the disk, then restart the server",
                       err);
}

static bool has_place(struct write *write, struct error *err)
{
    static const char count[] = "SELECT count(*) FROM part WHERE version IS NULL";
    int64_t parts;
    if (!statement_value(write->connection, count, &parts, NULL, err, ""))
        return false;
    return parts < (int64_t)write->store->options.parts_max
           || error_set(
               err, ERROR_BUSY,
               "%zu uploads are unfinished, which is the limit (unfinished_uploads); finish or remove one",
               write->store->options.parts_max);
}

static bool make_row(struct store *store, const struct store_version_new *version, const char *metadata,
                     const struct store_part *part, struct error *err)
{
    struct write write;
    if (!write_begin(store, &write, err))
        return false;
    bool ok = has_place(&write, err) && insert_row(&write, version, metadata, part, err);
    return write_end(&write, ok, err);
}

bool store_part_create(struct store *store, const struct store_version_new *version, uint64_t bytes,
                       const char *metadata, struct store_part *part, struct error *err)
{
    uint64_t number[2];

    store_part_expire(store);
    if (!store_writable(store, err) || !store_version_check(store, version, err))
        return false;
    if (bytes == 0)
        return error_set(err, ERROR_EMPTY, "the file is empty; choose a file that holds a mesh");
    if (bytes > INT64_MAX || !disk_has_room(store, bytes, err))
        return bytes <= INT64_MAX ? false : error_set(err, ERROR_LIMIT, "no file is as large as that");
    if (getrandom(number, sizeof number, 0) != (ssize_t)sizeof number)
        return error_set(err, ERROR_MACHINE, "the system gives no random numbers");
    *part = (struct store_part){.bytes = bytes};
    snprintf(part->name, sizeof part->name, "%016llx%016llx", (unsigned long long)number[0],
             (unsigned long long)number[1]);
    store_time_after(store->options.part_keep_s, part->expires);
    if (!make_file(store, part->name, err))
        return false;
    if (make_row(store, version, metadata, part, err))
        return true;
    remove_file(store, part->name);
    return false;
}

bool store_part_remove(struct store *store, const char *name, struct error *err)
{
    if (!is_name(name))
        return no_part(err);
    if (!remove_row(store, name, err))
        return false;
    pthread_mutex_lock(&store->state_lock);
    struct store_piece *piece = holder_of(store, name);
    if (piece)
        piece->removed = true;
    pthread_mutex_unlock(&store->state_lock);
    remove_file(store, name);
    return true;
}

/* The part after this one, by expiry and name, that has expired; false: none. */
static bool next_expired(struct store *store, struct store_part *part)
{
    static const char read[] =
        "SELECT expires, name FROM part WHERE expires <= ?1 AND (expires, name) > (?2, ?3)"
        " ORDER BY expires, name LIMIT 1";
    struct connection *connection;
    char now[STORE_TIME_SIZE];
    store_time_now(now);
    if (!read_begin(store, &connection, NULL))
        return false;
    sqlite3_stmt *row = statement_begin(connection, read, NULL, "ttt", now, part->expires, part->name);
    bool found = statement_step(connection, row, NULL) == 1;
    if (found) {
        snprintf(part->expires, sizeof part->expires, "%s", (const char *)sqlite3_column_text(row, 0));
        snprintf(part->name, sizeof part->name, "%s", (const char *)sqlite3_column_text(row, 1));
    }
    statement_end(row);
    read_end(store, connection);
    return found;
}

void store_part_expire(struct store *store)
{
    struct store_part part = {.name = ""};
    while (next_expired(store, &part))
        if (!is_held(store, part.name))
            store_part_remove(store, part.name, NULL);
}

/* A file of uploads/ that no part needs: without a row, or with one that has its version already. */
static bool is_left_over(struct store *store, const char *name)
{
    static const char find[] = "SELECT version IS NULL FROM part WHERE name = ?1";
    struct connection *connection;
    int64_t is_awaited = 0;
    bool found = false;
    if (!read_begin(store, &connection, NULL))
        return false;
    bool ok = statement_value(connection, find, &is_awaited, &found, NULL, "t", name);
    read_end(store, connection);
    return ok && !(found && is_awaited);
}

void parts_clear(struct store *store)
{
    const struct dirent *entry;
    int fd = openat(store->uploads_fd, ".", O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    DIR *dir = fd >= 0 ? fdopendir(fd) : NULL;
    while (dir && (entry = readdir(dir)))
        if (strncmp(entry->d_name, PREFIX, sizeof PREFIX - 1) == 0
            && is_left_over(store, entry->d_name + sizeof PREFIX - 1))
            unlinkat(fd, entry->d_name, 0);
    if (dir)
        closedir(dir);
    store_part_expire(store);
}

/* --- pieces --- */

/* Opens the file and takes away what does not count. One that is whole may be a blob by now, which cannot be
 * written; one that is missing was not in the backup that this folder came from. */
static bool open_file(struct store_piece *piece, const struct row *row, struct error *err)
{
    char path[FILE_NAME_SIZE];
    struct stat status;
    file_name(piece->name, path);
    bool is_whole = arrived_of(row, file_length(piece->store, piece->name)) == row->part.bytes;
    piece->fd = openat(piece->store->uploads_fd, path,
                       (is_whole ? O_RDONLY : O_RDWR | O_CREAT) | O_NOFOLLOW | O_CLOEXEC, 0600);
    if (piece->fd < 0 || fstat(piece->fd, &status) != 0)
        return file_fault(err);
    piece->arrived = piece->begin = piece->looked_at = arrived_of(row, (uint64_t)status.st_size);
    return piece->arrived == (uint64_t)status.st_size || ftruncate(piece->fd, (off_t)piece->arrived) == 0
           || file_fault(err);
}

static bool begin(struct store_piece *piece, uint64_t offset, struct arena *scratch, struct error *err)
{
    struct store *store = piece->store;
    struct row row;

    if (!read_row(store, piece->name, false, scratch, &row, err))
        return false;
    piece->bytes = row.part.bytes;
    if (row.part.version)
        piece->arrived = piece->begin = row.part.bytes;
    else if (!open_file(piece, &row, err))
        return false;
    if (offset != piece->arrived)
        return error_set(err, ERROR_CONFLICT,
                         "the upload stands at byte %llu, not at %llu; ask where it stands, then go on there",
                         (unsigned long long)piece->arrived, (unsigned long long)offset);
    if (offset < piece->bytes && !disk_has_room(store, piece->bytes - offset, err))
        return false;
    digest_begin(&piece->digest);
    return (!piece->is_checked && row.unsure_from < 0) || row.part.version
           || set_unsure(store, piece->name, piece->is_checked, offset, err);
}

bool store_piece_begin(struct store *store, const char *name, uint64_t offset, bool is_checked,
                       struct store_piece **out, bool *locked, struct error *err)
{
    struct arena scratch;
    *locked = false;
    if (!is_name(name))
        return no_part(err);
    if (!store_writable(store, err) || !arena_open(&scratch, ROW_ARENA, err))
        return false;
    struct store_piece *piece = calloc(1, sizeof *piece);
    bool ok = false;
    if (!piece) {
        error_set(err, ERROR_MACHINE, "out of memory");
        goto out;
    }
    piece->store = store;
    piece->fd = -1;
    piece->is_checked = is_checked;
    snprintf(piece->name, sizeof piece->name, "%s", name);
    if (!take_hold(store, piece, locked, err)) {
        free(piece);
        goto out;
    }
    ok = begin(piece, offset, &scratch, err);
    if (ok)
        *out = piece;
    else
        store_piece_close(piece);
out:
    arena_close(&scratch);
    return ok;
}

bool store_piece_write(struct store_piece *piece, const void *bytes, size_t count, struct error *err)
{
    const unsigned char *at = bytes;
    if (is_removed(piece))
        return error_set(err, ERROR_CONFLICT, "the upload was removed meanwhile");
    if (count > store_piece_left(piece))
        return error_set(err, ERROR_LIMIT, "more bytes came than the %llu that the upload was said to have",
                         (unsigned long long)piece->bytes);
    if (piece->begin == 0)
        digest_add(&piece->digest, bytes, count);
    while (count) {
        ssize_t put = pwrite(piece->fd, at, count, (off_t)piece->arrived);
        if (put < 0 && errno == EINTR)
            continue;
        if (put <= 0)
            return error_set(err, ERROR_MACHINE, "the upload cannot be written: %s", strerror(errno));
        at += put;
        count -= (size_t)put;
        piece->arrived += (uint64_t)put;
    }
    return upload_look(piece->store, piece->fd, piece->arrived, &piece->looked_at, err);
}

uint64_t store_piece_left(const struct store_piece *piece)
{
    return piece->bytes - piece->arrived;
}

void store_piece_undo(struct store_piece *piece)
{
    if (piece->arrived > piece->begin && ftruncate(piece->fd, (off_t)piece->begin) == 0)
        piece->arrived = piece->begin;
}

/* The version, and its note in the row, in one transaction. */
static bool make_version_row(struct store *store, const struct store_version_new *version,
                             const struct store_upload *upload, struct store_part *part, struct error *err)
{
    struct write write;
    bool created;
    if (!write_begin(store, &write, err))
        return false;
    bool ok = version_create(&write, version, upload, &part->version, &created, err)
              && settle_row(&write, part, err);
    ok = write_end(&write, ok, err);
    if (!ok)
        part->version = 0;
    return ok;
}

static bool hash_file(struct store_piece *piece, char sha256[DIGEST_HEX_SIZE], struct error *err)
{
    uint64_t bytes;
    if (piece->begin == 0) {
        digest_end(&piece->digest, sha256);
        return true;
    }
    if (!blob_hash(piece->fd, sha256, &bytes))
        return file_fault(err);
    return bytes == piece->bytes
           || error_set(err, ERROR_STORE, "the file of an upload has another length by now");
}

static bool make_version(struct store_piece *piece, const struct row *row, struct store_part *part,
                         struct error *err)
{
    struct store *store = piece->store;
    struct store_upload *upload = NULL;
    char path[FILE_NAME_SIZE], sha256[DIGEST_HEX_SIZE];

    file_name(piece->name, path);
    if (!hash_file(piece, sha256, err))
        return false;
    bool ok = upload_adopt(store, piece->fd, path, sha256, piece->bytes, &upload, err)
              && make_version_row(store, &row->version, upload, part, err);
    piece->fd = -1;
    store_upload_close(upload);
    if (ok)
        remove_file(store, piece->name);
    return ok || (is_removed(piece) ? no_part(err) : false);
}

static bool settle(struct store_piece *piece, struct store_part *part, struct error *err)
{
    struct write write;
    if (piece->store->options.sync(piece->fd) != 0)
        return store_spoil(piece->store,
                           "a file could not be made durable; check the disk, then restart the server", err);
    if (!write_begin(piece->store, &write, err))
        return false;
    bool ok = settle_row(&write, part, err);
    return write_end(&write, ok, err);
}

bool store_piece_finish(struct store_piece *piece, struct store_part *part, struct error *err)
{
    struct arena scratch;
    struct row row;
    if (!arena_open(&scratch, ROW_ARENA, err))
        return false;
    bool ok = read_row(piece->store, piece->name, true, &scratch, &row, err);
    if (ok) {
        *part = row.part;
        part->arrived = piece->arrived;
        piece->finished = true; /* compared: whatever fails from here on, its bytes are good */
        ok = part->version || settle(piece, part, err);
        if (ok && !part->version && piece->arrived == piece->bytes)
            ok = make_version(piece, &row, part, err);
    }
    arena_close(&scratch);
    return ok;
}

void store_piece_close(struct store_piece *piece)
{
    if (!piece)
        return;
    if (piece->fd >= 0 && piece->is_checked && !piece->finished)
        store_piece_undo(piece);
    if (is_removed(piece)) /* it may have been opened after */
        remove_file(piece->store, piece->name);
    let_go(piece);
    if (piece->fd >= 0)
        close(piece->fd);
    free(piece);
}
