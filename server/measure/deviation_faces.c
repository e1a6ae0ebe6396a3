/* deviation_faces.c - the widest bounds of a face's parts, and the best of what is surely far; leaf by leaf,
 * or where faces have several parts a range of faces for each thread, which looks at all parts. */
#include "measure/deviation_faces.h"

#include "base/tasks.h"
#include "measure/deviation_maximum.h"
#include "measure/deviation_quick.h"

#include <math.h>

#define LEAVES_OF_CHUNK ((size_t)128)
#define ROOM 1024 /* bytes: what arrays leave out between them */

struct taking {
    const struct surface_parts *parts;
    const struct maximum *farthest;
    struct face_distances *faces;
    size_t range_count;
    size_t farthest_face; /* of the place `farthest` */
    float reach;          /* of the parts, rounded up */
};

/* Where something is, until all is known: a vertex, or FACE_AT_POINT and three numbers for each part after
 * the triangles, then one for the centroid of each triangle, then one for the farthest place. */
static uint32_t at_corner(const struct surface_parts *parts, size_t part, int i)
{
    const struct bvh *bvh = &parts->from->bvh;

    return part < bvh->triangle_count
               ? bvh->corners[part][i]
               : FACE_AT_POINT + (uint32_t)(3 * (part - bvh->triangle_count) + (size_t)i);
}

static size_t first_centroid(const struct surface_parts *parts)
{
    size_t triangles = parts->from->bvh.triangle_count;

    return parts->count > triangles ? 3 * (parts->count - triangles) : 0;
}

static uint32_t at_centroid(const struct surface_parts *parts, uint32_t slot)
{
    return FACE_AT_POINT + (uint32_t)(first_centroid(parts) + slot);
}

static uint32_t at_farthest(const struct surface_parts *parts)
{
    return at_centroid(parts, (uint32_t)parts->from->bvh.triangle_count);
}

static float rounded_down(double x)
{
    float rounded = (float)x;

    return (double)rounded > x ? nextafterf(rounded, -INFINITY) : rounded;
}

static float rounded_up(double x)
{
    return -rounded_down(-x);
}

/* What is known of a face. */
struct face_known {
    float lower, upper, peak;
    uint32_t at; /* where the peak is */
};

static const struct face_known nothing_known = {INFINITY, 0, -1, 0};

static void put_known(struct face_distances *faces, size_t face, struct face_known known)
{
    faces->lower[face] = known.lower;
    faces->upper[face] = known.upper;
    faces->peak[face] = known.peak;
    faces->at[face] = known.at;
}

static struct face_known known_of(const struct face_distances *faces, size_t face)
{
    return (struct face_known){faces->lower[face], faces->upper[face], faces->peak[face], faces->at[face]};
}

static void raise_to(struct face_known *known, double peak, uint32_t at)
{
    if (peak <= (double)known->peak)
        return;
    const float rounded = rounded_down(peak);
    if (rounded <= known->peak)
        return;
    known->peak = rounded;
    known->at = at;
}

static void widen_to(struct face_known *known, float lower, float upper)
{
    known->lower = lower < known->lower ? lower : known->lower;
    known->upper = upper > known->upper ? upper : known->upper;
}

/* most: no point of the part is farther, INFINITY where that is not known. */
static void widen_face(const struct surface_parts *parts, size_t p, double most, struct face_known *known)
{
    const struct part *part = &parts->parts[p];

    widen_to(known, rounded_down(part_range_low(part).min),
             rounded_up(fmin(part_range_high(part).max, most)));
    for (int i = 0; i < 3; i++)
        raise_to(known, part_low_at(part, i), at_corner(parts, p, i));
}

/* Where its distance is known, on a triangle. */
static void raise_peak(const struct surface_parts *parts, uint32_t slot, struct face_known *known)
{
    struct quick_peak peak = quick_peak(parts, slot);

    raise_to(known, peak.distance, peak.vertex == BVH_NONE ? at_centroid(parts, slot) : peak.vertex);
}

/* Of the faces from begin to end. */
static void take_parts(const struct taking *taking, size_t begin, size_t end)
{
    const struct surface_parts *parts = taking->parts;
    const struct deviation_surface *from = parts->from;

    for (size_t p = 0; p < parts->count; p++) {
        uint32_t slot = surface_parts_slot(parts, p);
        size_t face = deviation_surface_face(from, slot);
        if (face < begin || face >= end)
            continue;
        bool asked = parts->vertices && p < from->bvh.triangle_count && !from->shared[slot];
        struct face_known known = known_of(taking->faces, face);
        if (!(parts->parts[p].scale < 0))
            widen_face(parts, p, asked ? quick_most(parts, slot) : INFINITY, &known);
        if (asked)
            raise_peak(parts, slot, &known);
        put_known(taking->faces, face, known);
    }
}

/* By the parts of a leaf that was bounded closely. */
static void raise_by_part(const struct surface_parts *parts, uint32_t slot, const struct part *part,
                          struct face_known *known)
{
    for (int i = 0; i < 3; i++)
        raise_to(known, part_low_at(part, i), at_corner(parts, slot, i));
}

/* No point of the surface is farther than its certified maximum. */
static void end_face(const struct taking *taking, size_t f, struct face_known *known)
{
    if (f == taking->farthest_face)
        raise_to(known, taking->farthest->lower + DEVIATION_SLACK, at_farthest(taking->parts));
    known->upper = known->upper < taking->reach ? known->upper : taking->reach;
}

/* close: the parts of its leaf, or NULL. */
static void take_bound(const struct taking *taking, uint32_t slot, const struct leaf_parts *close,
                       struct face_known *known)
{
    const struct surface_parts *parts = taking->parts;

    widen_to(known, parts->bounds[slot].low, parts->bounds[slot].high);
    raise_to(known, 0, at_corner(parts, slot, 0)); /* wherever it is */
    if (!parts->from->shared[slot])
        raise_peak(parts, slot, known);
    if (close)
        raise_by_part(parts, slot, &close->parts[slot % BVH_WIDTH], known);
}

static void take_bounds(const struct taking *taking, size_t begin, size_t end)
{
    const struct surface_parts *parts = taking->parts;
    const struct leaf_parts *close = NULL;

    for (uint32_t slot = 0; slot < parts->from->bvh.triangle_count; slot++) {
        size_t face = deviation_surface_face(parts->from, slot);
        if (slot % BVH_WIDTH == 0)
            close = surface_parts_leaf(parts, slot / BVH_WIDTH);
        if (face < begin || face >= end)
            continue;
        struct face_known known = known_of(taking->faces, face);
        take_bound(taking, slot, close, &known);
        put_known(taking->faces, face, known);
    }
}

static void take_range(void *context, size_t range)
{
    const struct taking *taking = context;
    size_t begin = taking->faces->count * range / taking->range_count,
           end = taking->faces->count * (range + 1) / taking->range_count;

    for (size_t f = begin; f < end; f++)
        put_known(taking->faces, f, nothing_known);
    if (taking->parts->bounds)
        take_bounds(taking, begin, end);
    else
        take_parts(taking, begin, end);
    for (size_t f = begin; f < end; f++) {
        struct face_known known = known_of(taking->faces, f);
        end_face(taking, f, &known);
        put_known(taking->faces, f, known);
    }
}

/* Where each triangle is a face, so that no two threads come to one. */
static void take_leaves(void *context, size_t chunk)
{
    const struct taking *taking = context;
    const struct deviation_surface *from = taking->parts->from;
    const size_t leaves = deviation_surface_leaves(from);

    for (size_t leaf = chunk * LEAVES_OF_CHUNK; leaf < (chunk + 1) * LEAVES_OF_CHUNK && leaf < leaves;
         leaf++) {
        const struct leaf_parts *close = surface_parts_leaf(taking->parts, leaf);
        for (size_t slot = leaf * BVH_WIDTH; slot < (leaf + 1) * BVH_WIDTH && slot < from->bvh.triangle_count;
             slot++) {
            size_t face = deviation_surface_face(from, (uint32_t)slot);
            struct face_known known = nothing_known;
            take_bound(taking, (uint32_t)slot, close, &known);
            end_face(taking, face, &known);
            put_known(taking->faces, face, known);
        }
    }
}

/* Its number after FACE_AT_POINT was given by at_corner, at_centroid or at_farthest. */
static vec3 point_of(const struct taking *taking, size_t number)
{
    const struct surface_parts *parts = taking->parts;
    size_t triangles = parts->from->bvh.triangle_count, centroids = first_centroid(parts);

    if (number < centroids)
        return parts->places[number / 3].corners[number % 3];
    return number < centroids + triangles ? quick_centroid(parts, (uint32_t)(number - centroids))
                                          : taking->farthest->at;
}

static bool is_own_middle(const struct taking *taking, size_t f, size_t number)
{
    size_t centroids = first_centroid(taking->parts);

    return mesh_face_size(taking->faces->mesh, f) == 3 && number >= centroids
           && number < centroids + taking->parts->from->bvh.triangle_count;
}

/* Names what can be named, and keeps the points of the rest. */
static bool keep_points(const struct taking *taking, struct arena *keep, struct error *err)
{
    struct face_distances *faces = taking->faces;
    size_t count = 0;

    for (size_t f = 0; f < faces->count; f++) {
        if (faces->at[f] < FACE_AT_POINT)
            continue;
        if (is_own_middle(taking, f, faces->at[f] - FACE_AT_POINT))
            faces->at[f] = FACE_AT_MIDDLE;
        else
            count++;
    }
    faces->points = ARENA_NEW(keep, vec3, count);
    if (!faces->points)
        return arena_error(err);
    count = 0;
    for (size_t f = 0; f < faces->count; f++) {
        if (faces->at[f] < FACE_AT_POINT || faces->at[f] == FACE_AT_MIDDLE)
            continue;
        faces->points[count] =
            deviation_frame_leave(&faces->frame, point_of(taking, faces->at[f] - FACE_AT_POINT));
        faces->at[f] = FACE_AT_POINT + (uint32_t)count++;
    }
    return true;
}

size_t deviation_faces_bytes(const struct mesh *mesh)
{
    const struct face_distances *faces;

    return mesh->face_count
               * (sizeof *faces->lower + sizeof *faces->upper + sizeof *faces->peak + sizeof *faces->at
                  + sizeof *faces->points)
           + ROOM;
}

bool deviation_faces_take(const struct surface_parts *parts, const struct maximum *farthest,
                          const struct deviation_frame *frame, struct face_distances *faces,
                          struct arena *keep, struct error *err)
{
    const struct mesh *mesh = parts->from->input->mesh;
    size_t count = mesh->face_count;
    struct taking taking = {parts,
                            farthest,
                            faces,
                            parts->threads > 1 ? parts->threads : 1,
                            deviation_surface_face(parts->from, farthest->from_slot),
                            rounded_up(parts->reach)};

    *faces = (struct face_distances){.count = count,
                                     .mesh = mesh,
                                     .frame = *frame,
                                     .slack = DEVIATION_SLACK,
                                     .lower = ARENA_NEW(keep, float, count),
                                     .upper = ARENA_NEW(keep, float, count),
                                     .peak = ARENA_NEW(keep, float, count),
                                     .at = ARENA_NEW(keep, uint32_t, count)};
    if (!faces->lower || !faces->upper || !faces->peak || !faces->at
        || first_centroid(parts) + parts->from->bvh.triangle_count >= FACE_AT_MIDDLE - FACE_AT_POINT
        || mesh->vertex_count > FACE_AT_POINT)
        return arena_error(err);
    if (parts->bounds && !parts->from->triangulation.faces)
        tasks_run(parts->threads, tasks_chunks(deviation_surface_leaves(parts->from), LEAVES_OF_CHUNK),
                  take_leaves, &taking);
    else
        tasks_run(parts->threads, taking.range_count, take_range, &taking);
    return keep_points(&taking, keep, err);
}

double face_distance_lower(const struct face_distances *distances, size_t f)
{
    return deviation_frame_length(&distances->frame, fmax(0, (double)distances->lower[f] - distances->slack));
}

double face_distance_upper(const struct face_distances *distances, size_t f)
{
    return deviation_frame_length(&distances->frame, (double)distances->upper[f] + distances->slack);
}

double face_distance_peak(const struct face_distances *distances, size_t f)
{
    return deviation_frame_length(&distances->frame, fmax(0, (double)distances->peak[f] - distances->slack));
}

vec3 face_distance_at(const struct face_distances *distances, size_t f)
{
    const uint32_t at = distances->at[f], *corners = mesh_face(distances->mesh, f);
    const vec3 *positions = distances->mesh->positions;

    if (at < FACE_AT_POINT)
        return positions[at];
    if (at != FACE_AT_MIDDLE)
        return distances->points[at - FACE_AT_POINT];
    return vec3_add(
        vec3_scale(positions[corners[0]], 1.0 / 3),
        vec3_add(vec3_scale(positions[corners[1]], 1.0 / 3), vec3_scale(positions[corners[2]], 1.0 / 3)));
}
