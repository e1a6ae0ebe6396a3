/* store.c - opening the data folder, its health, its figures and its listeners. */
#include "store/store.h"

#include "store/inside.h"
#include "store/migrate.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/random.h>
#include <sys/stat.h>
#include <sys/statvfs.h>
#include <unistd.h>

#define SWEEP_AGE_S (24 * 60 * 60)
#define GIB ((uint64_t)1 << 30)
/* Revisions are also handed out for progress, which is never written down; a start skips more of them than a
 * server could have used, so that no revision means two things. */
#define REVISIONS_PER_START ((int64_t)1 << 32)

static bool make_folder(int at, const char *name, bool create, int *fd, struct error *err)
{
    if (create && mkdirat(at, name, 0750) != 0 && errno != EEXIST)
        return error_set(err, ERROR_MACHINE, "the data folder cannot be made: %s", strerror(errno));
    *fd = openat(at, name, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (*fd < 0)
        return error_set(err, errno == ENOENT ? ERROR_NOT_FOUND : ERROR_MACHINE,
                         "the data folder cannot be opened: %s", strerror(errno));
    return true;
}

static bool lock_folder(struct store *store, struct error *err)
{
    store->lock_fd = openat(store->folder_fd, "fettle.lock", O_RDWR | O_CREAT | O_CLOEXEC | O_NOFOLLOW, 0600);
    if (store->lock_fd < 0)
        return error_set(err, ERROR_MACHINE, "the lock file cannot be opened: %s", strerror(errno));
    if (flock(store->lock_fd, LOCK_EX | LOCK_NB) != 0)
        return error_set(err, ERROR_BUSY, "another fettle has this data folder open; stop it first");
    return true;
}

static bool open_folders(struct store *store, const char *folder, bool create, struct error *err)
{
    if (!make_folder(AT_FDCWD, folder, create, &store->folder_fd, err))
        return false;
    store->folder = realpath(folder, NULL);
    if (!store->folder || strlen(store->folder) > 4000)
        return error_set(err, ERROR_MACHINE, "the path of the data folder cannot be resolved");
    if (!create && faccessat(store->folder_fd, "fettle.db", F_OK, 0) != 0)
        return error_set(err, ERROR_NOT_FOUND, "there is no fettle.db in the data folder");

    int jobs_fd = -1;
    bool ok = lock_folder(store, err) && make_folder(store->folder_fd, "blobs", true, &store->blobs_fd, err)
              && make_folder(store->folder_fd, "uploads", true, &store->uploads_fd, err)
              && make_folder(store->folder_fd, "jobs", true, &jobs_fd, err);
    if (jobs_fd >= 0)
        close(jobs_fd);
    if (ok && fsync(store->folder_fd) != 0)
        return error_set(err, ERROR_MACHINE, "the data folder cannot be made durable: %s", strerror(errno));
    return ok;
}

static bool open_database(struct store *store, struct error *err)
{
    char path[4200];
    int busy_ms = (int)store->options.busy_ms;

    int fd = openat(store->folder_fd, "fettle.db", O_RDWR | O_CREAT | O_CLOEXEC | O_NOFOLLOW, 0640);
    if (fd < 0) /* SQLite would make it readable for everybody */
        return error_set(err, ERROR_MACHINE, "the database cannot be opened: %s", strerror(errno));
    close(fd);
    snprintf(path, sizeof path, "%s/fettle.db", store->folder);
    store->writer.damage = &store->damage;
    if (!connection_open(&store->writer, path, CONNECTION_WRITES, busy_ms, err)
        || !migrate(&store->writer, store_migrations, store_migration_count, store->folder, err)
        || !connection_number(&store->writer, "SELECT revision FROM counter", &store->revision, err))
        return false;
    store->revision += REVISIONS_PER_START;
    static const char keep_revision[] = "UPDATE counter SET revision = ?1";
    if (!statement_run(&store->writer, keep_revision, NULL, err, "i", store->revision))
        return false;

    store->readers = calloc(store->options.readers, sizeof *store->readers);
    if (!store->readers)
        return error_set(err, ERROR_MACHINE, "out of memory");
    for (; store->reader_count < store->options.readers; store->reader_count++)
        if (!connection_open(&store->readers[store->reader_count], path, CONNECTION_READS, busy_ms, err))
            return false;
    return true;
}

/* Boot and start in one word: a row that carries another one is of a server that is gone. */
static bool make_start_id(struct store *store, struct error *err)
{
    uint64_t number;
    char boot[37] = "unknown";
    int fd = open("/proc/sys/kernel/random/boot_id", O_RDONLY | O_CLOEXEC);
    if (fd >= 0) {
        ssize_t got = read(fd, boot, sizeof boot - 1);
        boot[got > 0 ? got : 0] = '\0';
        close(fd);
    }
    if (getrandom(&number, sizeof number, 0) != (ssize_t)sizeof number)
        return error_set(err, ERROR_MACHINE, "the system gives no random numbers");
    snprintf(store->start_id, sizeof store->start_id, "%s:%016llx", boot, (unsigned long long)number);
    return true;
}

static bool take_options(struct store *store, const struct store_options *options, struct error *err)
{
    struct statvfs disk;
    store->options = *options;
    store->settings = strdup(options->settings ? options->settings : "");
    store->options.settings = store->settings;
    if (!store->options.readers)
        store->options.readers = 8;
    if (!store->options.queue_max)
        store->options.queue_max = 10000;
    if (!store->options.busy_ms)
        store->options.busy_ms = 5000;
    if (!store->options.parts_max)
        store->options.parts_max = 10000;
    if (!store->options.part_keep_s)
        store->options.part_keep_s = 7 * 24 * 60 * 60;
    if (!store->options.sync)
        store->options.sync = fsync;
    if (!store->options.reserve_bytes && fstatvfs(store->folder_fd, &disk) == 0) {
        uint64_t share = (uint64_t)disk.f_blocks * disk.f_frsize / 20;
        store->options.reserve_bytes = share > 2 * GIB ? share : 2 * GIB;
    }
    return store->settings ? make_start_id(store, err) : error_set(err, ERROR_MACHINE, "out of memory");
}

/* What an interrupted upload in one piece left; nobody will come back for it. */
static void clear_uploads(int uploads_fd)
{
    const struct dirent *entry;
    int fd = openat(uploads_fd, ".", O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    DIR *dir = fd >= 0 ? fdopendir(fd) : NULL;
    while (dir && (entry = readdir(dir)))
        if (strncmp(entry->d_name, "raw-", 4) == 0)
            unlinkat(fd, entry->d_name, 0);
    if (dir)
        closedir(dir);
}

static void set_up_locks(struct store *store)
{
    pthread_condattr_t monotonic;
    pthread_condattr_init(&monotonic);
    pthread_condattr_setclock(&monotonic, CLOCK_MONOTONIC);
    pthread_cond_init(&store->reader_free, &monotonic);
    pthread_cond_init(&store->writer_free, &monotonic);
    pthread_condattr_destroy(&monotonic);
    pthread_mutex_init(&store->write_lock, NULL);
    pthread_mutex_init(&store->read_lock, NULL);
    pthread_mutex_init(&store->state_lock, NULL);
}

/* Reads the whole database on a connection of its own; a step of some 4 million instructions looks whether
 * the store closes. */
static int stop_check(void *context)
{
    struct store *store = context;
    pthread_mutex_lock(&store->state_lock);
    bool stopping = store->stopping;
    pthread_mutex_unlock(&store->state_lock);
    return stopping;
}

static void *check_in_background(void *context)
{
    struct store *store = context;
    struct connection connection = {0};
    struct error err = {0};
    char path[4200];
    bool sound = false, checked = false;

    snprintf(path, sizeof path, "%s/fettle.db", store->folder);
    if (connection_open(&connection, path, CONNECTION_READS, (int)store->options.busy_ms, &err)) {
        sqlite3_stmt *statement = NULL;
        sqlite3_progress_handler(connection.db, 4000000, stop_check, store);
        if (sqlite3_prepare_v2(connection.db, "PRAGMA quick_check(1)", -1, &statement, NULL) == SQLITE_OK) {
            int rc = sqlite3_step(statement);
            checked = rc == SQLITE_ROW || (rc & 0xff) == SQLITE_CORRUPT;
            sound = rc == SQLITE_ROW && strcmp((const char *)sqlite3_column_text(statement, 0), "ok") == 0;
        }
        sqlite3_finalize(statement);
        connection_close(&connection);
    }
    if (checked && !sound)
        store_spoil(store, "the database is damaged; run fettle verify and restore a backup", NULL);
    pthread_mutex_lock(&store->state_lock);
    store->checking = false;
    bool stopping = store->stopping;
    pthread_mutex_unlock(&store->state_lock);
    if (sound && !stopping)
        blob_sweep(store, SWEEP_AGE_S);
    return NULL;
}

struct store *store_new(struct error *err)
{
    struct store *store = calloc(1, sizeof *store);
    if (!store) {
        error_set(err, ERROR_MACHINE, "out of memory");
        return NULL;
    }
    store->folder_fd = store->blobs_fd = store->uploads_fd = store->lock_fd = -1;
    set_up_locks(store);
    return store;
}

bool store_open(const char *folder, bool create, const struct store_options *options, struct store **out,
                struct error *err)
{
    struct store *store = store_new(err);
    if (!store)
        return false;
    if (!open_folders(store, folder, create, err) || !take_options(store, options, err)
        || !open_database(store, err)) {
        store_close(store);
        return false;
    }
    clear_uploads(store->uploads_fd);
    parts_clear(store);
    if (options->background_check) {
        store->checking = true;
        store->has_checker = pthread_create(&store->checker, NULL, check_in_background, store) == 0;
        if (!store->has_checker)
            store->checking = false;
    }
    *out = store;
    return true;
}

void store_close(struct store *store)
{
    if (!store)
        return;
    pthread_mutex_lock(&store->state_lock);
    store->stopping = true;
    pthread_mutex_unlock(&store->state_lock);
    if (store->has_checker)
        pthread_join(store->checker, NULL);
    for (size_t i = 0; i < store->reader_count; i++)
        connection_close(&store->readers[i]);
    free(store->readers);
    connection_close(&store->writer); /* last, so that it is the one to checkpoint */
    const int fds[] = {store->blobs_fd, store->uploads_fd, store->folder_fd, store->lock_fd};
    for (size_t i = 0; i < sizeof fds / sizeof fds[0]; i++)
        if (fds[i] >= 0)
            close(fds[i]);
    pthread_cond_destroy(&store->reader_free);
    pthread_cond_destroy(&store->writer_free);
    pthread_mutex_destroy(&store->write_lock);
    pthread_mutex_destroy(&store->read_lock);
    pthread_mutex_destroy(&store->state_lock);
    free(store->settings);
    free(store->folder);
    free(store);
}

bool store_spoil(struct store *store, const char *why, struct error *err)
{
    pthread_mutex_lock(&store->state_lock);
    if (!store->read_only) {
        store->read_only = true;
        snprintf(store->trouble, sizeof store->trouble, "%s", why);
    }
    pthread_mutex_unlock(&store->state_lock);
    return error_set(err, ERROR_STORE, "%s", why);
}

bool store_writable(struct store *store, struct error *err)
{
    char why[sizeof store->trouble];
    pthread_mutex_lock(&store->state_lock);
    bool writable = !store->read_only;
    memcpy(why, store->trouble, sizeof why);
    pthread_mutex_unlock(&store->state_lock);
    return writable || error_set(err, ERROR_STORE, "the store is read-only: %s", why);
}

enum store_condition store_condition(struct store *store, char *text, size_t text_size)
{
    pthread_mutex_lock(&store->state_lock);
    enum store_condition condition = store->read_only  ? STORE_READ_ONLY
                                     : store->checking ? STORE_CHECKING
                                                       : STORE_SOUND;
    if (text)
        snprintf(text, text_size, "%s",
                 store->read_only  ? store->trouble
                 : store->checking ? "the database is being checked"
                                   : "");
    pthread_mutex_unlock(&store->state_lock);
    return condition;
}

bool store_figures(struct store *store, struct store_figures *figures, struct error *err)
{
    static const char count_all[] =
        "SELECT (SELECT count(*) FROM specimen), (SELECT count(*) FROM version),"
        " (SELECT count(*) FROM run), (SELECT count(*) FROM blob), (SELECT total(bytes) FROM blob),"
        " (SELECT count(*) FROM job WHERE state = 'queued'),"
        " (SELECT count(*) FROM job WHERE state = 'running'),"
        " (SELECT count(*) FROM job WHERE state = 'done'),"
        " (SELECT count(*) FROM job WHERE state = 'failed'),"
        " (SELECT count(*) FROM job WHERE state = 'cancelled')";
    struct connection *connection;
    struct statvfs disk;

    memset(figures, 0, sizeof *figures);
    figures->reserve_bytes = store->options.reserve_bytes;
    figures->queue_max = store->options.queue_max;
    if (fstatvfs(store->folder_fd, &disk) == 0)
        figures->disk_free_bytes = (uint64_t)disk.f_bavail * disk.f_frsize;
    if (!read_begin(store, &connection, err))
        return false;
    sqlite3_stmt *row = statement_begin(connection, count_all, err, "");
    bool ok = statement_step(connection, row, err) == 1;
    if (ok) {
        int64_t *const numbers[] = {
            &figures->specimens, &figures->versions, &figures->runs, &figures->blobs,  &figures->blob_bytes,
            &figures->queued,    &figures->running,  &figures->done, &figures->failed, &figures->cancelled};
        for (int i = 0; i < (int)(sizeof numbers / sizeof numbers[0]); i++)
            *numbers[i] = column_id(row, i);
    }
    statement_end(row);
    read_end(store, connection);
    return ok;
}

int64_t store_revision(struct store *store)
{
    pthread_mutex_lock(&store->state_lock);
    int64_t revision = store->revision;
    pthread_mutex_unlock(&store->state_lock);
    return revision;
}

bool store_listen(struct store *store, store_listener *listener, void *context, struct error *err)
{
    pthread_mutex_lock(&store->state_lock);
    bool room = store->listener_count < LISTENERS_MAX;
    if (room) {
        store->listeners[store->listener_count].call = listener;
        store->listeners[store->listener_count++].context = context;
    }
    pthread_mutex_unlock(&store->state_lock);
    return room || error_set(err, ERROR_LIMIT, "too many listeners");
}

void store_unlisten(struct store *store, const void *context)
{
    pthread_mutex_lock(&store->state_lock);
    size_t kept = 0;
    for (size_t i = 0; i < store->listener_count; i++)
        if (store->listeners[i].context != context)
            store->listeners[kept++] = store->listeners[i];
    store->listener_count = kept;
    pthread_mutex_unlock(&store->state_lock);
}

void store_time_now(char out[STORE_TIME_SIZE])
{
    store_time_after(0, out);
}

void store_time_after(int64_t seconds, char out[STORE_TIME_SIZE])
{
    time_t now = time(NULL) + (time_t)seconds;
    struct tm utc;
    gmtime_r(&now, &utc);
    if (strftime(out, STORE_TIME_SIZE, "%Y-%m-%dT%H:%M:%SZ", &utc) == 0)
        memcpy(out, "1970-01-01T00:00:00Z", STORE_TIME_SIZE);
}

int64_t store_monotonic_s(void)
{
    struct timespec time;
    clock_gettime(CLOCK_MONOTONIC, &time);
    return time.tv_sec;
}

int store_folder_fd(const struct store *store)
{
    return store->folder_fd;
}
