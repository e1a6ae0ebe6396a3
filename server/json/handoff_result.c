/* handoff_result.c - outcome, checks and differences as JSON. */
#include "json/handoff_result.h"

#include "json/tree.h"
#include "json/writer.h"

static const struct {
    const char *word, *claim;
} aspects[BAG_ASPECT_COUNT] = {
    [BAG_COMPLETE] = {"complete",
                      "Every file that is listed is there, and every file that is there is listed"},
    [BAG_VALID] = {"valid", "Every file has the digests written of it, and the bag its form (RFC 8493)"},
    [BAG_SEALED] = {"seal", "The key sealed these manifests"},
    [BAG_SIGNED] = {"sign-offs",
                    "Every sign-off has a signature that fits, of as many persons as the spec asks"},
    [BAG_AGREES] = {"documents", "Record, spec, audit and sign-offs speak of these files"},
    [BAG_JUDGED] = {"audit", "The record judged by the spec again gives the audit, byte for byte"},
    [BAG_MEASURED] = {"measure", "The files measured again give the values of the record"},
};

bool handoff_holds(const struct handoff_result *result)
{
    return result->problems.total == 0;
}

const char *handoff_aspect_word(enum bag_aspect aspect)
{
    return aspects[aspect].word;
}

const char *handoff_aspect_claim(enum bag_aspect aspect)
{
    return aspects[aspect].claim;
}

static json_t *problems_json(struct tree *tree, const struct bag_problems *problems, enum bag_aspect aspect)
{
    json_t *list = tree_array(tree);
    for (size_t i = 0; i < problems->count; i++) {
        if (problems->items[i].aspect != aspect)
            continue;
        json_t *object = tree_object(tree);
        tree_put_text(tree, object, "path", problems->items[i].path);
        tree_put_text(tree, object, "text", problems->items[i].text);
        tree_append(tree, list, object);
    }
    return list;
}

static json_t *checks_json(struct tree *tree, const struct handoff_result *result)
{
    json_t *list = tree_array(tree);
    for (enum bag_aspect aspect = 0; aspect < BAG_ASPECT_COUNT; aspect++) {
        json_t *object = tree_object(tree);
        size_t count = result->problems.by_aspect[aspect];
        tree_put_text(tree, object, "check", aspects[aspect].word);
        tree_put_text(tree, object, "claim", aspects[aspect].claim);
        tree_put_text(tree, object, "outcome",
                      count                     ? "does not hold"
                      : result->skipped[aspect] ? "not made"
                                                : "holds");
        tree_put_text(tree, object, "reason", result->skipped[aspect]);
        tree_put(tree, object, "problems", problems_json(tree, &result->problems, aspect));
        tree_put_count(tree, object, "problems_total", count);
        tree_append(tree, list, object);
    }
    return list;
}

static const char *change_word(enum handoff_change change)
{
    return change == CHANGE_NONE ? "same" : change == CHANGE_THERE ? "changed" : NULL;
}

static json_t *measured_json(struct tree *tree, const struct handoff_result *result)
{
    if (result->skipped[BAG_MEASURED] && result->file == CHANGE_UNKNOWN)
        return json_null();
    json_t *object = tree_object(tree), *list = tree_array(tree);
    tree_put_text(tree, object, "file", change_word(result->file));
    tree_put_text(tree, object, "definition", change_word(result->definition));
    tree_put_text(tree, object, "engine", change_word(result->engine));
    tree_put_text(tree, object, "engine_then", result->engine_then);
    tree_put_text(tree, object, "engine_now", result->engine_now);
    for (size_t i = 0; i < result->differences.count; i++) {
        json_t *item = tree_object(tree);
        tree_put_text(tree, item, "path", result->differences.items[i].path);
        tree_put_text(tree, item, "then", result->differences.items[i].then);
        tree_put_text(tree, item, "now", result->differences.items[i].now);
        tree_append(tree, list, item);
    }
    tree_put(tree, object, "differences", list);
    tree_put_count(tree, object, "differences_total", result->differences.total);
    return object;
}

static json_t *signers_json(struct tree *tree, const struct handoff_result *result)
{
    json_t *list = tree_array(tree);
    for (size_t i = 0; i < result->signer_count && i < sizeof result->signers / sizeof *result->signers; i++)
        tree_append(tree, list, json_string(result->signers[i]));
    return list;
}

static json_t *handoff_json(struct tree *tree, const struct handoff_result *result)
{
    json_t *object = tree_object(tree);
    tree_put_text(tree, object, "name", result->name);
    tree_put_text(tree, object, "catalogue_number", result->catalogue_number);
    tree_put_text(tree, object, "title", result->title);
    tree_put_text(tree, object, "by", result->by);
    tree_put_text(tree, object, "time", result->time);
    tree_put_text(tree, object, "seal", result->seal[0] ? result->seal : NULL);
    tree_put_bool(tree, object, "key_given", result->key_given);
    tree_put(tree, object, "signers", signers_json(tree, result));
    tree_put_count(tree, object, "files", result->file_count);
    tree_put_count(tree, object, "bytes", (size_t)result->bytes);
    return object;
}

static bool finish(struct tree *tree, json_t *object, char **text, size_t *size, struct error *err)
{
    bool ok = tree->failed ? error_set(err, ERROR_MACHINE, "memory is out while writing a check")
                           : writer_dump(object, WRITER_LINE, text, size, err);
    json_decref(object);
    return ok;
}

bool handoff_result_text(const struct handoff_result *result, char **text, size_t *size, struct error *err)
{
    struct tree tree = {false};
    json_t *object = tree_object(&tree);
    tree_put_text(&tree, object, "schema", "fettle/handoff-check/1");
    tree_put_text(&tree, object, "outcome", handoff_holds(result) ? "holds" : "does not hold");
    tree_put_null(&tree, object, "reason");
    tree_put(&tree, object, "handoff", handoff_json(&tree, result));
    tree_put(&tree, object, "checks", checks_json(&tree, result));
    tree_put(&tree, object, "measured_again", measured_json(&tree, result));
    return finish(&tree, object, text, size, err);
}

bool handoff_refusal_text(const struct error *why, char **text, size_t *size, struct error *err)
{
    struct tree tree = {false};
    json_t *object = tree_object(&tree), *reason = tree_object(&tree);
    tree_put_text(&tree, reason, "code", error_word(why->code));
    tree_put_text(&tree, reason, "text", why->text);
    tree_put_text(&tree, object, "schema", "fettle/handoff-check/1");
    tree_put_text(&tree, object, "outcome", "refused");
    tree_put(&tree, object, "reason", reason);
    tree_put_null(&tree, object, "handoff");
    tree_put(&tree, object, "checks", tree_array(&tree));
    tree_put_null(&tree, object, "measured_again");
    return finish(&tree, object, text, size, err);
}
