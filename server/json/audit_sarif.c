/* audit_sarif.c - an audit as SARIF 2.1.0: what build servers show beside a file. */
#include "json/audit_json.h"

#include "run/version.h"
#include "json/tree.h"
#include "json/writer.h"

#include <stdio.h>
#include <string.h>

static json_t *message(struct tree *tree, const char *text)
{
    json_t *object = tree_object(tree);
    tree_put_text(tree, object, "text", text);
    return object;
}

static json_t *rules_json(struct tree *tree, const struct spec *spec)
{
    json_t *list = tree_array(tree);
    for (size_t i = 0; i < spec->rule_count; i++) {
        const struct rule *rule = &spec->rules[i];
        json_t *object = tree_object(tree);
        tree_put_text(tree, object, "id", rule->id);
        tree_put(tree, object, "shortDescription", message(tree, rule->name));
        tree_put(tree, object, "fullDescription", message(tree, rule->reason));
        tree_put(tree, object, "help", message(tree, rule->source));
        tree_append(tree, list, object);
    }
    return list;
}

static json_t *tool_json(struct tree *tree, const struct spec *spec)
{
    json_t *tool = tree_object(tree), *driver = tree_object(tree);
    tree_put_text(tree, driver, "name", "fettle");
    tree_put_text(tree, driver, "version", engine_version());
    tree_put(tree, driver, "rules", rules_json(tree, spec));
    tree_put(tree, tool, "driver", driver);
    return tool;
}

/* A file's name as a relative URI reference (RFC 3986: what is not unreserved is percent-encoded). */
static json_t *uri_of(const char *name)
{
    static const char unreserved[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-._~";
    char uri[1024];
    size_t used = 0;
    for (; name && *name && used + 4 < sizeof uri; name++) {
        if (strchr(unreserved, *name))
            uri[used++] = *name;
        else
            used += (size_t)snprintf(uri + used, 4, "%%%02X", (unsigned char)*name);
    }
    uri[used] = '\0';
    return json_string(uri);
}

static json_t *location_json(struct tree *tree, const char *name)
{
    json_t *location = tree_object(tree), *physical = tree_object(tree), *artifact = tree_object(tree);
    tree_put(tree, artifact, "uri", uri_of(name));
    tree_put(tree, physical, "artifactLocation", artifact);
    tree_put(tree, location, "physicalLocation", physical);
    return location;
}

static const char *level_of(const struct audit_rule *judged)
{
    return !judged->rule->required || judged->waiver     ? "note"
           : judged->outcome == OUTCOME_DOES_NOT_CONFORM ? "error"
                                                         : "warning";
}

static json_t *result_message(struct tree *tree, const struct audit_rule *judged)
{
    char value[160], limit[96], advice[200];
    audit_value_text(judged, value, sizeof value);
    audit_limit_text(judged->rule, limit, sizeof limit);
    audit_advice(judged, advice, sizeof advice);
    json_t *object = tree_object(tree);
    tree_put(tree, object, "text",
             json_sprintf("%s: %s, limit: %s: %s.%s%s%s %s", judged->rule->name, value, limit,
                          outcome_word(judged->outcome), *advice ? " " : "", advice, *advice ? "." : "",
                          judged->rule->reason));
    return object;
}

static json_t *result_json(struct tree *tree, const struct audited *audited, size_t i)
{
    const struct audit_rule *judged = &audited->rules[i];
    json_t *result = tree_object(tree), *locations = tree_array(tree);
    tree_put_text(tree, result, "ruleId", judged->rule->id);
    tree_put_count(tree, result, "ruleIndex", i);
    tree_put_text(tree, result, "kind", judged->outcome == OUTCOME_UNDECIDED ? "review" : "fail");
    /* SARIF 2.1.0, 3.27.10: where kind is not "fail", level is "none" */
    tree_put_text(tree, result, "level", judged->outcome == OUTCOME_UNDECIDED ? "none" : level_of(judged));
    tree_put(tree, result, "message", result_message(tree, judged));
    tree_append(tree, locations, location_json(tree, audited->subject_name));
    tree_put(tree, result, "locations", locations);
    if (judged->waiver) {
        json_t *list = tree_array(tree), *waived = tree_object(tree);
        tree_put_text(tree, waived, "kind", "external");
        tree_put_text(tree, waived, "justification", judged->waiver->reason);
        tree_append(tree, list, waived);
        tree_put(tree, result, "suppressions", list);
    }
    return result;
}

bool audit_sarif(const struct audited *audited, const struct audit_request *request, char **text,
                 size_t *size, struct error *err)
{
    struct tree tree = {false};
    json_t *log = tree_object(&tree), *runs = tree_array(&tree), *run = tree_object(&tree),
           *results = tree_array(&tree);
    for (size_t i = 0; i < audited->audit.rule_count; i++)
        if (audited->rules[i].outcome != OUTCOME_CONFORMS)
            tree_append(&tree, results, result_json(&tree, audited, i));
    tree_put_text(&tree, log, "$schema", "https://json.schemastore.org/sarif-2.1.0.json");
    tree_put_text(&tree, log, "version", "2.1.0");
    tree_put(&tree, run, "tool", tool_json(&tree, request->spec));
    tree_put(&tree, run, "results", results);
    tree_append(&tree, runs, run);
    tree_put(&tree, log, "runs", runs);
    bool ok = tree.failed ? error_set(err, ERROR_MACHINE, "memory is out while writing an audit")
                          : writer_dump(log, WRITER_PRETTY, text, size, err);
    json_decref(log);
    return ok;
}
