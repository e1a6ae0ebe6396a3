/* spec_json.c - reading and checking a spec, key by key. */
#include "json/spec_json.h"

#include "base/digest.h"
#include "run/run.h"
#include "spec/judged.h"
#include "json/writer.h"

#include <jansson.h>
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* A guard band of 1.65 standard uncertainties leaves a probability of 5 % beyond a one-sided limit (normal
 * distribution; JCGM 106:2012, table 1; ISO 14253-1:2017 takes that probability where nothing else is
 * agreed). */
static const double guard_factor_default = 1.65;

static const char spec_keys[] = "schema name version purpose for signatures uncertainty rules";
static const char rule_keys[] =
    "id name measure findings relation limit unit need decision guard_factor uncertainty reason source";
static const char findings_keys[] = "kinds severity mesh take";
static const char uncertainty_keys[] = "standard unit source";

/* What is being read: where a fault is, is said before what it is. */
struct reader {
    const struct measure_list *measures;
    char place[64];     /* "rule 3 (closed): ", "" for the spec itself */
    double uncertainty; /* of lengths, stated for the whole spec; 0: none */
    enum limit_unit uncertainty_unit;
    const char *uncertainty_source;
    struct error *err;
};

static void say_wrong(struct reader *reader, const char *format, ...) __attribute__((format(printf, 2, 3)));

static void say_wrong(struct reader *reader, const char *format, ...)
{
    char text[200];
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(text, sizeof text, format, arguments);
    va_end(arguments);
    error_set(reader->err, ERROR_USAGE, "%s%s", reader->place, text);
}

/* False, as error_set is; a macro, so that the analyser sees it. */
#define wrong(...) (say_wrong(__VA_ARGS__), false)

static bool is_listed(const char *word, const char *words)
{
    size_t size = strlen(word);
    if (!size || strchr(word, ' '))
        return false;
    for (const char *at = words; (at = strstr(at, word)) != NULL; at += size)
        if ((at == words || at[-1] == ' ') && (at[size] == ' ' || !at[size]))
            return true;
    return false;
}

static bool only_keys(struct reader *reader, const json_t *object, const char *keys)
{
    const char *key;
    json_t *value;
    json_object_foreach((json_t *)object, key, value)
    {
        if (!is_listed(key, keys))
            return wrong(reader, "no key \"%.40s\" here; there are: %s", key, keys);
    }
    return true;
}

/* A string with something in it; *text stays as it is where the key is missing and not needed. */
static bool read_text(struct reader *reader, const json_t *object, const char *key, bool needed,
                      const char **text)
{
    const json_t *node = json_object_get(object, key);
    if (!node)
        return !needed || wrong(reader, "\"%s\" is missing", key);
    if (!json_is_string(node) || !*json_string_value(node))
        return wrong(reader, "\"%s\" is a text", key);
    *text = json_string_value(node);
    return true;
}

/* One of words, which are parted by '|'. */
static bool read_word(struct reader *reader, const json_t *object, const char *key, const char *words,
                      const char *missing, const char **word)
{
    const char *found = missing;
    if (!read_text(reader, object, key, !missing, &found))
        return false;
    size_t size = strlen(found);
    for (const char *at = strchr(found, '|') ? "" : words; (at = strstr(at, found)) != NULL; at += size)
        if ((at == words || at[-1] == '|') && (at[size] == '|' || !at[size])) {
            *word = found;
            return true;
        }
    return wrong(reader, "\"%s\" is one of %s, not \"%.40s\"", key, words, found);
}

static bool read_real(struct reader *reader, const json_t *object, const char *key, double missing,
                      double *number)
{
    const json_t *node = json_object_get(object, key);
    *number = missing;
    if (!node && !isnan(missing))
        return true;
    if (!json_is_number(node))
        return wrong(reader, "\"%s\" is a number", key);
    *number = json_number_value(node);
    return true;
}

static const char *statement_name(const char *path)
{
    static const char *const statements[][2] = {{"topology.closed", "Closed"},
                                                {"topology.oriented", "Oriented"},
                                                {"topology.manifold", "Manifold"},
                                                {"topology.closed_manifold", "Closed manifold"}};
    const char *point = strchr(path, '.');
    bool of_mesh = strncmp(path, "subject.", 8) == 0 || strncmp(path, "reference.", 10) == 0;
    for (size_t i = 0; of_mesh && i < sizeof statements / sizeof statements[0]; i++)
        if (strcmp(point + 1, statements[i][0]) == 0)
            return statements[i][1];
    return NULL;
}

static int power_of(const char *measure_unit)
{
    return strcmp(measure_unit, "length") == 0   ? 1
           : strcmp(measure_unit, "area") == 0   ? 2
           : strcmp(measure_unit, "volume") == 0 ? 3
                                                 : 0;
}

/* measure_unit: "length", "area", "volume", or the unit itself. */
static bool read_unit(struct reader *reader, const json_t *object, const char *measure_unit,
                      struct rule *rule)
{
    const char *word = NULL;
    rule->power = power_of(measure_unit);
    if (!read_text(reader, object, "unit", rule->power > 0, &word))
        return false;
    if (!rule->power && word && strcmp(word, measure_unit) != 0)
        return wrong(reader, "\"unit\" of this is %s, not \"%.40s\"", measure_unit, word);
    if (!limit_unit_parse(word ? word : measure_unit, &rule->unit)
        || (rule->power && rule->unit != LIMIT_DIAGONAL && limit_unit_metres(rule->unit) == 0))
        return wrong(reader, "\"unit\" of a limit of %s is one of mm, cm, m, in, diagonal, not \"%.40s\"",
                     measure_unit, word ? word : measure_unit);
    return true;
}

static bool is_kind(const char *word)
{
    for (size_t i = 0; i < FINDING_KIND_COUNT; i++)
        if (strcmp(word, finding_kind_name((enum finding_kind)i)) == 0)
            return true;
    return false;
}

/* The sizes of other kinds count edges or faces, or are areas. */
static bool is_of_open_loops(const struct rule_findings *findings)
{
    for (size_t i = 0; i < findings->kind_count; i++)
        if (strcmp(findings->kinds[i], finding_kind_name(FINDING_OPEN_LOOP)) != 0)
            return false;
    return findings->kind_count > 0;
}

static bool read_kinds(struct reader *reader, const json_t *list, struct rule_findings *findings)
{
    if (list && (!json_is_array(list) || !json_array_size(list) || json_array_size(list) > SPEC_KINDS_MAX))
        return wrong(reader, "\"kinds\" is a list of 1 to %d kinds of finding", SPEC_KINDS_MAX);
    for (size_t i = 0; i < json_array_size(list); i++) {
        const char *kind = json_string_value(json_array_get(list, i));
        if (!kind)
            return wrong(reader, "\"kinds\" is a list of texts, such as \"open_loop\"");
        if (!is_kind(kind))
            return wrong(reader, "no kind of finding is called \"%.40s\"; schema/spec.schema.json lists them",
                         kind);
        findings->kinds[findings->kind_count++] = kind;
    }
    return true;
}

static bool read_findings(struct reader *reader, const json_t *object, struct rule *rule)
{
    const char *take = NULL, *severity = NULL, *mesh = NULL;

    rule->about = RULE_FINDINGS;
    rule->name = "Findings";
    if (!json_is_object(object))
        return wrong(reader, "\"findings\" is an object with the keys %s", findings_keys);
    if (!only_keys(reader, object, findings_keys)
        || !read_kinds(reader, json_object_get(object, "kinds"), &rule->findings)
        || !read_word(reader, object, "severity", "fault|warning|note|any", "any", &severity)
        || !read_word(reader, object, "mesh", "subject|reference|both", "both", &mesh)
        || !read_word(reader, object, "take", "count|largest size|faces", "count", &take))
        return false;
    rule->findings.severity = strcmp(severity, "any") ? severity : NULL;
    rule->findings.mesh = strcmp(mesh, "both") ? mesh : NULL;
    findings_take_parse(take, &rule->findings.take);
    return rule->findings.take != TAKE_LARGEST_SIZE || is_of_open_loops(&rule->findings)
           || wrong(reader, "the \"largest size\" is a length, which only open loops have: take it with "
                            "\"kinds\": [\"open_loop\"]");
}

/* What the rule is about; *measure_unit as in read_unit, NULL for a statement. */
static bool read_about(struct reader *reader, const json_t *object, struct rule *rule,
                       const char **measure_unit)
{
    const json_t *findings = json_object_get(object, "findings");
    if (!findings == !json_object_get(object, "measure"))
        return wrong(reader, "a rule is about a \"measure\" or about \"findings\": say one of them");
    if (findings) {
        if (!read_findings(reader, findings, rule))
            return false;
        *measure_unit = rule->findings.take == TAKE_LARGEST_SIZE ? "length" : "count";
        return true;
    }
    if (!read_text(reader, object, "measure", true, &rule->path))
        return false;
    if ((rule->name = statement_name(rule->path)) != NULL) {
        rule->about = RULE_STATEMENT;
        *measure_unit = NULL;
        return true;
    }
    const struct measure_definition *definition = measures_find_place(reader->measures, rule->path);
    if (!definition)
        return wrong(reader, "no measure \"%.80s\"; the list of measures tells their paths", rule->path);
    rule->about = RULE_MEASURE;
    rule->name = definition->name;
    *measure_unit = definition->unit;
    return true;
}

static bool read_statement_limit(struct reader *reader, const json_t *object, struct rule *rule)
{
    const json_t *limit = json_object_get(object, "limit");
    if (rule->relation != RELATION_EQUALS || !json_is_boolean(limit))
        return wrong(reader,
                     "%s is true or false: its \"relation\" is \"equals\", its \"limit\" true or false",
                     rule->path);
    rule->expected = json_is_true(limit);
    rule->limit = rule->expected;
    rule->unit = LIMIT_COUNT;
    if (json_object_get(object, "unit"))
        return wrong(reader, "what is true or false has no \"unit\"");
    return true;
}

static bool read_uncertainty(struct reader *reader, const json_t *object, double *standard,
                             enum limit_unit *unit, const char **source)
{
    const char *word = NULL;
    if (!json_is_object(object))
        return wrong(reader, "\"uncertainty\" is an object with the keys %s", uncertainty_keys);
    if (!only_keys(reader, object, uncertainty_keys) || !read_real(reader, object, "standard", NAN, standard)
        || !read_text(reader, object, "unit", true, &word)
        || !read_text(reader, object, "source", true, source))
        return false;
    if (!(*standard > 0) || !isfinite(*standard))
        return wrong(reader, "\"standard\" of an uncertainty is a number above 0");
    return limit_unit_parse(word, unit) || wrong(reader, "\"unit\" of an uncertainty is not \"%.40s\"", word);
}

/* The rule's own uncertainty, or that of the spec for lengths; in the rule's unit. */
static bool settle_uncertainty(struct reader *reader, const json_t *object, struct rule *rule)
{
    const json_t *own = json_object_get(object, "uncertainty");
    double standard = reader->uncertainty;
    enum limit_unit unit = reader->uncertainty_unit;
    const char *source = reader->uncertainty_source;

    if (own && !read_uncertainty(reader, own, &standard, &unit, &source))
        return false;
    if (!own && (!(standard > 0) || rule->power != 1 || rule->unit == LIMIT_DIAGONAL))
        return true;
    double metres = limit_unit_metres(unit), rule_metres = limit_unit_metres(rule->unit);
    if (unit != rule->unit && !(metres > 0 && rule_metres > 0))
        return wrong(reader, "the uncertainty is in %s, the limit in %s: state it in that",
                     limit_unit_word(unit), limit_unit_word(rule->unit));
    rule->standard_uncertainty =
        unit == rule->unit ? standard : standard * pow(metres / rule_metres, rule->power);
    rule->uncertainty_source = source;
    return true;
}

static bool read_decision(struct reader *reader, const json_t *object, struct rule *rule)
{
    const char *word = NULL;
    if (!read_word(reader, object, "decision", "simple|guarded", "simple", &word)
        || !read_real(reader, object, "guard_factor", guard_factor_default, &rule->guard_factor)
        || !settle_uncertainty(reader, object, rule))
        return false;
    rule->guarded = strcmp(word, "guarded") == 0;
    if (!(rule->guard_factor > 0) || rule->guard_factor > 10)
        return wrong(
            reader,
            "\"guard_factor\" is a number above 0 and up to 10: a multiple of the standard uncertainty");
    if (!rule->guarded && json_object_get(object, "guard_factor"))
        return wrong(reader, "\"guard_factor\" belongs to the decision \"guarded\"");
    if (rule->guarded && rule->relation == RELATION_EQUALS)
        return wrong(reader, "what has to equal a limit cannot be guarded; take the decision \"simple\"");
    if (rule->guarded && !(rule->standard_uncertainty > 0))
        return wrong(
            reader,
            "the decision \"guarded\" needs an \"uncertainty\", of the rule or (for lengths) of the spec");
    return true;
}

static bool read_limit(struct reader *reader, const json_t *object, const char *measure_unit,
                       struct rule *rule)
{
    const char *relation = NULL;
    if (!read_word(reader, object, "relation", "at most|at least|below|above|equals", NULL, &relation))
        return false;
    relation_parse(relation, &rule->relation);
    if (rule->about == RULE_STATEMENT)
        return read_statement_limit(reader, object, rule);
    if (!read_real(reader, object, "limit", NAN, &rule->limit)
        || !read_unit(reader, object, measure_unit, rule))
        return false;
    return rule->limit == judged_nearest(rule->limit)
           || wrong(reader,
                    "\"limit\" has at most %d digits, or is a whole number: values are rounded to as "
                    "many before they are judged",
                    JUDGED_DIGITS);
}

static bool read_rule(struct reader *reader, const json_t *object, struct rule *rule)
{
    const char *need = NULL, *measure_unit = NULL, *name = NULL;
    if (!json_is_object(object))
        return wrong(reader, "a rule is an object");
    if (!read_text(reader, object, "id", true, &rule->id))
        return false;
    snprintf(reader->place + strlen(reader->place) - 2, 40, " (%.30s): ", rule->id);
    if (!only_keys(reader, object, rule_keys) || !read_about(reader, object, rule, &measure_unit)
        || !read_limit(reader, object, measure_unit, rule)
        || !read_word(reader, object, "need", "required|advisory", "required", &need)
        || !read_decision(reader, object, rule) || !read_text(reader, object, "name", false, &name)
        || !read_text(reader, object, "reason", true, &rule->reason)
        || !read_text(reader, object, "source", true, &rule->source))
        return false;
    rule->required = strcmp(need, "required") == 0;
    if (name)
        rule->name = name;
    return true;
}

static bool be_unique(struct reader *reader, const struct spec *spec, size_t i)
{
    for (size_t j = 0; j < i; j++)
        if (strcmp(spec->rules[i].id, spec->rules[j].id) == 0)
            return wrong(reader, "rule %zu has that id too; ids are unique in a spec", j + 1);
    return true;
}

static bool read_rules(struct reader *reader, const json_t *list, struct spec *spec)
{
    size_t count = json_array_size(list);
    if (!json_is_array(list) || count < 1 || count > SPEC_RULES_MAX)
        return wrong(reader, "\"rules\" is a list of 1 to %d rules", SPEC_RULES_MAX);
    spec->rules = calloc(count, sizeof *spec->rules);
    if (!spec->rules)
        return error_set(reader->err, ERROR_MACHINE, "memory is out while reading a spec");
    for (size_t i = 0; i < count; i++) {
        snprintf(reader->place, sizeof reader->place, "rule %zu: ", i + 1);
        if (!read_rule(reader, json_array_get(list, i), &spec->rules[i]) || !be_unique(reader, spec, i))
            return false;
    }
    spec->rule_count = count;
    reader->place[0] = '\0';
    return true;
}

static bool read_for(struct reader *reader, const json_t *list, struct spec *spec)
{
    spec->for_scan = spec->for_cage = !list;
    if (list && (!json_is_array(list) || !json_array_size(list)))
        return wrong(reader, "\"for\" is a list of scan, cage, or both");
    for (size_t i = 0; i < json_array_size(list); i++) {
        const char *kind = json_string_value(json_array_get(list, i));
        if (!kind || (strcmp(kind, "scan") != 0 && strcmp(kind, "cage") != 0))
            return wrong(reader, "\"for\" is a list of scan, cage, or both");
        spec->for_scan |= strcmp(kind, "scan") == 0;
        spec->for_cage |= strcmp(kind, "cage") == 0;
    }
    return true;
}

static bool read_count(struct reader *reader, const json_t *object, const char *key, int most, int *count)
{
    const json_t *node = json_object_get(object, key);
    *count = 1;
    if (!node)
        return true;
    json_int_t value = json_integer_value(node);
    if (!json_is_integer(node) || value < 1 || value > most)
        return wrong(reader, "\"%s\" is a whole number from 1 to %d", key, most);
    *count = (int)value;
    return true;
}

static bool read_spec(struct reader *reader, struct spec *spec)
{
    const json_t *object = spec->document, *uncertainty = json_object_get(object, "uncertainty");
    const char *schema = NULL;
    if (!json_is_object(object))
        return wrong(reader, "a spec is a JSON object");
    return only_keys(reader, object, spec_keys)
           && read_word(reader, object, "schema", "fettle/spec/1", NULL, &schema)
           && read_text(reader, object, "name", true, &spec->name)
           && read_text(reader, object, "purpose", true, &spec->purpose)
           && read_count(reader, object, "version", 1000000, &spec->version)
           && read_count(reader, object, "signatures", SPEC_SIGNATURES_MAX, &spec->signatures)
           && read_for(reader, json_object_get(object, "for"), spec)
           && (!uncertainty
               || read_uncertainty(reader, uncertainty, &reader->uncertainty, &reader->uncertainty_unit,
                                   &reader->uncertainty_source))
           && read_rules(reader, json_object_get(object, "rules"), spec);
}

bool spec_digest(struct spec *spec, struct error *err)
{
    char *text;
    size_t size;
    struct digest digest;
    if (!spec_canonical(spec, &text, &size, err))
        return false;
    digest_begin(&digest);
    digest_add(&digest, text, size);
    digest_end(&digest, spec->sha256);
    free(text);
    return true;
}

bool spec_open(const char *bytes, size_t size, const struct measure_list *measures, struct spec *spec,
               struct error *err)
{
    struct reader reader = {.measures = measures, .err = err};
    json_error_t fault;

    *spec = (struct spec){.document = json_loadb(bytes, size, JSON_REJECT_DUPLICATES, &fault)};
    if (!spec->document)
        return error_set_line(err, ERROR_USAGE, "json", fault.line > 0 ? (size_t)fault.line : 1,
                              "a spec is JSON, and this is not: %s", fault.text);
    if (read_spec(&reader, spec) && spec_digest(spec, err))
        return true;
    spec_close(spec);
    return false;
}

void spec_close(struct spec *spec)
{
    json_decref(spec->document);
    free(spec->rules);
    memset(spec, 0, sizeof *spec);
}

bool spec_canonical(const struct spec *spec, char **text, size_t *size, struct error *err)
{
    return writer_dump(spec->document, WRITER_CANONICAL, text, size, err);
}
