/* inside.h - what the files of the store room share; nobody else includes it. */
#ifndef STORE_INSIDE_H
#define STORE_INSIDE_H

#include "base/digest.h"
#include "store/runs.h"
#include "store/steps.h"
#include "store/tolerances.h"
#include "store/version.h"

#include <pthread.h>
#include <sqlite3.h>
#include <stddef.h>
#include <time.h>

/* --- connection.c: one SQLite connection and its prepared statements --- */

#define CONNECTION_STATEMENTS_MAX 128

struct connection {
    sqlite3 *db;
    size_t statement_count;
    struct {
        const char *sql; /* a constant: told apart by address */
        sqlite3_stmt *statement;
    } statements[CONNECTION_STATEMENTS_MAX];
    bool taken;
    int *damage; /* set to the SQLite code when it tells of a failed fsync or of damage; may be NULL */
};

enum connection_use { CONNECTION_WRITES, CONNECTION_READS };
bool connection_open(struct connection *connection, const char *path, enum connection_use use, int busy_ms,
                     struct error *err);
/* beside.c: reads only, beside a running server; ERROR_NOT_FOUND, or ERROR_USAGE for another schema. The
 * caller owes connection_close in any case. */
bool connection_open_beside(struct connection *connection, const char *folder, struct error *err);
void connection_close(struct connection *connection);
/* Fills err from the connection's last fault and returns false. */
bool connection_error(struct connection *connection, int rc, struct error *err);
bool connection_exec(struct connection *connection, const char *sql, struct error *err);
/* The number in the first column of a pragma or other statement without parameters. */
bool connection_number(struct connection *connection, const char *sql, int64_t *number, struct error *err);

/* A prepared statement with its parameters bound, one letter of types each: i int64_t, k int64_t where 0 is
 * NULL, t const char * (NULL is NULL), r double (NaN is NULL), b const void * and size_t. Text and bytes must
 * outlive the steps. sql is a constant. NULL with err on failure. Ended by statement_end. */
sqlite3_stmt *statement_begin(struct connection *connection, const char *sql, struct error *err,
                              const char *types, ...);
/* Steps to the next row: 1 a row, 0 no more, -1 a fault (err is filled; NULL is one, as statement_begin
 * said). */
int statement_step(struct connection *connection, sqlite3_stmt *statement, struct error *err);
void statement_end(sqlite3_stmt *statement);
/* Runs a statement that gives no rows; *changed (may be NULL) is how many rows it changed. */
bool statement_run(struct connection *connection, const char *sql, int64_t *changed, struct error *err,
                   const char *types, ...);
/* The first column of the first row: *found tells whether there was one; *value is 0 for NULL. */
bool statement_value(struct connection *connection, const char *sql, int64_t *value, bool *found,
                     struct error *err, const char *types, ...);

/* NULL columns: NULL, NaN, 0. column_text copies into keep; NULL for a NULL column or a full arena. */
const char *column_text(sqlite3_stmt *statement, int column, struct arena *keep);
double column_real(sqlite3_stmt *statement, int column);
static inline int64_t column_id(sqlite3_stmt *statement, int column)
{
    return sqlite3_column_int64(statement, column);
}

/* --- transaction.c --- */

struct write {
    struct store *store;
    struct connection *connection;
    int64_t revision; /* of every row this transaction changes */
    char now[STORE_TIME_SIZE];
    size_t change_count, change_room;
    struct store_change *changes;
    bool failed_to_note;
};
/* ERROR_STORE when read-only; ERROR_BUSY when another writer holds on for longer than the busy timeout. On
 * success the caller owes write_end. */
bool write_begin(struct store *store, struct write *write, struct error *err);
/* Commits when ok, else rolls back; then tells the listeners. Returns whether it is committed. */
bool write_end(struct write *write, bool ok, struct error *err);
/* Notes a change for the listeners; the same thing is noted once. */
void write_note(struct write *write, enum store_change_kind kind, int64_t id, int64_t specimen,
                int64_t version);

/* A read-only connection in a transaction, so that several statements see one state; owes read_end. */
bool read_begin(struct store *store, struct connection **connection, struct error *err);
void read_end(struct store *store, struct connection *connection);

/* --- store.c --- */

#define PROGRESS_MAX 256
#define LISTENERS_MAX 4
#define VERIFIED_MAX 64

struct job_progress {
    int64_t job; /* 0: free */
    int64_t specimen, version;
    int64_t revision;
    double fraction;
    char stage[24];
};

/* A blob that was hashed and found whole. */
struct verified_blob {
    char sha256[DIGEST_HEX_SIZE];
    uint64_t inode, bytes;
    struct timespec changed; /* the file's */
    int64_t checked_s;       /* CLOCK_MONOTONIC */
};

struct store {
    char *folder; /* absolute */
    int folder_fd, blobs_fd, uploads_fd, lock_fd;
    struct store_options options;
    char *settings;
    char start_id[64];

    pthread_mutex_t write_lock; /* of writer.taken; who has taken it holds no lock */
    pthread_cond_t writer_free;
    struct connection writer;
    int damage; /* SQLite's code, 0 while sound */

    pthread_mutex_t read_lock;
    pthread_cond_t reader_free;
    size_t reader_count;
    struct connection *readers;

    pthread_mutex_t state_lock; /* everything below */
    int64_t revision;
    bool read_only, checking, stopping;
    char trouble[160];
    size_t listener_count;
    struct {
        store_listener *call;
        void *context;
    } listeners[LISTENERS_MAX];
    struct job_progress progress[PROGRESS_MAX];
    struct verified_blob verified[VERIFIED_MAX];
    size_t verified_next;
    struct store_upload *uploads; /* open ones */
    struct store_piece *pieces;   /* open ones */

    bool has_checker;
    pthread_t checker;
};

/* Nothing opened yet; NULL with err when memory is out. */
struct store *store_new(struct error *err);
/* Marks the store read-only with a sentence why; false with ERROR_STORE. */
bool store_spoil(struct store *store, const char *why, struct error *err);
bool store_writable(struct store *store, struct error *err);
int64_t store_monotonic_s(void);

/* --- blob.c --- */

/* Opens blobs/ab/cd/<sha256> for reading without looking at its bytes; -1 with errno. */
int blob_open_unchecked(int blobs_fd, const char *sha256);
/* Gives the file `name` of uploads/ its place among the blobs, durably; it keeps that name too. */
bool blob_publish(struct store *store, int fd, const char *name, const char *sha256, uint64_t bytes,
                  struct error *err);
/* Hashes an open file from its start. False with errno on a read error. */
bool blob_hash(int fd, char sha256[DIGEST_HEX_SIZE], uint64_t *bytes);
/* Removes blobs of at least that age (by their change time) that no row and no open upload needs. */
void blob_sweep(struct store *store, int64_t age_s);
/* Calls visit with each blob's name and size; stops when it returns false. False with errno on a fault. */
bool blob_each(int blobs_fd, bool (*visit)(void *context, int dir_fd, const char *name), void *context);
/* The row of a blob, made when missing. */
bool blob_row(struct write *write, const char *sha256, uint64_t bytes, int64_t *id, struct error *err);

/* --- upload.c --- */

/* Whether an open upload has published this blob. Under state_lock. */
bool upload_holds(const struct store *store, const char *sha256);
/* ERROR_MACHINE where so many more bytes would eat into the reserve of free disk. */
bool disk_has_room(const struct store *store, uint64_t bytes, struct error *err);
/* A finished upload of a whole file of uploads/ with that hash. Takes fd; the file's name stays. */
bool upload_adopt(struct store *store, int fd, const char *name, const char *sha256, uint64_t bytes,
                  struct store_upload **upload, struct error *err);
/* Now and then, as bytes come: starts writing back what came since the last look, so that the sync at the end
 * has little left to do, and looks at the free disk. */
bool upload_look(struct store *store, int fd, uint64_t bytes, uint64_t *looked_at, struct error *err);

/* --- part.c --- */

/* At the start, when nobody else is there: removes files of parts that have no row or are blobs by now, and
 * parts that have expired. */
void parts_clear(struct store *store);

/* --- text.c --- */

/* Valid UTF-8 of at most max bytes, no control characters (lines: but newlines and tabs), something besides
 * blanks unless may_be_empty. NULL counts as empty. */
enum text_form { TEXT_LINE, TEXT_LINES };
bool text_check(const char *what, const char *text, size_t max, enum text_form form, bool may_be_empty,
                struct error *err);
bool units_are_known(const char *units);
/* Cursors of lists ordered by id: decimal. *id is 0 for NULL. */
bool cursor_parse(const char *cursor, int64_t *id, struct error *err);
const char *cursor_make(int64_t id, struct arena *keep);
/* "%text%" for LIKE with the wildcards in text escaped by a backslash. */
const char *text_pattern(const char *text, struct arena *keep);
/* limit within 1..500. */
bool limit_check(size_t limit, struct error *err);
/* Room for one more item beyond count in an array that only grows; NULL when the arena is full. */
void *arena_grow(struct arena *keep, void *items, size_t count, size_t *room, size_t size);

/* --- steps.c --- */

/* Then VALUES or a SELECT over the row that the step tells of. */
#define STEP_INSERT "INSERT INTO step (created, specimen, kind, who, text, about, about_id) "
bool step_add(struct write *write, const struct store_step *step, struct error *err);

/* --- waivers.c --- */

/* ERROR_NOT_FOUND where it does not. */
bool specimen_exists(struct connection *connection, int64_t specimen, struct error *err);

/* --- summary.c: columns that repeat what other rows say, and revisions --- */

bool summary_touch_specimen(struct write *write, int64_t specimen, bool changed, struct error *err);
bool summary_touch_version(struct write *write, int64_t version, struct error *err);
/* After runs, references, withdrawals or new versions. */
bool summary_refresh(struct write *write, int64_t specimen, int64_t version, struct error *err);

/* --- record.c --- */

struct packed_record {
    void *bytes; /* the caller frees it */
    size_t count;
    uint8_t sha256[32]; /* of the record unpacked */
};
/* A record of the specimen to pack another one against, best one of the version `like`; 0: none. */
bool record_choose_base(struct connection *connection, int64_t specimen, int64_t like, int64_t *base,
                        struct error *err);
/* base may be NULL with 0 bytes. */
bool record_pack(const char *base, size_t base_bytes, const char *record, size_t bytes,
                 struct packed_record *packed, struct error *err);
/* Unpacked, terminated, its hash checked. ERROR_NOT_FOUND, ERROR_STORE when damaged. as_base: false from
 * outside. */
bool record_read(struct connection *connection, int64_t run, bool as_base, struct arena *keep,
                 const char **text, size_t *bytes, struct error *err);

/* --- version.c --- */

/* relative (0: none) belongs to the specimen, and is a scan where it must be; ERROR_USAGE begins with what.
 */
bool version_check_relative(struct connection *connection, int64_t specimen, int64_t relative,
                            bool must_be_scan, const char *what, struct error *err);
/* store_version_create inside a transaction. */
bool version_create(struct write *write, const struct store_version_new *version,
                    const struct store_upload *upload, int64_t *id, bool *created, struct error *err);

/* --- jobs.c --- */

/* After a job changed: tells listeners, moves the revisions of version and specimen. */
bool job_changed(struct write *write, int64_t job, struct error *err);

/* --- request.c --- */

/* Queues a job unless a live one for the same measurement exists; *job names either. Of wanted, against is
 * taken as it is. */
bool job_add(struct write *write, int64_t specimen, const struct store_run_request *wanted, int64_t *job,
             struct error *err);
/* ERROR_BUSY when the queue is full; jobs in the background do not count. */
bool job_room(struct connection *connection, const struct store *store, struct error *err);
/* The key by which an identical request is found: of bytes, names, kind, units, settings, tolerances and
 * definitions. */
struct request {
    int64_t version, against;
    const char *tolerances; /* as text; NULL: the specimen's */
    double certify;         /* 0: the service's own */
};
bool request_key(struct connection *connection, const struct store *store, const struct request *request,
                 uint8_t key[32], struct error *err);
/* *run is 0 when no run of the version has the key. */
bool request_find(struct connection *connection, const struct store *store, const struct request *request,
                  int64_t *run, struct error *err);

/* Numbers of schema/0001_store.sql's table measure that queries name. */
#define MEASURE_OPEN_EDGES "1"
#define MEASURE_LOST "2"
#define MEASURE_INVENTED "3"
#define MEASURE_HAUSDORFF "4"
#define MEASURE_FAULTS "5"
#define MEASURE_WARNINGS "6"
#define MEASURE_GENUS "7"
#define MEASURE_SHELLS "8"
#define MEASURE_DIAGONAL "9"
/* The value of a measure of the run that an expression names. */
#define RUN_VALUE(run, measure)                                                                              \
    "(SELECT value FROM run_measure WHERE run = " run " AND measure = " measure ")"
/* The run that a version shows: the newest against its reference, else the newest. */
#define LATEST_RUN(version)                                                                                  \
    "coalesce((SELECT max(r.id) FROM run r WHERE r.version = " version ".id AND r.against IS " version       \
    ".against), (SELECT max(r.id) FROM run r WHERE r.version = " version ".id))"

#endif
