/* signoffs.h - audits signed off by named persons with the service's key (seal/seal.h).
 *
 * A sign-off is a statement (json/statement.h), exactly the bytes that were signed, with the signature and
 * the public key: whoever has the three can look without us. It is never changed; json/sign_off.h makes one
 * and tells whether what it states still is as it was. */
#ifndef STORE_SIGNOFFS_H
#define STORE_SIGNOFFS_H

#include "base/digest.h"
#include "seal/seal.h"
#include "store/store.h"

enum { STORE_SIGNER_MAX = 200, STORE_ROLE_MAX = 200, STORE_SIGNOFF_NOTE_MAX = 2000 };

struct store_signoff {
    int64_t id, audit, specimen;
    const char *signer;      /* as stated */
    const char *role, *note; /* as stated; NULL: none */
    const char *created;
    const char *statement;   /* RFC 8785 JSON */
    const char *sha256;      /* of it */
    const char *signature;   /* base64 */
    const char *public_key;  /* PEM */
    const char *fingerprint; /* of the key */
};
struct store_signoff_list {
    size_t count;
    struct store_signoff *items; /* oldest first */
};
/* Of an audit (ERROR_NOT_FOUND); 0: of all. */
bool store_signoff_list(struct store *store, int64_t audit, struct arena *keep,
                        struct store_signoff_list *list, struct error *err);
bool store_signoff_get(struct store *store, int64_t id, struct arena *keep, struct store_signoff *signoff,
                       struct error *err);

/* What a sign-off is about, as the store has it now: digests are of the bytes that are there. */
struct store_signed_file {
    const char *role; /* "subject" or "reference" */
    const char *kind; /* of the version */
    int64_t version, number, bytes;
    const char *name, *sha256;
};
struct store_signed {
    int64_t audit, specimen, run, spec_version;
    int64_t revision; /* of the specimen */
    const char *catalogue_number, *spec_name, *outcome;
    const char *spec_body, *audit_body;  /* JSON */
    const char *audit_kept_sha256;       /* of the audit when it was made */
    char record_sha256[DIGEST_HEX_SIZE]; /* "" where the record is damaged or gone */
    char spec_sha256[DIGEST_HEX_SIZE], audit_sha256[DIGEST_HEX_SIZE];
    size_t file_count;
    struct store_signed_file files[2];
};
bool store_signed_get(struct store *store, int64_t audit, struct arena *keep, struct store_signed *is,
                      struct error *err);

/* ERROR_CONFLICT with the reason where the audit may not be signed: it does not conform; a newer run of the
 * version against the same reference, a newer version of the spec or a newer audit of both is there; the
 * version is withdrawn. signer (may be NULL): nor by who signed it already. */
bool store_signoff_allowed(struct store *store, int64_t audit, const char *signer, struct error *err);

struct store_signoff_new {
    int64_t audit;
    int64_t revision; /* store_signed's: ERROR_BUSY where the specimen has changed since */
    const char *signer, *role, *note, *created, *statement;
    char signature[SEAL_TEXT_SIZE];
    struct seal_public key;
};
/* Asks store_signoff_allowed again, in the same transaction. ERROR_USAGE for texts that may not be kept. */
bool store_signoff_add(struct store *store, const struct store_signoff_new *signoff, int64_t *id,
                       struct error *err);
bool store_signer_check(const char *signer, const char *role, const char *note, struct error *err);

/* The name without blanks and case: two are one person's where these are equal. NULL: the arena is full. Case
 * by the Unicode Standard's simple case folding, of Latin, Greek and Cyrillic letters. */
const char *store_person(const char *name, struct arena *keep);

/* The service's key, made at the first need; the caller owes seal_key_forget. ERROR_STORE where it is gone
 * but sign-offs were made with it: it is never replaced silently. */
bool store_key_need(struct store *store, struct seal_key *key, struct error *err);
/* Its public half; *found false where there is none yet. ERROR_STORE as above. */
bool store_key_public(struct store *store, struct seal_public *key, bool *found, struct error *err);

#endif
