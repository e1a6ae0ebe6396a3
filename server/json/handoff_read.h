/* handoff_read.h - the documents of a handoff from elsewhere, read for those who check them: nothing is
 * believed beyond its form. */
#ifndef JSON_HANDOFF_READ_H
#define JSON_HANDOFF_READ_H

#include "run/run.h"
#include "json/waivers.h"

struct json_t;

/* handoff.statement.json; strings are the document's. */
struct handoff_statement {
    struct json_t *document; /* owned */
    const char *name, *by, *time, *catalogue_number, *title;
    const char *audit_sha256, *spec_sha256;
    char audit_day[11];
    const char *subject, *reference; /* paths in the bag; the latter may be NULL */
    size_t sign_off_count;
};
struct handoff_digests {
    const char *path, *sha256, *sha512;
};
/* ERROR_DATA where it is not such a statement. On success the caller owes handoff_statement_close. */
bool handoff_statement_open(const char *bytes, size_t size, struct handoff_statement *statement,
                            struct error *err);
void handoff_statement_close(struct handoff_statement *statement);
/* The i-th tag file; false beyond the last one. */
bool handoff_statement_tag(const struct handoff_statement *statement, size_t i,
                           struct handoff_digests *digests);
/* Of the statement of the i-th sign-off. */
const char *handoff_statement_sign_off(const struct handoff_statement *statement, size_t i);

/* record.json: what was measured, and how. */
struct handoff_record {
    struct json_t *document; /* owned */
    const char *subject_name, *subject_sha256;
    const char *reference_name, *reference_sha256; /* NULL: measured alone */
    const char *version, *commit;                  /* of the engine */
    int64_t definitions;
    struct run_settings settings; /* all that the record tells; threads as run_settings_default has it */
};
/* ERROR_DATA where it is no run record, or was made by settings that are not known here. On success the
 * caller owes handoff_record_close. */
bool handoff_record_open(const char *bytes, size_t size, struct handoff_record *record, struct error *err);
void handoff_record_close(struct handoff_record *record);

#define HANDOFF_DIFFERENCES_MAX 50 /* told; more are counted */
struct handoff_difference {
    char path[120], then[60], now[60]; /* values as JSON, cut */
};
struct handoff_differences {
    size_t count, total;
    size_t narrowed; /* of total: ends of certified intervals that overlap, so that both may be right */
    struct handoff_difference items[HANDOFF_DIFFERENCES_MAX];
};
/* Every value of the record that another one does not have the same. Timings, the engine's name and threads
 * are left out, and so is what only the new one tells. ERROR_DATA where `now` is no JSON. */
bool handoff_record_compare(const struct handoff_record *then, const char *now, size_t now_size,
                            struct handoff_differences *differences, struct error *err);

/* The waivers that an audit tells of, so that judging again finds them; the caller owes waivers_close.
 * ERROR_DATA. */
bool handoff_audit_waivers(const char *bytes, size_t size, struct waiver_list *waivers, struct error *err);

#endif
