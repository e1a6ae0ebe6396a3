/* verify_seal.c - signatures, offline: of the whole, and of each sign-off. */
#include "handoff/verifying.h"
#include "seal/seal.h"
#include "store/signoffs.h"
#include "json/statement.h"

#include <stdio.h>
#include <string.h>

/* A statement, its signature and the key, as files of the handoff. */
struct signed_text {
    const char *statement_path;
    const char *statement;
    uint64_t size;
    struct seal_public key;
};

/* False where something is missing (ERROR_NONE) or is no key or signature. *holds: the signature fits. */
static bool look(struct verifying *verifying, const char *signature_path, const char *key_path,
                 struct signed_text *is, bool *holds, struct error *err)
{
    struct seal_signature signature;
    uint64_t signature_size, key_size;
    is->statement = verifying_text(verifying, is->statement_path, HANDOFF_STATEMENT_MAX, &is->size, err);
    const char *bytes =
        is->statement ? verifying_text(verifying, signature_path, HANDOFF_STATEMENT_MAX, &signature_size, err)
                      : NULL;
    const char *pem =
        bytes ? verifying_text(verifying, key_path, HANDOFF_STATEMENT_MAX, &key_size, err) : NULL;
    if (!pem)
        return false;
    if (signature_size != sizeof signature.bytes)
        return error_set(err, ERROR_DATA, "%.100s is no Ed25519 signature of 64 bytes", signature_path);
    if (!seal_public_read(pem, &is->key))
        return error_set(err, ERROR_DATA, "%.100s is no Ed25519 public key in PEM", key_path);
    memcpy(signature.bytes, bytes, sizeof signature.bytes);
    *holds = seal_holds(&is->key, &signature, is->statement, is->size);
    return true;
}

static void fail(struct verifying *verifying, enum bag_aspect aspect, const char *path,
                 const struct error *err)
{
    bag_problem_add(verifying->problems, aspect, path, "%s", err->text);
}

/* --- the whole --- */

/* Every tag file but those that come after the statement was signed. */
static bool must_be_sealed(const char *path)
{
    return strncmp(path, "data/", 5) != 0 && strncmp(path, "seal/", 5) != 0
           && strncmp(path, "tagmanifest-", 12) != 0;
}

static void check_tag_files(struct verifying *verifying)
{
    struct handoff_digests said;
    size_t sealed = 0, wanted = 0;
    for (size_t i = 0; handoff_statement_tag(&verifying->statement, i, &said); i++) {
        const struct bag_file *file = bag_find(&verifying->bag, said.path);
        sealed += file && must_be_sealed(said.path);
        if (!file)
            bag_problem_add(verifying->problems, BAG_SEALED, said.path, "was sealed, and is not there");
        else if (!said.sha256 || !said.sha512 || strcmp(said.sha256, file->sha256) != 0
                 || strcmp(said.sha512, file->sha512) != 0)
            bag_problem_add(verifying->problems, BAG_SEALED, said.path, "is not what was sealed");
    }
    for (size_t f = 0; f < verifying->bag.count; f++)
        wanted += must_be_sealed(verifying->bag.files[f].path);
    if (wanted > sealed)
        bag_problem_add(verifying->problems, BAG_SEALED, HANDOFF_STATEMENT_PATH,
                        "leaves out %zu tag files that are there", wanted - sealed);
}

static void compare_key(struct verifying *verifying, const struct seal_public *key, const char *pem)
{
    struct seal_public wanted;
    verifying->result->key_given = true;
    if (!seal_public_read(pem, &wanted))
        bag_problem_add(verifying->problems, BAG_SEALED, "",
                        "the key to compare with is no Ed25519 key in PEM");
    else if (memcmp(wanted.bytes, key->bytes, sizeof wanted.bytes) != 0)
        bag_problem_add(verifying->problems, BAG_SEALED, HANDOFF_KEY_PATH,
                        "is another key than the one it was to be sealed with");
}

void verify_seal(struct verifying *verifying, const char *key)
{
    struct signed_text is = {.statement_path = HANDOFF_STATEMENT_PATH};
    struct error err = {0};
    bool holds = false;
    if (!look(verifying, HANDOFF_SIGNATURE_PATH, HANDOFF_KEY_PATH, &is, &holds, &err)) {
        fail(verifying, BAG_SEALED, "seal", &err);
        return;
    }
    seal_fingerprint(&is.key, verifying->result->seal);
    if (!holds)
        bag_problem_add(verifying->problems, BAG_SEALED, HANDOFF_SIGNATURE_PATH,
                        "is not the signature of " HANDOFF_STATEMENT_PATH " by " HANDOFF_KEY_PATH);
    if (key)
        compare_key(verifying, &is.key, key);
    if (verifying->has_statement)
        check_tag_files(verifying);
}

/* --- sign-offs --- */

static void note_signer(struct verifying *verifying, const char *name)
{
    struct handoff_result *result = verifying->result;
    size_t most = sizeof result->signers / sizeof *result->signers, size = strlen(name) + 1;
    char *copy = result->signer_count < most ? ARENA_NEW(verifying->keep, char, size) : NULL;
    if (copy)
        result->signers[result->signer_count++] = memcpy(copy, name, size);
}

static void be_said(struct verifying *verifying, const char *statement_path, const char *path,
                    const char *sha256)
{
    const struct bag_file *file = path ? bag_find(&verifying->bag, path) : NULL;
    if (file && (!sha256 || strcmp(sha256, file->sha256) != 0))
        bag_problem_add(verifying->problems, BAG_AGREES, path, "is not the file that %s was signed for",
                        statement_path);
}

static const char *said_of_file(const struct statement *said, const char *role)
{
    for (size_t i = 0; i < said->file_count; i++)
        if (strcmp(said->files[i].role, role) == 0)
            return said->files[i].sha256;
    return NULL;
}

static void check_said(struct verifying *verifying, const struct signed_text *is)
{
    struct statement said;
    struct error err = {0};
    char fingerprint[DIGEST_HEX_SIZE];
    if (!statement_open(is->statement, is->size, &said, &err)) {
        fail(verifying, BAG_SIGNED, is->statement_path, &err);
        return;
    }
    seal_fingerprint(&is->key, fingerprint);
    if (strcmp(fingerprint, said.fingerprint) != 0)
        bag_problem_add(verifying->problems, BAG_SIGNED, is->statement_path,
                        "names another key than the one that lies beside it");
    note_signer(verifying, said.signer.name);
    be_said(verifying, is->statement_path, HANDOFF_RECORD_PATH, said.record_sha256);
    be_said(verifying, is->statement_path, HANDOFF_SPEC_PATH, said.spec_sha256);
    be_said(verifying, is->statement_path, HANDOFF_AUDIT_PATH, said.audit_sha256);
    if (verifying->has_statement) {
        be_said(verifying, is->statement_path, verifying->statement.subject, said_of_file(&said, "subject"));
        be_said(verifying, is->statement_path, verifying->statement.reference,
                said_of_file(&said, "reference"));
    }
    statement_close(&said);
}

static void check_sign_off(struct verifying *verifying, size_t i)
{
    char statement[64], signature[64], key[64];
    snprintf(statement, sizeof statement, HANDOFF_SIGN_OFFS_PATH "%zu.statement.json", i + 1);
    snprintf(signature, sizeof signature, HANDOFF_SIGN_OFFS_PATH "%zu.sig", i + 1);
    snprintf(key, sizeof key, HANDOFF_SIGN_OFFS_PATH "%zu.key.pem", i + 1);
    struct signed_text is = {.statement_path = statement};
    struct error err = {0};
    bool holds = false;
    if (!look(verifying, signature, key, &is, &holds, &err)) {
        fail(verifying, BAG_SIGNED, statement, &err);
        return;
    }
    if (!holds)
        bag_problem_add(verifying->problems, BAG_SIGNED, signature, "is not the signature of %s by %s",
                        statement, key);
    const struct bag_file *file = bag_find(&verifying->bag, statement);
    const char *sealed = handoff_statement_sign_off(&verifying->statement, i);
    if (!sealed || strcmp(sealed, file->sha256) != 0)
        bag_problem_add(verifying->problems, BAG_SIGNED, statement, "is not the sign-off that was sealed");
    check_said(verifying, &is);
}

static bool is_another(struct verifying *verifying, size_t i)
{
    const char *one = store_person(verifying->result->signers[i], verifying->keep);
    for (size_t k = 0; one && k < i; k++) {
        const char *other = store_person(verifying->result->signers[k], verifying->keep);
        if (other && strcmp(one, other) == 0)
            return false;
    }
    return one != NULL;
}

void verify_sign_offs(struct verifying *verifying)
{
    enum { SIGN_OFFS_MAX = 8 };
    size_t count = verifying->statement.sign_off_count, persons = 0;
    if (!verifying->has_statement) {
        verifying->result->skipped[BAG_SIGNED] = "there is no statement that says how many there are";
        return;
    }
    for (size_t i = 0; i < count && i < SIGN_OFFS_MAX; i++)
        check_sign_off(verifying, i);
    for (size_t i = 0; i < verifying->result->signer_count; i++)
        persons += is_another(verifying, i);
    size_t wanted = verifying->has_spec ? (size_t)verifying->spec.signatures : 1;
    if (persons < wanted)
        bag_problem_add(verifying->problems, BAG_SIGNED, HANDOFF_SIGN_OFFS_PATH,
                        "%zu persons signed, the spec wants %zu", persons, wanted);
}
