/* deviation_faces.c - seven samples a triangle, and the bounds that follow from them. */
#include "measure/deviation_faces.h"

#include "base/tasks.h"
#include "measure/deviation_surface.h"

#include <math.h>
#include <string.h>

#define CHUNK ((size_t)1 << 12) /* triangles */

struct sampling {
    const struct deviation_surface *from, *to;
    struct face_distances *faces; /* in the frame until the end */
};

/* One triangle: corners, then the middles of the sides opposite to them, then the centroid. */
struct samples {
    vec3 points[7];
    double distances[7];
};

static void sample(const struct sampling *sampling, size_t triangle, uint32_t *latest,
                   struct samples *samples)
{
    const uint32_t *corner = sampling->from->triangulation.corners[triangle];
    vec3 *p = samples->points;
    size_t work = 0;

    for (int i = 0; i < 3; i++)
        p[i] = sampling->from->points[corner[i]];
    for (int i = 0; i < 3; i++)
        p[3 + i] = vec3_lerp(p[(i + 1) % 3], p[(i + 2) % 3], 0.5);
    p[6] = vec3_scale(vec3_add(vec3_add(p[0], p[1]), p[2]), 1.0 / 3);
    for (int i = 0; i < 7; i++) {
        struct bvh_hit hit = bvh_nearest(&sampling->to->bvh, p[i], *latest, &work);
        *latest = hit.slot;
        samples->distances[i] = sqrt(hit.distance_sq);
    }
}

static double longest_side(vec3 a, vec3 b, vec3 c)
{
    return sqrt(fmax(vec3_length_sq(vec3_sub(b, a)),
                     fmax(vec3_length_sq(vec3_sub(c, b)), vec3_length_sq(vec3_sub(a, c)))));
}

/* Of a triangle's points the farthest from the nearest corner is no farther than the longest side / sqrt 3:
 * the circumradius where the triangle is acute, less where it is not. Applied to the four quarters. */
static void include(struct face_distances *faces, size_t f, const struct samples *samples)
{
    static const int quarters[4][3] = {{0, 5, 4}, {1, 3, 5}, {2, 4, 3}, {3, 4, 5}};
    const vec3 *p = samples->points;
    const double *d = samples->distances;

    for (int q = 0; q < 4; q++) {
        const int a = quarters[q][0], b = quarters[q][1], c = quarters[q][2];
        double reach = longest_side(p[a], p[b], p[c]) / 1.7320508075688772 + DEVIATION_SLACK;
        faces->lower[f] = fmin(faces->lower[f], fmin(d[a], fmin(d[b], d[c])) - reach);
        faces->upper[f] = fmax(faces->upper[f], fmax(d[a], fmax(d[b], d[c])) + reach);
    }
    for (int i = 0; i < 7; i++)
        if (d[i] > faces->peak[f]) {
            faces->peak[f] = d[i];
            faces->at[f] = p[i];
        }
}

/* A chunk owns the faces whose first triangle it holds. */
static void sample_chunk(void *context, size_t chunk)
{
    const struct sampling *sampling = context;
    const struct triangulation *cut = &sampling->from->triangulation;
    size_t t = chunk * CHUNK, end = t + CHUNK;
    uint32_t latest = BVH_NONE;
    struct samples samples;

    while (t > 0 && t < cut->triangle_count && cut->faces[t] == cut->faces[t - 1])
        t++;
    for (; t < cut->triangle_count && (t < end || cut->faces[t] == cut->faces[t - 1]); t++) {
        sample(sampling, t, &latest, &samples);
        include(sampling->faces, cut->faces[t], &samples);
    }
}

static bool make_room(const struct mesh *mesh, struct face_distances *faces, struct arena *keep,
                      struct error *err)
{
    faces->count = mesh->face_count;
    faces->lower = ARENA_NEW(keep, double, faces->count);
    faces->upper = ARENA_NEW(keep, double, faces->count);
    faces->peak = ARENA_NEW(keep, double, faces->count);
    faces->at = ARENA_ZERO(keep, vec3, faces->count);
    if (keep->failed)
        return arena_error(err);
    for (size_t f = 0; f < faces->count; f++) {
        faces->lower[f] = INFINITY;
        faces->upper[f] = 0;
        faces->peak[f] = -1;
    }
    return true;
}

static void leave_frame(const struct deviation_frame *frame, struct face_distances *faces)
{
    for (size_t f = 0; f < faces->count; f++) {
        faces->lower[f] = deviation_frame_length(frame, fmax(0, faces->lower[f]));
        faces->upper[f] = deviation_frame_length(frame, faces->upper[f]);
        faces->peak[f] = deviation_frame_length(frame, fmax(0, faces->peak[f] - DEVIATION_SLACK));
        faces->at[f] = deviation_frame_leave(frame, faces->at[f]);
    }
}

static bool find_of(const struct deviation_frame *frame, const struct deviation_surface *from,
                    const struct deviation_surface *to, size_t threads, struct face_distances *faces,
                    struct arena *keep, struct error *err)
{
    struct sampling sampling = {from, to, faces};

    if (!make_room(from->input->mesh, faces, keep, err))
        return false;
    tasks_run(threads, tasks_chunks(from->triangulation.triangle_count, CHUNK), sample_chunk, &sampling);
    leave_frame(frame, faces);
    return true;
}

bool deviation_faces_find(const struct measure_input *subject, const struct measure_input *reference,
                          size_t threads, struct face_distances *of_subject,
                          struct face_distances *of_reference, struct arena *keep, struct arena scratch,
                          struct error *err)
{
    struct deviation_frame frame = deviation_frame_of(subject, reference);
    struct deviation_surface surfaces[2];
    struct arena room;

    if (!arena_split(&scratch,
                     deviation_surface_bytes(subject->mesh) + deviation_surface_bytes(reference->mesh),
                     &room))
        return arena_error(err);
    return deviation_surface_build(subject, &frame, threads, &surfaces[0], &room, scratch, err)
           && deviation_surface_build(reference, &frame, threads, &surfaces[1], &room, scratch, err)
           && find_of(&frame, &surfaces[0], &surfaces[1], threads, of_subject, keep, err)
           && find_of(&frame, &surfaces[1], &surfaces[0], threads, of_reference, keep, err);
}
