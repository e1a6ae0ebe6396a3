/* deviation_vertices.c - nearest triangles of all vertices of a surface, in chunks, and what follows. */
#include "measure/deviation_vertices.h"

#include "base/tasks.h"

#include <math.h>

#define CHUNK_MAX 512
#define CHUNK_MIN 16
#define CHUNKS_LEAST 32 /* if they have CHUNK_MIN each: in the middle of a tube a few take long */
#define SLICE_CHUNKS 64
#define RANGES 32

struct asking {
    const struct deviation_surface *from, *to;
    const struct deviation_vertices *vertices;
    size_t of_chunk;       /* vertices */
    size_t allowance;      /* of work, of each chunk */
    bool together;         /* a few triangles at most are near a few vertices */
    const uint32_t *order; /* used vertices, near ones together */
    size_t order_count, first_chunk;
    size_t *work; /* [chunk] */
};

/* Of a few vertices from number `begin` of the order on. */
static void ask_lanes(const struct asking *asking, size_t begin, size_t count, double reach, uint32_t first,
                      struct bvh_hit *hits, size_t *work)
{
    const struct deviation_vertices *vertices = asking->vertices;
    vec3 points[BVH_LANES];

    for (size_t i = 0; i < count; i++)
        points[i] = asking->from->points[asking->order[begin + i]];
    if (asking->together)
        bvh_nearest_lanes(&asking->to->bvh, points, count, reach, first, hits, work);
    for (size_t i = 0; i < count && !asking->together; i++) {
        hits[i] = bvh_nearest(&asking->to->bvh, points[i], first, work);
        first = hits[i].slot;
    }
    for (size_t i = 0; i < count; i++) {
        vertices->distances[asking->order[begin + i]] = sqrt(hits[i].distance_sq);
        vertices->nearest[asking->order[begin + i]] = hits[i].slot;
    }
}

static void ask_chunk(void *context, size_t number)
{
    struct asking *asking = context;
    size_t chunk = asking->first_chunk + number, begin = chunk * asking->of_chunk, work = 0;
    const struct deviation_vertices *vertices = asking->vertices;
    size_t end = tasks_chunk_end(chunk, asking->of_chunk, asking->order_count), i = begin;
    struct bvh_hit hit = {.slot = BVH_NONE};
    vec3 asked = {0, 0, 0};
    double reach = INFINITY;

    while (i < end && work <= asking->allowance) {
        struct bvh_hit hits[BVH_LANES];
        size_t count = end - i < BVH_LANES ? end - i : BVH_LANES;
        asked = asking->from->points[asking->order[i + count - 1]];
        ask_lanes(asking, i, count, reach, hit.slot, hits, &work);
        hit = hits[count - 1];
        reach = bvh_next_reach(hits, count);
        i += count;
    }
    for (; i < end; i++) {
        uint32_t v = asking->order[i];
        vertices->distances[v] =
            fmax(0, sqrt(hit.distance_sq) - vec3_distance(asked, asking->from->points[v]));
        vertices->nearest[v] = hit.slot;
    }
    asking->work[chunk] = work;
}

/* Those of triangles that the other surface has too, where they are told. */
static void answer_shared(const struct deviation_surface *from, const struct deviation_vertices *vertices)
{
    for (size_t slot = 0; from->twins && slot < from->bvh.triangle_count; slot++)
        for (int i = 0; i < 3 && from->twins[slot] != BVH_NONE; i++) {
            vertices->distances[from->bvh.corners[slot][i]] = 0;
            vertices->nearest[from->bvh.corners[slot][i]] = from->twins[slot];
        }
}

/* Vertices that are not answered, in the order in which the index meets them; order has room for one more.
 * Without branches, which nothing foretells. */
static size_t list_used(const struct deviation_surface *from, const struct deviation_vertices *vertices,
                        uint32_t *order)
{
    size_t count = 0;

    for (size_t slot = 0; slot < from->bvh.triangle_count; slot++)
        for (int i = 0; i < 3; i++) {
            const uint32_t v = from->bvh.corners[slot][i], nearest = vertices->nearest[v];
            const bool is_new = nearest == BVH_NONE;
            vertices->nearest[v] = is_new ? 0 : nearest; /* listed; the answer overwrites it */
            order[count] = v;
            count += is_new;
        }
    return count;
}

static size_t chunk_of(size_t count)
{
    const size_t share = count / CHUNKS_LEAST / CHUNK_MIN * CHUNK_MIN;

    return share < CHUNK_MIN ? CHUNK_MIN : share < CHUNK_MAX ? share : CHUNK_MAX;
}

bool deviation_vertices_open(const struct deviation_surface *from, struct deviation_vertices *vertices,
                             struct arena *keep, struct error *err)
{
    *vertices = (struct deviation_vertices){from->point_count, ARENA_NEW(keep, double, from->point_count),
                                            ARENA_NEW(keep, uint32_t, from->point_count), false};
    return (vertices->distances && vertices->nearest) || arena_error(err);
}

bool deviation_vertices_find(const struct deviation_surface *from, const struct deviation_surface *to,
                             const struct vertices_settings *settings, struct deviation_vertices *vertices,
                             struct arena scratch, struct error *err)
{
    uint32_t *order = ARENA_NEW(&scratch, uint32_t, from->point_count + 1);
    struct asking asking = {.from = from,
                            .to = to,
                            .vertices = vertices,
                            .together = 2 * from->bvh.triangle_count >= to->bvh.triangle_count,
                            .order = order};

    if (!order)
        return arena_error(err);
    for (size_t v = 0; v < vertices->count; v++) {
        vertices->distances[v] = NAN;
        vertices->nearest[v] = BVH_NONE;
    }
    answer_shared(from, vertices);
    asking.order_count = list_used(from, vertices, order);
    asking.of_chunk = chunk_of(asking.order_count);
    asking.allowance =
        settings->allowance < SIZE_MAX / CHUNK_MAX ? settings->allowance * asking.of_chunk : SIZE_MAX;
    size_t chunks = tasks_chunks(asking.order_count, asking.of_chunk);
    asking.work = ARENA_NEW(&scratch, size_t, chunks);
    if (!asking.work)
        return arena_error(err);
    for (; asking.first_chunk < chunks; asking.first_chunk += SLICE_CHUNKS) {
        size_t left = chunks - asking.first_chunk;
        if (!progress_tell(settings->progress, "statistics",
                           settings->progress_from
                               + (settings->progress_to - settings->progress_from)
                                     * (double)asking.first_chunk / (double)chunks))
            return error_set(err, ERROR_CANCELLED, "measuring was stopped");
        tasks_run(settings->threads, left < SLICE_CHUNKS ? left : SLICE_CHUNKS, ask_chunk, &asking);
    }
    vertices->exact = true;
    for (size_t chunk = 0; chunk < chunks; chunk++)
        vertices->exact = vertices->exact && asking.work[chunk] <= asking.allowance;
    return true;
}

static double signed_distance(const struct deviation_vertices *vertices,
                              const struct deviation_surface *subject, const struct deviation_side *side,
                              size_t v)
{
    return vertices->distances[v] * deviation_side_of(side, subject->points[v], vertices->nearest[v]);
}

/* The extremes with each of so many ranges of vertices. */
struct widening {
    const struct deviation_vertices *vertices;
    const struct deviation_surface *subject;
    const struct deviation_side *side;
    double min[RANGES], max[RANGES];
};

static void widen_range(void *context, size_t range)
{
    struct widening *widening = context;
    const struct deviation_vertices *vertices = widening->vertices;
    double min = widening->min[range], max = widening->max[range];

    for (size_t v = vertices->count * range / RANGES; v < vertices->count * (range + 1) / RANGES; v++) {
        if (vertices->nearest[v] == BVH_NONE
            || (vertices->distances[v] <= max && -vertices->distances[v] >= min)) /* whatever its side */
            continue;
        double distance = signed_distance(vertices, widening->subject, widening->side, v);
        min = fmin(min, distance);
        max = fmax(max, distance);
    }
    widening->min[range] = min;
    widening->max[range] = max;
}

void deviation_vertices_widen_signed(const struct deviation_vertices *vertices,
                                     const struct deviation_surface *subject,
                                     const struct deviation_side *side, size_t threads,
                                     struct signed_deviation *signed_)
{
    struct widening widening = {.vertices = vertices, .subject = subject, .side = side};

    for (size_t range = 0; range < RANGES; range++) {
        widening.min[range] = signed_->min;
        widening.max[range] = signed_->max;
    }
    tasks_run(threads, RANGES, widen_range, &widening);
    for (size_t range = 0; range < RANGES; range++) {
        signed_->min = fmin(signed_->min, widening.min[range]);
        signed_->max = fmax(signed_->max, widening.max[range]);
    }
}

static double *add_field(struct deviation_fields *fields, const char *name, size_t count, struct arena *keep)
{
    struct deviation_field *field = &fields->fields[fields->count++];

    *field = (struct deviation_field){name, false, count, ARENA_NEW(keep, double, count), false};
    for (size_t v = 0; field->values && v < count; v++)
        field->values[v] = NAN;
    return field->values;
}

static double vertex_angle(const struct deviation_side *subject_side,
                           const struct deviation_side *reference_side, uint32_t v, uint32_t slot)
{
    struct triangle_foot foot =
        deviation_side_foot(reference_side->surface, subject_side->surface->points[v], slot);

    return deviation_side_angle_deg(deviation_side_vertex_normal(subject_side, v),
                                    deviation_side_foot_normal(reference_side, slot, foot.feature));
}

bool deviation_vertices_fields(const struct deviation_vertices *vertices, const struct deviation_frame *frame,
                               const struct deviation_side *subject_side,
                               const struct deviation_side *reference_side, bool has_sides,
                               struct deviation_fields *fields, struct arena *keep, struct error *err)
{
    size_t count = vertices->count;
    const struct deviation_surface *subject = subject_side->surface, *reference = reference_side->surface;

    fields->count = 0;
    double *distance = add_field(fields, "distance", count, keep);
    double *lower = add_field(fields, "distance_lower", count, keep);
    double *upper = add_field(fields, "distance_upper", count, keep);
    double *nearest_face = add_field(fields, "nearest_face", count, keep);
    double *normal_angle = add_field(fields, "normal_angle", count, keep);
    double *signed_ = has_sides ? add_field(fields, "signed", count, keep) : NULL;
    if (!distance || !lower || !upper || !nearest_face || !normal_angle || (has_sides && !signed_))
        return arena_error(err);
    for (uint32_t v = 0; v < count; v++) {
        uint32_t slot = vertices->nearest[v];
        if (slot == BVH_NONE)
            continue;
        distance[v] = deviation_frame_length(frame, vertices->distances[v]);
        lower[v] = deviation_frame_lower(frame, fmax(0, vertices->distances[v] - DEVIATION_SLACK));
        upper[v] = deviation_frame_upper(frame, vertices->distances[v] + DEVIATION_SLACK);
        nearest_face[v] = (double)deviation_surface_face(reference, slot);
        normal_angle[v] = vertex_angle(subject_side, reference_side, v, slot);
        if (signed_)
            signed_[v] = deviation_frame_length(frame, signed_distance(vertices, subject, reference_side, v));
    }
    return true;
}
