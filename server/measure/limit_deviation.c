/* limit_deviation.c - the cage about its centre, its limit as triangles, their deviation, widened. */
#include "measure/limit_deviation.h"

#include "measure/face_geometry.h"

#include <math.h>
#include <string.h>

#define WIDTH_SHARE 0.125 /* of the wanted width: eps, at each end */
#define EPS_LEAST 0x1p-36 /* in units of the cage's size; far above the rounding of limits, far below use */
#define EPS_MOST 64.0     /* as many units: wider than any cage, so that nothing is cut */
#define EPS_STEP 4.0      /* wider by, when there are too many pieces */
#define CHUNKS_MAX 256    /* parts of the faces; after each, the number of pieces is looked at */
#define CHUNK_DEPTH 20    /* a part has at most 2^20 pieces */
#define DEPTH_LEAST 4     /* cuts of a face that are always granted */
#define BUILD_SHARE 0.3   /* of the stage's time, for progress */

/* Stages of the parts become one stage. */
struct stage {
    const struct progress *outer;
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
    const struct stage *stage = context;

    for (size_t i = 0; i < sizeof parts / sizeof *parts; i++)
        if (strcmp(name, parts[i].name) == 0)
            return progress_tell(stage->outer, "limit",
                                 parts[i].from + (parts[i].to - parts[i].from) * fraction);
    return progress_tell(stage->outer, "limit", 0);
}

static bool tell(const struct progress *progress, double fraction, struct error *err)
{
    return progress_tell(progress, "limit", fraction)
           || error_set(err, ERROR_CANCELLED, "measuring was stopped");
}

/* The cage about the centre of its box, in its unit. Vertices without faces are put to the centre, so that
 * they do not decide what rounding may be. */
static bool centre_cage(const struct measure_input *input, struct mesh *mesh, struct arena *keep,
                        struct error *err)
{
    const vec3 centre = vec3_scale(input->centre, input->guard);

    *mesh = *input->mesh;
    mesh->positions = ARENA_NEW(keep, vec3, mesh->vertex_count);
    if (!mesh->positions)
        return arena_error(err);
    for (size_t v = 0; v < mesh->vertex_count; v++) {
        vec3 moved = vec3_sub(vec3_scale(input->mesh->positions[v], input->guard), centre);
        mesh->positions[v] = input->fans.vertex_class_count[v] > 0
                                 ? vec3_scale(vec3_scale(moved, 1 / input->unit), 1 / input->guard)
                                 : (vec3){0, 0, 0};
    }
    return true;
}

static double between(double x, double least, double most)
{
    return fmin(fmax(x, least), most);
}

/* Back to where the cage is. Points of the limit lie in its box, but for rounding. */
static vec3 leave_centre(const struct measure_input *input, vec3 p)
{
    const aabb box = input->bounds;
    vec3 at = vec3_add(input->centre, vec3_scale(p, input->unit));

    return (vec3){between(at.x, box.min.x, box.max.x), between(at.y, box.min.y, box.max.y),
                  between(at.z, box.min.z, box.max.z)};
}

/* Moving to the centre and back rounds each coordinate twice, by 2^-53 of at most twice the largest. */
static double moving_error(const struct measure_input *input)
{
    return 0x1p-50 * fmax(largest_component(input->bounds.min), largest_component(input->bounds.max))
           + 0x1p-1070;
}

/* Builds the pieces of all faces; *fits is false when there are too many of them. */
static bool build_chunks(const struct limit_base *base, struct limit_chunk *chunks, size_t chunk_count,
                         bool bounded, bool *fits, const struct progress *progress, struct arena *keep,
                         struct arena scratch, struct error *err)
{
    size_t face_count = base->cage.mesh.face_count, pieces = 0;

    *fits = true;
    for (size_t k = 0; k < chunk_count; k++) {
        if (!tell(progress, (double)k / (double)chunk_count, err)
            || !limit_chunk_build(base, face_count * k / chunk_count, face_count * (k + 1) / chunk_count,
                                  &chunks[k], keep, scratch, err))
            return false;
        pieces += chunks[k].count;
        if (bounded && pieces > LIMIT_PIECES_MIN + 4 * face_count) {
            *fits = false;
            return true;
        }
    }
    return true;
}

/* eps: wanted, in units of the centred cage. */
static bool build_limit(const struct measure_input *input, const struct limit_request *request, double eps,
                        struct limit_mesh *limit, struct warning_list *warnings,
                        const struct progress *progress, struct arena *keep, struct arena scratch,
                        struct error *err)
{
    struct limit_settings settings = {between(eps, EPS_LEAST, EPS_MOST), CHUNK_DEPTH};
    struct limit_chunk chunks[CHUNKS_MAX];
    struct arena more_scratch;
    struct limit_base base;
    struct cage cage;
    struct mesh mesh;
    bool fits = false;

    if (!arena_split(&scratch, arena_left(&scratch) / 4, &more_scratch))
        return arena_error(err);
    if (!tell(progress, 0, err) || !centre_cage(input, &mesh, &scratch, err)
        || !cage_build(&mesh, request->creases, request->rule, &cage, &scratch, more_scratch, err)
        || !limit_base_build(&cage, settings, &base, &scratch, more_scratch, err))
        return false;
    if (cage.crease_unknown_count > 0)
        warning_add(warnings, "crease_without_edge", cage.crease_unknown_count,
                    "creases name two vertices that are not joined by an edge; they were not used");
    size_t face_count = base.cage.mesh.face_count;
    size_t chunk_count = face_count < CHUNKS_MAX ? face_count : CHUNKS_MAX;
    base.settings.depth_max = CHUNK_DEPTH;
    while (base.settings.depth_max > DEPTH_LEAST
           && chunk_count << CHUNK_DEPTH < face_count << base.settings.depth_max)
        base.settings.depth_max--;
    for (; !fits; base.settings.eps *= EPS_STEP) {
        struct arena pieces = scratch;
        if (!build_chunks(&base, chunks, chunk_count, base.settings.eps < EPS_MOST, &fits, progress, &pieces,
                          more_scratch, err)
            || (fits && !limit_mesh_join(&base, chunks, chunk_count, limit, keep, err)))
            return false;
    }
    return true;
}

static void warn_of_parts(const struct limit_mesh *limit, struct warning_list *warnings)
{
    size_t parts = limit->nonmanifold_edge_count + limit->nonmanifold_vertex_count + limit->left_out_count;

    if (parts > 0)
        warning_add(warnings, "no_limit_surface", parts,
                    "no limit surface is defined at %zu non-manifold edges, %zu such vertices, %zu faces "
                    "that repeat a vertex; %s",
                    limit->nonmanifold_edge_count, limit->nonmanifold_vertex_count, limit->left_out_count,
                    limit->triangle_count ? "edges and vertices are held sharp there" : "nothing is left");
}

/* The triangles as a mesh; its corners are the limit's own. */
static bool mesh_of_limit(const struct measure_input *cage, struct limit_mesh *limit, struct mesh *mesh,
                          struct measure_input *input, struct arena *keep, struct error *err)
{
    *mesh = (struct mesh){.vertex_count = limit->position_count,
                          .face_count = limit->triangle_count,
                          .positions = limit->positions,
                          .face_offsets = ARENA_NEW(keep, uint32_t, limit->triangle_count + 1),
                          .face_vertices = *limit->triangles};
    if (!mesh->face_offsets)
        return arena_error(err);
    for (size_t t = 0; t <= limit->triangle_count; t++)
        mesh->face_offsets[t] = (uint32_t)(3 * t);
    /* what deviation_measure reads of a subject: its mesh and its box */
    *input = (struct measure_input){.mesh = mesh,
                                    .kind = MESH_SCAN,
                                    .bounds = cage->bounds,
                                    .centre = cage->centre,
                                    .diagonal = cage->diagonal,
                                    .unit = cage->unit,
                                    .guard = cage->guard};
    return true;
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

static void widen_side(struct one_sided_deviation *side, const struct deviation_settings *settings,
                       double eps, const size_t *below, const size_t *above)
{
    struct interval spread[DEVIATION_TOLERANCES_MAX];

    side->max.distance = widen(side->max.distance, eps);
    side->halfwidth.mean += eps;
    side->halfwidth.rms += eps;
    side->halfwidth.median += eps;
    side->halfwidth.p95 += eps;
    side->halfwidth.p99 += eps;
    side->halfwidth.p999 += eps;
    memcpy(spread, side->coverage, sizeof spread);
    for (size_t t = 0; t < settings->tolerance_count; t++)
        side->coverage[t] =
            (struct interval){below[t] == SIZE_MAX ? 0 : spread[below[t]].lower, spread[above[t]].upper};
}

static bool measure_triangles(const struct measure_input *subject, const struct measure_input *reference,
                              const struct deviation_settings *settings, double eps,
                              const struct progress *progress, struct deviation *deviation,
                              struct arena *keep, struct arena scratch, struct error *err)
{
    size_t below[DEVIATION_TOLERANCES_ASKED], above[DEVIATION_TOLERANCES_ASKED];
    struct deviation_settings spread = *settings;

    spread.certify = settings->certify * (1 - 2 * WIDTH_SHARE);
    spread.tolerance_count = spread_tolerances(settings, eps, spread.tolerances, below, above);
    if (!deviation_measure(subject, reference, &spread, progress, deviation, NULL, NULL, NULL, NULL, keep,
                           scratch, err))
        return false;
    widen_side(&deviation->reference_to_subject, settings, eps, below, above);
    widen_side(&deviation->subject_to_reference, settings, eps, below, above);
    deviation->hausdorff = widen(deviation->hausdorff, eps);
    deviation->surface = SURFACE_LIMIT;
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

bool limit_deviation_measure(const struct measure_input *cage, const struct measure_input *reference,
                             const struct limit_request *request, bool *defined, struct deviation *deviation,
                             struct deviation_field *positions, struct warning_list *warnings,
                             struct arena *keep, struct arena scratch, struct error *err)
{
    struct stage stage = {request->progress};
    const struct progress progress = {tell_limit, &stage};
    struct measure_input subject;
    struct limit_mesh limit = {0};
    struct arena own;
    struct mesh mesh;

    if (!arena_split(&scratch, arena_left(&scratch) / 2, &own))
        return arena_error(err);
    double wanted = WIDTH_SHARE * request->settings->certify * reference->diagonal,
           moving = moving_error(cage);
    if (!build_limit(cage, request, (wanted - moving) / cage->unit, &limit, warnings, &progress, &own,
                     scratch, err))
        return false;
    warn_of_parts(&limit, warnings);
    *defined = limit.triangle_count > 0;
    if (!*defined)
        return true;
    for (size_t v = 0; v < limit.position_count; v++)
        limit.positions[v] = leave_centre(cage, limit.positions[v]);
    double eps = nextafter(limit.eps_max * cage->unit + moving, INFINITY);
    if ((request->want_positions && !keep_positions(cage, &limit, positions, keep, err))
        || !mesh_of_limit(cage, &limit, &mesh, &subject, &own, err)
        || !measure_triangles(&subject, reference, request->settings, eps, &progress, deviation, keep,
                              scratch, err))
        return false;
    deviation->subject_to_reference.max.face = limit.faces[deviation->subject_to_reference.max.face];
    deviation->reference_to_subject.max.nearest_face =
        limit.faces[deviation->reference_to_subject.max.nearest_face];
    deviation->budget_exhausted = deviation->budget_exhausted || eps > wanted;
    return true;
}
