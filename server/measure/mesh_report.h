/* mesh_report.h - everything that is measured of one mesh alone; the record's "mesh report".
 *
 * Definitions and sources stand beside the functions that fill these and in schema/measures.json.
 * A double that is NaN, and an int64_t that is MEASURE_UNDEFINED, mean "not defined": null in the record.
 * Arrays belong to the arena given to mesh_report_build. Indices are zero-based, in the file's order. */
#ifndef MEASURE_MESH_REPORT_H
#define MEASURE_MESH_REPORT_H

#include "base/arena.h"
#include "base/progress.h"
#include "geom/vec3.h"
#include "mesh/warning.h"

#define MEASURE_UNDEFINED INT64_MIN
#define MEASURE_LIST_MAX 1000 /* entries a list keeps, worst or largest first */

struct mesh_counts {
    size_t vertices, faces, edges, triangles, quads, ngons;
    size_t unreferenced_vertices, coincident_vertices; /* coincident: extra copies of a position */
    size_t degenerate_faces;                           /* repeated + zero_area */
    size_t degenerate_repeated, degenerate_zero_area, degenerate_zero_side, degenerate_near_zero;
    size_t duplicate_faces; /* extra copies: same set of vertices in any rotation or direction */
    size_t dropped_faces;   /* by the reader */
};

struct edge_length_report {
    double min, mean, median, max, relative_median;
};

/* One bar of a histogram of small integers: incidence of edges, valence of vertices. */
struct integer_bin {
    uint32_t value;
    size_t count;
};
struct integer_histogram {
    size_t bin_count;
    struct integer_bin *bins; /* ascending by value, no empty bin */
};

struct shell_report {
    size_t faces, vertices, edges, open_edges;
    int64_t open_loops, euler_characteristic, genus;
    bool orientable, manifold;
    double area, volume; /* volume: NaN unless the shell is closed and oriented */
    aabb bounds;
};

struct open_loop_report {
    size_t edges;
    double length;
    vec3 centre;  /* length-weighted mean of the loop's edges */
    size_t shell; /* index by size, as in shell_list */
    size_t first_vertex;
};

struct topology_report {
    size_t shells;
    int64_t euler_characteristic, genus;
    size_t open_edges;
    int64_t open_loops;
    size_t nonmanifold_edges, nonmanifold_vertices, inconsistent_edges;
    struct integer_histogram edge_incidence;
    bool closed, oriented, manifold, closed_manifold;
    size_t shell_list_count, shell_list_total; /* count <= MEASURE_LIST_MAX */
    struct shell_report *shell_list;           /* most faces first */
    size_t open_loop_list_count, open_loop_list_total;
    struct open_loop_report *open_loop_list; /* longest first */
};

struct valence_report {
    struct integer_histogram interior, boundary;
    size_t nonmanifold, corners, irregular_interior, irregular_boundary;
    double irregular_share; /* of manifold vertices without corners */
    size_t max;
};

struct metric_report {
    const char *name; /* Verdict's name in snake case */
    size_t count, undefined, degenerate;
    double min, mean, median, p05, p95, p99, max;
    int64_t worst_face;            /* in the metric's own direction; MEASURE_UNDEFINED when count is 0 */
    size_t bin_count;              /* 0: this metric has no histogram */
    const double *histogram_edges; /* [bin_count + 1], the same for every mesh */
    size_t *histogram_counts;      /* [bin_count]: edges[i] <= value < edges[i + 1], the last one closed */
    size_t below, above;
};

#define QUAD_METRIC_COUNT 13
#define TRIANGLE_METRIC_COUNT 9

struct quality_report {
    size_t concave_quads; /* smallest signed corner area < 0 */
    struct metric_report quad[QUAD_METRIC_COUNT];
    struct metric_report triangle[TRIANGLE_METRIC_COUNT];
};

struct measure_input;

struct mesh_report {
    struct mesh_counts counts;
    aabb bounds; /* of referenced vertices */
    double diagonal, area, volume;
    struct edge_length_report edge_length;
    struct topology_report topology;
    struct valence_report valence;
    struct quality_report quality;
};

/* Counts, edge lengths, topology and valence of one mesh: what needs the input's topology.
 * counts.dropped_faces stays 0: only the reader knows it. ERROR_LIMIT when an arena is too small. */
bool mesh_report_begin(const struct measure_input *input, struct mesh_report *report, struct arena *keep,
                       struct arena scratch, struct error *err);

/* The rest of a report that was begun, with or without the topology. Tells stage "quality". warnings receive
 * far_from_origin, flat_extent, anisotropic_extent, needle_faces, extreme_coordinates (where the
 * reader has not said so) and nonplanar_polygons. ERROR_LIMIT when an arena is too small, ERROR_CANCELLED. */
bool mesh_report_finish(const struct measure_input *input, const struct progress *progress,
                        struct mesh_report *report, struct warning_list *warnings, struct arena *keep,
                        struct arena scratch, struct error *err);

/* Both. */
bool mesh_report_build(const struct measure_input *input, const struct progress *progress,
                       struct mesh_report *report, struct warning_list *warnings, struct arena *keep,
                       struct arena scratch, struct error *err);

#endif
