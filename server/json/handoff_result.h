/* handoff_result.h - what checking a handoff found, and as JSON (HandoffCheckResult of schema/openapi.json).
 */
#ifndef JSON_HANDOFF_RESULT_H
#define JSON_HANDOFF_RESULT_H

#include "bag/problems.h"
#include "base/digest.h"
#include "json/handoff_read.h"

enum handoff_change { CHANGE_UNKNOWN, CHANGE_NONE, CHANGE_THERE };

/* Strings belong to the arena of who checked. */
struct handoff_result {
    const char *name, *by, *time, *catalogue_number, *title; /* "" until the statement is read */
    char seal[DIGEST_HEX_SIZE]; /* fingerprint of the key that sealed it; "" where there is none */
    bool key_given;             /* it was compared with a key from elsewhere */
    size_t file_count;
    uint64_t bytes;
    size_t signer_count;
    const char *signers[8]; /* the first ones, as their statements say */
    struct bag_problems problems;
    const char *skipped[BAG_ASPECT_COUNT]; /* why a check was not made; NULL: it was */
    /* measured again */
    enum handoff_change file, definition, engine;
    char engine_then[80], engine_now[80]; /* version and commit */
    struct handoff_differences differences;
};

/* No problem of any kind; a check that was not made is not one. */
bool handoff_holds(const struct handoff_result *result);
/* "complete", "valid", "seal", "sign-offs", "documents", "audit", "measure". */
const char *handoff_aspect_word(enum bag_aspect aspect);
/* What the check asks, as a sentence. */
const char *handoff_aspect_claim(enum bag_aspect aspect);

/* One line of JSON; the caller frees *text. */
bool handoff_result_text(const struct handoff_result *result, char **text, size_t *size, struct error *err);
/* The same where the handoff was refused, unread: why. */
bool handoff_refusal_text(const struct error *why, char **text, size_t *size, struct error *err);

#endif
