/* runs.h - finished measurements: the record, the numbers that lists sort and plot, the fields. */
#ifndef STORE_RUNS_H
#define STORE_RUNS_H

#include "store/version.h"

/* One number of a record. path is the dotted path of schema/measures.json. */
struct store_measure {
    const char *path;
    double value; /* NaN: not defined */
};
/* The paths that lists need; whoever inserts a run gives these besides the measures marked "stored". */
#define STORE_PATH_OPEN_EDGES "subject.topology.open_edges"
#define STORE_PATH_GENUS "subject.topology.genus"
#define STORE_PATH_SHELLS "subject.topology.shells"
#define STORE_PATH_DIAGONAL "subject.bounds.diagonal"
#define STORE_PATH_LOST "deviation.reference_to_subject.max.upper"
#define STORE_PATH_INVENTED "deviation.subject_to_reference.max.upper"
#define STORE_PATH_HAUSDORFF "deviation.hausdorff.upper"
#define STORE_PATH_FAULTS "findings_of_subject.fault"
#define STORE_PATH_WARNINGS "findings_of_subject.warning"

struct store_run {
    int64_t id, version, against, specimen, revision;
    const char *kind; /* of the version */
    int64_t number;   /* of the version */
    const char *created;
    int definitions;
    const char *engine_version, *settings;
    const char *subject_sha256, *reference_sha256; /* the latter NULL when measured alone */
    bool current; /* made with the definitions and settings in force, or a finer certify */
    double open_edges, lost, invented, hausdorff, faults, warnings, genus, shells; /* the summary */
};

bool store_run_get(struct store *store, int64_t id, struct arena *keep, struct store_run *run,
                   struct error *err);
struct store_run_page {
    size_t count;
    struct store_run *items;
    const char *next;
    int64_t total, revision;
};
/* Newest first; version 0: of all. */
bool store_run_list(struct store *store, int64_t version, size_t limit, const char *cursor,
                    struct arena *keep, struct store_run_page *page, struct error *err);
/* The latest run of each version that is not withdrawn, newest first, at most `most` of them. */
bool store_run_latest_ids(struct store *store, size_t most, struct arena *keep, int64_t **ids, size_t *count,
                          struct error *err);
/* The record: exactly the bytes that were inserted, and a terminating zero that is not counted. */
bool store_run_record(struct store *store, int64_t id, struct arena *keep, const char **bytes, size_t *count,
                      struct error *err);
/* Little-endian float64; the caller closes *fd. per_face: one value a face of the subject, else a vertex. */
bool store_run_field_open(struct store *store, int64_t id, const char *name, int *fd, uint64_t *bytes,
                          bool *per_face, struct error *err);

/* Asks for a measurement. An identical finished one is found (unless again): *run. Else a job is queued, or
 * the one already waiting or running for it is named: *job. The other is 0. A job that waits takes the finest
 * certify that was asked for; ERROR_CONFLICT where one runs with a coarser one. */
struct store_run_request {
    int64_t version;
    bool against_given; /* false: the version's own */
    int64_t against;
    double certify;  /* finer than the service's own; 0: that. See store/settings.h */
    bool again;      /* measure even where an identical run exists; the old one is kept */
    bool background; /* after everything that somebody waits for */
};
bool store_run_request(struct store *store, const struct store_run_request *request, int64_t *run,
                       int64_t *job, struct error *err);
/* Queues a run for every version not withdrawn (of one specimen, or 0: of all) whose latest run, for each
 * reference it is measured against, is not current. again: also where it is. */
bool store_remeasure(struct store *store, int64_t specimen, bool again, int64_t *queued, struct error *err);

/* What a job hands in. */
struct store_field_new {
    const char *name; /* "distance", ... */
    bool per_face;
    char sha256[DIGEST_HEX_SIZE]; /* a finished upload */
    uint64_t bytes;
};
/* Of the file that was measured: finished uploads. */
struct store_pictures_new {
    char surface_sha256[DIGEST_HEX_SIZE], thumbnail_sha256[DIGEST_HEX_SIZE];
    uint64_t surface_bytes, thumbnail_bytes;
};
struct store_run_new {
    const char *record; /* JSON bytes, stored as they are */
    size_t record_bytes;
    const char *engine_version, *engine_commit;
    const char *subject_format; /* "obj", ... */
    size_t measure_count;
    const struct store_measure *measures;
    size_t field_count;
    const struct store_field_new *fields;
    const struct store_pictures_new *pictures; /* NULL: none were made */
};

#endif
