/* limit.c - limit masks, on the cage where all is smooth and on a ring elsewhere. */
#include "subdiv/limit.h"

#include "subdiv/refine.h"

#define DART_STEPS 160 /* the slowest eigenvalue is below 0.655: 0.655^160 is 4e-30 */

/* Every edge has two faces here, so that each neighbour is met twice. */
static vec3 smooth_quads_limit(const struct cage *cage, uint32_t v)
{
    const uint32_t *vertex = cage->mesh.face_vertices;
    double n = cage->corner_begin[v + 1] - cage->corner_begin[v];
    vec3 twice_edges = {0}, diagonals = {0};

    for (uint32_t i = cage->corner_begin[v]; i < cage->corner_begin[v + 1]; i++) {
        uint32_t begin = cage->mesh.face_offsets[edges_face(&cage->edges, cage->corners[i])];
        uint32_t at = cage->corners[i] - begin;
        const vec3 *p = cage->mesh.positions;
        twice_edges = vec3_add(
            twice_edges, vec3_add(p[vertex[begin + ((at + 1) & 3)]], p[vertex[begin + ((at + 3) & 3)]]));
        diagonals = vec3_add(diagonals, p[vertex[begin + ((at + 2) & 3)]]);
    }
    vec3 sum = vec3_add(vec3_scale(twice_edges, 2), diagonals);
    return vec3_scale(vec3_add(vec3_scale(cage->mesh.positions[v], n * n), sum), 1 / (n * (n + 5)));
}

/* The mask of the step's points v', e' = (v + e + two f) / 4 and f, written in those before the step. */
static vec3 smooth_ring_limit(const struct ring *ring)
{
    double n = (double)ring->edge_count;
    vec3 edges = {0}, faces = {0};

    for (size_t e = 0; e < ring->edge_count; e++)
        edges = vec3_add(edges, ring->ends[e]);
    for (size_t f = 0; f < ring->face_count; f++)
        faces = vec3_add(faces, ring->face_points[f]);
    vec3 vertex = vec3_scale(ring->vertex, n * (n - 2) + n);
    vec3 rest = vec3_add(vec3_scale(edges, 2), vec3_scale(faces, 4));
    return vec3_scale(vec3_add(vertex, rest), 1 / (n * (n + 5)));
}

static vec3 crease_limit(const struct ring *ring)
{
    vec3 sum = vec3_scale(ring->vertex, 4);
    for (size_t e = 0; e < ring->edge_count; e++)
        if (isinf(ring->sharpness[e]))
            sum = vec3_add(sum, ring->ends[e]);
    return vec3_scale(sum, 1.0 / 6);
}

vec3 limit_position(const struct cage *cage, const vec3 *face_points, uint32_t v, struct ring *ring)
{
    if (cage->flags[v] & CAGE_FIXED)
        return cage->mesh.positions[v];
    if (cage->flags[v] & CAGE_SMOOTH)
        return smooth_quads_limit(cage, v);
    ring_gather(ring, cage, face_points, v);
    while (ring_is_semi_sharp(ring))
        ring_refine(ring);
    switch (ring_sharp_count(ring)) {
    case 0:
        return smooth_ring_limit(ring);
    case 1:
        for (unsigned step = 0; step < DART_STEPS; step++)
            ring_refine(ring);
        return ring->vertex;
    case 2:
        return crease_limit(ring);
    default:
        return ring->vertex;
    }
}

static bool open_rings(const struct cage *cage, struct ring *ring, vec3 **face_points, struct arena *scratch,
                       struct error *err)
{
    *face_points = ARENA_NEW(scratch, vec3, cage->mesh.face_count);
    if (!ring_open(ring, cage, scratch) || scratch->failed)
        return arena_error(err);
    for (size_t f = 0; f < cage->mesh.face_count; f++)
        (*face_points)[f] = refine_face_point(&cage->mesh, f);
    return true;
}

bool limit_positions(const struct cage *cage, vec3 *limits, struct arena scratch, struct error *err)
{
    struct ring ring;
    vec3 *face_points;

    if (!open_rings(cage, &ring, &face_points, &scratch, err))
        return false;
    for (uint32_t v = 0; v < cage->mesh.vertex_count; v++)
        limits[v] = limit_position(cage, face_points, v, &ring);
    return true;
}

static void add_scaled(vec3 *sum, vec3 p, double weight)
{
    *sum = vec3_add(*sum, vec3_scale(p, weight));
}

/* The opposite corner of face f, which must be a quad, from the vertex. */
static vec3 opposite_corner(const struct ring *ring, size_t f)
{
    vec3 ends = vec3_add(ring->ends[ring->sides[f][0]], ring->ends[ring->sides[f][1]]);
    vec3 corner = vec3_sub(vec3_scale(ring->face_points[f], 4), vec3_add(ring->vertex, ends));
    return vec3_sub(corner, ring->vertex);
}

/* Both tangents of a closed fan of quads. */
static vec3 smooth_normal(const struct ring *ring)
{
    double turn = 2 * M_PI / (double)ring->edge_count;
    double a = 1 + cos(turn) + cos(turn / 2) * sqrt(2 * (9 + cos(turn)));
    vec3 along = {0}, across = {0};

    if (ring->edge_count < 3)
        return (vec3){0};
    for (size_t i = 0; i < ring->edge_count; i++) {
        double at = turn * (double)i, next = turn * (double)(i + 1);
        vec3 end = vec3_sub(ring->ends[i], ring->vertex), corner = opposite_corner(ring, i);
        add_scaled(&along, end, a * cos(at));
        add_scaled(&across, end, a * sin(at));
        add_scaled(&along, corner, cos(at) + cos(next));
        add_scaled(&across, corner, sin(at) + sin(next));
    }
    return vec3_cross(along, across);
}

/* A boundary of k quads: the directions e(0) - e(k) along it, which a step halves, and across it, which a
 * step scales by l = (5 + c + sqrt((9 + c) (1 + c))) / 16, c = cos t, t = pi / k. The latter has the weights
 * (16 l - 4) sin(i t) at e(i), sin(i t) + sin((i + 1) t) at the corner opposite in face i, and y at e(0) and
 * e(k), from the column of e(0) in the step: (l - 1/4) y = l sin t - (2 l - 1/4) sum of sin(i t). With one
 * face the two edges span the plane. */
static vec3 boundary_normal(const struct ring *ring)
{
    size_t k = ring->face_count;
    double turn = M_PI / (double)k, c = cos(turn), l = (5 + c + sqrt((9 + c) * (1 + c))) / 16;
    double sines = (1 + c) / sin(turn), y = (l * sin(turn) - (2 * l - 0.25) * sines) / (l - 0.25);
    vec3 first = vec3_sub(ring->ends[0], ring->vertex), last = vec3_sub(ring->ends[k], ring->vertex);
    vec3 across = {0};

    if (k == 1)
        return vec3_cross(first, last);
    add_scaled(&across, vec3_add(first, last), y);
    for (size_t i = 1; i < k; i++)
        add_scaled(&across, vec3_sub(ring->ends[i], ring->vertex), (16 * l - 4) * sin(turn * (double)i));
    for (size_t i = 0; i < k; i++)
        add_scaled(&across, opposite_corner(ring, i), sin(turn * (double)i) + sin(turn * (double)(i + 1)));
    return vec3_cross(vec3_sub(first, last), across);
}

static vec3 normal_at(const struct cage *cage, const vec3 *face_points, uint32_t v, struct ring *ring)
{
    bool closed = (cage->flags[v] & CAGE_CLOSED_FAN) != 0, open = (cage->flags[v] & CAGE_OPEN_FAN) != 0;
    size_t face_count = cage->corner_begin[v + 1] - cage->corner_begin[v];

    if ((!closed && !open) || ((cage->flags[v] & CAGE_FIXED) && face_count > 1))
        return (vec3){0};
    ring_gather_fan(ring, cage, face_points, v);
    do
        ring_refine(ring);
    while (ring_is_semi_sharp(ring));
    if (ring_sharp_count(ring) != (closed ? 0 : 2))
        return (vec3){0};
    return closed ? smooth_normal(ring) : boundary_normal(ring);
}

bool limit_normals(const struct cage *cage, vec3 *normals, struct arena scratch, struct error *err)
{
    struct ring ring;
    vec3 *face_points;

    if (!open_rings(cage, &ring, &face_points, &scratch, err))
        return false;
    for (uint32_t v = 0; v < cage->mesh.vertex_count; v++) {
        vec3 normal = normal_at(cage, face_points, v, &ring);
        double length = vec3_length(normal);
        normals[v] = length > 0 && isfinite(length) ? vec3_scale(normal, 1 / length) : (vec3){0};
    }
    return true;
}
