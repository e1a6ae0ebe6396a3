/* version.h - the uploaded states of a specimen's scans and cages; immutable but for reference and
 * withdrawal. */
#ifndef STORE_VERSION_H
#define STORE_VERSION_H

#include "store/upload.h"

/* How a file was made, as stated; "" for what is not. Texts of at most STORE_NAME_MAX bytes; date is a day.
 */
struct store_intake {
    const char *device, *operator_name, *date, *resolution, *uncertainty;
};

struct store_version {
    int64_t id, specimen, number, revision;
    const char *kind; /* "scan" or "cage"; the label is "<kind> <number>" */
    int64_t made_from, against;
    double face_size; /* a length in the specimen's units; from the share once the reference is measured */
    double face_size_share; /* share of the reference's box diagonal; as given, or once that is measured */
    const char *file_name, *sha256;
    uint64_t bytes;
    const char *format; /* NULL until a job read it */
    const char *by, *note, *created;
    bool withdrawn;
    const char *withdrawn_reason, *withdrawn_by, *withdrawn_at; /* NULL unless withdrawn */
    size_t run_count, job_count;
    int64_t *runs, *jobs; /* newest first */
    bool has_pictures;    /* store_version_picture_open finds them */
    int64_t latest_run;   /* the newest against `against`, else the newest */
    struct store_intake intake;
};

struct store_version_new {
    int64_t specimen;
    const char *kind;
    int64_t made_from;  /* 0: none */
    bool against_given; /* false: by the rule below */
    int64_t against;    /* 0: measured alone */
    double face_size;   /* NaN: not said */
    double face_size_share;
    const char *file_name, *by, *note; /* NULL: "" ; the name's last path component is kept */
};
/* What can be refused before the bytes arrive: ERROR_NOT_FOUND, ERROR_USAGE (kind, texts; made_from or
 * against of another specimen; against that is no scan), ERROR_CONFLICT (specimen retired), ERROR_BUSY (full
 * queue). */
bool store_version_check(struct store *store, const struct store_version_new *version, struct error *err);

/* The row for a finished upload, with its first jobs, in one transaction. The same bytes for the same
 * specimen and kind give the existing version: *created is false. against, when not given: made_from where
 * that is a scan; else what the version it was made from was measured against; for a cage made from nothing
 * the latest scan that is not withdrawn; else none. A cage gets one job (against, or alone); a scan one alone
 * and, where it has an against, one against that. The specimen's state goes from "new" to "in work". */
bool store_version_create(struct store *store, const struct store_version_new *version,
                          const struct store_upload *upload, int64_t *id, bool *created, struct error *err);

bool store_version_get(struct store *store, int64_t id, struct arena *keep, struct store_version *version,
                       struct error *err);
/* What the page draws of a version; the caller closes *fd. ERROR_NOT_FOUND where there is no version, or no
 * picture of it (yet). */
enum store_picture { PICTURE_SURFACE, PICTURE_THUMBNAIL };
bool store_version_picture_open(struct store *store, int64_t id, enum store_picture which,
                                char sha256[DIGEST_HEX_SIZE], int *fd, uint64_t *bytes, struct error *err);
/* All of a specimen, oldest first; limit 1..500; cursor as in specimen.h. */
struct store_version_page {
    size_t count;
    struct store_version *items;
    const char *next;
    int64_t total, revision;
};
bool store_version_list(struct store *store, int64_t specimen, size_t limit, const char *cursor,
                        struct arena *keep, struct store_version_page *page, struct error *err);

/* The versions, of any specimen, whose file has this hash; as store_version_list. */
struct store_holder {
    int64_t version, specimen, number;
    const char *catalogue_number, *kind, *file_name, *created;
    bool withdrawn;
};
struct store_holder_page {
    size_t count;
    struct store_holder *items;
    const char *next;
    int64_t total;
};
bool store_version_find(struct store *store, const char *sha256, size_t limit, const char *cursor,
                        struct arena *keep, struct store_holder_page *page, struct error *err);

/* Sets the reference (0: none) and queues a run against it unless an identical one is finished or waiting. */
bool store_version_set_against(struct store *store, int64_t id, int64_t against, int64_t if_revision,
                               bool *stale, struct error *err);
/* In place of what was said before; NULL is "". ERROR_USAGE for texts that may not be kept. by: as stated. */
bool store_version_set_intake(struct store *store, int64_t id, const struct store_intake *intake,
                              const char *by, int64_t if_revision, bool *stale, struct error *err);
/* ERROR_CONFLICT when it is withdrawn already. reason must say something. */
bool store_version_withdraw(struct store *store, int64_t id, const char *reason, const char *by,
                            int64_t if_revision, bool *stale, struct error *err);

/* "0.4mm", "0.4 mm" (converted to units), "0.4" (in units), "0.75%": fills one of both, the other is NaN.
 * ERROR_USAGE for anything else, for values not above 0 and for a unit given while units is "unknown". */
bool store_face_size_parse(const char *text, const char *units, double *face_size, double *share,
                           struct error *err);

#endif
