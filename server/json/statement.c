/* statement.c - writing and reading statements. */
#include "json/statement.h"

#include "json/body.h"
#include "json/tree.h"
#include "json/writer.h"

#include <stdio.h>
#include <string.h>

/* --- writing --- */

static void put_id(struct tree *tree, json_t *object, const char *key, int64_t id)
{
    char text[24];
    snprintf(text, sizeof text, "%lld", (long long)id);
    tree_put_text(tree, object, key, text);
}

static json_t *file_json(struct tree *tree, const struct store_signed_file *file)
{
    char label[40];
    json_t *object = tree_object(tree);
    snprintf(label, sizeof label, "%.10s %lld", file->kind, (long long)file->number);
    tree_put_text(tree, object, "role", file->role);
    tree_put_text(tree, object, "label", label);
    tree_put_text(tree, object, "name", file->name);
    tree_put_integer(tree, object, "bytes", file->bytes);
    tree_put_text(tree, object, "sha256", file->sha256);
    return object;
}

/* The waivers that the audit has, each with its rule. */
static json_t *waivers_json(struct tree *tree, const json_t *audit)
{
    json_t *list = tree_array(tree);
    const json_t *rules = json_object_get(audit, "rules");
    for (size_t i = 0; i < json_array_size(rules); i++) {
        json_t *rule = json_array_get(rules, i), *waiver = json_object_get(rule, "waiver");
        if (!json_is_object(waiver))
            continue;
        json_t *copy = json_deep_copy(waiver);
        tree_put(tree, copy, "rule", json_incref(json_object_get(rule, "id")));
        tree_append(tree, list, copy);
    }
    return list;
}

static json_t *spec_json(struct tree *tree, const struct store_signed *is)
{
    json_t *object = tree_object(tree);
    tree_put_text(tree, object, "name", is->spec_name);
    tree_put_integer(tree, object, "version", is->spec_version);
    tree_put_text(tree, object, "sha256", is->spec_sha256);
    return object;
}

static json_t *thing_json(struct tree *tree, int64_t id, const char *key, const char *value)
{
    json_t *object = tree_object(tree);
    put_id(tree, object, "id", id);
    tree_put_text(tree, object, key, value);
    return object;
}

static json_t *audit_json(struct tree *tree, const struct store_signed *is)
{
    json_t *object = thing_json(tree, is->audit, "sha256", is->audit_sha256);
    tree_put_text(tree, object, "outcome", is->outcome);
    return object;
}

static json_t *signer_json(struct tree *tree, const struct statement_signer *signer)
{
    json_t *object = tree_object(tree);
    tree_put_text(tree, object, "name", signer->name);
    tree_put_text(tree, object, "role", signer->role);
    tree_put_text(tree, object, "note", signer->note);
    return object;
}

static json_t *key_json(struct tree *tree, const char *fingerprint)
{
    json_t *object = tree_object(tree);
    tree_put_text(tree, object, "algorithm", "Ed25519");
    tree_put_text(tree, object, "fingerprint", fingerprint);
    return object;
}

bool statement_write(const struct store_signed *is, const struct statement_signer *signer, const char *time,
                     const char *fingerprint, char **text, size_t *size, struct error *err)
{
    struct tree tree = {false};
    json_t *audit = json_loads(is->audit_body, 0, NULL);
    if (!audit)
        return error_set(err, ERROR_STORE, "what is stored as audit %lld is not JSON; run fettle verify",
                         (long long)is->audit);
    json_t *object = tree_object(&tree), *files = tree_array(&tree);
    for (size_t i = 0; i < is->file_count; i++)
        tree_append(&tree, files, file_json(&tree, &is->files[i]));
    tree_put_text(&tree, object, "schema", STATEMENT_SCHEMA);
    tree_put(&tree, object, "specimen",
             thing_json(&tree, is->specimen, "catalogue_number", is->catalogue_number));
    tree_put(&tree, object, "files", files);
    tree_put(&tree, object, "record", thing_json(&tree, is->run, "sha256", is->record_sha256));
    tree_put(&tree, object, "spec", spec_json(&tree, is));
    tree_put(&tree, object, "audit", audit_json(&tree, is));
    tree_put(&tree, object, "waivers", waivers_json(&tree, audit));
    tree_put(&tree, object, "signer", signer_json(&tree, signer));
    tree_put_text(&tree, object, "signed", time);
    tree_put(&tree, object, "key", key_json(&tree, fingerprint));
    bool ok = tree.failed ? error_set(err, ERROR_MACHINE, "memory is out while writing a statement")
                          : writer_dump(object, WRITER_CANONICAL, text, size, err);
    json_decref(object);
    json_decref(audit);
    return ok;
}

/* --- reading --- */

static const char *text_at(const json_t *document, const char *part, const char *key)
{
    return json_string_value(json_object_get(json_object_get(document, part), key));
}

static int64_t id_at(const json_t *document, const char *part)
{
    const char *text = text_at(document, part, "id");
    int64_t id;
    return text && id_parse(text, &id) ? id : 0;
}

static bool take_file(const json_t *object, struct statement_file *file)
{
    const json_t *bytes = json_object_get(object, "bytes");
    *file = (struct statement_file){.role = json_string_value(json_object_get(object, "role")),
                                    .label = json_string_value(json_object_get(object, "label")),
                                    .name = json_string_value(json_object_get(object, "name")),
                                    .sha256 = json_string_value(json_object_get(object, "sha256")),
                                    .bytes = json_integer_value(bytes)};
    return file->role && file->label && file->name && file->sha256 && json_is_integer(bytes);
}

static bool take_files(struct statement *statement)
{
    const json_t *files = json_object_get(statement->document, "files");
    statement->file_count = json_array_size(files);
    if (statement->file_count < 1 || statement->file_count > 2)
        return false;
    for (size_t i = 0; i < statement->file_count; i++)
        if (!take_file(json_array_get(files, i), &statement->files[i]))
            return false;
    return true;
}

static void take_parts(struct statement *statement)
{
    const json_t *document = statement->document;
    statement->specimen = id_at(document, "specimen");
    statement->catalogue_number = text_at(document, "specimen", "catalogue_number");
    statement->run = id_at(document, "record");
    statement->record_sha256 = text_at(document, "record", "sha256");
    statement->spec_name = text_at(document, "spec", "name");
    statement->spec_sha256 = text_at(document, "spec", "sha256");
    statement->spec_version =
        json_integer_value(json_object_get(json_object_get(document, "spec"), "version"));
    statement->audit = id_at(document, "audit");
    statement->audit_sha256 = text_at(document, "audit", "sha256");
    statement->outcome = text_at(document, "audit", "outcome");
    statement->signer = (struct statement_signer){.name = text_at(document, "signer", "name"),
                                                  .role = text_at(document, "signer", "role"),
                                                  .note = text_at(document, "signer", "note")};
    statement->time = json_string_value(json_object_get(document, "signed"));
    statement->fingerprint = text_at(document, "key", "fingerprint");
}

static bool is_whole(const struct statement *statement)
{
    const char *schema = json_string_value(json_object_get(statement->document, "schema"));
    return schema && strcmp(schema, STATEMENT_SCHEMA) == 0 && statement->catalogue_number
           && statement->record_sha256 && statement->spec_name && statement->spec_sha256
           && statement->audit_sha256 && statement->outcome && statement->signer.name && statement->time
           && statement->fingerprint;
}

bool statement_open(const char *text, size_t size, struct statement *statement, struct error *err)
{
    *statement = (struct statement){.document = json_loadb(text, size, JSON_REJECT_DUPLICATES, NULL)};
    if (statement->document) {
        take_parts(statement);
        if (is_whole(statement) && take_files(statement))
            return true;
    }
    statement_close(statement);
    return error_set(err, ERROR_DATA, "this is not a statement of a sign-off (" STATEMENT_SCHEMA ")");
}

void statement_close(struct statement *statement)
{
    json_decref(statement->document);
    memset(statement, 0, sizeof *statement);
}
