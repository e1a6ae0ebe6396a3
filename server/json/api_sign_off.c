/* api_sign_off.c - sign-offs, the key and the log as JSON. */
#include "json/api_sign_off.h"

#include <jansson.h>

/* Puts value in, NULL included; *object becomes NULL where memory is out. */
static void put(json_t **object, const char *key, json_t *value)
{
    if (!*object || json_object_set_new(*object, key, value) != 0) {
        json_decref(*object);
        *object = NULL;
    }
}

static void append(json_t **list, json_t *value)
{
    if (!*list || json_array_append_new(*list, value) != 0) {
        json_decref(*list);
        *list = NULL;
    }
}

static json_t *changed_tree(unsigned changed)
{
    json_t *list = json_array();
    for (enum sign_off_part part = 0; part < SIGN_OFF_PART_COUNT; part++)
        if (changed >> part & 1)
            append(&list, json_string(sign_off_part_word(part)));
    return list;
}

static json_t *sign_off_tree(const struct sign_offs *offs, size_t i)
{
    const struct store_signoff *signoff = &offs->list.items[i];
    return json_pack(
        "{s:o, s:o, s:o, s:s, s:o, s:o, s:s, s:s, s:{s:s, s:b}, s:b, s:o}", "id", api_id(signoff->id),
        "audit", api_id(signoff->audit), "specimen", api_id(signoff->specimen), "by", signoff->signer, "role",
        api_string(signoff->role), "note", api_string(signoff->note), "created", signoff->created, "sha256",
        signoff->sha256, "key", "fingerprint", signoff->fingerprint, "of_service", (int)offs->own_key[i],
        "holds", (int)(offs->changed[i] == 0), "changed", changed_tree(offs->changed[i]));
}

bool api_sign_offs_write(int64_t audit, const struct sign_offs *offs, const char *refusal,
                         struct api_text *text, struct error *err)
{
    json_t *items = json_array();
    for (size_t i = 0; i < offs->list.count; i++)
        append(&items, sign_off_tree(offs, i));
    json_t *tree = json_pack("{s:o, s:s, s:{s:I, s:I}, s:o}", "audit", api_id(audit), "state",
                             sign_off_state_word(offs->state), "persons", "needed", (json_int_t)offs->needed,
                             "signed", (json_int_t)offs->persons, "refusal", api_string(refusal));
    put(&tree, "items", items);
    return api_text_write(tree, text, err);
}

bool api_sign_off_write(const struct sign_offs *offs, size_t i, struct api_text *text, struct error *err)
{
    const struct store_signoff *signoff = &offs->list.items[i];
    json_t *tree = sign_off_tree(offs, i);
    put(&tree, "statement", json_string(signoff->statement));
    put(&tree, "signature", json_string(signoff->signature));
    put(&tree, "public_key", json_string(signoff->public_key));
    return api_text_write(tree, text, err);
}

bool api_key_write(const struct seal_public *key, struct api_text *text, struct error *err)
{
    char pem[SEAL_PEM_SIZE], fingerprint[DIGEST_HEX_SIZE];
    seal_public_write(key, pem);
    seal_fingerprint(key, fingerprint);
    return api_text_write(
        json_pack("{s:s, s:s, s:s}", "algorithm", "Ed25519", "fingerprint", fingerprint, "public_key", pem),
        text, err);
}

static json_t *step_tree(const struct store_step *step)
{
    return json_pack("{s:o, s:o, s:s, s:s, s:o, s:s, s:{s:s, s:o}}", "id", api_id(step->id), "specimen",
                     api_id(step->specimen), "created", step->created, "kind", step->kind, "who",
                     api_string(step->who), "text", step->text, "about", "kind", step->about, "id",
                     api_id(step->about_id));
}

bool api_steps_write(const struct store_step_page *page, struct api_text *text, struct error *err)
{
    json_t *items = json_array();
    for (size_t i = 0; i < page->count; i++)
        append(&items, step_tree(&page->items[i]));
    return api_text_write(items ? api_page(items, page->next, page->total) : NULL, text, err);
}
