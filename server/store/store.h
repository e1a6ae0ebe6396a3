/* store.h - the data folder: fettle.db (SQLite, WAL), blobs/ab/cd/<sha256>, uploads/, jobs/.
 *
 * What the store acknowledged survives a power cut and is never altered. One connection writes, under a
 * mutex, each change in one BEGIN IMMEDIATE transaction; a pool of read-only connections reads. Every
 * function may be called from any thread. The rest of the room's face: specimen.h, upload.h, part.h,
 * version.h, runs.h, jobs.h, backup.h.
 *
 * Strings and arrays in results belong to the arena `keep` of the caller; ERROR_LIMIT when it is too small
 * (1 MiB does for a single thing, 16 MiB for the longest list). Ids are SQLite row ids, 0 means none. A
 * double that is NaN means null. Times are RFC 3339 UTC ("2026-11-25T12:00:00Z").
 *
 * Errors: ERROR_NOT_FOUND, ERROR_CONFLICT, ERROR_USAGE (a value that may not be stored), ERROR_BUSY (another
 * process holds the database, the queue is full: try again), ERROR_MACHINE (disk full: what was written is
 * rolled back, reads go on), ERROR_STORE (damage, or the store is read-only after a failed fsync). */
#ifndef STORE_STORE_H
#define STORE_STORE_H

#include "base/arena.h"
#include "base/error.h"

#define STORE_TIME_SIZE 21 /* "2026-11-25T12:00:00Z" and the terminator */

struct store;

struct store_options {
    /* What a run is made with: part of the key by which an identical request finds the finished run.
     * scheduler_store_options() fills these from the run room. */
    int definitions;
    const char *settings;   /* copied; see store/settings.h */
    size_t readers;         /* read-only connections; 0: 8 */
    size_t queue_max;       /* queued jobs; 0: 10,000 */
    uint64_t reserve_bytes; /* free disk kept besides an upload; 0: 5 % or 2 GiB, the larger */
    size_t parts_max;       /* files that come in pieces and are not whole; 0: 10,000 */
    int64_t part_keep_s;    /* how long a part stays after its last piece; 0: seven days */
    size_t busy_ms;         /* how long a change waits for others; 0: 5,000 */
    int (*sync)(int fd);    /* NULL: fsync; tests put a failing one here */
    bool background_check;  /* quick_check and the sweep of unused blobs in a thread after opening */
};

/* Opens (create: makes) the data folder, takes its lock file, brings the schema up to date. ERROR_BUSY where
 * another process has it open; ERROR_STORE for a newer schema or a folder that is not ours. */
bool store_open(const char *folder, bool create, const struct store_options *options, struct store **store,
                struct error *err);
void store_close(struct store *store);

/* --- health --- */
enum store_condition {
    STORE_CHECKING, /* the check after opening is not through yet; everything works */
    STORE_SOUND,
    STORE_READ_ONLY /* an fsync failed or the check found damage: reads work, every change is refused */
};
/* text (may be NULL): one sentence, "" when sound. */
enum store_condition store_condition(struct store *store, char *text, size_t text_size);

struct store_figures { /* for /metrics and /limits */
    int64_t specimens, versions, runs, blobs, blob_bytes;
    int64_t queued, running, done, failed, cancelled;
    uint64_t disk_free_bytes, reserve_bytes, queue_max;
};
bool store_figures(struct store *store, struct store_figures *figures, struct error *err);

/* --- changes ---
 * Every row carries the revision of its last change, a number that only grows, for the whole store. It is
 * what ETags are made of: the row's own for one thing, store_revision() for lists. A specimen's revision
 * moves with its versions, runs and job states; a version's with its runs and job states; a job's with its
 * progress. */
int64_t store_revision(struct store *store);

enum store_change_kind {
    STORE_CHANGED_SPECIMEN,
    STORE_CHANGED_VERSION,
    STORE_CHANGED_RUN,
    STORE_CHANGED_JOB,
    STORE_CHANGED_HOOK /* a test waits to be sent; of no specimen */
};
struct store_change {
    enum store_change_kind kind;
    int64_t id, specimen;
    int64_t version; /* of a run or job */
    int64_t revision;
};
/* Listeners (at most 4, added before work begins) are called after each commit, on the thread that made the
 * change and outside every lock of the store; they may call the store's read functions but must be quick. */
typedef void store_listener(void *context, const struct store_change *change);
bool store_listen(struct store *store, store_listener *listener, void *context, struct error *err);
/* Takes the listeners with this context away; only while no other thread uses the store. */
void store_unlisten(struct store *store, const void *context);

/* Now, as stored. */
void store_time_now(char out[STORE_TIME_SIZE]);
/* So many seconds from now. */
void store_time_after(int64_t seconds, char out[STORE_TIME_SIZE]);
/* Descriptor of the data folder; stays the store's. */
int store_folder_fd(const struct store *store);

#endif
