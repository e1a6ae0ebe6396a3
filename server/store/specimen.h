/* specimen.h - the catalogued objects, with what a collection shows of each. */
#ifndef STORE_SPECIMEN_H
#define STORE_SPECIMEN_H

#include "store/store.h"
#include "store/tolerances.h"

/* Longest texts in bytes; longer ones, control characters and invalid UTF-8 are ERROR_USAGE. */
#define STORE_NUMBER_MAX 128
#define STORE_TITLE_MAX 400
#define STORE_NOTE_MAX 4000
#define STORE_NAME_MAX 255

/* One version in a specimen's trend: values of the version's latest run, NaN while unmeasured or undefined.
 */
struct store_trend {
    int64_t version, number, run, against; /* run 0: unmeasured; against: of that run */
    const char *kind;                      /* "scan" or "cage" */
    double face_size;
    const char *created;
    bool withdrawn, has_pictures;
    double open_edges, lost, invented, hausdorff, faults, warnings; /* lengths: certified upper ends */
};

struct store_specimen {
    int64_t id, revision;
    const char *catalogue_number, *title;
    const char *units; /* "mm", "cm", "m", "in", "unknown" */
    const char *state; /* "new", "in work", "ready", "handed over", "retired" */
    const char *note;  /* "" when none */
    const char *created, *changed;
    int64_t scan_count, cage_count;
    int64_t latest_scan, latest_cage;   /* not withdrawn */
    double scan_diagonal;               /* of the latest scan's box, once measured */
    struct store_tolerances tolerances; /* of runs to come against a reference; those made keep theirs */
    int64_t jobs_queued, jobs_running,
        jobs_failed; /* failed: of those not followed by a later job of the same kind */
    size_t trend_count;
    struct store_trend *trend; /* oldest first, withdrawn ones too */
};

struct store_specimen_new {
    const char *catalogue_number, *title, *units;
    const char *note;                          /* NULL: none */
    const struct store_tolerances *tolerances; /* in any order; NULL: none */
};
/* ERROR_CONFLICT where the catalogue number is taken (whatever its case). */
bool store_specimen_create(struct store *store, const struct store_specimen_new *specimen, int64_t *id,
                           struct error *err);

bool store_specimen_get(struct store *store, int64_t id, struct arena *keep, struct store_specimen *specimen,
                        struct error *err);

enum store_specimen_sort {
    STORE_SORT_CHANGED,
    STORE_SORT_NUMBER,
    STORE_SORT_TITLE,
    STORE_SORT_OPEN_EDGES, /* of the latest cage, else the latest scan; unmeasured counts as smallest */
    STORE_SORT_LOST,       /* likewise */
    STORE_SORT_FAULTS,     /* likewise */
    STORE_SORT_STATE,      /* as listed in store_filters */
    STORE_SORT_SCANS,
    STORE_SORT_CAGES
};
/* What a list can be filtered by: the states, then what the jobs do (a specimen may be in both). */
enum { STORE_STATES = 5, STORE_FILTER_MEASURING = STORE_STATES, STORE_FILTER_FAILED, STORE_FILTERS };
extern const char *const store_filters[STORE_FILTERS];

struct store_specimen_query {
    const char *text;   /* part of number, title or note, ASCII case ignored; NULL: all */
    const char *filter; /* one of store_filters; NULL: all */
    enum store_specimen_sort sort;
    bool descending;
    size_t limit;       /* 1..500 */
    size_t offset;      /* so many are passed over */
    const char *cursor; /* `next` of the page before, NULL: from the start; ERROR_USAGE when malformed */
};
struct store_specimen_page {
    size_t count;
    struct store_specimen *items;
    const char *next;                     /* NULL: no more */
    int64_t total;                        /* that match */
    int64_t filter_totals[STORE_FILTERS]; /* that match the text, under each filter */
    int64_t text_total;                   /* that match the text */
    int64_t revision;                     /* of the store when the list was read */
};
bool store_specimen_list(struct store *store, const struct store_specimen_query *query, struct arena *keep,
                         struct store_specimen_page *page, struct error *err);

struct store_specimen_patch { /* NULL: leave as it is */
    const char *title, *note;
    const char *units;                         /* ERROR_CONFLICT once it has a version */
    const char *state;                         /* "handed over" is ERROR_USAGE: only a handoff sets it */
    const struct store_tolerances *tolerances; /* in any order */
};
/* if_revision: the revision the caller saw; another one sets *stale and fails with ERROR_CONFLICT. 0: any. */
bool store_specimen_change(struct store *store, int64_t id, const struct store_specimen_patch *patch,
                           int64_t if_revision, bool *stale, struct error *err);

#endif
