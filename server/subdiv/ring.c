/* ring.c - gathering a vertex's edges and faces, and the step of rules.h on them. */
#include "subdiv/ring.h"

#include "subdiv/refine.h"

bool ring_open(struct ring *ring, const struct cage *cage, struct arena *keep)
{
    size_t faces = cage->valence_max, edges = 2 * cage->valence_max;

    *ring = (struct ring){0};
    ring->ends = ARENA_NEW(keep, vec3, edges);
    ring->sharpness = ARENA_NEW(keep, double, edges);
    ring->face_sums = ARENA_NEW(keep, vec3, edges);
    ring->face_points = ARENA_NEW(keep, vec3, faces);
    ring->sides = (uint32_t(*)[2])arena_alloc(keep, faces, sizeof *ring->sides, _Alignof(uint32_t));
    ring->edge_places = ARENA_NEW(keep, uint32_t, cage->edges.count);
    return !keep->failed;
}

static vec3 face_point(const struct cage *cage, const vec3 *face_points, uint32_t corner)
{
    uint32_t f = edges_face(&cage->edges, corner);
    return face_points ? face_points[f] : refine_face_point(&cage->mesh, f);
}

static void add_edge(struct ring *ring, const struct cage *cage, uint32_t e, uint32_t end)
{
    ring->edge_places[e] = (uint32_t)ring->edge_count;
    ring->ends[ring->edge_count] = cage->mesh.positions[end];
    ring->sharpness[ring->edge_count++] = cage->sharpness[e];
}

static void begin(struct ring *ring, const struct cage *cage, uint32_t v)
{
    ring->vertex = cage->mesh.positions[v];
    ring->fixed = (cage->flags[v] & CAGE_FIXED) != 0;
    ring->edge_count = ring->face_count = 0;
}

void ring_gather(struct ring *ring, const struct cage *cage, const vec3 *face_points, uint32_t v)
{
    const uint32_t *vertex = cage->mesh.face_vertices, *corner_edge = cage->edges.corner_edge;

    begin(ring, cage, v);
    for (uint32_t i = cage->corner_begin[v]; i < cage->corner_begin[v + 1]; i++) {
        uint32_t c = cage->corners[i], previous = cage_previous(cage, c);
        if (cage_side_is_first(cage, c))
            add_edge(ring, cage, corner_edge[c], vertex[cage_next(cage, c)]);
        if (cage_side_is_first(cage, previous))
            add_edge(ring, cage, corner_edge[previous], vertex[previous]);
    }
    for (uint32_t i = cage->corner_begin[v]; i < cage->corner_begin[v + 1]; i++) {
        uint32_t c = cage->corners[i], f = (uint32_t)ring->face_count++;
        ring->sides[f][0] = ring->edge_places[corner_edge[c]];
        ring->sides[f][1] = ring->edge_places[corner_edge[cage_previous(cage, c)]];
        ring->face_points[f] = face_point(cage, face_points, c);
    }
}

/* Where the fan begins: any corner of a closed fan; in an open one the corner whose first side is open, or,
 * where the faces are turned over there, whose last side is. */
static struct spoke fan_begin(const struct cage *cage, uint32_t v)
{
    uint32_t first = cage->corners[cage->corner_begin[v]];

    for (unsigned turned = 0; turned < 2; turned++)
        for (uint32_t i = cage->corner_begin[v]; i < cage->corner_begin[v + 1]; i++) {
            uint32_t c = cage->corners[i], previous = cage_previous(cage, c), side = turned ? previous : c;
            if (edges_incidence(&cage->edges, cage->edges.corner_edge[side]) != 2)
                return (struct spoke){c, turned ? c : previous};
        }
    return (struct spoke){first, cage_previous(cage, first)};
}

void ring_gather_fan(struct ring *ring, const struct cage *cage, const vec3 *face_points, uint32_t v)
{
    const uint32_t *vertex = cage->mesh.face_vertices, *corner_edge = cage->edges.corner_edge;
    uint32_t face_count = cage->corner_begin[v + 1] - cage->corner_begin[v];
    bool closed = (cage->flags[v] & CAGE_CLOSED_FAN) != 0;
    struct spoke at = fan_begin(cage, v);
    uint32_t entry = at.leave == at.corner ? cage_previous(cage, at.corner) : at.corner;

    begin(ring, cage, v);
    add_edge(ring, cage, corner_edge[entry], vertex[entry == at.corner ? cage_next(cage, entry) : entry]);
    for (uint32_t f = 0; f < face_count; f++) {
        bool last = f + 1 == face_count;
        ring->face_points[f] = face_point(cage, face_points, at.corner);
        ring->sides[f][0] = f;
        ring->sides[f][1] = last && closed ? 0 : f + 1;
        if (!last || !closed)
            add_edge(ring, cage, corner_edge[at.leave], cage_spoke_end(cage, at));
        if (!last)
            at = cage_turn(cage, at);
    }
    ring->face_count = face_count;
}

void ring_refine(struct ring *ring)
{
    struct vertex_sums sums = {0};
    vec3 v = ring->vertex;

    for (size_t e = 0; e < ring->edge_count; e++) {
        vertex_sums_add_edge(&sums, ring->ends[e], ring->sharpness[e]);
        ring->face_sums[e] = (vec3){0};
    }
    for (size_t f = 0; f < ring->face_count; f++) {
        vertex_sums_add_face(&sums, ring->face_points[f]);
        for (unsigned i = 0; i < 2; i++) {
            vec3 *sum = &ring->face_sums[ring->sides[f][i]];
            *sum = vec3_add(*sum, ring->face_points[f]);
        }
    }
    if (!ring->fixed)
        ring->vertex = vertex_point(v, &sums);
    for (size_t e = 0; e < ring->edge_count; e++) {
        ring->ends[e] = edge_point(v, ring->ends[e], ring->face_sums[e], ring->sharpness[e]);
        ring->sharpness[e] = sharpness_after_step(ring->sharpness[e]);
    }
    for (size_t f = 0; f < ring->face_count; f++) {
        vec3 ends = vec3_add(ring->ends[ring->sides[f][0]], ring->ends[ring->sides[f][1]]);
        vec3 rest = vec3_add(ring->vertex, ring->face_points[f]);
        ring->face_points[f] = vec3_scale(vec3_add(ends, rest), 0.25);
    }
}

size_t ring_sharp_count(const struct ring *ring)
{
    size_t count = 0;
    for (size_t e = 0; e < ring->edge_count; e++)
        count += isinf(ring->sharpness[e]) != 0;
    return count;
}

bool ring_is_semi_sharp(const struct ring *ring)
{
    for (size_t e = 0; e < ring->edge_count; e++)
        if (ring->sharpness[e] > 0 && !isinf(ring->sharpness[e]))
            return true;
    return false;
}
