/* sign_off_check.c - whether what was signed still is as it was. */
#include "json/sign_off.h"

#include "store/upload.h"
#include "json/statement.h"

#include <jansson.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

const char *sign_off_part_word(enum sign_off_part part)
{
    static const char *const words[SIGN_OFF_PART_COUNT] = {
        [SIGN_OFF_SPECIMEN] = "specimen",
        [SIGN_OFF_SUBJECT] = "subject",
        [SIGN_OFF_REFERENCE] = "reference",
        [SIGN_OFF_RECORD] = "record",
        [SIGN_OFF_SPEC] = "spec",
        [SIGN_OFF_AUDIT] = "audit",
        [SIGN_OFF_STATEMENT] = "statement",
        [SIGN_OFF_SIGNATURE] = "signature",
        [SIGN_OFF_KEY] = "key",
        [SIGN_OFF_SIGNER] = "signer",
    };
    return words[part];
}

const char *sign_off_state_word(enum sign_off_state state)
{
    static const char *const words[] = {[SIGN_OFF_NONE] = "not signed",
                                        [SIGN_OFF_PARTLY] = "signed by one of two",
                                        [SIGN_OFF_DONE] = "signed off",
                                        [SIGN_OFF_BROKEN] = "broken"};
    return words[state];
}

static bool same(const char *a, const char *b)
{
    return a && b ? strcmp(a, b) == 0 : a == b;
}

/* --- the statement itself --- */

static bool same_bytes(const struct store_signoff *signoff)
{
    struct digest digest;
    char sha256[DIGEST_HEX_SIZE];
    digest_begin(&digest);
    digest_add(&digest, signoff->statement, strlen(signoff->statement));
    digest_end(&digest, sha256);
    return strcmp(sha256, signoff->sha256) == 0;
}

static bool same_key(const struct store_signoff *signoff, const struct statement *statement,
                     struct seal_public *key)
{
    char fingerprint[DIGEST_HEX_SIZE];
    if (!seal_public_read(signoff->public_key, key))
        return false;
    seal_fingerprint(key, fingerprint);
    return strcmp(fingerprint, statement->fingerprint) == 0 && strcmp(fingerprint, signoff->fingerprint) == 0;
}

static bool is_signed(const struct store_signoff *signoff, const struct seal_public *key)
{
    struct seal_signature signature;
    return seal_signature_read(signoff->signature, &signature)
           && seal_holds(key, &signature, signoff->statement, strlen(signoff->statement));
}

static bool same_signer(const struct store_signoff *signoff, const struct statement *statement)
{
    return same(signoff->signer, statement->signer.name) && same(signoff->role, statement->signer.role)
           && same(signoff->note, statement->signer.note) && same(signoff->created, statement->time);
}

/* --- what it is about --- */

static const struct statement_file *stated_file(const struct statement *statement, const char *role)
{
    for (size_t i = 0; i < statement->file_count; i++)
        if (strcmp(statement->files[i].role, role) == 0)
            return &statement->files[i];
    return NULL;
}

static const struct store_signed_file *kept_file(const struct store_signed *is, const char *role)
{
    for (size_t i = 0; i < is->file_count; i++)
        if (strcmp(is->files[i].role, role) == 0)
            return &is->files[i];
    return NULL;
}

static bool same_file(const struct statement *statement, const struct store_signed *is, const char *role)
{
    const struct statement_file *stated = stated_file(statement, role);
    const struct store_signed_file *kept = kept_file(is, role);
    char label[40];
    if (!stated || !kept)
        return !stated == !kept;
    snprintf(label, sizeof label, "%.10s %lld", kept->kind, (long long)kept->number);
    return same(stated->label, label) && same(stated->name, kept->name) && stated->bytes == kept->bytes
           && same(stated->sha256, kept->sha256);
}

static unsigned bit(enum sign_off_part part, bool as_it_was)
{
    return as_it_was ? 0 : 1u << part;
}

static unsigned compare(const struct statement *statement, const struct store_signed *is)
{
    return bit(SIGN_OFF_SPECIMEN,
               statement->specimen == is->specimen && same(statement->catalogue_number, is->catalogue_number))
           | bit(SIGN_OFF_SUBJECT, same_file(statement, is, "subject"))
           | bit(SIGN_OFF_REFERENCE, same_file(statement, is, "reference"))
           | bit(SIGN_OFF_RECORD,
                 statement->run == is->run && same(statement->record_sha256, is->record_sha256))
           | bit(SIGN_OFF_SPEC, same(statement->spec_name, is->spec_name)
                                    && statement->spec_version == is->spec_version
                                    && same(statement->spec_sha256, is->spec_sha256))
           | bit(SIGN_OFF_AUDIT, statement->audit == is->audit
                                     && same(statement->audit_sha256, is->audit_sha256)
                                     && same(statement->outcome, is->outcome));
}

unsigned sign_off_changed(const struct store_signoff *signoff, const struct store_signed *is)
{
    struct statement statement;
    struct seal_public key;
    unsigned changed;
    if (!same_bytes(signoff)
        || !statement_open(signoff->statement, strlen(signoff->statement), &statement, NULL))
        return 1u << SIGN_OFF_STATEMENT;
    if (!same_key(signoff, &statement, &key))
        changed = 1u << SIGN_OFF_KEY;
    else if (!is_signed(signoff, &key))
        changed = 1u << SIGN_OFF_SIGNATURE;
    else
        changed = bit(SIGN_OFF_SIGNER, same_signer(signoff, &statement)) | compare(&statement, is);
    statement_close(&statement);
    return changed;
}

/* --- all of an audit --- */

static size_t persons_needed(const struct store_signed *is)
{
    json_t *spec = json_loads(is->spec_body, 0, NULL);
    json_int_t signatures = json_integer_value(json_object_get(spec, "signatures"));
    json_decref(spec);
    return signatures == 2 ? 2 : 1;
}

/* How many different persons are among the first count that hold. */
static bool count_persons(struct sign_offs *offs, struct arena scratch, struct error *err)
{
    const struct store_signoff_list *list = &offs->list;
    const char **persons = ARENA_NEW(&scratch, const char *, list->count);
    if (!persons)
        return arena_error(err);
    for (size_t i = 0; i < list->count; i++) {
        bool is_new = !offs->changed[i];
        const char *person = store_person(list->items[i].signer, &scratch);
        if (!person)
            return arena_error(err);
        for (size_t k = 0; k < offs->persons; k++)
            is_new = is_new && strcmp(persons[k], person) != 0;
        if (is_new)
            persons[offs->persons++] = person;
    }
    return true;
}

static enum sign_off_state state_of(const struct sign_offs *offs)
{
    for (size_t i = 0; i < offs->list.count; i++)
        if (offs->changed[i])
            return SIGN_OFF_BROKEN;
    return !offs->persons ? SIGN_OFF_NONE : offs->persons < offs->needed ? SIGN_OFF_PARTLY : SIGN_OFF_DONE;
}

static bool fill(struct sign_offs *offs, const struct store_signed *is, const char *own_fingerprint,
                 struct arena *keep, struct error *err)
{
    offs->changed = ARENA_NEW(keep, unsigned, offs->list.count);
    offs->own_key = ARENA_NEW(keep, bool, offs->list.count);
    if (!offs->changed || !offs->own_key)
        return arena_error(err);
    for (size_t i = 0; i < offs->list.count; i++) {
        offs->changed[i] = sign_off_changed(&offs->list.items[i], is);
        offs->own_key[i] = same(offs->list.items[i].fingerprint, own_fingerprint);
    }
    return count_persons(offs, *keep, err);
}

bool sign_offs_get(struct store *store, int64_t audit, struct arena *keep, struct sign_offs *offs,
                   struct error *err)
{
    struct store_signed is;
    struct seal_public key;
    char own[DIGEST_HEX_SIZE] = "";
    bool found = false;
    memset(offs, 0, sizeof *offs);
    if (!store_signed_get(store, audit, keep, &is, err)
        || !store_signoff_list(store, audit, keep, &offs->list, err))
        return false;
    /* a key that is gone or damaged is told where it is needed; what it signed holds without it */
    if (store_key_public(store, &key, &found, NULL) && found)
        seal_fingerprint(&key, own);
    offs->needed = persons_needed(&is);
    if (!fill(offs, &is, own, keep, err))
        return false;
    offs->state = state_of(offs);
    return true;
}

/* --- all there are --- */

static bool file_is_whole(struct store *store, const struct store_signed_file *file)
{
    uint64_t bytes;
    int fd;
    if (!store_blob_open(store, file->sha256, &fd, &bytes, NULL))
        return false;
    close(fd);
    return (int64_t)bytes == file->bytes;
}

static void tell(const struct store_signoff *signoff, unsigned changed, sign_off_listener *listener,
                 void *context)
{
    char text[400];
    int at = snprintf(text, sizeof text, "sign-off %lld of audit %lld by %.200s is broken: changed since:",
                      (long long)signoff->id, (long long)signoff->audit, signoff->signer);
    for (enum sign_off_part part = 0; part < SIGN_OFF_PART_COUNT; part++)
        if (changed >> part & 1)
            at += snprintf(text + at, sizeof text - (size_t)at, " %s", sign_off_part_word(part));
    listener(context, text);
}

static bool verify_one(struct store *store, const struct store_signoff *signoff, struct arena scratch,
                       unsigned *changed, struct error *err)
{
    struct store_signed is;
    if (!store_signed_get(store, signoff->audit, &scratch, &is, err))
        return false;
    *changed = sign_off_changed(signoff, &is);
    for (size_t i = 0; i < is.file_count; i++)
        if (!file_is_whole(store, &is.files[i]))
            *changed |=
                1u << (strcmp(is.files[i].role, "subject") == 0 ? SIGN_OFF_SUBJECT : SIGN_OFF_REFERENCE);
    return true;
}

bool sign_offs_verify(struct store *store, sign_off_listener *listener, void *context, size_t *count,
                      size_t *broken, struct error *err)
{
    struct store_signoff_list list;
    struct arena arena;
    *count = *broken = 0;
    if (!arena_open(&arena, (size_t)1 << 30, err)) /* address space, as store/verify.c has it */
        return false;
    bool ok = store_signoff_list(store, 0, &arena, &list, err);
    for (; ok && *count < list.count; ++*count) {
        unsigned changed = 0;
        ok = verify_one(store, &list.items[*count], arena, &changed, err);
        if (ok && changed) {
            ++*broken;
            tell(&list.items[*count], changed, listener, context);
        }
    }
    arena_close(&arena);
    return ok;
}
