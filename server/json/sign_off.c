/* sign_off.c - making sign-offs. */
#include "json/sign_off.h"

#include "store/upload.h"
#include "store/waivers.h"
#include "json/statement.h"

#include <jansson.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

/* --- the waivers of the audit --- */

static bool says(const json_t *object, const char *key, const char *text)
{
    const char *value = json_string_value(json_object_get(object, key));
    return value && strcmp(value, text) == 0;
}

static bool is_in_force(const json_t *rule, const struct store_waiver_list *list, const char *day)
{
    const json_t *waiver = json_object_get(rule, "waiver");
    for (size_t i = 0; i < list->count; i++) {
        const struct store_waiver *kept = &list->items[i];
        if (says(rule, "id", kept->rule) && says(waiver, "reason", kept->reason)
            && says(waiver, "author", kept->author) && says(waiver, "expires", kept->expires)
            && strcmp(kept->expires, day) >= 0)
            return true;
    }
    return false;
}

static bool check_rules(const json_t *audit, const struct store_waiver_list *list, struct error *err)
{
    char now[STORE_TIME_SIZE];
    const json_t *rules = json_object_get(audit, "rules");
    store_time_now(now);
    now[10] = '\0'; /* the day */
    for (size_t i = 0; i < json_array_size(rules); i++) {
        const json_t *rule = json_array_get(rules, i);
        const char *name = json_string_value(json_object_get(rule, "id"));
        if (json_is_object(json_object_get(rule, "waiver")) && !is_in_force(rule, list, now))
            return error_set(err, ERROR_CONFLICT,
                             "the waiver of rule \"%.60s\" has been withdrawn or has run out: judge again",
                             name ? name : "");
    }
    return true;
}

/* --- that the audit judged what is there --- */

static bool check_judged(const json_t *audit, const struct store_signed *is, struct error *err)
{
    static const char *const keys[2] = {"subject_sha256", "reference_sha256"};
    const json_t *run = json_object_get(audit, "run");
    const char *other = NULL;
    if (strcmp(is->audit_sha256, is->audit_kept_sha256) != 0)
        other = "audit";
    else if (!says(json_object_get(audit, "spec"), "sha256", is->spec_sha256))
        other = "spec";
    else if (!is->record_sha256[0])
        other = "record";
    for (size_t i = 0; !other && i < 2 && i < is->file_count; i++)
        if (!says(run, keys[i], is->files[i].sha256))
            other = is->files[i].role;
    return !other
           || error_set(err, ERROR_STORE,
                        "the %s of audit %lld is not what was judged; run fettle verify and restore a backup",
                        other, (long long)is->audit);
}

static bool check_audit(struct store *store, const struct store_signed *is, struct arena *keep,
                        struct error *err)
{
    struct store_waiver_list list;
    json_t *audit = json_loads(is->audit_body, 0, NULL);
    bool ok = check_judged(audit, is, err)
              && store_waiver_list(store, is->specimen, is->spec_name, keep, &list, err)
              && check_rules(audit, &list, err);
    json_decref(audit);
    return ok;
}

/* Who signs beside others signs what they signed. */
static bool check_others(struct store *store, int64_t audit, struct arena *keep, struct error *err)
{
    struct sign_offs offs;
    return sign_offs_get(store, audit, keep, &offs, err)
           && (offs.state != SIGN_OFF_BROKEN
               || error_set(err, ERROR_CONFLICT,
                            "a sign-off of this audit is broken: put back what has changed, or judge again"));
}

bool sign_off_allowed(struct store *store, int64_t audit, struct arena *keep, struct error *err)
{
    struct store_signed is;
    return store_signoff_allowed(store, audit, NULL, err) && store_signed_get(store, audit, keep, &is, err)
           && check_audit(store, &is, keep, err) && check_others(store, audit, keep, err);
}

/* Hashes the files. */
static bool check_bytes(struct store *store, const struct store_signed *is, struct error *err)
{
    for (size_t i = 0; i < is->file_count; i++) {
        uint64_t bytes;
        int fd;
        if (!store_blob_open(store, is->files[i].sha256, &fd, &bytes, err))
            return false;
        close(fd);
    }
    return true;
}

/* --- signing --- */

static bool sign(struct store *store, const struct seal_key *key, const struct store_signed *is,
                 const struct statement_signer *signer, int64_t *id, struct error *err)
{
    struct store_signoff_new added = {.audit = is->audit,
                                      .revision = is->revision,
                                      .signer = signer->name,
                                      .role = signer->role,
                                      .note = signer->note,
                                      .key = key->public_key};
    char time[STORE_TIME_SIZE], fingerprint[DIGEST_HEX_SIZE], *text;
    size_t size;
    store_time_now(time);
    seal_fingerprint(&key->public_key, fingerprint);
    if (!statement_write(is, signer, time, fingerprint, &text, &size, err))
        return false;
    struct seal_signature signature = seal_sign(key, text, size);
    seal_signature_write(&signature, added.signature);
    added.created = time;
    added.statement = text;
    bool ok = store_signoff_add(store, &added, id, err);
    free(text);
    return ok;
}

bool sign_off_make(struct store *store, const struct sign_off_request *request, struct arena *keep,
                   int64_t *id, struct error *err)
{
    struct store_signed is;
    struct seal_key key;
    const struct statement_signer signer = {.name = request->by,
                                            .role = request->role && *request->role ? request->role : NULL,
                                            .note = request->note && *request->note ? request->note : NULL};
    if (!store_signer_check(signer.name, signer.role, signer.note, err)
        || !store_signoff_allowed(store, request->audit, signer.name, err)
        || !store_signed_get(store, request->audit, keep, &is, err) || !check_audit(store, &is, keep, err)
        || !check_others(store, request->audit, keep, err) || !check_bytes(store, &is, err)
        || !store_key_need(store, &key, err))
        return false;
    bool ok = sign(store, &key, &is, &signer, id, err);
    seal_key_forget(&key);
    return ok;
}
