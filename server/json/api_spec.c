/* api_spec.c - rows of specs, waivers and audits as JSON. */
#include "json/api_spec.h"

#include <jansson.h>
#include <string.h>

/* --- lists --- */

/* {"items":items}; takes items, NULL included. */
static bool write_items(json_t *items, struct api_text *text, struct error *err)
{
    return api_text_write(items ? json_pack("{s:o}", "items", items) : NULL, text, err);
}

/* False and NULL when memory is out; takes entry. */
static bool append(json_t **items, json_t *entry)
{
    if (*items && json_array_append_new(*items, entry) == 0)
        return true;
    json_decref(*items);
    *items = NULL;
    return false;
}

/* What was stored as text, under a key of tree; takes nothing. */
static bool put_stored(json_t *tree, const char *key, const char *body, struct error *err)
{
    json_t *stored = json_loads(body ? body : "", 0, NULL);
    if (!stored)
        return error_set(err, ERROR_STORE, "what is stored as %s is not JSON; run fettle verify", key);
    return json_object_set_new(tree, key, stored) == 0
           || error_set(err, ERROR_MACHINE, "memory is short; try again later");
}

static bool write_with_stored(json_t *tree, const char *key, const char *body, struct api_text *text,
                              struct error *err)
{
    if (!tree)
        return error_set(err, ERROR_MACHINE, "memory is short; try again later");
    if (put_stored(tree, key, body, err))
        return api_text_write(tree, text, err);
    json_decref(tree);
    return false;
}

/* --- specs --- */

static json_t *spec_tree(const struct store_spec *spec)
{
    return json_pack("{s:o, s:s, s:I, s:s, s:s, s:b, s:I}", "id", api_id(spec->id), "name", spec->name,
                     "version", (json_int_t)spec->version, "sha256", spec->sha256, "created", spec->created,
                     "latest", (int)spec->is_latest, "audits", (json_int_t)spec->audit_count);
}

bool api_specs_write(const struct store_spec_list *list, struct api_text *text, struct error *err)
{
    json_t *items = json_array();
    for (size_t i = 0; i < list->count && append(&items, spec_tree(&list->items[i])); i++)
        ;
    return write_items(items, text, err);
}

bool api_spec_write(const struct store_spec *spec, struct api_text *text, struct error *err)
{
    return write_with_stored(spec_tree(spec), "spec", spec->body, text, err);
}

bool spec_says_the_same(const struct spec *a, const struct spec *b)
{
    json_t *left = json_copy(a->document), *right = json_copy(b->document);
    json_object_del(left, "version");
    json_object_del(right, "version");
    bool same = left && right && json_equal(left, right);
    json_decref(left);
    json_decref(right);
    return same;
}

bool spec_become_version(struct spec *spec, int version, struct error *err)
{
    if (json_object_set_new(spec->document, "version", json_integer(version)) != 0)
        return error_set(err, ERROR_MACHINE, "memory is short; try again later");
    spec->version = version;
    return spec_digest(spec, err);
}

/* --- waivers --- */

static json_t *waiver_tree(const struct store_waiver *waiver, const char *day)
{
    bool holds = !waiver->withdrawn_at && strcmp(waiver->expires, day) >= 0;
    return json_pack("{s:o, s:o, s:s, s:s, s:s, s:s, s:s, s:s, s:o, s:b}", "id", api_id(waiver->id),
                     "specimen", api_id(waiver->specimen), "spec", waiver->spec_name, "rule", waiver->rule,
                     "reason", waiver->reason, "author", waiver->author, "expires", waiver->expires,
                     "created", waiver->created, "withdrawn_at", api_string(waiver->withdrawn_at), "holds",
                     (int)holds);
}

bool api_waivers_write(const struct store_waiver_list *list, const char *day, struct api_text *text,
                       struct error *err)
{
    json_t *items = json_array();
    for (size_t i = 0; i < list->count && append(&items, waiver_tree(&list->items[i], day)); i++)
        ;
    return write_items(items, text, err);
}

bool api_waiver_write(const struct store_waiver *waiver, const char *day, struct api_text *text,
                      struct error *err)
{
    return api_text_write(waiver_tree(waiver, day), text, err);
}

/* --- audits --- */

static json_t *audit_tree(const struct store_audit *audit)
{
    json_t *spec = json_pack("{s:o, s:s, s:I}", "id", api_id(audit->spec), "name", audit->spec_name,
                             "version", (json_int_t)audit->spec_version);
    return json_pack("{s:o, s:o, s:o, s:o, s:o, s:o, s:s, s:s, s:I, s:s, s:s, s:I}", "id", api_id(audit->id),
                     "run", api_id(audit->run), "spec", spec, "specimen", api_id(audit->specimen), "version",
                     api_id(audit->version), "label", api_label(audit->kind, audit->number),
                     "catalogue_number", audit->catalogue_number, "outcome", audit->outcome, "waived",
                     (json_int_t)audit->waived, "sha256", audit->sha256, "created", audit->created,
                     "sign_offs", (json_int_t)audit->sign_off_count);
}

bool api_audits_write(const struct store_audit_page *page, struct api_text *text, struct error *err)
{
    json_t *items = json_array();
    for (size_t i = 0; i < page->count && append(&items, audit_tree(&page->items[i])); i++)
        ;
    return api_text_write(items ? api_page(items, page->next, page->total) : NULL, text, err);
}

bool api_audit_write(const struct store_audit *audit, struct api_text *text, struct error *err)
{
    return write_with_stored(audit_tree(audit), "audit", audit->body, text, err);
}

static json_t *tally(size_t runs, size_t conforms, size_t undecided)
{
    return json_pack("{s:I, s:I, s:I}", "conforms", (json_int_t)conforms, "undecided", (json_int_t)undecided,
                     "does_not_conform", (json_int_t)(runs - conforms - undecided));
}

bool api_spec_check_write(const struct error *fault, struct api_text *text, struct error *err)
{
    return api_text_write(
        json_pack("{s:b, s:o, s:o}", "valid", !fault, "detail", api_string(fault ? fault->text : NULL),
                  "line", fault && fault->line ? json_integer((json_int_t)fault->line) : json_null()),
        text, err);
}

bool api_what_if_write(const struct api_what_if *what_if, struct api_text *text, struct error *err)
{
    return api_text_write(json_pack("{s:s, s:f, s:I, s:o, s:o}", "rule", what_if->rule, "limit",
                                    what_if->limit, "runs", (json_int_t)what_if->runs, "now",
                                    tally(what_if->runs, what_if->conforms_now, what_if->undecided_now),
                                    "then",
                                    tally(what_if->runs, what_if->conforms_then, what_if->undecided_then)),
                          text, err);
}
