/* refine.c - positions of the refined vertices, then their faces and the sharpness of the halved edges. */
#include "subdiv/refine.h"

#include <string.h>

vec3 refine_face_point(const struct mesh *mesh, size_t f)
{
    const uint32_t *face = mesh_face(mesh, f);
    size_t size = mesh_face_size(mesh, f);
    vec3 sum = mesh->positions[face[0]];

    for (size_t i = 1; i < size; i++)
        sum = vec3_add(sum, mesh->positions[face[i]]);
    return vec3_scale(sum, 1 / (double)size);
}

static vec3 refined_edge(const struct cage *cage, size_t e, const vec3 *face_points)
{
    const struct edges *edges = &cage->edges;
    const uint32_t *side = edges->sides + edges->side_begin[e];
    vec3 a = cage->mesh.positions[edges->low[e]], b = cage->mesh.positions[edges->high[e]];
    vec3 sum = {0};

    if (cage->sharpness[e] < 1)
        sum = vec3_add(face_points[edges_face(edges, side[0])], face_points[edges_face(edges, side[1])]);
    return edge_point(a, b, sum, cage->sharpness[e]);
}

static void add_edge(const struct cage *cage, uint32_t side, uint32_t far_corner, struct vertex_sums *sums)
{
    if (cage_side_is_first(cage, side))
        vertex_sums_add_edge(sums, cage->mesh.positions[cage->mesh.face_vertices[far_corner]],
                             cage->sharpness[cage->edges.corner_edge[side]]);
}

static vec3 refined_vertex(const struct cage *cage, uint32_t v, const vec3 *face_points)
{
    struct vertex_sums sums = {0};

    if (cage->flags[v] & CAGE_FIXED)
        return cage->mesh.positions[v];
    for (uint32_t i = cage->corner_begin[v]; i < cage->corner_begin[v + 1]; i++) {
        uint32_t c = cage->corners[i], previous = cage_previous(cage, c);
        add_edge(cage, c, cage_next(cage, c), &sums);
        add_edge(cage, previous, previous, &sums);
        vertex_sums_add_face(&sums, face_points[edges_face(&cage->edges, c)]);
    }
    return vertex_point(cage->mesh.positions[v], &sums);
}

static void fill_positions(const struct cage *cage, vec3 *positions)
{
    size_t vertex_count = cage->mesh.vertex_count, edge_count = cage->edges.count;
    vec3 *edge_points = positions + vertex_count, *face_points = edge_points + edge_count;

    for (size_t f = 0; f < cage->mesh.face_count; f++)
        face_points[f] = refine_face_point(&cage->mesh, f);
    for (size_t e = 0; e < edge_count; e++)
        edge_points[e] = refined_edge(cage, e, face_points);
    for (uint32_t v = 0; v < vertex_count; v++)
        positions[v] = refined_vertex(cage, v, face_points);
}

static void fill_faces(const struct cage *cage, struct cage *refined)
{
    const uint32_t *corner_edge = cage->edges.corner_edge;
    uint32_t vertex_count = (uint32_t)cage->mesh.vertex_count;
    uint32_t face_base = vertex_count + (uint32_t)cage->edges.count;

    for (uint32_t c = 0; c < cage->edges.corner_count; c++) {
        uint32_t *quad = refined->mesh.face_vertices + 4 * (size_t)c;
        quad[0] = cage->mesh.face_vertices[c];
        quad[1] = vertex_count + corner_edge[c];
        quad[2] = face_base + edges_face(&cage->edges, c);
        quad[3] = vertex_count + corner_edge[cage_previous(cage, c)];
        refined->mesh.face_offsets[c] = 4 * c;
        refined->face_source[c] = cage->face_source[edges_face(&cage->edges, c)];
    }
    refined->mesh.face_offsets[cage->edges.corner_count] = (uint32_t)(4 * cage->edges.corner_count);
}

/* Half an edge joins a vertex point and an edge point; edges to face points are new and smooth. */
static void halve_sharpness(const struct cage *cage, struct cage *refined)
{
    size_t vertex_count = cage->mesh.vertex_count, edge_count = cage->edges.count;

    for (size_t e = 0; e < refined->edges.count; e++) {
        uint32_t low = refined->edges.low[e], high = refined->edges.high[e];
        if (low < vertex_count && high >= vertex_count && high < vertex_count + edge_count
            && !isinf(refined->sharpness[e]))
            refined->sharpness[e] = sharpness_after_step(cage->sharpness[high - vertex_count]);
    }
}

bool refine_build(const struct cage *cage, struct cage *refined, struct arena *keep, struct arena scratch,
                  struct error *err)
{
    size_t corner_count = cage->edges.corner_count;
    size_t vertex_count = cage->mesh.vertex_count + cage->edges.count + cage->mesh.face_count;

    memset(refined, 0, sizeof *refined);
    if (corner_count > MESH_MAX_CORNERS / 4 || vertex_count > MESH_MAX_VERTICES)
        return error_set(err, ERROR_LIMIT,
                         "a step of subdivision would give more than %zu corners; use a smaller cage",
                         MESH_MAX_CORNERS);
    refined->rule = cage->rule;
    refined->source_face_count = cage->source_face_count;
    refined->face_left_out_count = cage->face_left_out_count;
    refined->first_face_left_out = cage->first_face_left_out;
    refined->crease_unknown_count = cage->crease_unknown_count;
    refined->mesh.vertex_count = vertex_count;
    refined->mesh.face_count = corner_count;
    refined->mesh.positions = ARENA_NEW(keep, vec3, vertex_count);
    refined->mesh.face_offsets = ARENA_NEW(keep, uint32_t, corner_count + 1);
    refined->mesh.face_vertices = ARENA_NEW(keep, uint32_t, 4 * corner_count);
    refined->face_source = ARENA_NEW(keep, uint32_t, corner_count);
    if (keep->failed)
        return arena_error(err);
    fill_positions(cage, refined->mesh.positions);
    fill_faces(cage, refined);
    if (!cage_connect(refined, keep, scratch, err))
        return false;
    halve_sharpness(cage, refined);
    cage_flag(refined);
    return true;
}
