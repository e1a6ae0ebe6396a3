/* limit_farthest.c - which faces may hold a maximum, and the search among finer triangles of them. */
#include "measure/limit_farthest.h"

#include <math.h>

#define WORTH 0.75                  /* of e: finer triangles that are no better change little */
#define TESTS_MAX ((size_t)1 << 27) /* boxes of the cage times faces of the reference */
#define FACES_SHARE 4               /* no more faces are cut finer than one for so many quads */

static double lower_sum(double a, double b)
{
    return nextafter(a - b, -INFINITY);
}

/* What is known of a maximum from that of finer triangles, no more than `rest` elsewhere. */
static void narrow(struct farthest_place *place, const struct farthest_place *finer, double eps, double rest)
{
    double lower = lower_sum(finer->distance.lower, eps),
           upper = fmax(nextafter(finer->distance.upper + eps, INFINITY), rest);

    if (lower > place->distance.lower) {
        double known = place->distance.upper;
        *place = *finer;
        place->distance = (struct interval){lower, known};
    }
    place->distance.upper = fmax(place->distance.lower, fmin(place->distance.upper, upper));
}

double limit_width(const struct farthest_place *place)
{
    return place->distance.upper - place->distance.lower;
}

static bool is_worth_it(const struct limit_narrowing *narrowing, const struct limit_surface *finer)
{
    return finer->limit.triangle_count > 0 && finer->eps <= WORTH * narrowing->surface->eps;
}

static bool build_finer(const struct limit_narrowing *narrowing, const bool *wanted,
                        struct limit_surface *finer, struct arena *keep, struct arena scratch,
                        struct error *err)
{
    const struct limit_wish wish = {narrowing->eps, narrowing->quads_max, wanted, narrowing->threads};

    finer->limit.triangle_count = 0;
    return limit_surface_build(narrowing->source, &wish, narrowing->progress, finer, keep, scratch, err);
}

static size_t count_wanted(const bool *wanted, size_t count)
{
    size_t sum = 0;

    for (size_t f = 0; f < count; f++)
        sum += wanted[f];
    return sum;
}

/* --- to the reference --- */

static bool narrow_to_reference(const struct limit_narrowing *narrowing, struct farthest_place *place,
                                bool *wanted, struct arena scratch, struct error *err)
{
    const struct limit_mesh *limit = &narrowing->surface->limit;
    const double *upper = narrowing->faces->of_subject.upper, eps = narrowing->surface->eps;
    size_t face_count = narrowing->source->cage->mesh->face_count;
    double rest = place->distance.lower;
    struct limit_surface finer;
    struct farthest_place found;
    struct arena own;

    for (size_t f = 0; f < face_count; f++)
        wanted[f] = false;
    for (size_t t = 0; t < limit->triangle_count; t++)
        if (!(nextafter(upper[t] + eps, INFINITY) <= rest))
            wanted[limit->faces[t]] = true;
    if (count_wanted(wanted, face_count) > narrowing->quads_max / FACES_SHARE)
        return true;
    if (!arena_split(&scratch, arena_left(&scratch) / 4, &own))
        return arena_error(err);
    if (!build_finer(narrowing, wanted, &finer, &own, scratch, err))
        return false;
    if (!is_worth_it(narrowing, &finer))
        return true;
    if (!deviation_farthest(&finer.input, narrowing->reference, narrowing->width, narrowing->threads,
                            narrowing->progress, &found, scratch, err))
        return false;
    found.face = finer.limit.faces[found.face];
    narrow(place, &found, finer.eps, rest);
    return true;
}

/* --- from the reference --- */

struct parts_of_reference {
    size_t count;
    uint32_t *faces;
    struct mesh mesh; /* of them alone */
    struct measure_input input;
};

static bool take_faces(const struct limit_narrowing *narrowing, double rest, struct parts_of_reference *parts,
                       struct arena *keep, struct error *err)
{
    const struct mesh *mesh = narrowing->reference->mesh;
    const double *upper = narrowing->faces->of_reference.upper, eps = narrowing->surface->eps;
    size_t corners = 0;

    parts->count = 0;
    parts->faces = ARENA_NEW(keep, uint32_t, mesh->face_count);
    if (!parts->faces)
        return arena_error(err);
    for (size_t f = 0; f < mesh->face_count; f++)
        if (!(nextafter(upper[f] + eps, INFINITY) <= rest)) {
            parts->faces[parts->count++] = (uint32_t)f;
            corners += mesh_face_size(mesh, f);
        }
    parts->mesh = (struct mesh){.vertex_count = mesh->vertex_count,
                                .face_count = parts->count,
                                .positions = mesh->positions,
                                .face_offsets = ARENA_NEW(keep, uint32_t, parts->count + 1),
                                .face_vertices = ARENA_NEW(keep, uint32_t, corners)};
    if (!parts->mesh.face_offsets || !parts->mesh.face_vertices)
        return arena_error(err);
    for (size_t k = 0, at = 0; k < parts->count; k++) {
        parts->mesh.face_offsets[k] = (uint32_t)at;
        for (size_t i = 0; i < mesh_face_size(mesh, parts->faces[k]); i++)
            parts->mesh.face_vertices[at++] = mesh_face(mesh, parts->faces[k])[i];
        parts->mesh.face_offsets[k + 1] = (uint32_t)at;
    }
    parts->input = *narrowing->reference;
    parts->input.mesh = &parts->mesh;
    return true;
}

static aabb *make_boxes(const struct limit_narrowing *narrowing, struct arena *keep)
{
    const struct limit_mesh *limit = &narrowing->surface->limit;
    size_t count = narrowing->source->cage->mesh->face_count;
    aabb *boxes = ARENA_NEW(keep, aabb, count);

    for (size_t f = 0; boxes && f < count; f++)
        boxes[f] = aabb_empty();
    for (size_t t = 0; boxes && t < limit->triangle_count; t++)
        for (int i = 0; i < 3; i++) {
            aabb *box = &boxes[limit->faces[t]];
            *box = aabb_include(*box, limit->positions[limit->triangles[t][i]]);
        }
    return boxes;
}

static double gap_along(double a_min, double a_max, double b_min, double b_max)
{
    return fmax(b_min - a_max, a_min - b_max);
}

/* Not more than the distance of two boxes; neither is squared, so that nothing overflows. */
static double gap_between(aabb a, aabb b)
{
    double x = gap_along(a.min.x, a.max.x, b.min.x, b.max.x),
           y = gap_along(a.min.y, a.max.y, b.min.y, b.max.y),
           z = gap_along(a.min.z, a.max.z, b.min.z, b.max.z);

    return fmax(fmax(x, y), z);
}

/* The faces of the cage whose limit may be nearest to a point of the parts. */
static void mark_near(const struct limit_narrowing *narrowing, const struct parts_of_reference *parts,
                      const aabb *boxes, bool *wanted)
{
    const struct limit_source *source = narrowing->source;
    size_t face_count = source->cage->mesh->face_count;

    for (size_t f = 0; f < face_count; f++)
        wanted[f] = false;
    for (size_t k = 0; k < parts->count; k++) {
        aabb box = aabb_empty();
        for (size_t i = 0; i < mesh_face_size(&parts->mesh, k); i++)
            box = aabb_include(box, parts->mesh.positions[mesh_face(&parts->mesh, k)[i]]);
        double reach = narrowing->faces->of_reference.upper[parts->faces[k]] + 2 * narrowing->surface->eps
                       + source->moving;
        reach *= 1 + 0x1p-40;
        for (size_t f = 0; f < face_count; f++)
            wanted[f] = wanted[f] || gap_between(box, boxes[f]) <= reach;
    }
}

static bool narrow_from_reference(const struct limit_narrowing *narrowing, struct farthest_place *place,
                                  bool *wanted, struct arena scratch, struct error *err)
{
    size_t face_count = narrowing->source->cage->mesh->face_count;
    double rest = place->distance.lower;
    struct parts_of_reference parts;
    struct limit_surface finer;
    struct farthest_place found;
    struct arena own;

    if (!arena_split(&scratch, arena_left(&scratch) / 4, &own))
        return arena_error(err);
    if (!take_faces(narrowing, rest, &parts, &own, err))
        return false;
    aabb *boxes = make_boxes(narrowing, &own);
    if (!boxes)
        return arena_error(err);
    if (parts.count == 0 || parts.count > TESTS_MAX / (face_count + 1))
        return true;
    mark_near(narrowing, &parts, boxes, wanted);
    if (count_wanted(wanted, face_count) > narrowing->quads_max / FACES_SHARE)
        return true;
    if (!build_finer(narrowing, wanted, &finer, &own, scratch, err))
        return false;
    if (!is_worth_it(narrowing, &finer))
        return true;
    if (!deviation_farthest(&parts.input, &finer.input, narrowing->width, narrowing->threads,
                            narrowing->progress, &found, scratch, err))
        return false;
    found.face = parts.faces[found.face];
    found.nearest_face = finer.limit.faces[found.nearest_face];
    narrow(place, &found, finer.eps, rest);
    return true;
}

bool limit_farthest_narrow(const struct limit_narrowing *narrowing, struct deviation *deviation,
                           struct arena scratch, struct error *err)
{
    bool *wanted = ARENA_NEW(&scratch, bool, narrowing->source->cage->mesh->face_count);
    struct farthest_place *invented = &deviation->subject_to_reference.max,
                          *lost = &deviation->reference_to_subject.max;

    if (!wanted)
        return arena_error(err);
    if (limit_width(invented) > narrowing->enough
        && !narrow_to_reference(narrowing, invented, wanted, scratch, err))
        return false;
    if (limit_width(lost) > narrowing->enough
        && !narrow_from_reference(narrowing, lost, wanted, scratch, err))
        return false;
    deviation->hausdorff = (struct interval){fmax(lost->distance.lower, invented->distance.lower),
                                             fmax(lost->distance.upper, invented->distance.upper)};
    return true;
}
