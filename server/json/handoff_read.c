/* handoff_read.c - statement, record and audit of a handoff taken apart. */
#include "json/handoff_read.h"

#include "json/measures.h"
#include "json/writer.h"

#include <jansson.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static json_t *load(const char *bytes, size_t size, const char *what, struct error *err)
{
    json_error_t fault;
    json_t *document = json_loadb(bytes, size, JSON_REJECT_DUPLICATES, &fault);
    if (!document)
        error_set(err, ERROR_DATA, "is no JSON in line %d: %.100s", fault.line, fault.text);
    else if (!json_is_object(document)) {
        json_decref(document);
        document = NULL;
        error_set(err, ERROR_DATA, "is not %s", what);
    }
    return document;
}

static const char *text_at(const json_t *document, const char *path)
{
    return json_string_value(measure_node(document, path));
}

static bool says(const json_t *document, const char *path, const char *wanted)
{
    const char *text = text_at(document, path);
    return text && strcmp(text, wanted) == 0;
}

/* --- the statement --- */

bool handoff_statement_open(const char *bytes, size_t size, struct handoff_statement *statement,
                            struct error *err)
{
    json_t *document = load(bytes, size, "the statement of a handoff", err);
    memset(statement, 0, sizeof *statement);
    if (!document)
        return false;
    const char *audit_time = text_at(document, "audit.time");
    *statement = (struct handoff_statement){
        .document = document,
        .name = text_at(document, "name"),
        .by = text_at(document, "by"),
        .time = text_at(document, "time"),
        .catalogue_number = text_at(document, "specimen.catalogue_number"),
        .title = text_at(document, "specimen.title"),
        .audit_sha256 = text_at(document, "audit.sha256"),
        .spec_sha256 = text_at(document, "audit.spec_sha256"),
        .subject = text_at(document, "subject"),
        .reference = text_at(document, "reference"),
        .sign_off_count = json_array_size(json_object_get(document, "sign_offs")),
    };
    if (audit_time)
        snprintf(statement->audit_day, sizeof statement->audit_day, "%.10s", audit_time);
    if (says(document, "schema", "fettle/handoff/1") && statement->name && statement->by && statement->time
        && statement->catalogue_number && statement->title && statement->audit_sha256
        && statement->spec_sha256 && statement->subject && is_day(statement->audit_day))
        return true;
    handoff_statement_close(statement);
    return error_set(err, ERROR_DATA, "is not the statement of a handoff (fettle/handoff/1)");
}

void handoff_statement_close(struct handoff_statement *statement)
{
    json_decref(statement->document);
    memset(statement, 0, sizeof *statement);
}

bool handoff_statement_tag(const struct handoff_statement *statement, size_t i,
                           struct handoff_digests *digests)
{
    json_t *tags = json_object_get(statement->document, "tag_files");
    void *at = json_object_iter(tags);
    while (at && i-- > 0)
        at = json_object_iter_next(tags, at);
    if (!at)
        return false;
    const json_t *both = json_object_iter_value(at);
    *digests =
        (struct handoff_digests){json_object_iter_key(at), json_string_value(json_object_get(both, "sha256")),
                                 json_string_value(json_object_get(both, "sha512"))};
    return true;
}

const char *handoff_statement_sign_off(const struct handoff_statement *statement, size_t i)
{
    const json_t *list = json_object_get(statement->document, "sign_offs");
    return json_string_value(json_object_get(json_array_get(list, i), "statement_sha256"));
}

/* --- the record --- */

static bool word_at(const json_t *document, const char *path, const char *const words[], size_t count,
                    size_t *chosen)
{
    for (size_t i = 0; i < count; i++)
        if (says(document, path, words[i])) {
            *chosen = i;
            return true;
        }
    return false;
}

/* Tolerances go into an array of the settings. */
static bool take_tolerances(const json_t *list, struct run_settings *settings)
{
    struct deviation_settings *deviation = &settings->deviation;
    size_t most = sizeof deviation->tolerances / sizeof *deviation->tolerances;
    if (!json_is_array(list) || json_array_size(list) > most)
        return false;
    deviation->tolerance_count = json_array_size(list);
    for (size_t i = 0; i < deviation->tolerance_count; i++) {
        deviation->tolerances[i] = json_number_value(json_array_get(list, i));
        if (!(deviation->tolerances[i] > (i ? deviation->tolerances[i - 1] : 0)))
            return false;
    }
    return true;
}

static bool take_settings(const json_t *document, struct run_settings *settings)
{
    static const char *const surfaces[] = {
        [SURFACE_CONTROL] = "control", [SURFACE_LIMIT] = "limit", [SURFACE_BOTH] = "both"};
    static const char *const kinds[] = {[MESH_SCAN] = "scan", [MESH_CAGE] = "cage"};
    static const char *const boundaries[] = {
        [BOUNDARY_EDGE_ONLY] = "edge-only", [BOUNDARY_EDGE_AND_CORNER] = "edge-and-corner"};
    const json_t *creases = measure_node(document, "engine.settings.creases");
    const char *units = text_at(document, "subject.file.units");
    size_t surface, kind, boundary;
    *settings = run_settings_default();
    if (!measure_number(document, "engine.settings.certify", &settings->deviation.certify)
        || !(settings->deviation.certify > 0 && settings->deviation.certify <= 1)
        || !word_at(document, "engine.settings.surface", surfaces, 3, &surface)
        || !word_at(document, "kind", kinds, 2, &kind)
        || !word_at(document, "engine.settings.boundary_rule", boundaries, 2, &boundary)
        || !json_is_boolean(creases) || !units || !run_units_parse(units, &settings->units)
        || !take_tolerances(measure_node(document, "engine.settings.tolerances"), settings))
        return false;
    settings->surface = (enum surface_kind)surface;
    settings->kind_given = true;
    settings->kind = (enum mesh_kind)kind;
    settings->boundary = (enum boundary_rule)boundary;
    settings->ignore_creases = json_is_false(creases);
    return true;
}

bool handoff_record_open(const char *bytes, size_t size, struct handoff_record *record, struct error *err)
{
    json_t *document = load(bytes, size, "a run record", err);
    memset(record, 0, sizeof *record);
    if (!document)
        return false;
    *record = (struct handoff_record){
        .document = document,
        .subject_name = text_at(document, "subject.file.name"),
        .subject_sha256 = text_at(document, "subject.file.sha256"),
        .reference_name = text_at(document, "reference.file.name"),
        .reference_sha256 = text_at(document, "reference.file.sha256"),
        .version = text_at(document, "engine.version"),
        .commit = text_at(document, "engine.commit"),
        .definitions = json_integer_value(measure_node(document, "engine.definitions")),
    };
    if (says(document, "schema", "fettle/run/1") && record->subject_name && record->subject_sha256
        && !record->reference_name == !record->reference_sha256 && record->version && record->commit
        && take_settings(document, &record->settings))
        return true;
    handoff_record_close(record);
    return error_set(err, ERROR_DATA,
                     "is no run record (fettle/run/1), or tells settings that this program does not know");
}

void handoff_record_close(struct handoff_record *record)
{
    json_decref(record->document);
    memset(record, 0, sizeof *record);
}

/* --- comparing --- */

struct comparison {
    struct handoff_differences *differences;
    char path[400];
};

static void print_value(const json_t *value, char *out, size_t out_size)
{
    struct error err;
    char *text = NULL;
    size_t size;
    if (!value)
        snprintf(out, out_size, "missing");
    else if (json_is_object(value) || json_is_array(value))
        snprintf(out, out_size, "%zu values",
                 json_is_array(value) ? json_array_size(value) : json_object_size(value));
    else if (writer_dump(value, WRITER_COMPACT, &text, &size, &err))
        snprintf(out, out_size, "%s", text);
    free(text);
}

static void differ(struct comparison *comparison, const json_t *then, const json_t *now)
{
    struct handoff_differences *differences = comparison->differences;
    if (differences->total++ >= HANDOFF_DIFFERENCES_MAX)
        return;
    struct handoff_difference *item = &differences->items[differences->count++];
    snprintf(item->path, sizeof item->path, "%.119s", comparison->path);
    print_value(then, item->then, sizeof item->then);
    print_value(now, item->now, sizeof item->now);
}

static bool is_left_out(const char *path)
{
    static const char *const left_out[] = {"timings", "engine.version", "engine.commit", "engine.definitions",
                                           "engine.settings.threads"};
    for (size_t i = 0; i < sizeof left_out / sizeof *left_out; i++)
        if (strcmp(path, left_out[i]) == 0)
            return true;
    return false;
}

static void compare(struct comparison *comparison, json_t *then, json_t *now);

static void compare_inside(struct comparison *comparison, const char *key, json_t *then, json_t *now)
{
    size_t before = strlen(comparison->path);
    snprintf(comparison->path + before, sizeof comparison->path - before, "%s%s", before ? "." : "", key);
    if (!is_left_out(comparison->path))
        compare(comparison, then, now);
    comparison->path[before] = '\0';
}

static void compare_arrays(struct comparison *comparison, const json_t *then, const json_t *now)
{
    char key[24];
    for (size_t i = 0; i < json_array_size(then); i++) {
        snprintf(key, sizeof key, "%zu", i);
        compare_inside(comparison, key, json_array_get(then, i), json_array_get(now, i));
    }
}

static bool number_of(const json_t *object, const char *key, double *number)
{
    const json_t *value = json_object_get(object, key);
    *number = json_number_value(value);
    return json_is_number(value);
}

/* How many ends of a certified interval differ, where the two intervals have something in common. */
static size_t narrowed_ends(const json_t *then, const json_t *now)
{
    double then_lower, then_upper, now_lower, now_upper;
    if (!number_of(then, "lower", &then_lower) || !number_of(then, "upper", &then_upper)
        || !number_of(now, "lower", &now_lower) || !number_of(now, "upper", &now_upper)
        || then_lower > now_upper || now_lower > then_upper)
        return 0;
    return (size_t)(then_lower != now_lower) + (size_t)(then_upper != now_upper);
}

/* Documents of the same form as the parser let in: no deeper than it allows. */
static void compare(struct comparison *comparison, json_t *then, json_t *now)
{
    if (json_is_object(then) && json_is_object(now)) {
        comparison->differences->narrowed += narrowed_ends(then, now);
        for (void *at = json_object_iter(then); at; at = json_object_iter_next(then, at)) {
            const char *key = json_object_iter_key(at);
            compare_inside(comparison, key, json_object_iter_value(at), json_object_get(now, key));
        }
    } else if (json_is_array(then) && json_is_array(now) && json_array_size(then) == json_array_size(now)) {
        compare_arrays(comparison, then, now);
    } else if (json_is_number(then) && json_is_number(now)) {
        if (json_number_value(then) != json_number_value(now))
            differ(comparison, then, now);
    } else if (!json_equal(then, now)) {
        differ(comparison, then, now);
    }
}

bool handoff_record_compare(const struct handoff_record *then, const char *now, size_t now_size,
                            struct handoff_differences *differences, struct error *err)
{
    struct comparison comparison = {.differences = differences};
    json_t *document = load(now, now_size, "a run record", err);
    memset(differences, 0, sizeof *differences);
    if (!document)
        return false;
    compare(&comparison, then->document, document);
    json_decref(document);
    return true;
}

/* --- the audit --- */

/* One that ran out before leaves no trace but that it did: any day long gone stands for its last. */
static json_t *waiver_of(const json_t *rule)
{
    const json_t *waiver = json_object_get(rule, "waiver");
    json_t *id = json_object_get(rule, "id");
    if (json_is_object(waiver))
        return json_pack("{s:O, s:O, s:O, s:O}", "rule", id, "reason", json_object_get(waiver, "reason"),
                         "author", json_object_get(waiver, "author"), "expires",
                         json_object_get(waiver, "expires"));
    if (json_is_true(json_object_get(rule, "waiver_ran_out")))
        return json_pack("{s:O, s:s, s:s, s:s}", "rule", id, "reason", "ran out", "author", "ran out",
                         "expires", "1970-01-01");
    return NULL;
}

bool handoff_audit_waivers(const char *bytes, size_t size, struct waiver_list *waivers, struct error *err)
{
    json_t *document = load(bytes, size, "an audit", err), *list = json_array();
    char *text = NULL;
    size_t text_size;
    bool ok = document && list;
    memset(waivers, 0, sizeof *waivers);
    const json_t *rules = json_object_get(document, "rules");
    for (size_t i = 0; ok && i < json_array_size(rules); i++) {
        json_t *waiver = waiver_of(json_array_get(rules, i));
        if (waiver)
            json_array_append_new(list, waiver);
    }
    ok = ok && writer_dump(list, WRITER_COMPACT, &text, &text_size, err)
         && waivers_open(text, text_size, waivers, err);
    free(text);
    json_decref(list);
    json_decref(document);
    return ok;
}
