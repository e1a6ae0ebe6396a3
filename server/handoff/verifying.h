/* verifying.h - what the files that check a handoff share; nobody else includes it. */
#ifndef HANDOFF_VERIFYING_H
#define HANDOFF_VERIFYING_H

#include "handoff/handoff_verify.h"
#include "handoff/paths.h"
#include "spec/spec.h"
#include "json/measures.h"

struct verifying {
    struct arena *keep;
    struct bag bag;
    const struct measure_list *measures;
    struct handoff_result *result;
    struct bag_problems *problems; /* of the result */
    bool has_statement, has_record, has_spec;
    struct handoff_statement statement;
    struct handoff_record record;
    struct spec spec;
    const char *record_text;
    size_t record_size;
};

/* A document, terminated; NULL with ERROR_NONE where it is not there, or with what is wrong. */
const char *verifying_text(struct verifying *verifying, const char *path, uint64_t most, uint64_t *size,
                           struct error *err);

/* verify_seal.c: adds problems to BAG_SEALED and BAG_SIGNED. */
void verify_seal(struct verifying *verifying, const char *key);
void verify_sign_offs(struct verifying *verifying);
/* verify_measures.c: to BAG_MEASURED. False only with ERROR_MACHINE, ERROR_LIMIT or ERROR_CANCELLED. */
bool verify_measures(struct verifying *verifying, const struct handoff_verify_call *call, struct error *err);

#endif
