/* deviation_faces.c - the widest bounds of a face's parts, and the best of what is surely far. */
#include "measure/deviation_faces.h"

#include "measure/deviation_maximum.h"
#include "measure/deviation_parts.h"

#include <math.h>

/* In the frame. */
static void widen_face(const struct surface_parts *parts, size_t p, struct face_distances *faces, size_t face)
{
    const struct part *part = &parts->parts[p];
    double lower = part_range_low(part).min, upper = part_range_high(part).max;

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

/* The centroid of a triangle, where its distance is known. */
static void raise_peak(const struct surface_parts *parts, size_t slot, struct face_distances *faces,
                       size_t face)
{
    double middle = (double)parts->middles[slot] - DEVIATION_SLACK;
    vec3 sum = {0, 0, 0};

    if (parts->from->shared[slot] || middle <= faces->peak[face])
        return;
    for (int i = 0; i < 3; i++)
        sum = vec3_add(sum, deviation_surface_corner(parts->from, (uint32_t)slot, i));
    faces->peak[face] = middle;
    faces->at[face] = vec3_scale(sum, 1.0 / 3);
}

static void leave_frame(const struct surface_parts *parts, const struct deviation_frame *frame,
                        struct face_distances *faces)
{
    for (size_t f = 0; f < faces->count; f++) {
        double upper = fmin(faces->upper[f], parts->reach);
        faces->lower[f] = deviation_frame_length(frame, fmax(0, faces->lower[f] - DEVIATION_SLACK));
        faces->upper[f] = deviation_frame_length(frame, upper + DEVIATION_SLACK);
        faces->peak[f] = deviation_frame_length(frame, fmax(0, faces->peak[f]));
        faces->at[f] = deviation_frame_leave(frame, faces->at[f]);
    }
}

bool deviation_faces_take(const struct surface_parts *parts, const struct maximum *farthest,
                          const struct deviation_frame *frame, struct face_distances *faces,
                          struct arena *keep, struct error *err)
{
    const struct deviation_surface *from = parts->from;
    size_t count = from->input->mesh->face_count, place = deviation_surface_face(from, farthest->from_slot);

    *faces = (struct face_distances){count, ARENA_NEW(keep, double, count), ARENA_NEW(keep, double, count),
                                     ARENA_NEW(keep, double, count), ARENA_NEW(keep, vec3, count)};
    if (!faces->lower || !faces->upper || !faces->peak || !faces->at)
        return arena_error(err);
    for (size_t f = 0; f < count; f++) {
        faces->lower[f] = INFINITY;
        faces->upper[f] = 0;
        faces->peak[f] = -1;
    }
    for (size_t p = 0; p < parts->count; p++)
        if (!(parts->parts[p].scale < 0))
            widen_face(parts, p, faces, deviation_surface_face(from, surface_parts_slot(parts, p)));
    for (size_t slot = 0; parts->middles && slot < from->bvh.triangle_count; slot++)
        raise_peak(parts, slot, faces, deviation_surface_face(from, (uint32_t)slot));
    if (farthest->lower > faces->peak[place]) {
        faces->peak[place] = farthest->lower;
        faces->at[place] = farthest->at;
    }
    leave_frame(parts, frame, faces);
    return true;
}
