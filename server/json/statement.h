/* statement.h - what a person signs: one RFC 8785 text, fettle/sign-off/1 (schema/sign-off.schema.json).
 *
 * It names by digest (SHA-256) every file, the run record, the spec and the audit, what the audit came to and
 * the waivers in it, who signed in what words, when, and the fingerprint of the key. The same facts give the
 * same bytes. */
#ifndef JSON_STATEMENT_H
#define JSON_STATEMENT_H

#include "store/signoffs.h"

#define STATEMENT_SCHEMA "fettle/sign-off/1"

/* As stated: nobody has checked it. */
struct statement_signer {
    const char *name;
    const char *role, *note; /* NULL: none */
};

/* The caller frees *text. ERROR_STORE when the stored audit is not JSON. */
bool statement_write(const struct store_signed *is, const struct statement_signer *signer, const char *time,
                     const char *fingerprint, char **text, size_t *size, struct error *err);

struct statement_file {
    const char *role;  /* "subject" or "reference" */
    const char *label; /* "cage 7" */
    const char *name, *sha256;
    int64_t bytes;
};
/* One that was read; strings belong to the document, and none is NULL but role, note and missing files. */
struct statement {
    void *document;
    int64_t specimen, run, audit, spec_version;
    const char *catalogue_number, *record_sha256, *spec_name, *spec_sha256, *audit_sha256, *outcome;
    size_t file_count;
    struct statement_file files[2];
    struct statement_signer signer;
    const char *time, *fingerprint;
};
/* On success the caller owes statement_close. ERROR_DATA where it is not such a statement. */
bool statement_open(const char *text, size_t size, struct statement *statement, struct error *err);
void statement_close(struct statement *statement);

#endif
