/* audit_json.c - a record judged, and the audit as JSON. */
#include "json/audit_json.h"

#include "base/digest.h"
#include "run/version.h"
#include "spec/judged.h"
#include "store/settings.h"
#include "json/number.h"
#include "json/tree.h"
#include "json/writer.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* What may differ between two records of the same measurement. */
static void drop_what_varies(json_t *record)
{
    json_object_del(record, "timings");
    json_object_del(measure_node(record, "engine.settings"), "threads");
}

static bool digest_record(const json_t *record, char hex[DIGEST_HEX_SIZE], struct error *err)
{
    char *text = NULL;
    size_t size;
    struct digest digest;
    json_t *copy = json_deep_copy(record);
    if (!copy)
        return error_set(err, ERROR_MACHINE, "memory is out while judging a record");
    drop_what_varies(copy);
    bool ok = writer_dump(copy, WRITER_CANONICAL, &text, &size, err);
    json_decref(copy);
    if (!ok)
        return false;
    digest_begin(&digest);
    digest_add(&digest, text, size);
    digest_end(&digest, hex);
    free(text);
    return true;
}

static bool be_judgeable(const json_t *record, const struct spec *spec, struct error *err)
{
    const char *schema = json_string_value(json_object_get(record, "schema"));
    const char *kind = json_string_value(json_object_get(record, "kind"));
    if (!schema || strcmp(schema, "fettle/run/1") != 0 || !kind)
        return error_set(err, ERROR_USAGE,
                         "this is not a run record of fettle; make one with fettle measure --json");
    bool is_cage = strcmp(kind, "cage") == 0;
    if (is_cage ? !spec->for_cage : !spec->for_scan)
        return error_set(err, ERROR_USAGE,
                         "the spec \"%.60s\" is for a %s, and this is a run of a %s; take another spec",
                         spec->name, is_cage ? "scan" : "cage", kind);
    return true;
}

static bool judge(const struct audit_request *request, struct audited *audited, struct error *err)
{
    const struct spec *spec = request->spec;
    double certify = NAN;
    struct audit_reading *readings = calloc(spec->rule_count, sizeof *readings);
    audited->rules = calloc(spec->rule_count, sizeof *audited->rules);
    if (!readings || !audited->rules) {
        free(readings);
        return error_set(err, ERROR_MACHINE, "memory is out while judging a record");
    }
    for (size_t i = 0; i < spec->rule_count; i++)
        readings[i] = audit_reading_of(audited->record, &spec->rules[i], request->measures);
    measure_number(audited->record, "engine.settings.certify", &certify);
    audited->audit = audit_make(spec, readings, certify, request->waivers, request->waiver_count,
                                request->day, audited->rules);
    audited->subject_name = json_string_value(measure_node(audited->record, "subject.file.name"));
    free(readings);
    return true;
}

bool audited_make(const char *record, size_t size, const struct audit_request *request,
                  struct audited *audited, struct error *err)
{
    json_error_t fault;
    *audited = (struct audited){.record = json_loadb(record, size, JSON_REJECT_DUPLICATES, &fault)};
    if (!audited->record)
        return error_set_line(err, ERROR_USAGE, "json", fault.line > 0 ? (size_t)fault.line : 1,
                              "a run record is JSON, and this is not: %s", fault.text);
    if (be_judgeable(audited->record, request->spec, err)
        && digest_record(audited->record, audited->record_sha256, err) && judge(request, audited, err))
        return true;
    audited_close(audited);
    return false;
}

void audited_close(struct audited *audited)
{
    json_decref(audited->record);
    free(audited->rules);
    free(audited->waivers);
    memset(audited, 0, sizeof *audited);
}

static const char *unit_text(const struct rule *rule)
{
    static const char *const squares[] = {
        [LIMIT_MM] = "mm²", [LIMIT_CM] = "cm²", [LIMIT_M] = "m²", [LIMIT_IN] = "in²"};
    static const char *const cubes[] = {
        [LIMIT_MM] = "mm³", [LIMIT_CM] = "cm³", [LIMIT_M] = "m³", [LIMIT_IN] = "in³"};
    bool is_metric = limit_unit_metres(rule->unit) > 0;
    if (rule->power == 2 && is_metric)
        return squares[rule->unit];
    if (rule->power == 3 && is_metric)
        return cubes[rule->unit];
    switch (rule->unit) {
    case LIMIT_COUNT:
    case LIMIT_RATIO:
    case LIMIT_SHARE:
        return "";
    case LIMIT_DEGREE:
        return "degrees";
    case LIMIT_DIAGONAL:
        return rule->power == 1   ? "of the diagonal"
               : rule->power == 2 ? "of the diagonal²"
                                  : "of the diagonal³";
    default:
        return limit_unit_word(rule->unit);
    }
}

static void number_text(double value, const char *unit, char *out, size_t out_size)
{
    char digits[NUMBER_TEXT_SIZE];
    number_write(value, digits);
    snprintf(out, out_size, "%s%s%s", digits, *unit ? " " : "", unit);
}

void audit_limit_text(const struct rule *rule, char *out, size_t out_size)
{
    char number[64];
    if (rule->about == RULE_STATEMENT) {
        snprintf(out, out_size, "is %s", rule->expected ? "true" : "false");
        return;
    }
    number_text(rule->limit, unit_text(rule), number, sizeof number);
    snprintf(out, out_size, "%s %s", relation_word(rule->relation), number);
}

void audit_value_text(const struct audit_rule *judged, char *out, size_t out_size)
{
    char lower[64], upper[64];
    if (judged->reading.state != READING_KNOWN) {
        snprintf(out, out_size, "not known");
        return;
    }
    if (judged->rule->about == RULE_STATEMENT) {
        snprintf(out, out_size, "%s", judged->lower > 0 ? "true" : "false");
        return;
    }
    if (isinf(judged->upper)) {
        number_text(judged->lower, unit_text(judged->rule), lower, sizeof lower);
        snprintf(out, out_size, "%s or more", lower);
        return;
    }
    number_text(judged->upper, unit_text(judged->rule), upper, sizeof upper);
    if (judged->lower == judged->upper) {
        snprintf(out, out_size, "%s", upper);
        return;
    }
    number_text(judged->lower, "", lower, sizeof lower);
    snprintf(out, out_size, "%s to %s", lower, upper);
}

void audit_advice(const struct audit_rule *judged, char *out, size_t out_size)
{
    char number[64] = "";
    if (!isnan(judged->decided_at))
        number_text(judged->decided_at,
                    judged->decided_by == DECIDED_BY_BETTER_SCANNER ? unit_text(judged->rule) : "", number,
                    sizeof number);
    *out = '\0';
    switch (judged->decided_by) {
    case DECIDED_ALREADY:
        break;
    case DECIDED_BY_NARROWER_INTERVAL:
        snprintf(out, out_size, "the certified interval reaches across the limit; measure again with %s%s",
                 *number ? "--certify " : "a smaller --certify", number);
        break;
    case DECIDED_BY_BETTER_SCANNER:
        snprintf(out, out_size, "the value lies in the guard band%s%s",
                 *number ? "; it needs a scan whose standard uncertainty is at most " : "", number);
        break;
    case DECIDED_BY_REFERENCE:
        snprintf(out, out_size, "the file was measured alone; measure it against its scan");
        break;
    case DECIDED_BY_UNITS:
        snprintf(out, out_size, "the file's unit of length is not known; state it");
        break;
    case DECIDED_BY_OTHER_MEASURE:
        snprintf(out, out_size,
                 "this measure rests on samples and has no bound; state the rule for one that has");
        break;
    case DECIDED_BY_MENDING:
        snprintf(out, out_size, "this is not defined for the file as it is; its other findings say why");
        break;
    case DECIDED_BY_MEASURING_AGAIN:
        snprintf(out, out_size, "the record does not hold it; measure again with this version");
        break;
    case DECIDED_BY_FEWER_FINDINGS:
        snprintf(out, out_size,
                 "there are more findings than the record lists one by one; mend some, and measure again");
        break;
    }
}

static json_t *about_json(struct tree *tree, json_t *object, const struct rule *rule)
{
    if (rule->about != RULE_FINDINGS) {
        tree_put_text(tree, object, "measure", rule->path);
        tree_put_null(tree, object, "findings");
        return object;
    }
    json_t *findings = tree_object(tree), *kinds = tree_array(tree);
    for (size_t i = 0; i < rule->findings.kind_count; i++)
        tree_append(tree, kinds, json_string(rule->findings.kinds[i]));
    tree_put(tree, findings, "kinds", kinds);
    tree_put_text(tree, findings, "severity", rule->findings.severity);
    tree_put_text(tree, findings, "mesh", rule->findings.mesh);
    tree_put_text(tree, findings, "take", findings_take_word(rule->findings.take));
    tree_put_null(tree, object, "measure");
    tree_put(tree, object, "findings", findings);
    return object;
}

static json_t *value_json(struct tree *tree, const struct audit_rule *judged)
{
    if (judged->reading.state != READING_KNOWN)
        return json_null();
    json_t *value = tree_object(tree);
    tree_put_real(tree, value, "lower", judged->lower);
    tree_put_real(tree, value, "upper", judged->upper);
    tree_put_bool(tree, value, "exact", judged->reading.exact);
    tree_put_bool(tree, value, "sampled", judged->reading.sampled);
    return value;
}

static json_t *uncertainty_json(struct tree *tree, const struct audit_rule *judged)
{
    const struct rule *rule = judged->rule;
    if (!(rule->standard_uncertainty > 0))
        return json_null();
    json_t *object = tree_object(tree);
    tree_put_real(tree, object, "standard", rule->standard_uncertainty);
    tree_put_text(tree, object, "source", rule->uncertainty_source);
    if (judged->has_probability) {
        tree_put_real(tree, object, "probability_least", judged_nearest(judged->probability_least));
        tree_put_real(tree, object, "probability_greatest", judged_nearest(judged->probability_greatest));
    }
    return object;
}

static json_t *waiver_json(struct tree *tree, const struct waiver *waiver)
{
    if (!waiver)
        return json_null();
    json_t *object = tree_object(tree);
    tree_put_text(tree, object, "reason", waiver->reason);
    tree_put_text(tree, object, "author", waiver->author);
    tree_put_text(tree, object, "expires", waiver->expires);
    return object;
}

static json_t *decide_json(struct tree *tree, const struct audit_rule *judged)
{
    char advice[200];
    if (judged->decided_by == DECIDED_ALREADY)
        return json_null();
    json_t *object = tree_object(tree);
    audit_advice(judged, advice, sizeof advice);
    tree_put_text(tree, object, "by", decided_by_word(judged->decided_by));
    tree_put_real(tree, object, "at", judged->decided_at);
    tree_put_text(tree, object, "text", advice);
    return object;
}

static json_t *rule_json(struct tree *tree, const struct audit_rule *judged)
{
    const struct rule *rule = judged->rule;
    char limit[96], value[160];
    json_t *object = tree_object(tree);
    audit_limit_text(rule, limit, sizeof limit);
    audit_value_text(judged, value, sizeof value);
    tree_put_text(tree, object, "id", rule->id);
    tree_put_text(tree, object, "name", rule->name);
    about_json(tree, object, rule);
    tree_put_text(tree, object, "need", rule->required ? "required" : "advisory");
    tree_put_text(tree, object, "relation", relation_word(rule->relation));
    tree_put(tree, object, "limit",
             rule->about == RULE_STATEMENT ? json_boolean(rule->expected) : json_real(rule->limit));
    tree_put_text(tree, object, "unit", rule->about == RULE_STATEMENT ? NULL : unit_text(rule));
    tree_put_text(tree, object, "limit_text", limit);
    tree_put(tree, object, "value", value_json(tree, judged));
    tree_put_text(tree, object, "value_text", value);
    tree_put_real(tree, object, "margin", judged_nearest(judged->margin));
    tree_put_text(tree, object, "decision", rule->guarded ? "guarded" : "simple");
    tree_put_real(tree, object, "guard_band", judged_nearest(judged->limit.guard_band));
    tree_put(tree, object, "uncertainty", uncertainty_json(tree, judged));
    tree_put_text(tree, object, "outcome", outcome_word(judged->outcome));
    tree_put(tree, object, "waiver", waiver_json(tree, judged->waiver));
    tree_put_bool(tree, object, "waiver_ran_out", judged->waiver_ran_out);
    tree_put(tree, object, "decided_by", decide_json(tree, judged));
    tree_put_text(tree, object, "reason", rule->reason);
    tree_put_text(tree, object, "source", rule->source);
    return object;
}

static json_t *counts_json(struct tree *tree, const struct audit_counts *counts)
{
    json_t *object = tree_object(tree);
    tree_put_count(tree, object, "conforms", counts->conforms);
    tree_put_count(tree, object, "does_not_conform", counts->does_not_conform);
    tree_put_count(tree, object, "undecided", counts->undecided);
    tree_put_count(tree, object, "waived", counts->waived);
    tree_put_count(tree, object, "advisory_missed", counts->advisory_missed);
    return object;
}

static json_t *spec_json(struct tree *tree, const struct spec *spec)
{
    json_t *object = tree_object(tree);
    tree_put_text(tree, object, "name", spec->name);
    tree_put_integer(tree, object, "version", spec->version);
    tree_put_text(tree, object, "purpose", spec->purpose);
    tree_put_text(tree, object, "sha256", spec->sha256);
    tree_put_integer(tree, object, "signatures", spec->signatures);
    return object;
}

static void put_copy(struct tree *tree, json_t *object, const char *key, const json_t *record,
                     const char *path)
{
    const json_t *node = measure_node(record, path);
    tree_put(tree, object, key, node ? json_deep_copy(node) : json_null());
}

static json_t *run_json(struct tree *tree, const struct audited *audited)
{
    json_t *object = tree_object(tree);
    tree_put_text(tree, object, "record_sha256", audited->record_sha256);
    put_copy(tree, object, "kind", audited->record, "kind");
    put_copy(tree, object, "definitions", audited->record, "engine.definitions");
    put_copy(tree, object, "engine", audited->record, "engine.version");
    put_copy(tree, object, "subject", audited->record, "subject.file.name");
    put_copy(tree, object, "subject_sha256", audited->record, "subject.file.sha256");
    put_copy(tree, object, "reference", audited->record, "reference.file.name");
    put_copy(tree, object, "reference_sha256", audited->record, "reference.file.sha256");
    return object;
}

static json_t *cautions_json(struct tree *tree)
{
    json_t *list = tree_array(tree);
    tree_append(tree, list,
                json_string("Measures describe the files, not the object: the scanner's uncertainty is "
                            "outside them unless the spec states it."));
    tree_append(tree, list,
                json_string("Nothing here clears a part for clinical, load-bearing or safety use; that is "
                            "for licensed practice and local rules."));
    return list;
}

bool audit_text(const struct audited *audited, const struct audit_request *request, char **text, size_t *size,
                struct error *err)
{
    struct tree tree = {false};
    json_t *object = tree_object(&tree), *rules = tree_array(&tree);
    for (size_t i = 0; i < audited->audit.rule_count; i++)
        tree_append(&tree, rules, rule_json(&tree, &audited->rules[i]));
    tree_put_text(&tree, object, "schema", "fettle/audit/1");
    tree_put_text(&tree, object, "outcome", outcome_word(audited->audit.outcome));
    tree_put(&tree, object, "counts", counts_json(&tree, &audited->audit.counts));
    tree_put(&tree, object, "spec", spec_json(&tree, request->spec));
    tree_put(&tree, object, "run", run_json(&tree, audited));
    tree_put(&tree, object, "rules", rules);
    tree_put(&tree, object, "cautions", cautions_json(&tree));
    bool ok = tree.failed ? error_set(err, ERROR_MACHINE, "memory is out while writing an audit")
                          : writer_dump(object, WRITER_LINE, text, size, err);
    json_decref(object);
    return ok;
}
