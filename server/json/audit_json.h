/* audit_json.h - a run record judged by a spec: what the record holds for each rule, and the audit as JSON.
 *
 * The same record, spec, waivers and day give the same bytes. */
#ifndef JSON_AUDIT_JSON_H
#define JSON_AUDIT_JSON_H

#include "base/error.h"
#include "spec/audit.h"
#include "json/measures.h"

struct json_t;

/* A record, what is asked of it, and the outcome; closed by audited_close. */
struct audited {
    struct audit audit;
    const char *subject_name; /* the subject's file, as named in the record */
    char record_sha256[65];   /* of the record's RFC 8785 text without timings and engine.settings.threads */
    struct json_t *record;    /* owned */
    struct audit_rule *rules; /* owned; audit.rules */
    struct waiver *waivers;   /* owned; of one that was stored, else NULL */
};

struct audit_request {
    const struct spec *spec;
    const struct measure_list *measures;
    const struct waiver *waivers; /* NULL: none */
    size_t waiver_count;
    const char *day; /* "2026-11-28" */
};

/* record: JSON text of a run record. ERROR_USAGE when it is not one, or is of a kind that the spec is not
 * for; ERROR_MACHINE when memory is out. Spec, measures and waivers must outlive it. */
bool audited_make(const char *record, size_t size, const struct audit_request *request,
                  struct audited *audited, struct error *err);
void audited_close(struct audited *audited);

/* From what audit_text wrote of a run judged by that spec, for audit_sarif and the like: what it says and no
 * more, so `record` is that text and probabilities are left out. ERROR_STORE when it is no such text. The
 * spec must outlive it; on success the caller owes audited_close. */
bool audited_stored(const char *body, const struct spec *spec, struct audited *audited, struct error *err);

/* What a record holds for a rule, in the unit of its limit. */
struct audit_reading audit_reading_of(const struct json_t *record, const struct rule *rule,
                                      const struct measure_list *measures);

/* The same from the record's text; *applies false where the spec is not for such a subject, and nothing is
 * read. ERROR_STORE when the text is not a record. */
bool audit_reading_in(const char *record, size_t size, const struct spec *spec, const struct rule *rule,
                      const struct measure_list *measures, struct audit_reading *reading, bool *applies,
                      struct error *err);

/* The audit, one line of JSON (schema/audit.schema.json); the caller frees *text. */
bool audit_text(const struct audited *audited, const struct audit_request *request, char **text, size_t *size,
                struct error *err);

/* Why a rule that is undecided is, and what would decide it, as a sentence; "" for the others. */
void audit_advice(const struct audit_rule *judged, char *out, size_t out_size);
/* "at most 0.4 mm", "equals 0", "is true". */
void audit_limit_text(const struct rule *rule, char *out, size_t out_size);
/* "0.398 to 0.401 mm", "12", "true"; "not known". */
void audit_value_text(const struct audit_rule *judged, char *out, size_t out_size);

/* Static Analysis Results Interchange Format 2.1.0 (OASIS Standard, 2020): one result for each rule that does
 * not conform or is undecided. The caller frees *text. */
bool audit_sarif(const struct audited *audited, const struct audit_request *request, char **text,
                 size_t *size, struct error *err);

#endif
