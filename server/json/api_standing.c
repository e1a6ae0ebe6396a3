/* api_standing.c - lists of standings as JSON. */
#include "json/api_standing.h"

#include "spec/decision.h"
#include "json/tree.h"

static json_t *holds_json(struct tree *tree, const struct store_standing *item)
{
    json_t *list = tree_array(tree);
    for (size_t i = 0; i < item->facts.hold_count; i++) {
        const struct standing_hold *held = &item->facts.holds[i];
        json_t *hold = tree_object(tree);
        tree_put_text(tree, hold, "rule", held->rule);
        tree_put_text(tree, hold, "name", held->name);
        tree_put_text(tree, hold, "outcome", held->outcome);
        tree_put_bool(tree, hold, "waived", held->waived);
        tree_append(tree, list, hold);
    }
    return list;
}

static json_t *signed_json(struct tree *tree, const struct store_standing *item, int needed)
{
    if (!item->signer_count)
        return json_null();
    json_t *object = tree_object(tree);
    tree_put_integer(tree, object, "persons", item->signer_count);
    tree_put_integer(tree, object, "needed", needed);
    tree_put_text(tree, object, "last", item->signed_at);
    return object;
}

static json_t *item_json(struct tree *tree, const struct store_standing *item, int signatures)
{
    json_t *object = tree_object(tree);
    tree_put(tree, object, "specimen", api_id(item->specimen));
    tree_put_text(tree, object, "catalogue_number", item->catalogue_number);
    tree_put_text(tree, object, "title", item->title);
    tree_put(tree, object, "version", api_id(item->version));
    tree_put(tree, object, "label", item->kind ? api_label(item->kind, item->number) : json_null());
    tree_put(tree, object, "run", api_id(item->run));
    tree_put(tree, object, "audit", api_id(item->audit));
    tree_put_text(tree, object, "standing", standing_word(item->state.standing));
    tree_put_text(tree, object, "cause", item->state.cause ? standing_cause_word(item->state.cause) : NULL);
    tree_put_text(tree, object, "since", item->state.since);
    tree_put_text(tree, object, "audited", item->audit_created);
    tree_put_text(tree, object, "waived_until", item->state.waived_until);
    tree_put(tree, object, "holds", holds_json(tree, item));
    tree_put(tree, object, "signed_off", signed_json(tree, item, signatures));
    tree_put_text(tree, object, "handed_over", item->handed_over);
    return object;
}

static const char *count_key(enum standing standing)
{
    return standing == STANDING_NOT_AUDITED    ? "not_audited"
           : standing == STANDING_NOT_MEASURED ? "not_measured"
                                               : standing_word(standing);
}

static json_t *counts_json(struct tree *tree, const size_t counts[STANDING_COUNT])
{
    json_t *object = tree_object(tree);
    for (size_t i = 0; i < STANDING_COUNT; i++)
        tree_put_count(tree, object, count_key((enum standing)i), counts[i]);
    return object;
}

bool api_standing_write(const struct api_standing *standing, struct api_text *text, struct error *err)
{
    struct tree tree = {false};
    json_t *object = tree_object(&tree), *spec = tree_object(&tree), *items = tree_array(&tree);
    tree_put(&tree, spec, "id", api_id(standing->spec->id));
    tree_put_text(&tree, spec, "name", standing->spec->name);
    tree_put_integer(&tree, spec, "version", standing->spec->version);
    for (size_t i = 0; i < standing->item_count; i++)
        tree_append(&tree, items, item_json(&tree, standing->items[i], standing->signatures));
    tree_put(&tree, object, "spec", spec);
    tree_put(&tree, object, "counts", counts_json(&tree, standing->counts));
    tree_put_count(&tree, object, "to_audit", standing->to_audit);
    tree_put(&tree, object, "items", items);
    tree_put_text(&tree, object, "next", standing->next);
    tree_put_count(&tree, object, "total", standing->total);
    if (tree.failed) {
        json_decref(object);
        object = NULL;
    }
    return api_text_write(object, text, err);
}

bool api_audit_all_write(const struct api_audit_all *all, struct api_text *text, struct error *err)
{
    struct tree tree = {false};
    json_t *object = tree_object(&tree), *refused = tree_array(&tree);
    for (size_t i = 0; i < all->refused_count; i++) {
        json_t *entry = tree_object(&tree);
        tree_put(&tree, entry, "specimen", api_id(all->refused[i].specimen));
        tree_put_text(&tree, entry, "catalogue_number", all->refused[i].catalogue_number);
        tree_put_text(&tree, entry, "reason", all->refused[i].reason);
        tree_append(&tree, refused, entry);
    }
    tree_put_count(&tree, object, "audited", all->audited);
    tree_put_count(&tree, object, "conforms", all->by_outcome[OUTCOME_CONFORMS]);
    tree_put_count(&tree, object, "does_not_conform", all->by_outcome[OUTCOME_DOES_NOT_CONFORM]);
    tree_put_count(&tree, object, "undecided", all->by_outcome[OUTCOME_UNDECIDED]);
    tree_put(&tree, object, "refused", refused);
    tree_put_count(&tree, object, "left", all->left);
    tree_put(&tree, object, "next", api_id(all->next));
    if (tree.failed) {
        json_decref(object);
        object = NULL;
    }
    return api_text_write(object, text, err);
}
