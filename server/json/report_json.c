/* report_json.c - the mesh report: everything a record says of one file alone. */
#include "json/tree.h"

#include <stdio.h>

static json_t *warnings_json(struct tree *tree, const struct warning_list *warnings)
{
    json_t *list = tree_array(tree);
    for (size_t i = 0; i < warnings->count; i++) {
        json_t *entry = tree_object(tree);
        tree_put_text(tree, entry, "code", warnings->entries[i].code);
        tree_put_text(tree, entry, "text", warnings->entries[i].text);
        tree_put_count(tree, entry, "count", warnings->entries[i].count);
        tree_append(tree, list, entry);
    }
    return list;
}

static json_t *file_json(struct tree *tree, const struct mesh_file *file, enum run_units units)
{
    json_t *object = tree_object(tree);
    tree_put_text(tree, object, "name", file->name);
    tree_put_text(tree, object, "sha256", file->sha256);
    tree_put_count(tree, object, "bytes", file->bytes);
    tree_put_text(tree, object, "compression", file->compression);
    tree_put_count(tree, object, "inflated_bytes", file->inflated_bytes);
    tree_put_text(tree, object, "format", file->format);
    tree_put_text(tree, object, "units", run_units_name(units));
    tree_put_count(tree, object, "merged_vertices", file->merged_vertices);
    tree_put(tree, object, "warnings", warnings_json(tree, &file->warnings));
    tree_put_count(tree, object, "warnings_total", file->warnings.count);
    return object;
}

static json_t *counts_json(struct tree *tree, const struct mesh_counts *counts)
{
    json_t *object = tree_object(tree), *by = tree_object(tree);
    tree_put_count(tree, object, "vertices", counts->vertices);
    tree_put_count(tree, object, "faces", counts->faces);
    tree_put_count(tree, object, "edges", counts->edges);
    tree_put_count(tree, object, "triangles", counts->triangles);
    tree_put_count(tree, object, "quads", counts->quads);
    tree_put_count(tree, object, "ngons", counts->ngons);
    tree_put_count(tree, object, "unreferenced_vertices", counts->unreferenced_vertices);
    tree_put_count(tree, object, "coincident_vertices", counts->coincident_vertices);
    tree_put_count(tree, object, "degenerate_faces", counts->degenerate_faces);
    tree_put_count(tree, by, "repeated", counts->degenerate_repeated);
    tree_put_count(tree, by, "zero_area", counts->degenerate_zero_area);
    tree_put_count(tree, by, "zero_side", counts->degenerate_zero_side);
    tree_put_count(tree, by, "near_zero", counts->degenerate_near_zero);
    tree_put(tree, object, "degenerate_by", by);
    tree_put_count(tree, object, "duplicate_faces", counts->duplicate_faces);
    tree_put_count(tree, object, "dropped_faces", counts->dropped_faces);
    return object;
}

static json_t *edge_length_json(struct tree *tree, const struct edge_length_report *lengths)
{
    json_t *object = tree_object(tree);
    tree_put_real(tree, object, "min", lengths->min);
    tree_put_real(tree, object, "mean", lengths->mean);
    tree_put_real(tree, object, "median", lengths->median);
    tree_put_real(tree, object, "max", lengths->max);
    tree_put_real(tree, object, "relative_median", lengths->relative_median);
    return object;
}

static json_t *bins_json(struct tree *tree, const struct integer_histogram *histogram)
{
    json_t *object = tree_object(tree);
    char key[16];
    for (size_t i = 0; i < histogram->bin_count; i++) {
        snprintf(key, sizeof key, "%u", histogram->bins[i].value);
        tree_put_count(tree, object, key, histogram->bins[i].count);
    }
    return object;
}

static json_t *shells_json(struct tree *tree, const struct topology_report *topology)
{
    json_t *list = tree_array(tree);
    for (size_t i = 0; i < topology->shell_list_count; i++) {
        const struct shell_report *shell = &topology->shell_list[i];
        json_t *entry = tree_object(tree);
        tree_put_count(tree, entry, "faces", shell->faces);
        tree_put_count(tree, entry, "vertices", shell->vertices);
        tree_put_count(tree, entry, "edges", shell->edges);
        tree_put_count(tree, entry, "open_edges", shell->open_edges);
        tree_put_integer(tree, entry, "open_loops", shell->open_loops);
        tree_put_integer(tree, entry, "euler_characteristic", shell->euler_characteristic);
        tree_put_integer(tree, entry, "genus", shell->genus);
        tree_put_bool(tree, entry, "orientable", shell->orientable);
        tree_put_bool(tree, entry, "manifold", shell->manifold);
        tree_put_real(tree, entry, "area", shell->area);
        tree_put_real(tree, entry, "volume", shell->volume);
        tree_put_box(tree, entry, "bounds", shell->bounds);
        tree_append(tree, list, entry);
    }
    return list;
}

static json_t *open_loops_json(struct tree *tree, const struct topology_report *topology)
{
    json_t *list = tree_array(tree);
    for (size_t i = 0; i < topology->open_loop_list_count; i++) {
        const struct open_loop_report *loop = &topology->open_loop_list[i];
        json_t *entry = tree_object(tree);
        tree_put_count(tree, entry, "edges", loop->edges);
        tree_put_real(tree, entry, "length", loop->length);
        tree_put_point(tree, entry, "centre", loop->centre);
        tree_put_count(tree, entry, "shell", loop->shell);
        tree_put_count(tree, entry, "first_vertex", loop->first_vertex);
        tree_append(tree, list, entry);
    }
    return list;
}

static json_t *topology_json(struct tree *tree, const struct topology_report *topology)
{
    json_t *object = tree_object(tree);
    tree_put_count(tree, object, "shells", topology->shells);
    tree_put_integer(tree, object, "euler_characteristic", topology->euler_characteristic);
    tree_put_integer(tree, object, "genus", topology->genus);
    tree_put_count(tree, object, "open_edges", topology->open_edges);
    tree_put_integer(tree, object, "open_loops", topology->open_loops);
    tree_put_count(tree, object, "nonmanifold_edges", topology->nonmanifold_edges);
    tree_put_count(tree, object, "nonmanifold_vertices", topology->nonmanifold_vertices);
    tree_put_count(tree, object, "inconsistent_edges", topology->inconsistent_edges);
    tree_put(tree, object, "edge_incidence", bins_json(tree, &topology->edge_incidence));
    tree_put_bool(tree, object, "closed", topology->closed);
    tree_put_bool(tree, object, "oriented", topology->oriented);
    tree_put_bool(tree, object, "manifold", topology->manifold);
    tree_put_bool(tree, object, "closed_manifold", topology->closed_manifold);
    tree_put(tree, object, "shell_list", shells_json(tree, topology));
    tree_put_count(tree, object, "shell_list_total", topology->shell_list_total);
    tree_put(tree, object, "open_loop_list", open_loops_json(tree, topology));
    tree_put_count(tree, object, "open_loop_list_total", topology->open_loop_list_total);
    return object;
}

static json_t *valence_json(struct tree *tree, const struct valence_report *valence)
{
    json_t *object = tree_object(tree);
    tree_put(tree, object, "interior", bins_json(tree, &valence->interior));
    tree_put(tree, object, "boundary", bins_json(tree, &valence->boundary));
    tree_put_count(tree, object, "nonmanifold", valence->nonmanifold);
    tree_put_count(tree, object, "corners", valence->corners);
    tree_put_count(tree, object, "irregular_interior", valence->irregular_interior);
    tree_put_count(tree, object, "irregular_boundary", valence->irregular_boundary);
    tree_put_real(tree, object, "irregular_share", valence->irregular_share);
    tree_put_count(tree, object, "max", valence->max);
    return object;
}

static json_t *histogram_json(struct tree *tree, const struct metric_report *metric)
{
    if (metric->bin_count == 0)
        return json_null();
    json_t *object = tree_object(tree);
    tree_put(tree, object, "edges", tree_reals(tree, metric->histogram_edges, metric->bin_count + 1));
    tree_put(tree, object, "counts", tree_counts(tree, metric->histogram_counts, metric->bin_count));
    tree_put_count(tree, object, "below", metric->below);
    tree_put_count(tree, object, "above", metric->above);
    return object;
}

static void put_metrics(struct tree *tree, json_t *object, const struct metric_report *metrics, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        const struct metric_report *metric = &metrics[i];
        json_t *entry = tree_object(tree);
        tree_put_count(tree, entry, "count", metric->count);
        tree_put_count(tree, entry, "undefined", metric->undefined);
        tree_put_count(tree, entry, "degenerate", metric->degenerate);
        tree_put_real(tree, entry, "min", metric->min);
        tree_put_real(tree, entry, "mean", metric->mean);
        tree_put_real(tree, entry, "median", metric->median);
        tree_put_real(tree, entry, "p05", metric->p05);
        tree_put_real(tree, entry, "p95", metric->p95);
        tree_put_real(tree, entry, "p99", metric->p99);
        tree_put_real(tree, entry, "max", metric->max);
        tree_put_integer(tree, entry, "worst_face", metric->worst_face);
        tree_put(tree, entry, "histogram", histogram_json(tree, metric));
        tree_put(tree, object, metric->name, entry);
    }
}

static json_t *quality_json(struct tree *tree, const struct quality_report *quality)
{
    json_t *object = tree_object(tree), *quad = tree_object(tree), *triangle = tree_object(tree);
    tree_put_count(tree, quad, "concave", quality->concave_quads);
    put_metrics(tree, quad, quality->quad, QUAD_METRIC_COUNT);
    put_metrics(tree, triangle, quality->triangle, TRIANGLE_METRIC_COUNT);
    tree_put(tree, object, "quad", quad);
    tree_put(tree, object, "tri", triangle);
    return object;
}

json_t *tree_mesh_report(struct tree *tree, const struct run_mesh *mesh, enum run_units units)
{
    const struct mesh_report *report = &mesh->report;
    json_t *object = tree_object(tree);
    tree_put(tree, object, "file", file_json(tree, &mesh->file, units));
    tree_put(tree, object, "counts", counts_json(tree, &report->counts));
    tree_put_box(tree, object, "bounds", report->bounds);
    tree_put_real(tree, object, "area", report->area);
    tree_put_real(tree, object, "volume", report->volume);
    tree_put(tree, object, "edge_length", edge_length_json(tree, &report->edge_length));
    tree_put(tree, object, "topology", topology_json(tree, &report->topology));
    tree_put(tree, object, "valence", valence_json(tree, &report->valence));
    tree_put(tree, object, "quality", quality_json(tree, &report->quality));
    return object;
}
