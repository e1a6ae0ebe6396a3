/* audit_reading.c - what a record holds for a rule, in the unit of its limit. */
#include "json/audit_json.h"

#include <jansson.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

static struct audit_reading unknown(enum reading_state state)
{
    return (struct audit_reading){.state = state, .lower = NAN, .upper = NAN};
}

/* Whether a path leads through the second mesh, which a file measured alone does not have. */
static bool needs_reference(const char *path)
{
    static const char *const parts[] = {"reference.", "deviation.", "deviation_limit.", "control_excess.",
                                        "mend."};
    for (size_t i = 0; i < sizeof parts / sizeof parts[0]; i++)
        if (strncmp(path, parts[i], strlen(parts[i])) == 0)
            return true;
    return false;
}

static enum reading_state state_without_number(const json_t *record, const char *path)
{
    if (needs_reference(path) && json_is_null(json_object_get(record, "reference")))
        return READING_ALONE;
    return measure_node(record, path) ? READING_UNDEFINED : READING_ABSENT;
}

/* Of the record's lengths, one `unit`; 0 where that is not known. */
static double lengths_per_unit(const json_t *record, enum limit_unit unit)
{
    enum limit_unit file;
    double diagonal;
    if (unit == LIMIT_DIAGONAL)
        return measure_number(record, "reference.bounds.diagonal", &diagonal)
                       || measure_number(record, "subject.bounds.diagonal", &diagonal)
                   ? diagonal
                   : 0;
    const char *word = json_string_value(measure_node(record, "subject.file.units"));
    if (!word || !limit_unit_parse(word, &file) || limit_unit_metres(file) == 0)
        return 0;
    /* as a quotient of whole numbers of 0.1 mm, so that equal units are exactly 1 */
    return round(limit_unit_metres(unit) * 1e4) / round(limit_unit_metres(file) * 1e4);
}

static struct audit_reading converted(struct audit_reading reading, const json_t *record,
                                      const struct rule *rule)
{
    if (reading.state != READING_KNOWN || rule->power == 0)
        return reading;
    double per_unit = lengths_per_unit(record, rule->unit);
    if (!(per_unit > 0))
        return unknown(READING_UNITLESS);
    double divisor = pow(per_unit, rule->power);
    reading.lower /= divisor;
    reading.upper /= divisor;
    reading.certified_lower /= divisor;
    reading.certified_upper /= divisor;
    return reading;
}

/* A path of the list of measures; of the reference in place of the subject. */
static const char *placed(const char *path, bool of_reference, char *room, size_t size)
{
    if (!of_reference)
        return path;
    snprintf(room, size, "reference.%s", path + strlen("subject."));
    return room;
}

static struct audit_reading read_interval(const json_t *record, const char *lower, const char *upper)
{
    struct audit_reading reading = {.state = READING_KNOWN};
    if (!measure_number(record, lower, &reading.lower) || !measure_number(record, upper, &reading.upper))
        return unknown(state_without_number(record, upper));
    return reading;
}

/* A statistic's certified interval, which a sampled one has beside it. */
static void read_certified(const json_t *record, const struct measure_definition *measure,
                           struct audit_reading *reading)
{
    char path[160];
    if (!measure_certified_path(measure, path, sizeof path))
        return;
    const json_t *ends = measure_node(record, path);
    reading->has_certified = measure_number(ends, "lower", &reading->certified_lower)
                             && measure_number(ends, "upper", &reading->certified_upper);
}

static struct audit_reading read_number(const json_t *record, const struct measure_definition *measure,
                                        const char *path)
{
    struct audit_reading reading = {.state = READING_KNOWN, .sampled = measure_is_sampled(record, measure)};
    double value, half;
    if (!measure_number(record, path, &value))
        return unknown(state_without_number(record, path));
    reading.lower = reading.upper = value;
    reading.exact = strcmp(measure->unit, "count") == 0;
    if (measure->halfwidth && measure_number(record, measure->halfwidth, &half)) {
        reading.lower = value - half;
        reading.upper = value + half;
        read_certified(record, measure, &reading);
    } else if (reading.sampled)
        return unknown(READING_UNBOUNDED);
    return reading;
}

static struct audit_reading read_measure(const json_t *record, const struct rule *rule,
                                         const struct measure_list *measures)
{
    char first[160], second[160];
    bool of_reference = strncmp(rule->path, "reference.", 10) == 0;
    const struct measure_definition *measure = measures_find_place(measures, rule->path);
    if (!measure)
        return unknown(READING_ABSENT);
    if (measure->lower && measure->upper)
        return read_interval(record, placed(measure->lower, of_reference, first, sizeof first),
                             placed(measure->upper, of_reference, second, sizeof second));
    return read_number(record, measure, placed(measure->path, of_reference, first, sizeof first));
}

static struct audit_reading read_statement(const json_t *record, const struct rule *rule)
{
    const json_t *node = measure_node(record, rule->path);
    if (!json_is_boolean(node))
        return unknown(state_without_number(record, rule->path));
    double value = json_is_true(node);
    return (struct audit_reading){.state = READING_KNOWN, .exact = true, .lower = value, .upper = value};
}

static bool is_among(const struct rule_findings *wanted, const char *kind)
{
    for (size_t i = 0; i < wanted->kind_count; i++)
        if (strcmp(wanted->kinds[i], kind) == 0)
            return true;
    return wanted->kind_count == 0;
}

static bool is_wanted(const json_t *finding, const struct rule_findings *wanted)
{
    const char *kind = json_string_value(json_object_get(finding, "kind"));
    const char *severity = json_string_value(json_object_get(finding, "severity"));
    const char *mesh = json_string_value(json_object_get(finding, "mesh"));
    return kind && severity && mesh && is_among(wanted, kind)
           && (!wanted->severity || strcmp(wanted->severity, severity) == 0)
           && (!wanted->mesh || strcmp(wanted->mesh, mesh) == 0);
}

/* A record of other definitions may not know every kind that a rule is about. */
static bool knows_kinds(const json_t *record, const struct rule_findings *wanted)
{
    const json_t *totals = json_object_get(record, "findings_by_kind");
    for (size_t i = 0; i < wanted->kind_count; i++)
        if (!json_object_get(totals, wanted->kinds[i]))
            return false;
    return json_is_object(totals);
}

/* The record's list is cut: how many of the wanted kinds it leaves out. */
static size_t left_out(const json_t *record, const struct rule_findings *wanted)
{
    const json_t *list = json_object_get(record, "findings"),
                 *totals = json_object_get(record, "findings_by_kind");
    const char *kind;
    json_t *total;
    size_t missing = 0;
    json_object_foreach((json_t *)totals, kind, total)
    {
        size_t listed = 0;
        for (size_t i = 0; i < json_array_size(list); i++) {
            const char *of = json_string_value(json_object_get(json_array_get(list, i), "kind"));
            listed += of && strcmp(of, kind) == 0;
        }
        if (is_among(wanted, kind) && (size_t)json_integer_value(total) > listed)
            missing += (size_t)json_integer_value(total) - listed;
    }
    return missing;
}

/* Of those left out, each counts for at most one; faces and sizes of them have no upper bound. Where neither
 * severity nor mesh is asked for, every one counts. */
static struct audit_reading read_findings(const json_t *record, const struct rule *rule)
{
    const json_t *list = json_object_get(record, "findings");
    struct audit_reading reading = {.state = READING_KNOWN,
                                    .exact = rule->findings.take != TAKE_LARGEST_SIZE};
    if (!json_is_array(list) || !knows_kinds(record, &rule->findings))
        return unknown(READING_ABSENT);
    for (size_t i = 0; i < json_array_size(list); i++) {
        const json_t *finding = json_array_get(list, i);
        if (!is_wanted(finding, &rule->findings))
            continue;
        if (rule->findings.take == TAKE_COUNT)
            reading.lower += 1;
        else if (rule->findings.take == TAKE_FACES)
            reading.lower += json_number_value(json_object_get(finding, "faces_total"));
        else
            reading.lower = fmax(reading.lower, json_number_value(json_object_get(finding, "size")));
    }
    double missing = (double)left_out(record, &rule->findings);
    bool all_count = rule->findings.take == TAKE_COUNT && !rule->findings.severity && !rule->findings.mesh;
    reading.upper = reading.lower
                    + (rule->findings.take == TAKE_COUNT ? missing
                       : missing > 0                     ? INFINITY
                                                         : 0);
    if (all_count)
        reading.lower = reading.upper;
    return reading;
}

struct audit_reading audit_reading_of(const struct json_t *record, const struct rule *rule,
                                      const struct measure_list *measures)
{
    struct audit_reading reading = rule->about == RULE_FINDINGS    ? read_findings(record, rule)
                                   : rule->about == RULE_STATEMENT ? read_statement(record, rule)
                                                                   : read_measure(record, rule, measures);
    return converted(reading, record, rule);
}

bool audit_reading_in(const char *record, size_t size, const struct spec *spec, const struct rule *rule,
                      const struct measure_list *measures, struct audit_reading *reading, bool *applies,
                      struct error *err)
{
    json_t *tree = json_loadb(record, size, 0, NULL);
    const char *kind = json_string_value(json_object_get(tree, "kind"));
    *applies = kind && (strcmp(kind, "cage") == 0 ? spec->for_cage : spec->for_scan);
    if (*applies)
        *reading = audit_reading_of(tree, rule, measures);
    json_decref(tree);
    return kind || error_set(err, ERROR_STORE, "a record cannot be read; run fettle verify");
}
