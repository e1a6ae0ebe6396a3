/* limit_deviation.c - the deviation of the triangles of the limit, widened; its maxima narrowed again. */
#include "measure/limit_deviation.h"

#include "geom/point_triangle.h"
#include "measure/deviation_statistics.h"
#include "measure/limit_farthest.h"

#include <math.h>
#include <string.h>

/* Of the wanted width: */
#define EPS_SHARE 0.6       /* eps of all triangles, */
#define HALFWIDTH_SHARE 0.4 /* and what is left to mean and RMS; */
#define NARROW_SHARE 0.35   /* eps of those that may hold a maximum, at each end, */
#define SEARCH_SHARE 0.25   /* and what is left to the search for it */
#define BUILD_SHARE 0.3     /* of the stage's time, for progress */

/* Stages of the parts become one stage, which does not go back when parts are measured again. */
struct stage {
    const struct progress *outer;
    double reached;
};

static bool tell_limit(void *context, const char *name, double fraction)
{
    static const struct {
        const char *name;
        double from, to;
    } parts[] = {{"limit", 0, BUILD_SHARE},
                 {"index", BUILD_SHARE, 0.4},
                 {"hausdorff", 0.4, 0.7},
                 {"statistics", 0.7, 1}};
    struct stage *stage = context;

    for (size_t i = 0; i < sizeof parts / sizeof *parts; i++)
        if (strcmp(name, parts[i].name) == 0)
            stage->reached = fmax(stage->reached, parts[i].from + (parts[i].to - parts[i].from) * fraction);
    return progress_tell(stage->outer, "limit", stage->reached);
}

/* --- widening --- */

static struct interval widen(struct interval interval, double eps)
{
    return (struct interval){fmax(0, nextafter(interval.lower - eps, -INFINITY)),
                             nextafter(interval.upper + eps, INFINITY)};
}

/* Every tolerance less and more by eps, ascending; those below 0 are left out. below[t] and above[t] are
 * where they are in the list, SIZE_MAX where left out. */
static size_t spread_tolerances(const struct deviation_settings *settings, double eps, double *list,
                                size_t *below, size_t *above)
{
    size_t count = 0, low = 0, high = 0, all = settings->tolerance_count;

    while (low < all || high < all) {
        double next_low = low < all ? settings->tolerances[low] - eps : INFINITY,
               next_high = high < all ? settings->tolerances[high] + eps : INFINITY;
        bool take_low = low < all && next_low <= next_high;
        double next = take_low ? next_low : next_high;
        *(take_low ? &below[low++] : &above[high++]) = next < 0 ? SIZE_MAX : count;
        if (next >= 0)
            list[count++] = next;
    }
    return count;
}

/* How far the triangles are from the surface, at most: anywhere, on the mean, by mean square. */
struct distances_to_limit {
    double most, mean, rms;
};

static struct distances_to_limit distances_by_area(const struct limit_source *source,
                                                   const struct limit_mesh *limit, double most)
{
    const double scale = 1 / source->cage->unit, round_up = 1 + 0x1p-40;
    double area = 0, sum = 0, sum_sq = 0;

    for (size_t t = 0; t < limit->triangle_count; t++) {
        vec3 p[3];
        for (int i = 0; i < 3; i++)
            p[i] = vec3_scale(
                vec3_sub(limit->positions[limit->triangles[t][i]], limit->positions[limit->triangles[t][0]]),
                scale);
        double part = triangle_area(p[0], p[1], p[2]), eps = limit->eps[t] / limit->eps_max;
        area += part;
        sum += part * eps;
        sum_sq += part * eps * eps;
    }
    if (!(area > 0))
        return (struct distances_to_limit){most, most, most};
    return (struct distances_to_limit){most, fmin(most, most * (sum / area) * round_up),
                                       fmin(most, most * sqrt(sum_sq / area) * round_up)};
}

/* Of the spread list of tolerances, those that bound each tolerance of the settings. */
static void widen_coverage(struct interval *coverage, const struct deviation_settings *settings,
                           const size_t *below, const size_t *above)
{
    struct interval spread[DEVIATION_TOLERANCES_MAX];

    memcpy(spread, coverage, sizeof spread);
    for (size_t t = 0; t < settings->tolerance_count; t++)
        coverage[t] =
            (struct interval){below[t] == SIZE_MAX ? 0 : spread[below[t]].lower, spread[above[t]].upper};
}

static void widen_certified(struct certified_statistics *certified, struct distances_to_limit eps)
{
    certified->mean = widen(certified->mean, eps.mean);
    certified->rms = widen(certified->rms, eps.rms);
    certified->median = widen(certified->median, eps.most);
    certified->p95 = widen(certified->p95, eps.most);
    certified->p99 = widen(certified->p99, eps.most);
    certified->p999 = widen(certified->p999, eps.most);
}

static void widen_side(struct one_sided_deviation *side, const struct deviation_settings *settings,
                       struct distances_to_limit eps, const size_t *below, const size_t *above)
{
    side->max.distance = widen(side->max.distance, eps.most);
    side->halfwidth.mean += eps.mean;
    side->halfwidth.rms += eps.rms;
    side->halfwidth.median += eps.most;
    side->halfwidth.p95 += eps.most;
    side->halfwidth.p99 += eps.most;
    side->halfwidth.p999 += eps.most;
    widen_certified(&side->certified, eps);
    widen_coverage(side->coverage, settings, below, above);
    widen_coverage(side->certified.coverage, settings, below, above);
}

static bool measure_triangles(const struct limit_source *source, const struct limit_surface *surface,
                              const struct measure_input *reference,
                              const struct deviation_settings *settings, const struct progress *progress,
                              struct deviation *deviation, struct deviation_faces *faces, struct arena *keep,
                              struct arena scratch, struct error *err)
{
    size_t below[DEVIATION_TOLERANCES_ASKED], above[DEVIATION_TOLERANCES_ASKED];
    const uint32_t *face = surface->limit.faces;
    struct deviation_settings spread = *settings;
    double eps = surface->eps;

    spread.certify = settings->certify * SEARCH_SHARE;
    spread.halfwidth_share = HALFWIDTH_SHARE / SEARCH_SHARE;
    spread.frugal = true;
    spread.class_margin = eps;
    spread.tolerance_count = spread_tolerances(settings, eps, spread.tolerances, below, above);
    if (!deviation_measure(&surface->input, reference, &spread, progress, deviation, NULL, faces, NULL, NULL,
                           keep, scratch, err))
        return false;
    widen_side(&deviation->reference_to_subject, settings, (struct distances_to_limit){eps, eps, eps}, below,
               above);
    widen_side(&deviation->subject_to_reference, settings, distances_by_area(source, &surface->limit, eps),
               below, above);
    deviation->hausdorff = widen(deviation->hausdorff, eps);
    deviation->surface = SURFACE_LIMIT;
    deviation->subject_to_reference.max.face = face[deviation->subject_to_reference.max.face];
    deviation->reference_to_subject.max.nearest_face = face[deviation->reference_to_subject.max.nearest_face];
    return true;
}

static bool keep_positions(const struct measure_input *cage, const struct limit_mesh *limit,
                           struct deviation_field *field, struct arena *keep, struct error *err)
{
    size_t count = cage->mesh->vertex_count;

    *field = (struct deviation_field){
        .name = "limit_position", .count = 3 * count, .values = ARENA_NEW(keep, double, 3 * count)};
    if (!field->values)
        return arena_error(err);
    for (size_t v = 0; v < count; v++) {
        vec3 at = cage->fans.vertex_class_count[v] > 0 ? limit->positions[v] : cage->mesh->positions[v];
        field->values[3 * v] = at.x;
        field->values[3 * v + 1] = at.y;
        field->values[3 * v + 2] = at.z;
    }
    return true;
}

/* Of each face of the cage, what is known of its triangles. */
static bool gather_triangles(const struct limit_triangles *triangles, const struct face_distances *found,
                             struct face_distances *faces, struct arena *keep, struct error *err)
{
    const struct mesh *cage = triangles->source.cage->mesh;
    const struct limit_mesh *limit = &triangles->surface.limit;
    size_t count = cage->face_count;

    *faces = (struct face_distances){.count = count,
                                     .mesh = cage,
                                     .frame = found->frame,
                                     .slack = found->slack,
                                     .lower = ARENA_ZERO(keep, float, count),
                                     .upper = ARENA_ZERO(keep, float, count),
                                     .peak = ARENA_ZERO(keep, float, count),
                                     .at = ARENA_NEW(keep, uint32_t, count),
                                     .points = ARENA_NEW(keep, vec3, count)};
    if (keep->failed)
        return arena_error(err);
    for (uint32_t f = 0; f < count; f++) {
        faces->at[f] = FACE_AT_POINT + f;
        faces->points[f] = cage->positions[mesh_face(cage, f)[0]];
    }
    for (size_t t = 0; t < limit->triangle_count; t++) {
        uint32_t f = limit->faces[t];
        bool is_first = t == 0 || limit->faces[t - 1] != f;
        if (is_first || found->lower[t] < faces->lower[f])
            faces->lower[f] = found->lower[t];
        if (found->upper[t] > faces->upper[f])
            faces->upper[f] = found->upper[t];
        if (is_first || found->peak[t] > faces->peak[f]) {
            faces->peak[f] = found->peak[t];
            faces->points[f] = face_distance_at(found, t);
        }
    }
    return true;
}

/* The surface is no farther than eps from the triangles, nor are they from it. */
static void widen_faces(struct face_distances *faces, double eps)
{
    faces->slack =
        nextafter(faces->slack + nextafter(ldexp(eps, -faces->frame.exponent), INFINITY), INFINITY);
}

static bool turn_to_cage(const struct limit_triangles *triangles, const struct deviation_faces *found,
                         struct deviation_faces *faces, struct arena *keep, struct error *err)
{
    if (!gather_triangles(triangles, &found->of_subject, &faces->of_subject, keep, err))
        return false;
    faces->of_reference = found->of_reference;
    widen_faces(&faces->of_subject, triangles->surface.eps);
    widen_faces(&faces->of_reference, triangles->surface.eps);
    return true;
}

/* Whether something is known less narrowly than asked for because triangles are not near enough, or a maximum
 * or certified value took too much work; those that are sampled say so themselves. */
static bool is_short(const struct one_sided_deviation *side, const struct deviation_settings *settings,
                     double wanted, bool far)
{
    double slack = wanted * (1 + 0x1p-20);
    bool wide = side->halfwidth.mean > slack || side->halfwidth.rms > slack;

    for (size_t t = 0; t < settings->tolerance_count; t++)
        wide = wide || side->coverage[t].upper - side->coverage[t].lower > STATISTICS_COVERAGE_WIDTH;
    return limit_width(&side->max) > slack || (wide && (far || side->sample_count == 0));
}

static double width_of(const struct measure_input *reference, const struct deviation_settings *settings)
{
    return settings->certify * reference->diagonal;
}

bool limit_deviation_build(const struct measure_input *cage, const struct measure_input *reference,
                           const struct limit_request *request, struct limit_triangles *triangles,
                           struct warning_list *warnings, struct arena *keep, struct arena scratch,
                           struct error *err)
{
    struct stage stage = {request->progress, 0};
    const struct progress progress = {tell_limit, &stage};
    const size_t faces = cage->mesh->face_count;
    const struct limit_wish wish = {.eps = EPS_SHARE * width_of(reference, request->settings),
                                    .room = {.quads = LIMIT_QUADS_MIN + LIMIT_QUADS_OF_FACE * faces,
                                             .work = LIMIT_WORK_MIN + LIMIT_WORK_OF_FACE * faces},
                                    .threads = request->settings->threads};

    return limit_source_open(cage, request->creases, request->rule, &triangles->source, warnings, keep,
                             scratch, err)
           && limit_surface_build(&triangles->source, &wish, &progress, &triangles->surface, keep, scratch,
                                  err);
}

bool limit_deviation_measure(struct limit_triangles *triangles, const struct measure_input *reference,
                             const struct limit_request *request, struct deviation *deviation,
                             struct deviation_field *positions, struct deviation_faces *faces,
                             struct arena *keep, struct arena scratch, struct error *err)
{
    const struct deviation_settings *settings = request->settings;
    const struct limit_surface *surface = &triangles->surface;
    struct stage stage = {request->progress, 0};
    const struct progress progress = {tell_limit, &stage};
    double width = width_of(reference, settings);
    bool far = surface->eps > EPS_SHARE * width;
    struct deviation_faces found;
    struct arena own;

    if (!arena_split(&scratch, arena_left(&scratch) / 4, &own))
        return arena_error(err);
    if ((request->want_positions
         && !keep_positions(triangles->source.cage, &surface->limit, positions, keep, err))
        || !measure_triangles(&triangles->source, surface, reference, settings, &progress, deviation, &found,
                              faces ? keep : &own, scratch, err)
        || (faces && !turn_to_cage(triangles, &found, faces, keep, err)))
        return false;
    arena_release(&scratch); /* narrowing begins elsewhere */
    const struct limit_narrowing narrowing = {.source = &triangles->source,
                                              .surface = surface,
                                              .reference = reference,
                                              .faces = &found,
                                              .eps = NARROW_SHARE * width,
                                              .width = SEARCH_SHARE * width,
                                              .enough = width,
                                              .room = {LIMIT_QUADS_NARROW, LIMIT_WORK_NARROW},
                                              .threads = settings->threads,
                                              .progress = &progress};
    if (!limit_farthest_narrow(&narrowing, deviation, scratch, err))
        return false;
    /* by what came out: the triangles were to be known a little more narrowly */
    deviation->budget_exhausted = is_short(&deviation->subject_to_reference, settings, width, far)
                                  || is_short(&deviation->reference_to_subject, settings, width, far);
    return true;
}
