/* truth.c - distances between sampled limit surfaces and their triangles, every pair in turn. */
#include "subdiv/truth.h"

#include <criterion/criterion.h>

#include "geom/point_triangle.h"

struct truth truth_at(struct arena *arena, const struct mesh *mesh, const struct creases *creases,
                      enum boundary_rule rule, unsigned level)
{
    struct truth truth = {.coarse = cage_at(arena, mesh, creases, rule, level)};
    struct error err;

    cr_assert(refine_build(&truth.coarse, &truth.fine, arena, cage_scratch(), &err), "%s", err.text);
    truth.coarse_limits = cage_limits(arena, &truth.coarse);
    truth.fine_limits = cage_limits(arena, &truth.fine);
    size_t face_base = truth.coarse.mesh.vertex_count + truth.coarse.edges.count;
    for (size_t f = 0; f < truth.coarse.mesh.face_count; f++) {
        const uint32_t *quad = mesh_face(&truth.coarse.mesh, f);
        const vec3 *p = truth.coarse_limits;
        vec3 middle =
            vec3_scale(vec3_add(vec3_add(p[quad[0]], p[quad[1]]), vec3_add(p[quad[2]], p[quad[3]])), 0.25);
        vec3 twist = vec3_sub(vec3_add(p[quad[0]], p[quad[2]]), vec3_add(p[quad[1]], p[quad[3]]));
        double off = vec3_distance(truth.fine_limits[face_base + f], middle) + vec3_length(twist) / 4;
        truth.slack = fmax(truth.slack, 2 * off);
    }
    return truth;
}

static double to_triangle(vec3 p, const vec3 *positions, const uint32_t *t)
{
    return sqrt(triangle_nearest(p, positions[t[0]], positions[t[1]], positions[t[2]]).distance_sq);
}

/* The triangles of one face stand together. */
static void triangles_of(const struct limit_mesh *limit, uint32_t face, size_t *first, size_t *end)
{
    *first = 0;
    while (*first < limit->triangle_count && limit->faces[*first] != face)
        (*first)++;
    *end = *first;
    while (*end < limit->triangle_count && limit->faces[*end] == face)
        (*end)++;
}

static double farthest(const struct truth *truth, const struct limit_mesh *limit, uint32_t face,
                       bool less_eps)
{
    size_t first, end;
    double worst = -INFINITY;

    triangles_of(limit, face, &first, &end);
    for (size_t f = 0; f < truth->fine.mesh.face_count; f++) {
        if (truth->fine.face_source[f] != face)
            continue;
        for (unsigned j = 0; j < 4; j++) {
            vec3 p = truth->fine_limits[mesh_face(&truth->fine.mesh, f)[j]];
            double best = INFINITY;
            for (size_t t = first; t < end; t++)
                best = fmin(best, to_triangle(p, limit->positions, limit->triangles[t])
                                      - (less_eps ? limit->eps[t] : 0));
            worst = fmax(worst, best);
        }
    }
    return worst;
}

double truth_excess_to_triangles(const struct truth *truth, const struct limit_mesh *limit, uint32_t face)
{
    return farthest(truth, limit, face, true);
}

double truth_share(const struct truth *truth, const struct limit_mesh *limit, uint32_t face)
{
    size_t first, end;
    double eps = 0;

    triangles_of(limit, face, &first, &end);
    for (size_t t = first; t < end; t++)
        eps = fmax(eps, limit->eps[t]);
    return farthest(truth, limit, face, false) / eps;
}

static double to_surface(const struct truth *truth, uint32_t face, vec3 p)
{
    double best = INFINITY;

    for (size_t f = 0; f < truth->coarse.mesh.face_count; f++) {
        const uint32_t *quad = mesh_face(&truth->coarse.mesh, f);
        uint32_t halves[2][3] = {{quad[0], quad[1], quad[2]}, {quad[0], quad[2], quad[3]}};
        if (truth->coarse.face_source[f] == face)
            for (unsigned k = 0; k < 2; k++)
                best = fmin(best, to_triangle(p, truth->coarse_limits, halves[k]));
    }
    return best;
}

double truth_excess_to_surface(const struct truth *truth, const struct limit_mesh *limit, size_t triangle)
{
    static const double PLACES[7][3] = {
        {1. / 3, 1. / 3, 1. / 3}, {0.5, 0.5, 0},   {0, 0.5, 0.5},  {0.5, 0, 0.5},
        {0.8, 0.1, 0.1},          {0.1, 0.8, 0.1}, {0.25, 0.75, 0}};
    const uint32_t *t = limit->triangles[triangle];
    double worst = -INFINITY;

    for (unsigned k = 0; k < 7; k++) {
        vec3 p = vec3_scale(limit->positions[t[0]], PLACES[k][0]);
        p = vec3_add(p, vec3_scale(limit->positions[t[1]], PLACES[k][1]));
        p = vec3_add(p, vec3_scale(limit->positions[t[2]], PLACES[k][2]));
        worst = fmax(worst, to_surface(truth, limit->faces[triangle], p));
    }
    return worst - limit->eps[triangle] - truth->slack;
}
