/* dossier.h - all that is kept of one audit: what a report prints and a handoff packs. */
#ifndef STORE_DOSSIER_H
#define STORE_DOSSIER_H

#include "store/audits.h"
#include "store/runs.h"
#include "store/specimen.h"
#include "store/specs.h"
#include "store/version.h"
#include "store/waivers.h"

/* The files themselves are opened by store_blob_open with the versions' sha256, what is drawn of them by
 * store_version_picture_open, the fields by store_run_field_open; sign-offs are listed by
 * store_signoff_list. */
struct store_dossier {
    struct store_audit audit; /* with its body */
    struct store_spec spec;   /* likewise */
    struct store_run run;
    struct store_specimen specimen;
    struct store_version subject;
    struct store_version reference; /* id 0: measured alone */
    const char *record;             /* as store_run_record gives it */
    size_t record_bytes;
    size_t waiver_count;
    struct store_waiver *waivers; /* of the specimen for that spec, in force when the audit was made */
};

/* ERROR_NOT_FOUND where there is no such audit; else the errors of reading each. keep needs room for the
 * record. */
bool store_dossier_get(struct store *store, int64_t audit, struct arena *keep, struct store_dossier *dossier,
                       struct error *err);

#endif
