/* handoff_verify.c - the checks, one after the other; each goes as far as what it needs is there. */
#include "handoff/handoff_verify.h"

#include "bag/bag_check.h"
#include "handoff/verifying.h"
#include "json/audit_json.h"
#include "json/spec_json.h"

#include <stdlib.h>
#include <string.h>

const char *verifying_text(struct verifying *verifying, const char *path, uint64_t most, uint64_t *size,
                           struct error *err)
{
    const struct bag_file *file = bag_find(&verifying->bag, path);
    const char *bytes;
    if (!file) {
        error_set(err, ERROR_NONE, "there is no %.100s", path);
        return NULL;
    }
    if (!bag_read(&verifying->bag, file, most, verifying->keep, &bytes, err))
        return NULL;
    *size = file->bytes;
    return bytes;
}

static const char *keep_text(struct verifying *verifying, const char *text)
{
    size_t size = text ? strlen(text) + 1 : 1;
    char *copy = ARENA_NEW(verifying->keep, char, size);
    return copy ? memcpy(copy, text ? text : "", size) : "";
}

/* What is damaged is a problem, what is missing is one already: the check that needs it is then not made. */
static void not_made(struct verifying *verifying, enum bag_aspect aspect, const char *path,
                     const struct error *why)
{
    if (why->code != ERROR_NONE)
        bag_problem_add(verifying->problems, aspect, path, "%s", why->text);
    verifying->result->skipped[aspect] = keep_text(verifying, why->text);
}

/* --- the documents --- */

static void open_statement(struct verifying *verifying)
{
    struct error err = {0};
    struct handoff_statement *statement = &verifying->statement;
    struct handoff_result *result = verifying->result;
    uint64_t size;
    const char *text = verifying_text(verifying, HANDOFF_STATEMENT_PATH, HANDOFF_STATEMENT_MAX, &size, &err);
    if (!text || !handoff_statement_open(text, size, statement, &err)) {
        not_made(verifying, BAG_SEALED, HANDOFF_STATEMENT_PATH, &err);
        return;
    }
    verifying->has_statement = true;
    result->name = keep_text(verifying, statement->name);
    result->by = keep_text(verifying, statement->by);
    result->time = keep_text(verifying, statement->time);
    result->catalogue_number = keep_text(verifying, statement->catalogue_number);
    result->title = keep_text(verifying, statement->title);
}

static void open_record(struct verifying *verifying)
{
    struct error err = {0};
    uint64_t size = 0;
    verifying->record_text = verifying_text(verifying, HANDOFF_RECORD_PATH, HANDOFF_RECORD_MAX, &size, &err);
    verifying->record_size = size;
    verifying->has_record =
        verifying->record_text && handoff_record_open(verifying->record_text, size, &verifying->record, &err);
    if (!verifying->has_record)
        not_made(verifying, BAG_MEASURED, HANDOFF_RECORD_PATH, &err);
}

static void open_spec(struct verifying *verifying)
{
    struct error err = {0};
    uint64_t size;
    const char *text = verifying_text(verifying, HANDOFF_SPEC_PATH, HANDOFF_SPEC_MAX, &size, &err);
    verifying->has_spec = text && spec_open(text, size, verifying->measures, &verifying->spec, &err);
    if (!verifying->has_spec)
        not_made(verifying, BAG_JUDGED, HANDOFF_SPEC_PATH, &err);
}

/* --- what they say of one another --- */

static void be_digest_of(struct verifying *verifying, const char *path, const char *said, const char *where)
{
    const struct bag_file *file = path ? bag_find(&verifying->bag, path) : NULL;
    if (file && said && strcmp(file->sha256, said) != 0)
        bag_problem_add(verifying->problems, BAG_AGREES, path, "is another file than %s speaks of", where);
}

static void check_agreement(struct verifying *verifying)
{
    const struct handoff_statement *statement = &verifying->statement;
    const struct handoff_record *record = &verifying->record;
    if (!verifying->has_statement) {
        verifying->result->skipped[BAG_AGREES] = "there is no statement that names the files";
        return;
    }
    be_digest_of(verifying, HANDOFF_AUDIT_PATH, statement->audit_sha256, "the handoff's statement");
    be_digest_of(verifying, HANDOFF_SPEC_PATH, statement->spec_sha256, "the handoff's statement");
    if (!verifying->has_record)
        return;
    be_digest_of(verifying, statement->subject, record->subject_sha256, HANDOFF_RECORD_PATH);
    be_digest_of(verifying, statement->reference, record->reference_sha256, HANDOFF_RECORD_PATH);
    if (!statement->reference != !record->reference_sha256)
        bag_problem_add(verifying->problems, BAG_AGREES, HANDOFF_RECORD_PATH,
                        "tells of another number of files than the handoff holds");
}

/* --- the audit again --- */

static bool same_text(struct verifying *verifying, const char *text, size_t size)
{
    uint64_t stored_size;
    struct error err;
    const char *stored = verifying_text(verifying, HANDOFF_AUDIT_PATH, HANDOFF_SPEC_MAX, &stored_size, &err);
    return stored && stored_size == size && memcmp(stored, text, size) == 0;
}

static bool judge_with(struct verifying *verifying, const struct waiver_list *waivers, struct error *err)
{
    const struct audit_request request = {.spec = &verifying->spec,
                                          .measures = verifying->measures,
                                          .waivers = waivers->items,
                                          .waiver_count = waivers->count,
                                          .day = verifying->statement.audit_day};
    struct audited audited;
    char *text = NULL;
    size_t size;
    if (!audited_make(verifying->record_text, verifying->record_size, &request, &audited, err))
        return false;
    bool ok = audit_text(&audited, &request, &text, &size, err);
    if (ok && !same_text(verifying, text, size))
        bag_problem_add(verifying->problems, BAG_JUDGED, HANDOFF_AUDIT_PATH,
                        "is not what judging the record by the spec gives");
    free(text);
    audited_close(&audited);
    return ok;
}

static void check_audit(struct verifying *verifying)
{
    struct error err = {0};
    struct waiver_list waivers;
    uint64_t size;
    if (!verifying->has_spec || !verifying->has_record || !verifying->has_statement) {
        if (!verifying->result->skipped[BAG_JUDGED])
            verifying->result->skipped[BAG_JUDGED] = "record, spec or statement cannot be read";
        return;
    }
    const char *text = verifying_text(verifying, HANDOFF_AUDIT_PATH, HANDOFF_SPEC_MAX, &size, &err);
    if (!text || !handoff_audit_waivers(text, size, &waivers, &err)) {
        not_made(verifying, BAG_JUDGED, HANDOFF_AUDIT_PATH, &err);
        return;
    }
    if (!judge_with(verifying, &waivers, &err))
        not_made(verifying, BAG_JUDGED, HANDOFF_RECORD_PATH, &err);
    waivers_close(&waivers);
}

/* --- the whole --- */

static bool open_bag(const struct handoff_verify_call *call, struct verifying *verifying, struct error *err)
{
    return call->zip_fd >= 0 ? bag_open_zip(call->zip_fd, call->spool_fd, &call->limits, verifying->keep,
                                            &verifying->bag, err)
                             : bag_open_folder(call->folder_fd, call->spool_fd, &call->limits,
                                               verifying->keep, &verifying->bag, err);
}

static void count_files(struct verifying *verifying)
{
    verifying->result->file_count = verifying->bag.count;
    for (size_t f = 0; f < verifying->bag.count; f++)
        verifying->result->bytes += verifying->bag.files[f].bytes;
}

static bool check(const struct handoff_verify_call *call, struct verifying *verifying, struct error *err)
{
    if (!open_bag(call, verifying, err)
        || !bag_check(&verifying->bag, verifying->keep, verifying->problems, err))
        return false;
    count_files(verifying);
    open_statement(verifying);
    open_record(verifying);
    open_spec(verifying);
    verify_seal(verifying, call->key);
    verify_sign_offs(verifying);
    check_agreement(verifying);
    check_audit(verifying);
    if (!call->measure)
        verifying->result->skipped[BAG_MEASURED] = "it was not asked for";
    else if (verifying->has_record && verifying->has_statement)
        return verify_measures(verifying, call, err);
    else if (!verifying->result->skipped[BAG_MEASURED])
        verifying->result->skipped[BAG_MEASURED] = "record or statement cannot be read";
    return true;
}

bool handoff_verify(const struct handoff_verify_call *call, struct arena *keep, struct handoff_result *result,
                    struct error *err)
{
    struct verifying verifying = {.keep = keep, .result = result, .problems = &result->problems};
    struct measure_list measures;
    memset(result, 0, sizeof *result);
    result->problems.keep = keep;
    result->name = result->by = result->time = result->catalogue_number = result->title = "";
    if (!measures_open(&measures, err))
        return false;
    verifying.measures = &measures;
    bool ok = check(call, &verifying, err);
    if (verifying.has_statement)
        handoff_statement_close(&verifying.statement);
    if (verifying.has_record)
        handoff_record_close(&verifying.record);
    if (verifying.has_spec)
        spec_close(&verifying.spec);
    measures_close(&measures);
    return ok;
}
