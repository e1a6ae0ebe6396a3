/* verify_measures.c - the files measured again, with the settings that the record tells. */
#include "handoff/verifying.h"
#include "run/version.h"
#include "json/run_json.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static void compare_engines(struct verifying *verifying)
{
    struct handoff_result *result = verifying->result;
    const struct handoff_record *record = &verifying->record;
    bool same =
        strcmp(record->version, engine_version()) == 0 && strcmp(record->commit, engine_commit()) == 0;
    snprintf(result->engine_then, sizeof result->engine_then, "%.30s (%.40s)", record->version,
             record->commit);
    snprintf(result->engine_now, sizeof result->engine_now, "%.30s (%.40s)", engine_version(),
             engine_commit());
    result->engine = same ? CHANGE_NONE : CHANGE_THERE;
    result->definition = record->definitions == engine_definitions() ? CHANGE_NONE : CHANGE_THERE;
}

/* Copies a file out of the handoff; false where it is not there, which other checks tell. */
static bool take_out(struct verifying *verifying, const char *path, const char *sha256, int fd, bool *there,
                     struct error *err)
{
    const struct bag_file *file = bag_find(&verifying->bag, path);
    *there = file != NULL;
    if (!file)
        return true;
    if (strcmp(file->sha256, sha256) != 0)
        verifying->result->file = CHANGE_THERE;
    return bag_copy(&verifying->bag, file, fd, err);
}

/* Of a mesh that cannot be measured any more the file is to blame; of a machine that is too small, nobody. */
static bool judge_fault(struct verifying *verifying, const struct error *fault, struct error *err)
{
    if (!error_is_reject(fault->code) || fault->code == ERROR_LIMIT)
        return error_set(err, fault->code, "%s", fault->text);
    bag_problem_add(verifying->problems, BAG_MEASURED, verifying->statement.subject,
                    "cannot be measured any more: %s", fault->text);
    return true;
}

static bool compare(struct verifying *verifying, const struct run *run, struct error *err)
{
    struct handoff_result *result = verifying->result;
    char *text = NULL;
    size_t size;
    bool ok = run_record_text(run, &text, &size, err)
              && handoff_record_compare(&verifying->record, text, size, &result->differences, err);
    free(text);
    if (!ok || result->differences.total == 0)
        return ok;
    if (result->engine == CHANGE_THERE && result->file == CHANGE_NONE
        && result->differences.narrowed == result->differences.total)
        return true; /* another engine may find narrower intervals: they are told */
    if (result->definition == CHANGE_THERE)
        result->skipped[BAG_MEASURED] =
            "measured, but by other definitions than the record's: values may differ, and are told";
    else
        bag_problem_add(verifying->problems, BAG_MEASURED, HANDOFF_RECORD_PATH,
                        "%zu values differ from what measuring again gives: %s", result->differences.total,
                        result->file == CHANGE_THERE     ? "a file is not the one that was measured"
                        : result->engine == CHANGE_THERE ? "the files are the same, the engine is another"
                                                         : "files and engine are the same, so the record "
                                                           "was changed");
    return true;
}

static bool measure(struct verifying *verifying, const struct handoff_verify_call *call, bool alone,
                    struct error *err)
{
    const struct handoff_record *record = &verifying->record;
    struct run_input subject = {call->subject_fd, record->subject_name},
                     reference = {call->reference_fd, record->reference_name};
    struct run_settings settings = record->settings;
    struct error fault = {0};
    struct run run;
    if (call->threads)
        settings.deviation.threads = call->threads;
    if (!run_measure(&subject, alone ? NULL : &reference, &settings, false, call->progress, &run, &fault))
        return judge_fault(verifying, &fault, err);
    bool ok = compare(verifying, &run, err);
    run_close(&run);
    return ok;
}

bool verify_measures(struct verifying *verifying, const struct handoff_verify_call *call, struct error *err)
{
    const struct handoff_record *record = &verifying->record;
    const struct handoff_statement *statement = &verifying->statement;
    bool alone = !record->reference_name, has_subject, has_reference = true;
    compare_engines(verifying);
    if (!alone && !statement->reference) {
        verifying->result->skipped[BAG_MEASURED] = "the file it was measured against is not named";
        return true;
    }
    verifying->result->file = CHANGE_NONE;
    if (!take_out(verifying, statement->subject, record->subject_sha256, call->subject_fd, &has_subject, err)
        || (!alone
            && !take_out(verifying, statement->reference, record->reference_sha256, call->reference_fd,
                         &has_reference, err)))
        return false;
    if (!has_subject || !has_reference) {
        verifying->result->file = CHANGE_THERE;
        verifying->result->skipped[BAG_MEASURED] = "a file that was measured is not there";
        return true;
    }
    return measure(verifying, call, alone, err);
}
