/* audit_stored.c - a stored audit read back, so that documents can be made of it as of a fresh one. */
#include "json/audit_json.h"

#include <jansson.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static bool broken(struct error *err)
{
    return error_set(err, ERROR_STORE, "an audit is stored that this version cannot read; run fettle verify");
}

static bool outcome_parse(const json_t *value, enum outcome *outcome)
{
    for (int i = OUTCOME_CONFORMS; json_is_string(value) && i <= OUTCOME_UNDECIDED; i++)
        if (strcmp(json_string_value(value), outcome_word((enum outcome)i)) == 0) {
            *outcome = (enum outcome)i;
            return true;
        }
    return false;
}

static double number_or(const json_t *value, double otherwise)
{
    return json_is_number(value) ? json_number_value(value) : otherwise;
}

static void read_value(const json_t *value, struct audit_rule *judged)
{
    judged->lower = judged->upper = NAN;
    judged->reading.state = READING_ABSENT;
    if (!json_is_object(value))
        return;
    judged->reading.state = READING_KNOWN;
    judged->reading.exact = json_is_true(json_object_get(value, "exact"));
    judged->reading.sampled = json_is_true(json_object_get(value, "sampled"));
    judged->lower = number_or(json_object_get(value, "lower"), -INFINITY);
    judged->upper = number_or(json_object_get(value, "upper"), INFINITY);
}

static bool read_decided(const json_t *decided, struct audit_rule *judged)
{
    const char *word = json_string_value(json_object_get(decided, "by"));
    judged->decided_by = DECIDED_ALREADY;
    judged->decided_at = number_or(json_object_get(decided, "at"), NAN);
    if (!word)
        return json_is_null(decided);
    for (int i = DECIDED_ALREADY; i <= DECIDED_BY_FEWER_FINDINGS; i++)
        if (strcmp(word, decided_by_word((enum decided_by)i)) == 0)
            judged->decided_by = (enum decided_by)i;
    return judged->decided_by != DECIDED_ALREADY;
}

static bool read_waiver(const json_t *stored, const char *rule, struct waiver *waiver,
                        struct audit_rule *judged)
{
    *waiver = (struct waiver){rule, json_string_value(json_object_get(stored, "reason")),
                              json_string_value(json_object_get(stored, "author")),
                              json_string_value(json_object_get(stored, "expires"))};
    judged->waiver = json_is_object(stored) ? waiver : NULL;
    return !judged->waiver || (waiver->reason && waiver->author && waiver->expires);
}

static bool read_rule(const json_t *stored, const struct rule *rule, struct waiver *waiver,
                      struct audit_rule *judged)
{
    const char *id = json_string_value(json_object_get(stored, "id"));
    *judged = (struct audit_rule){.rule = rule, .margin = number_or(json_object_get(stored, "margin"), NAN)};
    judged->waiver_ran_out = json_is_true(json_object_get(stored, "waiver_ran_out"));
    judged->limit =
        (struct limit){rule->relation, rule->limit, number_or(json_object_get(stored, "guard_band"), 0)};
    read_value(json_object_get(stored, "value"), judged);
    return id && strcmp(id, rule->id) == 0
           && outcome_parse(json_object_get(stored, "outcome"), &judged->outcome)
           && read_decided(json_object_get(stored, "decided_by"), judged)
           && read_waiver(json_object_get(stored, "waiver"), rule->id, waiver, judged);
}

static bool read_rules(const json_t *list, const struct spec *spec, struct audited *audited,
                       struct error *err)
{
    size_t count = json_array_size(list);
    if (count != spec->rule_count)
        return broken(err);
    audited->rules = calloc(count + 1, sizeof *audited->rules);
    audited->waivers = calloc(count + 1, sizeof *audited->waivers);
    if (!audited->rules || !audited->waivers)
        return error_set(err, ERROR_MACHINE, "memory is out while reading an audit");
    for (size_t i = 0; i < count; i++)
        if (!read_rule(json_array_get(list, i), &spec->rules[i], &audited->waivers[i], &audited->rules[i]))
            return broken(err);
    audited->audit.rule_count = count;
    audited->audit.rules = audited->rules;
    return true;
}

static size_t count_of(const json_t *counts, const char *key)
{
    return (size_t)json_integer_value(json_object_get(counts, key));
}

static bool read_body(const struct spec *spec, struct audited *audited, struct error *err)
{
    const json_t *body = audited->record, *run = json_object_get(body, "run"),
                 *counts = json_object_get(body, "counts");
    const char *of = json_string_value(json_object_get(json_object_get(body, "spec"), "sha256"));
    const char *record = json_string_value(json_object_get(run, "record_sha256"));
    if (!of || strcmp(of, spec->sha256) != 0 || !record || strlen(record) != 64
        || !outcome_parse(json_object_get(body, "outcome"), &audited->audit.outcome))
        return broken(err);
    memcpy(audited->record_sha256, record, 65);
    audited->subject_name = json_string_value(json_object_get(run, "subject"));
    audited->audit.counts = (struct audit_counts){
        .conforms = count_of(counts, "conforms"),
        .does_not_conform = count_of(counts, "does_not_conform"),
        .undecided = count_of(counts, "undecided"),
        .waived = count_of(counts, "waived"),
        .advisory_missed = count_of(counts, "advisory_missed"),
    };
    return read_rules(json_object_get(body, "rules"), spec, audited, err);
}

bool audited_stored(const char *body, const struct spec *spec, struct audited *audited, struct error *err)
{
    memset(audited, 0, sizeof *audited);
    audited->record = json_loads(body, 0, NULL);
    if (audited->record && read_body(spec, audited, err))
        return true;
    bool unread = !audited->record;
    audited_close(audited);
    return unread ? broken(err) : false;
}
