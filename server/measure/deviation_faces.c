/* deviation_faces.c - the widest bounds of a face's parts, and the best of what is surely far; a range of
 * faces for each thread, which looks at all parts. */
#include "measure/deviation_faces.h"

#include "base/tasks.h"
#include "measure/deviation_maximum.h"
#include "measure/deviation_quick.h"

#include <math.h>

struct taking {
    const struct surface_parts *parts;
    const struct maximum *farthest;
    const struct deviation_frame *frame;
    struct face_distances *faces;
    size_t range_count;
};

/* In the frame; most: no point of the part is farther, INFINITY where that is not known. */
static void widen_face(const struct surface_parts *parts, size_t p, double most, struct face_distances *faces,
                       size_t face)
{
    const struct part *part = &parts->parts[p];
    double lower = part_range_low(part).min, upper = fmin(part_range_high(part).max, most);

    faces->lower[face] = lower < faces->lower[face] ? lower : faces->lower[face];
    faces->upper[face] = upper > faces->upper[face] ? upper : faces->upper[face];
    for (int i = 0; i < 3; i++) {
        double low = part_low_at(part, i) - DEVIATION_SLACK;
        if (low <= faces->peak[face])
            continue;
        faces->peak[face] = low;
        faces->at[face] = surface_parts_corner(parts, p, i);
    }
}

/* Where its distance is known, on a triangle. */
static void raise_peak(const struct surface_parts *parts, uint32_t slot, struct face_distances *faces,
                       size_t face)
{
    struct quick_peak peak = quick_peak(parts, slot);

    if (peak.distance - DEVIATION_SLACK <= faces->peak[face])
        return;
    faces->peak[face] = peak.distance - DEVIATION_SLACK;
    faces->at[face] = peak.at;
}

static void leave_frame(const struct taking *taking, size_t f)
{
    const struct deviation_frame *frame = taking->frame;
    struct face_distances *faces = taking->faces;
    double upper = fmin(faces->upper[f], taking->parts->reach);

    faces->lower[f] = deviation_frame_length(frame, fmax(0, faces->lower[f] - DEVIATION_SLACK));
    faces->upper[f] = deviation_frame_length(frame, upper + DEVIATION_SLACK);
    faces->peak[f] = deviation_frame_length(frame, fmax(0, faces->peak[f]));
    faces->at[f] = deviation_frame_leave(frame, faces->at[f]);
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
        if (!(parts->parts[p].scale < 0))
            widen_face(parts, p, asked ? quick_most(parts, slot) : INFINITY, taking->faces, face);
        if (asked)
            raise_peak(parts, slot, taking->faces, face);
    }
}

/* By the parts of a leaf that was bounded closely. */
static void raise_by_part(const struct surface_parts *parts, uint32_t slot, const struct part *part,
                          struct face_distances *faces, size_t face)
{
    for (int i = 0; i < 3; i++) {
        double low = part_low_at(part, i) - DEVIATION_SLACK;
        if (low <= faces->peak[face])
            continue;
        faces->peak[face] = low;
        faces->at[face] = deviation_surface_corner(parts->from, slot, i);
    }
}

static void take_bounds(const struct taking *taking, size_t begin, size_t end)
{
    const struct surface_parts *parts = taking->parts;
    const struct deviation_surface *from = parts->from;
    struct face_distances *faces = taking->faces;
    const struct leaf_parts *close = NULL;

    for (uint32_t slot = 0; slot < from->bvh.triangle_count; slot++) {
        size_t face = deviation_surface_face(from, slot);
        if (slot % BVH_WIDTH == 0)
            close = surface_parts_leaf(parts, slot / BVH_WIDTH);
        if (face < begin || face >= end)
            continue;
        double low = (double)parts->bounds[slot].low, high = (double)parts->bounds[slot].high;
        faces->lower[face] = low < faces->lower[face] ? low : faces->lower[face];
        faces->upper[face] = high > faces->upper[face] ? high : faces->upper[face];
        if (faces->peak[face] < 0) { /* wherever it is */
            faces->peak[face] = -DEVIATION_SLACK;
            faces->at[face] = deviation_surface_corner(from, slot, 0);
        }
        if (!from->shared[slot])
            raise_peak(parts, slot, faces, face);
        if (close)
            raise_by_part(parts, slot, &close->parts[slot % BVH_WIDTH], faces, face);
    }
}

static void take_range(void *context, size_t range)
{
    const struct taking *taking = context;
    const struct surface_parts *parts = taking->parts;
    const struct deviation_surface *from = parts->from;
    struct face_distances *faces = taking->faces;
    size_t begin = faces->count * range / taking->range_count,
           end = faces->count * (range + 1) / taking->range_count,
           place = deviation_surface_face(from, taking->farthest->from_slot);

    for (size_t f = begin; f < end; f++) {
        faces->lower[f] = INFINITY;
        faces->upper[f] = 0;
        faces->peak[f] = -1;
    }
    if (parts->bounds)
        take_bounds(taking, begin, end);
    else
        take_parts(taking, begin, end);
    if (place >= begin && place < end && taking->farthest->lower > faces->peak[place]) {
        faces->peak[place] = taking->farthest->lower;
        faces->at[place] = taking->farthest->at;
    }
    for (size_t f = begin; f < end; f++)
        leave_frame(taking, f);
}

bool deviation_faces_take(const struct surface_parts *parts, const struct maximum *farthest,
                          const struct deviation_frame *frame, struct face_distances *faces,
                          struct arena *keep, struct error *err)
{
    size_t count = parts->from->input->mesh->face_count;
    struct taking taking = {parts, farthest, frame, faces, parts->threads > 1 ? parts->threads : 1};

    *faces = (struct face_distances){count, ARENA_NEW(keep, double, count), ARENA_NEW(keep, double, count),
                                     ARENA_NEW(keep, double, count), ARENA_NEW(keep, vec3, count)};
    if (!faces->lower || !faces->upper || !faces->peak || !faces->at)
        return arena_error(err);
    tasks_run(parts->threads, taking.range_count, take_range, &taking);
    return true;
}
