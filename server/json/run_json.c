/* run_json.c - the record of a run: engine and settings, deviation, findings, timings. */
#include "json/run_json.h"

#include "run/version.h"
#include "json/tree.h"
#include "json/writer.h"

#include <stdio.h>
#include <string.h>

static const char *surface_name(enum surface_kind surface)
{
    static const char *const names[] = {
        [SURFACE_CONTROL] = "control", [SURFACE_LIMIT] = "limit", [SURFACE_BOTH] = "both"};
    return names[surface];
}

static const char *boundary_name(enum boundary_rule rule)
{
    return rule == BOUNDARY_EDGE_ONLY ? "edge-only" : "edge-and-corner";
}

static json_t *engine_json(struct tree *tree, const struct run_settings *settings)
{
    const struct deviation_settings *deviation = &settings->deviation;
    json_t *object = tree_object(tree), *chosen = tree_object(tree);
    tree_put_text(tree, object, "version", engine_version());
    tree_put_text(tree, object, "commit", engine_commit());
    tree_put_integer(tree, object, "definitions", engine_definitions());
    tree_put_real(tree, chosen, "certify", deviation->certify);
    tree_put_text(tree, chosen, "surface", surface_name(settings->surface));
    tree_put_text(tree, chosen, "boundary_rule", boundary_name(settings->boundary));
    tree_put_bool(tree, chosen, "creases", !settings->ignore_creases);
    tree_put(tree, chosen, "tolerances", tree_reals(tree, deviation->tolerances, deviation->tolerance_count));
    tree_put_count(tree, chosen, "threads", deviation->threads);
    tree_put(tree, object, "settings", chosen);
    return object;
}

static json_t *farthest_json(struct tree *tree, const struct farthest_place *place)
{
    json_t *object = tree_interval(tree, place->distance);
    tree_put_point(tree, object, "at", place->at);
    tree_put_count(tree, object, "face", place->face);
    tree_put_point(tree, object, "nearest", place->nearest);
    tree_put_count(tree, object, "nearest_face", place->nearest_face);
    return object;
}

static void put_sampling(struct tree *tree, json_t *object, size_t count, uint64_t seed)
{
    tree_put_count(tree, object, "N", count);
    tree_put_count(tree, object, "seed", seed);
}

/* Null where the statistics are certified. */
static json_t *sampled_json(struct tree *tree, const struct one_sided_deviation *side)
{
    if (side->sample_count == 0)
        return json_null();
    json_t *object = tree_object(tree);
    put_sampling(tree, object, side->sample_count, side->seed);
    return object;
}

static json_t *halfwidth_json(struct tree *tree, const struct one_sided_deviation *side)
{
    json_t *object = tree_object(tree);
    tree_put_real(tree, object, "mean", side->halfwidth.mean);
    tree_put_real(tree, object, "rms", side->halfwidth.rms);
    tree_put_real(tree, object, "median", side->halfwidth.median);
    tree_put_real(tree, object, "p95", side->halfwidth.p95);
    tree_put_real(tree, object, "p99", side->halfwidth.p99);
    tree_put_real(tree, object, "p999", side->halfwidth.p999);
    return object;
}

static json_t *coverage_json(struct tree *tree, const struct interval *coverage,
                             const struct deviation_settings *settings)
{
    json_t *list = tree_array(tree);
    for (size_t i = 0; i < settings->tolerance_count; i++) {
        json_t *entry = tree_object(tree);
        tree_put_real(tree, entry, "tolerance", settings->tolerances[i]);
        tree_put_interval(tree, entry, "share", coverage[i]);
        tree_append(tree, list, entry);
    }
    return list;
}

static json_t *certified_json(struct tree *tree, const struct certified_statistics *certified,
                              const struct deviation_settings *settings)
{
    json_t *object = tree_object(tree);
    tree_put_interval(tree, object, "mean", certified->mean);
    tree_put_interval(tree, object, "rms", certified->rms);
    tree_put_interval(tree, object, "median", certified->median);
    tree_put_interval(tree, object, "p95", certified->p95);
    tree_put_interval(tree, object, "p99", certified->p99);
    tree_put_interval(tree, object, "p999", certified->p999);
    tree_put(tree, object, "coverage", coverage_json(tree, certified->coverage, settings));
    return object;
}

/* Null where there are no classes. */
static json_t *histogram_json(struct tree *tree, const struct one_sided_deviation *side,
                              const struct distance_classes *classes)
{
    if (classes->limit_count == 0)
        return json_null();
    json_t *object = tree_object(tree), *shares = tree_array(tree), *sampled = json_null();
    for (size_t c = 0; c <= classes->limit_count; c++) {
        json_t *share = tree_object(tree);
        tree_put_real(tree, share, "lower", side->class_shares[c].lower);
        tree_put_real(tree, share, "upper", side->class_shares[c].upper);
        tree_put(tree, share, "sampled", json_boolean(side->class_is_sampled[c]));
        tree_append(tree, shares, share);
    }
    if (side->class_sample_count > 0) {
        sampled = tree_object(tree);
        put_sampling(tree, sampled, side->class_sample_count, side->normal_angle.seed);
    }
    tree_put(tree, object, "edges", tree_reals(tree, classes->limits, classes->limit_count));
    tree_put(tree, object, "shares", shares);
    tree_put(tree, object, "sampled", sampled);
    return object;
}

static json_t *one_sided_json(struct tree *tree, const struct one_sided_deviation *side,
                              const struct deviation *deviation, const struct deviation_settings *settings)
{
    json_t *object = tree_object(tree), *angle = tree_object(tree), *angle_halfwidth = tree_object(tree);
    tree_put(tree, object, "max", farthest_json(tree, &side->max));
    tree_put_real(tree, object, "mean", side->mean);
    tree_put_real(tree, object, "rms", side->rms);
    tree_put_real(tree, object, "median", side->median);
    tree_put_real(tree, object, "p95", side->p95);
    tree_put_real(tree, object, "p99", side->p99);
    tree_put_real(tree, object, "p999", side->p999);
    tree_put(tree, object, "halfwidth", halfwidth_json(tree, side));
    tree_put(tree, object, "sampled", sampled_json(tree, side));
    tree_put(tree, object, "coverage", coverage_json(tree, side->coverage, settings));
    tree_put(tree, object, "certified", certified_json(tree, &side->certified, settings));
    tree_put(tree, object, "histogram", histogram_json(tree, side, &deviation->classes));
    tree_put_real(tree, angle, "mean", side->normal_angle.mean);
    tree_put_real(tree, angle, "p95", side->normal_angle.p95);
    tree_put_real(tree, angle, "max", side->normal_angle.max);
    tree_put_real(tree, angle_halfwidth, "mean", side->normal_angle.halfwidth.mean);
    tree_put_real(tree, angle_halfwidth, "p95", side->normal_angle.halfwidth.p95);
    tree_put(tree, angle, "halfwidth", angle_halfwidth);
    put_sampling(tree, angle, side->normal_angle.sample_count, side->normal_angle.seed);
    tree_put(tree, object, "normal_angle", angle);
    return object;
}

static json_t *signed_json(struct tree *tree, const struct signed_deviation *deviation)
{
    if (!deviation->defined)
        return json_null();
    json_t *object = tree_object(tree);
    tree_put_real(tree, object, "mean", deviation->mean);
    tree_put_real(tree, object, "min", deviation->min);
    tree_put_real(tree, object, "max", deviation->max);
    tree_put_real(tree, object, "p05", deviation->p05);
    tree_put_real(tree, object, "p95", deviation->p95);
    return object;
}

/* How far is far, and how many places are. */
static json_t *places_json(struct tree *tree, const struct finding_list *findings)
{
    json_t *object = tree_object(tree), *lost = tree_object(tree), *invented = tree_object(tree);
    tree_put_real(tree, lost, "level", findings->level_lost);
    tree_put_count(tree, lost, "count", findings->total_by_kind[FINDING_REFERENCE][FINDING_LOST]);
    tree_put(tree, object, "lost", lost);
    tree_put_real(tree, invented, "level", findings->level_invented);
    tree_put_count(tree, invented, "count", findings->total_by_kind[FINDING_SUBJECT][FINDING_INVENTED]);
    tree_put(tree, object, "invented", invented);
    return object;
}

static json_t *deviation_json(struct tree *tree, const struct run *run, bool there,
                              const struct deviation *deviation)
{
    const struct deviation_settings *settings = &run->settings.deviation;
    if (!there)
        return json_null();
    json_t *object = tree_object(tree);
    tree_put_text(tree, object, "surface", surface_name(deviation->surface));
    tree_put_text(tree, object, "boundary_rule", boundary_name(run->settings.boundary));
    tree_put_bool(tree, object, "budget_exhausted", deviation->budget_exhausted);
    tree_put_interval(tree, object, "hausdorff", deviation->hausdorff);
    tree_put(tree, object, "reference_to_subject",
             one_sided_json(tree, &deviation->reference_to_subject, deviation, settings));
    tree_put(tree, object, "subject_to_reference",
             one_sided_json(tree, &deviation->subject_to_reference, deviation, settings));
    tree_put(tree, object, "signed", signed_json(tree, &deviation->signed_));
    if (deviation == &run->deviation || !run->has_deviation)
        tree_put(tree, object, "places", places_json(tree, &run->findings));
    return object;
}

/* "length" and "area" become the file's unit; what is counted keeps its word. */
static void put_finding_unit(struct tree *tree, json_t *object, const char *unit, enum run_units units)
{
    char text[32];
    if (strcmp(unit, "length") == 0)
        tree_put_text(tree, object, "unit", run_units_name(units));
    else if (strcmp(unit, "area") == 0) {
        snprintf(text, sizeof text, "%s\xc2\xb2", run_units_name(units));
        tree_put_text(tree, object, "unit", text);
    } else
        tree_put_text(tree, object, "unit", unit);
}

static json_t *finding_json(struct tree *tree, const struct finding *finding, enum run_units units)
{
    json_t *object = tree_object(tree);
    tree_put_text(tree, object, "kind", finding_kind_name(finding->kind));
    tree_put_text(tree, object, "severity", finding_severity_name(finding->severity));
    tree_put_real(tree, object, "score", finding->score);
    tree_put_text(tree, object, "certainty", finding->certain ? "certain" : "likely");
    tree_put_text(tree, object, "mesh", finding->mesh == FINDING_SUBJECT ? "subject" : "reference");
    tree_put_point(tree, object, "at", finding->at);
    tree_put_real(tree, object, "radius", finding->radius);
    if (finding->kind == FINDING_LOST || finding->kind == FINDING_INVENTED)
        tree_put_interval(tree, object, "distance", finding->distance);
    tree_put_real(tree, object, "size", finding->size);
    put_finding_unit(tree, object, finding->unit, units);
    tree_put(tree, object, "faces", tree_counts(tree, finding->faces, finding->face_count));
    tree_put_count(tree, object, "faces_total", finding->faces_total);
    if (finding->form != FINDING_PLAIN)
        tree_put_text(tree, object, "form", finding_form_name(finding->form));
    if (finding->kind == FINDING_OPEN_LOOP)
        tree_put_count(tree, object, "edges", finding->edges);
    if (finding->kind == FINDING_NONMANIFOLD_VERTEX) {
        tree_put_count(tree, object, "fans", finding->fans);
        tree_put_count(tree, object, "vertex", finding->vertex);
    }
    tree_put_text(tree, object, "text", finding->text);
    return object;
}

static json_t *severities_json(struct tree *tree, const struct finding_list *findings, int first_mesh,
                               int end_mesh)
{
    json_t *object = tree_object(tree);
    for (int severity = 0; severity < FINDING_SEVERITY_COUNT; severity++) {
        size_t total = 0;
        for (int mesh = first_mesh; mesh < end_mesh; mesh++)
            total += findings->total_by_severity[mesh][severity];
        tree_put_count(tree, object, finding_severity_name((enum finding_severity)severity), total);
    }
    return object;
}

static json_t *kinds_json(struct tree *tree, const struct finding_list *findings, int first_mesh,
                          int end_mesh)
{
    json_t *object = tree_object(tree);
    for (int kind = 0; kind < FINDING_KIND_COUNT; kind++) {
        size_t total = 0;
        for (int mesh = first_mesh; mesh < end_mesh; mesh++)
            total += findings->total_by_kind[mesh][kind];
        tree_put_count(tree, object, finding_kind_name((enum finding_kind)kind), total);
    }
    return object;
}

static void put_findings(struct tree *tree, json_t *record, const struct run *run)
{
    const struct finding_list *findings = &run->findings;
    json_t *list = tree_array(tree), *of_subject;

    for (size_t i = 0; i < findings->count; i++)
        tree_append(tree, list, finding_json(tree, &findings->entries[i], run->settings.units));
    tree_put(tree, record, "findings", list);
    tree_put_count(tree, record, "findings_total", findings->total);
    tree_put(tree, record, "findings_by_kind", kinds_json(tree, findings, 0, FINDING_MESH_COUNT));
    tree_put(tree, record, "findings_by_severity", severities_json(tree, findings, 0, FINDING_MESH_COUNT));
    of_subject = severities_json(tree, findings, FINDING_SUBJECT, FINDING_SUBJECT + 1);
    tree_put(tree, of_subject, "by_kind", kinds_json(tree, findings, FINDING_SUBJECT, FINDING_SUBJECT + 1));
    tree_put(tree, record, "findings_of_subject", of_subject);
}

static json_t *timings_json(struct tree *tree, const struct run_timings *timings)
{
    json_t *object = tree_object(tree);
    tree_put_real(tree, object, "read", timings->read);
    tree_put_real(tree, object, "topology", timings->topology);
    tree_put_real(tree, object, "quality", timings->quality);
    tree_put_real(tree, object, "index", timings->index);
    tree_put_real(tree, object, "hausdorff", timings->hausdorff);
    tree_put_real(tree, object, "statistics", timings->statistics);
    tree_put_real(tree, object, "limit", timings->limit);
    tree_put_real(tree, object, "mend", timings->mend);
    tree_put_real(tree, object, "findings", timings->findings);
    tree_put_real(tree, object, "total", timings->total);
    tree_put_real(tree, object, "peak_rss_mib", timings->peak_rss_mib);
    tree_put_real(tree, object, "peak_anonymous_mib", timings->peak_anonymous_mib);
    return object;
}

static json_t *excess_side_json(struct tree *tree, struct interval max, struct interval mean)
{
    json_t *object = tree_object(tree);
    tree_put_interval(tree, object, "max", max);
    tree_put_interval(tree, object, "mean", mean);
    return object;
}

static json_t *control_excess_json(struct tree *tree, const struct run *run)
{
    if (!run->has_deviation || !run->has_deviation_limit)
        return json_null();
    struct control_excess excess = control_excess_of(&run->deviation, &run->deviation_limit);
    json_t *object = tree_object(tree);
    tree_put_interval(tree, object, "hausdorff", excess.hausdorff);
    tree_put(tree, object, "reference_to_subject", excess_side_json(tree, excess.lost_max, excess.lost_mean));
    tree_put(tree, object, "subject_to_reference",
             excess_side_json(tree, excess.invented_max, excess.invented_mean));
    return object;
}

struct json_t *run_to_json(const struct run *run, struct error *err)
{
    struct tree tree = {false};
    enum run_units units = run->settings.units;
    json_t *record = tree_object(&tree);

    tree_put_text(&tree, record, "schema", "fettle/run/1");
    tree_put(&tree, record, "engine", engine_json(&tree, &run->settings));
    tree_put_text(&tree, record, "kind", run->kind == MESH_CAGE ? "cage" : "scan");
    tree_put(&tree, record, "subject", tree_mesh_report(&tree, &run->subject, units));
    tree_put(&tree, record, "reference",
             run->has_reference ? tree_mesh_report(&tree, &run->reference, units) : json_null());
    tree_put(&tree, record, "deviation", deviation_json(&tree, run, run->has_deviation, &run->deviation));
    tree_put(&tree, record, "deviation_limit",
             deviation_json(&tree, run, run->has_deviation_limit, &run->deviation_limit));
    tree_put(&tree, record, "control_excess", control_excess_json(&tree, run));
    tree_put(&tree, record, "mend", run->has_mend ? tree_mend(&tree, run) : json_null());
    put_findings(&tree, record, run);
    tree_put(&tree, record, "timings", timings_json(&tree, &run->timings));
    if (tree.failed) {
        json_decref(record);
        error_set(err, ERROR_MACHINE, "memory is out while writing the record");
        return NULL;
    }
    return record;
}

void run_json_release(struct json_t *record)
{
    json_decref(record);
}

bool run_record_text(const struct run *run, char **text, size_t *size, struct error *err)
{
    json_t *record = run_to_json(run, err);
    bool ok = record && writer_dump(record, WRITER_LINE, text, size, err);

    json_decref(record);
    return ok;
}
