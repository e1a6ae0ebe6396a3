/* limit_farthest.c - which faces may hold a maximum, and the search among finer triangles of them. */
#include "measure/limit_farthest.h"

#include "measure/limit_parts.h"

#include <math.h>

#define WORTH 0.75                  /* of e: finer triangles that are no better change little */
#define TESTS_MAX ((size_t)1 << 27) /* boxes of the cage times faces of the reference */
#define FACES_SHARE 4               /* no more faces are cut finer than one for so many quads */
#define LIST_MAX ((size_t)1 << 20)  /* pairs of a face of the cage and one of the reference */

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

/* What is wanted of the limit, by faces of the cage. */
struct parts_of_limit {
    bool *faces;  /* [face_count of the cage] */
    size_t count; /* of them */
    struct limit_choice choice;
};

static bool build_finer(const struct limit_narrowing *narrowing, const struct parts_of_limit *parts,
                        struct limit_surface *finer, struct arena *keep, struct arena scratch,
                        struct error *err)
{
    const struct limit_wish wish = {.eps = narrowing->eps,
                                    .eps_most = WORTH * narrowing->surface->eps,
                                    .room = narrowing->room,
                                    .faces = parts->faces,
                                    .choice = parts->choice.places ? &parts->choice : NULL,
                                    .threads = narrowing->threads};

    finer->limit.triangle_count = 0;
    return limit_surface_build(narrowing->source, &wish, narrowing->progress, finer, keep, scratch, err);
}

/* Room for the faces, none of which is wanted yet, and for their ends in a list. */
static bool open_parts(const struct limit_narrowing *narrowing, struct parts_of_limit *parts, size_t **begin,
                       struct arena *keep, struct error *err)
{
    size_t face_count = narrowing->source->cage->mesh->face_count;

    *parts = (struct parts_of_limit){.faces = ARENA_ZERO(keep, bool, face_count)};
    *begin = ARENA_ZERO(keep, size_t, face_count + 1);
    return (parts->faces && *begin) || arena_error(err);
}

static void sum_up(struct parts_of_limit *parts, size_t *begin, size_t face_count)
{
    for (size_t f = 0; f < face_count; f++) {
        parts->faces[f] = begin[f + 1] > 0;
        parts->count += parts->faces[f];
        begin[f + 1] += begin[f];
    }
}

/* --- to the reference --- */

static aabb triangle_box(const struct limit_mesh *limit, size_t t)
{
    aabb box = aabb_empty();

    for (int i = 0; i < 3; i++)
        box = aabb_include(box, limit->positions[limit->triangles[t][i]]);
    return box;
}

/* The triangles whose part of the limit may be farther than `rest`. */
static bool choose_far(const struct limit_narrowing *narrowing, double rest, struct parts_of_limit *parts,
                       struct arena *keep, struct error *err)
{
    const struct limit_source *source = narrowing->source;
    const struct limit_mesh *limit = &narrowing->surface->limit;
    const struct face_distances *distances = &narrowing->faces->of_subject;
    size_t *begin, count = 0;

    if (!open_parts(narrowing, parts, &begin, keep, err))
        return false;
    struct limit_place *places =
        arena_alloc(keep, limit->triangle_count, sizeof *places, _Alignof(struct limit_place));
    uint32_t *list = ARENA_NEW(keep, uint32_t, limit->triangle_count);
    if (!places || !list)
        return arena_error(err);
    for (size_t t = 0; t < limit->triangle_count; t++) {
        double eps = limit_surface_eps(source, limit, t);
        if (nextafter(face_distance_upper(distances, t) + eps, INFINITY) <= rest)
            continue;
        places[count] = limit_source_place(source, triangle_box(limit, t), eps);
        list[count] = (uint32_t)count;
        count++;
        begin[limit->faces[t] + 1]++;
    }
    sum_up(parts, begin, source->cage->mesh->face_count);
    parts->choice = (struct limit_choice){places, begin, list};
    return true;
}

static bool narrow_to_reference(const struct limit_narrowing *narrowing, struct farthest_place *place,
                                struct arena scratch, struct error *err)
{
    double rest = place->distance.lower;
    struct parts_of_limit parts;
    struct limit_surface finer;
    struct farthest_place found;
    struct arena own;

    if (!arena_split(&scratch, arena_left(&scratch) / 4, &own))
        return arena_error(err);
    if (!choose_far(narrowing, rest, &parts, &own, err))
        return false;
    if (parts.count > narrowing->room.quads / FACES_SHARE)
        return true;
    if (!build_finer(narrowing, &parts, &finer, &own, scratch, err))
        return false;
    if (finer.limit.triangle_count == 0)
        return true;
    if (!deviation_farthest(&finer.input, narrowing->reference, narrowing->width, narrowing->threads,
                            narrowing->progress, &found, scratch, err))
        return false;
    found.face = finer.limit.faces[found.face];
    narrow(place, &found, finer.eps, rest);
    return true;
}

/* --- from the reference --- */

/* [face_count of the cage], about the centre as those of places are */
static aabb *make_boxes(const struct limit_narrowing *narrowing, struct arena *keep)
{
    const struct limit_mesh *limit = &narrowing->surface->limit;
    size_t count = narrowing->source->cage->mesh->face_count;
    aabb *boxes = ARENA_NEW(keep, aabb, count);

    for (size_t f = 0; boxes && f < count; f++)
        boxes[f] = aabb_empty();
    for (size_t t = 0; boxes && t < limit->triangle_count; t++) {
        aabb *box = &boxes[limit->faces[t]], own = triangle_box(limit, t);
        *box = aabb_include(aabb_include(*box, own.min), own.max);
    }
    for (size_t f = 0; boxes && f < count; f++)
        boxes[f] = limit_source_place(narrowing->source, boxes[f], 0).box;
    return boxes;
}

/* The parts as places, and how far from each the limit may be; more, for boxes of triangles and their way
 * about the centre. */
static struct limit_place *place_parts(const struct limit_narrowing *narrowing,
                                       const struct limit_parts *parts, struct arena *keep)
{
    const struct limit_source *source = narrowing->source;
    struct limit_place *places =
        arena_alloc(keep, parts->count, sizeof *places, _Alignof(struct limit_place));

    for (size_t k = 0; places && k < parts->count; k++) {
        aabb box = aabb_empty();
        for (int i = 0; i < 3; i++)
            box = aabb_include(box, parts->parts[k].corners[i]);
        double reach = (parts->parts[k].upper + narrowing->surface->eps + 2 * source->moving) * (1 + 0x1p-40);
        places[k] = limit_source_place(source, box, reach);
    }
    return places;
}

static bool is_near(const struct limit_place *place, aabb box)
{
    return !(aabb_gap_sq(place->box, box) > place->reach * place->reach * (1 + 0x1p-40));
}

/* The faces of the cage whose limit may be nearest to a point of the parts, and to which of them; where that
 * is too long a list, not to which. */
static bool choose_near(const struct limit_narrowing *narrowing, const struct limit_place *places,
                        size_t part_count, const aabb *boxes, struct parts_of_limit *parts,
                        struct arena *keep, struct error *err)
{
    size_t face_count = narrowing->source->cage->mesh->face_count, *begin, sum = 0;

    if (!open_parts(narrowing, parts, &begin, keep, err))
        return false;
    for (size_t f = 0; f < face_count; f++)
        for (size_t k = 0; k < part_count; k++)
            begin[f + 1] += is_near(&places[k], boxes[f]);
    sum_up(parts, begin, face_count);
    if (begin[face_count] > LIST_MAX)
        return true;
    uint32_t *list = ARENA_NEW(keep, uint32_t, begin[face_count]);
    if (!list)
        return arena_error(err);
    for (size_t f = 0; f < face_count; f++)
        for (size_t k = 0; parts->faces[f] && k < part_count; k++)
            if (is_near(&places[k], boxes[f]))
                list[sum++] = (uint32_t)k;
    parts->choice = (struct limit_choice){places, begin, list};
    return true;
}

/* Measures the parts against finer triangles of what of the limit may be nearest to them. */
static bool measure_parts(const struct limit_narrowing *narrowing, const struct limit_parts *parts,
                          struct farthest_place *place, struct arena own, struct arena scratch,
                          struct error *err)
{
    struct parts_of_limit near;
    struct limit_surface finer;
    struct farthest_place found;
    struct measure_input input;
    struct mesh mesh;
    aabb *boxes = make_boxes(narrowing, &own);
    struct limit_place *places = place_parts(narrowing, parts, &own);

    if (!boxes || !places)
        return arena_error(err);
    if (!choose_near(narrowing, places, parts->count, boxes, &near, &own, err))
        return false;
    if (near.count > narrowing->room.quads / FACES_SHARE)
        return true;
    if (!build_finer(narrowing, &near, &finer, &own, scratch, err))
        return false;
    if (finer.limit.triangle_count == 0)
        return true;
    if (!limit_parts_mesh(parts, narrowing->reference, &mesh, &input, &own, err)
        || !deviation_farthest(&input, &finer.input, narrowing->width, narrowing->threads,
                               narrowing->progress, &found, scratch, err))
        return false;
    found.face = parts->parts[found.face].face;
    found.nearest_face = finer.limit.faces[found.nearest_face];
    narrow(place, &found, finer.eps + parts->rounding, place->distance.lower);
    return true;
}

static bool narrow_from_reference(const struct limit_narrowing *narrowing, struct farthest_place *place,
                                  struct arena scratch, struct error *err)
{
    const struct limit_parts_search search = {.surface = narrowing->surface,
                                              .reference = narrowing->reference,
                                              .distances = &narrowing->faces->of_reference,
                                              .rest = place->distance.lower,
                                              .threads = narrowing->threads};
    size_t face_count = narrowing->source->cage->mesh->face_count;
    struct limit_parts parts;
    struct arena own;

    if (!arena_split(&scratch, arena_left(&scratch) / 4, &own))
        return arena_error(err);
    if (!limit_parts_find(&search, &parts, &own, scratch, err))
        return false;
    if (parts.count == 0 || parts.count > TESTS_MAX / (face_count + 1))
        return true;
    return measure_parts(narrowing, &parts, place, own, scratch, err);
}

bool limit_farthest_narrow(const struct limit_narrowing *narrowing, struct deviation *deviation,
                           struct arena scratch, struct error *err)
{
    struct farthest_place *invented = &deviation->subject_to_reference.max,
                          *lost = &deviation->reference_to_subject.max;

    if (limit_width(invented) > narrowing->enough && !narrow_to_reference(narrowing, invented, scratch, err))
        return false;
    if (limit_width(lost) > narrowing->enough && !narrow_from_reference(narrowing, lost, scratch, err))
        return false;
    deviation->hausdorff = (struct interval){fmax(lost->distance.lower, invented->distance.lower),
                                             fmax(lost->distance.upper, invented->distance.upper)};
    return true;
}
