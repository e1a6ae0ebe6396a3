/* folder.h - a data folder of its own for each test, and the few steps that most tests begin with. */
#ifndef TESTS_STORE_FOLDER_H
#define TESTS_STORE_FOLDER_H

#include "store/backup.h"
#include "store/jobs.h"
#include "store/specimen.h"

struct folder {
    char path[64];
    struct store_options options;
    struct store *store;
    struct arena arena; /* 32 MiB for results */
    struct error err;
};

/* Makes an empty folder under /tmp and opens a store in it; settings "test", definitions 1. */
void folder_begin(struct folder *folder);
/* Closes and opens again, as after a stop. */
void folder_reopen(struct folder *folder);
void folder_end(struct folder *folder);

/* Each fails the test when it cannot. */
int64_t add_specimen(struct folder *folder, const char *number);
/* Uploads bytes as a version made from made_from (0: none), with the default reference. */
int64_t add_version(struct folder *folder, int64_t specimen, const char *kind, int64_t made_from,
                    const char *bytes);
/* Like it, but tells whether it is new, and takes everything from wanted. */
bool try_version(struct folder *folder, const struct store_version_new *wanted, const char *bytes,
                 int64_t *id, bool *created);
/* Claims the next job and ends it as done with a small record; returns the run. */
int64_t run_next_job(struct folder *folder, double open_edges, double lost);
int64_t claim_next_job(struct folder *folder);
int64_t finish_job(struct folder *folder, int64_t job, const char *record, double open_edges, double lost);

int64_t add_spec(struct folder *folder, const char *name, int64_t version);
/* An audit of no rules. */
int64_t add_audit(struct folder *folder, int64_t run, int64_t spec, const char *outcome);

struct store_specimen specimen_of(struct folder *folder, int64_t id);
struct store_version version_of(struct folder *folder, int64_t id);
struct store_job job_of(struct folder *folder, int64_t id);

/* Path of a file below the folder, in a buffer that the next call uses again. */
const char *path_in(const struct folder *folder, const char *name);
const char *blob_path_of(struct folder *folder, int64_t version);
/* Turns one bit of a file's byte. */
void flip_byte(const char *path, long at);

/* What store_verify says. */
struct verdict {
    struct store_verify_figures figures;
    char first_finding[400], first_note[400];
};
struct verdict verify_folder(struct folder *folder);

#endif
