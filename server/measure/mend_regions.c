/* mend_regions.c - areas, gaps and volume of one region after the other. */
#include "measure/mend_regions.h"

#include <string.h>

#include "measure/exact_sum.h"
#include "measure/face_geometry.h"
#include "topology/disjoint_sets.h"

/* A connected set of edges at which the surface before and after do not end together. */
struct mend_gap {
    double length;
    vec3 moment; /* sum of middles times lengths */
    vec3 apex;   /* their mean */
    bool all_gone, all_new;
};

/* Sums over one region, about one of its points, in the common unit. */
struct region_sums {
    vec3 origin; /* as in the files */
    struct exact_sum area[MEND_SIDES], moment[3], weight, volume, outline;
    double volume_size; /* what the rounding of the volume is a small part of */
    bool oriented;
};

/* Members of each of `count` sets in the order of their numbers. */
static bool sort_by_set(const uint32_t *set_of, size_t member_count, size_t count, uint32_t **begin,
                        uint32_t **members, struct arena *keep)
{
    *begin = ARENA_ZERO(keep, uint32_t, count + 1);
    *members = ARENA_NEW(keep, uint32_t, member_count);
    if (keep->failed)
        return false;
    uint32_t *cursor = *begin + 1; /* sizes, then ends, then where each set begins */
    for (size_t i = 0; i < member_count; i++)
        cursor[set_of[i]]++;
    for (size_t s = 1; s < count; s++)
        cursor[s] += cursor[s - 1];
    for (size_t i = member_count; i-- > 0;)
        (*members)[--cursor[set_of[i]]] = (uint32_t)i;
    memmove(*begin, cursor, count * sizeof **begin);
    (*begin)[count] = (uint32_t)member_count;
    return true;
}

static bool sort_edges(struct mend_regions *regions, struct arena *keep, struct arena scratch)
{
    const struct mend_edges *edges = regions->edges;
    uint32_t *region = ARENA_NEW(&scratch, uint32_t, edges->count);

    if (!region)
        return false;
    for (size_t e = 0; e < edges->count; e++)
        region[e] = edges->region[edges->edges[e].change];
    return sort_by_set(region, edges->count, edges->region_count, &regions->edge_begin, &regions->edge_order,
                       keep);
}

double mend_enclosed_volume(const struct measure_input *input)
{
    const struct edges *edges = &input->edges;
    bool closed = edges->count > 0 && edges->open_count == 0 && edges->nonmanifold_count == 0;

    return closed && edges->inconsistent_count == 0 ? fabs(input->volume) : NAN;
}

/* -1 where a closed and oriented mesh shows that the reference's faces are listed from inside. */
static int outward_of(const struct mend_regions *regions)
{
    const struct measure_input *reference = regions->input[MEND_REFERENCE],
                               *subject = regions->input[MEND_SUBJECT];

    if (!isnan(mend_enclosed_volume(reference)))
        return reference->volume < 0 ? -1 : 1;
    if (!isnan(mend_enclosed_volume(subject)))
        return (subject->volume < 0) != regions->edges->flipped ? -1 : 1;
    return 1;
}

bool mend_regions_build(const struct measure_input *subject, const struct measure_input *reference,
                        const struct mend_match *match, const struct mend_edges *edges,
                        struct mend_regions *regions, struct arena *keep, struct arena scratch,
                        struct error *err)
{
    *regions = (struct mend_regions){
        .input = {[MEND_REFERENCE] = reference, [MEND_SUBJECT] = subject},
        .match = match,
        .edges = edges,
        .unit = larger(subject->unit, reference->unit),
        .guard = smaller(subject->guard, reference->guard),
        .latest = ARENA_NEW(keep, uint32_t, edges->point_count),
        .set = ARENA_NEW(keep, uint32_t, edges->count),
        .gaps = ARENA_NEW(keep, struct mend_gap, edges->count),
    };
    regions->outward = outward_of(regions);
    return (!keep->failed
            && sort_by_set(edges->region, edges->change_count, edges->region_count, &regions->change_begin,
                           &regions->changes, keep)
            && sort_edges(regions, keep, scratch))
           || arena_error(err);
}

/* --- faces --- */

/* q - p in the common unit. */
static vec3 step(const struct mend_regions *regions, vec3 p, vec3 q)
{
    vec3 guarded = vec3_sub(vec3_scale(q, regions->guard), vec3_scale(p, regions->guard));
    return vec3_scale(guarded, 1 / regions->guard / regions->unit);
}

/* Volume between the origin and a triangle, times weight. */
static void add_cone(const struct mend_regions *regions, vec3 a, vec3 b, vec3 c, double weight,
                     struct region_sums *sums)
{
    vec3 from = step(regions, sums->origin, a), ab = step(regions, a, b), ac = step(regions, a, c);

    exact_sum_add(&sums->volume, weight * vec3_dot(from, vec3_cross(ab, ac)) / 6);
    sums->volume_size += fabs(weight) * vec3_length(from) * vec3_length(ab) * vec3_length(ac) / 6;
}

static void add_volume(const struct mend_regions *regions, enum mend_side side, uint32_t f,
                       struct region_sums *sums)
{
    const struct mesh *mesh = regions->match->mesh[side];
    const uint32_t *face = mesh_face(mesh, f);
    const vec3 *p = mesh->positions;
    size_t size = mesh_face_size(mesh, f);
    double weight = side == MEND_SUBJECT && !regions->edges->flipped ? 1 : -1;

    if (size == 4) { /* the mean over both diagonals */
        weight /= 2;
        add_cone(regions, p[face[1]], p[face[2]], p[face[3]], weight, sums);
        add_cone(regions, p[face[1]], p[face[3]], p[face[0]], weight, sums);
    }
    for (size_t i = 2; i < size; i++)
        add_cone(regions, p[face[0]], p[face[i - 1]], p[face[i]], weight, sums);
}

static void add_moment(const struct mend_regions *regions, enum mend_side side, uint32_t f,
                       struct region_sums *sums)
{
    const struct mesh *mesh = regions->match->mesh[side];
    double scale = regions->input[side]->unit / regions->unit,
           area = face_geometry(regions->input[side], f).area * scale * scale;
    vec3 mean = {0, 0, 0};
    size_t size = mesh_face_size(mesh, f);

    for (size_t i = 0; i < size; i++)
        mean = vec3_add(mean, step(regions, sums->origin, mesh->positions[mesh_face(mesh, f)[i]]));
    exact_sum_add(&sums->weight, area);
    exact_sum_add(&sums->moment[0], mean.x / (double)size * area);
    exact_sum_add(&sums->moment[1], mean.y / (double)size * area);
    exact_sum_add(&sums->moment[2], mean.z / (double)size * area);
}

static void add_faces(const struct mend_regions *regions, size_t r, struct region_sums *sums,
                      struct mend_region *region)
{
    for (uint32_t i = regions->change_begin[r]; i < regions->change_begin[r + 1]; i++) {
        uint32_t change = regions->changes[i], f = regions->edges->faces[change];
        enum mend_side side = mend_edges_side(regions->edges, change);
        const struct mesh *mesh = regions->match->mesh[side];
        bool added = side == MEND_SUBJECT;
        int64_t *first = added ? &region->first_added : &region->first_removed;

        ++*(added ? &region->added_faces : &region->removed_faces);
        if (*first == MEASURE_UNDEFINED)
            *first = f;
        exact_sum_add(&sums->area[side], face_geometry(regions->input[side], f).area);
        add_volume(regions, side, f, sums);
        add_moment(regions, side, f, sums);
        for (size_t k = 0; k < mesh_face_size(mesh, f); k++)
            region->bounds = aabb_include(region->bounds, mesh->positions[mesh_face(mesh, f)[k]]);
    }
}

/* --- edges --- */

static double edge_length(const struct mend_regions *regions, const struct mend_edge *edge)
{
    return safe_length(step(regions, regions->edges->points[edge->low], regions->edges->points[edge->high]));
}

static bool is_gone(const struct mend_edge *edge)
{
    return edge->sides[MEND_REFERENCE] == 1 && edge->sides[MEND_SUBJECT] != 1;
}

static bool is_new(const struct mend_edge *edge)
{
    return edge->sides[MEND_SUBJECT] == 1 && edge->sides[MEND_REFERENCE] != 1;
}

static void add_edges(const struct mend_regions *regions, size_t r, struct region_sums *sums,
                      struct mend_region *region)
{
    for (uint32_t i = regions->edge_begin[r]; i < regions->edge_begin[r + 1]; i++) {
        const struct mend_edge *edge = &regions->edges->edges[regions->edge_order[i]];
        region->open_edges_gone += is_gone(edge);
        region->open_edges_new += is_new(edge);
        if (edge->shared > 0)
            exact_sum_add(&sums->outline, edge_length(regions, edge));
        for (int side = 0; side < MEND_SIDES; side++)
            sums->oriented = sums->oriented && edge->turns[side] >= -1 && edge->turns[side] <= 1;
    }
}

/* --- gaps --- */

/* The edge of the gap that stands at place i of the region, or NULL. */
static const struct mend_edge *gap_edge(const struct mend_regions *regions, size_t r, uint32_t i)
{
    const struct mend_edge *edge = &regions->edges->edges[regions->edge_order[regions->edge_begin[r] + i]];
    return edge->difference != 0 ? edge : NULL;
}

/* Joins gap edges that meet at a point; returns how many places the region has. */
static uint32_t join_gaps(const struct mend_regions *regions, size_t r)
{
    uint32_t place_count = regions->edge_begin[r + 1] - regions->edge_begin[r];
    const struct mend_edge *edge;

    disjoint_sets_begin(regions->set, place_count);
    for (uint32_t i = 0; i < place_count; i++)
        if ((edge = gap_edge(regions, r, i)))
            regions->latest[edge->low] = regions->latest[edge->high] = i;
    for (uint32_t i = 0; i < place_count; i++)
        if ((edge = gap_edge(regions, r, i))) {
            disjoint_sets_join(regions->set, regions->latest[edge->low], i);
            disjoint_sets_join(regions->set, regions->latest[edge->high], i);
        }
    return place_count;
}

static void add_to_gap(const struct mend_regions *regions, const struct region_sums *sums,
                       const struct mend_edge *edge, struct mend_gap *gap)
{
    double length = edge_length(regions, edge);
    vec3 middle = vec3_lerp(step(regions, sums->origin, regions->edges->points[edge->low]),
                            step(regions, sums->origin, regions->edges->points[edge->high]), 0.5);

    gap->length += length;
    gap->moment = vec3_add(gap->moment, vec3_scale(middle, length));
    gap->all_gone = gap->all_gone && is_gone(edge);
    gap->all_new = gap->all_new && is_new(edge);
}

/* Counts a gap as a hole and finds where its cone ends. */
static void finish_gap(const struct mend_regions *regions, const struct region_sums *sums,
                       struct mend_gap *gap, struct mend_region *region)
{
    vec3 mean = gap->length > 0 ? vec3_scale(gap->moment, 1 / gap->length) : (vec3){0, 0, 0};

    gap->apex = vec3_add(sums->origin, vec3_scale(mean, regions->unit));
    region->holes_filled += gap->all_gone && region->added_faces > 0;
    region->holes_opened += gap->all_new && region->removed_faces > 0;
}

/* Closes the surface before and after to a volume. */
static void close_gaps(const struct mend_regions *regions, size_t r, struct region_sums *sums,
                       struct mend_region *region)
{
    uint32_t place_count = join_gaps(regions, r);
    const struct mend_edge *edge;

    for (uint32_t i = 0; i < place_count; i++)
        regions->gaps[i] = (struct mend_gap){.all_gone = true, .all_new = true};
    for (uint32_t i = 0; i < place_count; i++)
        if ((edge = gap_edge(regions, r, i)))
            add_to_gap(regions, sums, edge, &regions->gaps[disjoint_sets_find(regions->set, i)]);
    for (uint32_t i = 0; i < place_count; i++)
        if (gap_edge(regions, r, i) && disjoint_sets_find(regions->set, i) == i)
            finish_gap(regions, sums, &regions->gaps[i], region);
    for (uint32_t i = 0; i < place_count; i++)
        if ((edge = gap_edge(regions, r, i)))
            add_cone(regions, regions->gaps[disjoint_sets_find(regions->set, i)].apex,
                     regions->edges->points[edge->low], regions->edges->points[edge->high], -edge->difference,
                     sums);
}

/* --- the whole --- */

static enum mend_kind kind_of(const struct mend_region *region)
{
    if (region->added_faces == 0)
        return MEND_REMOVED;
    if (region->open_edges_gone > 0 && region->open_edges_new == 0)
        return MEND_FILLED;
    if (region->removed_faces > 0)
        return MEND_REPLACED;
    return region->open_edges_gone > 0 ? MEND_EXTENDED : MEND_ADDED;
}

/* 0 where rounding could explain it: some twenty roundings of each contribution. */
static double volume_of(const struct mend_regions *regions, const struct region_sums *sums)
{
    double volume = exact_sum_value(sums->volume), unit = regions->unit;

    if (!sums->oriented)
        return NAN;
    if (fabs(volume) <= 0x1p-48 * sums->volume_size)
        return 0;
    return finite_or_nan(regions->outward * volume * unit * unit * unit);
}

static vec3 centre_of(const struct mend_regions *regions, const struct region_sums *sums, aabb bounds)
{
    double weight = exact_sum_value(sums->weight);
    vec3 mean = {exact_sum_value(sums->moment[0]), exact_sum_value(sums->moment[1]),
                 exact_sum_value(sums->moment[2])};

    if (!(weight > 0))
        return aabb_centre(bounds);
    return vec3_add(sums->origin, vec3_scale(mean, 1 / weight * regions->unit));
}

static double area_of(const struct mend_regions *regions, const struct region_sums *sums, enum mend_side side)
{
    double unit = regions->input[side]->unit;

    return finite_or_nan(exact_sum_value(sums->area[side]) * unit * unit);
}

struct mend_region mend_regions_report(const struct mend_regions *regions, size_t r)
{
    uint32_t change = regions->changes[regions->change_begin[r]];
    const struct mesh *mesh = regions->match->mesh[mend_edges_side(regions->edges, change)];
    struct region_sums sums = {.oriented = true,
                               .origin = mesh->positions[mesh_face(mesh, regions->edges->faces[change])[0]]};
    struct mend_region region = {.bounds = aabb_empty(),
                                 .first_added = MEASURE_UNDEFINED,
                                 .first_removed = MEASURE_UNDEFINED,
                                 .move = {{NAN, NAN}, {NAN, NAN, NAN}}};

    add_faces(regions, r, &sums, &region);
    add_edges(regions, r, &sums, &region);
    close_gaps(regions, r, &sums, &region);
    region.kind = kind_of(&region);
    region.added_area = area_of(regions, &sums, MEND_SUBJECT);
    region.removed_area = area_of(regions, &sums, MEND_REFERENCE);
    region.volume = volume_of(regions, &sums);
    region.outline = finite_or_nan(exact_sum_value(sums.outline) * regions->unit);
    region.centre = centre_of(regions, &sums, region.bounds);
    return region;
}
