/* deviation.c - index both surfaces, find both maxima, take the statistics, and turn all back into the units.
 */
#include "measure/deviation.h"

#include "base/progress_share.h"
#include "base/tasks.h"
#include "measure/deviation_classes.h"
#include "measure/deviation_maximum.h"
#include "measure/deviation_quick.h"
#include "measure/deviation_samples.h"
#include "measure/deviation_statistics.h"
#include "measure/deviation_vertices.h"
#include "measure/places.h"

#include <assert.h>
#include <math.h>
#include <string.h>

#define LOSS_TO 0.45 /* of the stage "statistics": one direction, then the other */
/* Triangles of both surfaces: both directions at once. Larger ones need the room. */
#define SMALL ((size_t)1 << 19)

struct pair {
    const struct deviation_settings *settings;
    const struct progress *progress;
    struct deviation_frame frame;
    struct deviation_surface subject, reference;
};

static bool tell(const struct pair *pair, const char *stage, double fraction, struct error *err)
{
    return progress_tell(pair->progress, stage, fraction)
           || error_set(err, ERROR_CANCELLED, "measuring was stopped");
}

static void warn_of_fans(const struct triangulation *triangulation, struct warning_list *warnings)
{
    if (triangulation->fan_count > 0 && warnings)
        warning_add(warnings, "polygon_fan_used", triangulation->fan_count,
                    "the outline of face %zu crosses itself or has no area; for distances it is cut as a fan",
                    triangulation->first_fan);
}

static bool build_index(struct pair *pair, const struct measure_input *subject,
                        const struct measure_input *reference, struct arena *keep, struct arena scratch,
                        struct error *err)
{
    if (subject->mesh->face_count == 0 || reference->mesh->face_count == 0) {
        error_set(err, ERROR_EMPTY, "the %s has no face to measure a distance to",
                  subject->mesh->face_count ? "reference" : "subject");
        return false;
    }
    const struct measure_input *const inputs[2] = {reference, subject};
    struct deviation_surface *const surfaces[2] = {&pair->reference, &pair->subject};

    pair->frame = deviation_frame_of(subject, reference);
    return tell(pair, "index", 0, err)
           && deviation_surface_build_pair(inputs, &pair->frame, pair->settings->threads, surfaces, keep,
                                           scratch, err);
}

static struct farthest_place place_of(const struct pair *pair, const struct maximum *maximum,
                                      const struct deviation_surface *from,
                                      const struct deviation_surface *to)
{
    struct triangle_foot foot = deviation_side_foot(to, maximum->at, maximum->to_slot);

    return (struct farthest_place){
        .distance = {deviation_frame_lower(&pair->frame, maximum->lower),
                     deviation_frame_upper(&pair->frame, maximum->upper)},
        .at = deviation_frame_leave(&pair->frame, maximum->at),
        .face = deviation_surface_face(from, maximum->from_slot),
        .nearest = deviation_frame_leave(&pair->frame, foot.point),
        .nearest_face = deviation_surface_face(to, maximum->to_slot),
    };
}

static double diagonal_in_frame(const struct pair *pair, const struct deviation_surface *surface)
{
    const aabb bounds = surface->input->bounds;

    return aabb_diagonal((aabb){deviation_frame_enter(&pair->frame, bounds.min),
                                deviation_frame_enter(&pair->frame, bounds.max)});
}

static bool find_maxima(const struct pair *pair, struct maximum *lost, struct maximum *invented,
                        struct arena scratch, struct error *err)
{
    assert(pair->reference.input);
    double width = pair->settings->certify * diagonal_in_frame(pair, &pair->reference);
    struct maximum_settings settings = {.width = width,
                                        .threads = pair->settings->threads,
                                        .progress = pair->progress,
                                        .progress_from = 0,
                                        .progress_to = 0.5};

    if (!maximum_find(&pair->reference, &pair->subject, &settings, lost, scratch, err))
        return false;
    settings.progress_from = 0.5;
    settings.progress_to = 1;
    return maximum_find(&pair->subject, &pair->reference, &settings, invented, scratch, err);
}

static void leave_frame(const struct deviation_frame *frame, double *const *lengths, size_t count)
{
    for (size_t i = 0; i < count; i++)
        *lengths[i] = deviation_frame_length(frame, *lengths[i]);
}

static void interval_leaves_frame(const struct deviation_frame *frame, struct interval *interval)
{
    *interval = (struct interval){deviation_frame_lower(frame, interval->lower),
                                  deviation_frame_upper(frame, interval->upper)};
}

static void statistics_leave_frame(const struct deviation_frame *frame, struct one_sided_deviation *d)
{
    double *const lengths[] = {&d->mean,
                               &d->rms,
                               &d->median,
                               &d->p95,
                               &d->p99,
                               &d->p999,
                               &d->halfwidth.mean,
                               &d->halfwidth.rms,
                               &d->halfwidth.median,
                               &d->halfwidth.p95,
                               &d->halfwidth.p99,
                               &d->halfwidth.p999};

    leave_frame(frame, lengths, sizeof lengths / sizeof *lengths);
    interval_leaves_frame(frame, &d->certified.mean);
    interval_leaves_frame(frame, &d->certified.rms);
    interval_leaves_frame(frame, &d->certified.median);
    interval_leaves_frame(frame, &d->certified.p95);
    interval_leaves_frame(frame, &d->certified.p99);
    interval_leaves_frame(frame, &d->certified.p999);
}

static void signed_leave_frame(const struct deviation_frame *frame, struct signed_deviation *d)
{
    double *const lengths[] = {&d->mean, &d->min, &d->max, &d->p05, &d->p95};

    leave_frame(frame, lengths, sizeof lengths / sizeof *lengths);
}

/* The signed extremes include the farthest place found and every vertex. */
static void widen_signed(const struct pair *pair, const struct deviation_vertices *vertices,
                         const struct deviation_side *side, const struct maximum *farthest,
                         struct signed_deviation *signed_)
{
    double distance = sqrt(bvh_distance_sq(&pair->reference.bvh, farthest->at, farthest->to_slot))
                      * deviation_side_of(side, farthest->at, farthest->to_slot);

    signed_->min = fmin(signed_->min, distance);
    signed_->max = fmax(signed_->max, distance);
    deviation_vertices_widen_signed(vertices, &pair->subject, side, pair->settings->threads, signed_);
}

/* What is wanted of the distances from one surface to the other. */
struct direction {
    const struct deviation_surface *from, *to;
    const struct maximum *farthest;
    double progress_from, progress_to; /* this part of the stage "statistics" */
    struct one_sided_deviation *deviation;
    struct deviation_vertices *vertices; /* room; found where the statistics needed them */
    struct face_distances *faces;        /* or NULL */
    bool all_vertices;                   /* they are wanted anyway */
    const struct deviation_side *side;   /* of `to`, or NULL */
};

/* The half-width of mean and RMS, in the frame: a share of the reference's diagonal, or of the subject's
 * where the reference is one point. */
static double wanted_halfwidth(const struct pair *pair)
{
    double diagonal = diagonal_in_frame(pair, &pair->reference), share = pair->settings->halfwidth_share;

    if (!(diagonal > 0))
        diagonal = diagonal_in_frame(pair, &pair->subject);
    return fmax(pair->settings->certify * (share > 0 ? share : 1) * diagonal * (1 - 0x1p-40),
                4 * DEVIATION_SLACK);
}

static void frame_tolerances(const struct pair *pair, double *tolerances)
{
    for (size_t t = 0; t < pair->settings->tolerance_count; t++)
        tolerances[t] = ldexp(pair->settings->tolerances[t], -pair->frame.exponent);
}

/* By the diagonal of the reference, or of the subject where the reference is one point. */
static struct distance_classes classes_of(const struct pair *pair)
{
    double diagonal = pair->reference.input->diagonal;

    return deviation_classes_make(diagonal > 0 ? diagonal : pair->subject.input->diagonal,
                                  pair->settings->class_margin);
}

static struct distance_classes frame_classes(const struct pair *pair)
{
    struct distance_classes classes = classes_of(pair);

    for (size_t c = 0; c < classes.limit_count; c++)
        classes.limits[c] = ldexp(classes.limits[c], -pair->frame.exponent);
    classes.margin = ldexp(classes.margin, -pair->frame.exponent);
    return classes;
}

/* In the frame: what is not above it matters to no place (places.h). Statistics that are told again, by
 * samples, stay within those that are certified. */
static double peaks_level(const struct pair *pair, const struct one_sided_deviation *deviation)
{
    struct one_sided_deviation least = {
        .median = deviation_frame_lower(&pair->frame, deviation->median - deviation->halfwidth.median),
        .p95 = deviation_frame_lower(&pair->frame, deviation->p95 - deviation->halfwidth.p95)};

    return ldexp(PLACE_LEAST * places_level(pair->settings, &least, 0, pair->reference.input->diagonal),
                 -pair->frame.exponent);
}

static bool measure_direction(const struct pair *pair, const struct direction *direction,
                              struct statistics_wide *wide, struct arena *keep, struct arena scratch,
                              struct error *err)
{
    const struct distance_classes classes = frame_classes(pair);
    struct statistics_settings settings = {.halfwidth = wanted_halfwidth(pair),
                                           .reach = direction->farthest->upper,
                                           .frugal = pair->settings->frugal,
                                           .all_vertices = direction->all_vertices,
                                           .tolerance_count = pair->settings->tolerance_count,
                                           .classes = &classes,
                                           .threads = pair->settings->threads,
                                           .side = direction->side,
                                           .vertices = direction->vertices,
                                           .progress = pair->progress,
                                           .progress_from = direction->progress_from,
                                           .progress_to = direction->progress_to};
    struct surface_parts parts;

    frame_tolerances(pair, settings.tolerances);
    return statistics_measure(direction->from, direction->to, &settings, direction->deviation, &parts, wide,
                              &scratch, err)
           && (!direction->faces
               || (quick_ask_middles(&parts, peaks_level(pair, direction->deviation), pair->progress,
                                     direction->progress_to, &scratch, err)
                   && deviation_faces_take(&parts, direction->farthest, &pair->frame, direction->faces, keep,
                                           err)));
}

struct wide {
    struct statistics_wide loss, invention;
};

/* Statistics that are certified, and wider than wanted. */
static bool is_short(struct statistics_wide wide, const struct one_sided_deviation *deviation)
{
    return (wide.means || wide.coverage) && deviation->sample_count == 0;
}

/* Normal angles, signed values where side is given, and the statistics where those certified are too vague.
 */
static bool take_samples(const struct pair *pair, const struct direction *direction, bool vague,
                         const struct deviation_side *side, double progress_from, double progress_to,
                         struct signed_deviation *signed_, struct arena scratch, struct error *err)
{
    double tolerances[DEVIATION_TOLERANCES_MAX];
    const struct distance_classes classes = frame_classes(pair);
    const struct samples_settings settings = {.threads = pair->settings->threads,
                                              .progress = pair->progress,
                                              .progress_from = progress_from,
                                              .progress_to = progress_to,
                                              .sparse = pair->settings->frugal,
                                              .want_distances = vague,
                                              .reach = direction->farthest->upper,
                                              .tolerance_count = pair->settings->tolerance_count,
                                              .tolerances = tolerances,
                                              .classes = &classes,
                                              .vertices =
                                                  direction->vertices->exact ? direction->vertices : NULL};

    frame_tolerances(pair, tolerances);
    return samples_measure(direction->from, direction->to, side, &settings, direction->deviation, signed_,
                           scratch, err);
}

/* All that is told of the distances from the reference to the subject. */
static bool take_loss(const struct pair *pair, const struct maximum *lost, struct deviation *deviation,
                      struct statistics_wide *wide, struct deviation_faces *faces, struct arena *keep,
                      struct arena scratch, struct error *err)
{
    struct deviation_vertices vertices;
    const struct direction loss = {&pair->reference,
                                   &pair->subject,
                                   lost,
                                   0,
                                   0.35,
                                   &deviation->reference_to_subject,
                                   &vertices,
                                   faces ? &faces->of_reference : NULL,
                                   false,
                                   NULL};

    return deviation_vertices_open(&pair->reference, &vertices, &scratch, err)
           && measure_direction(pair, &loss, wide, keep, scratch, err)
           && take_samples(pair, &loss, wide->vague, NULL, 0.35, LOSS_TO, NULL, scratch, err);
}

/* Those of the subject, where they are not known. */
static bool find_vertices(const struct pair *pair, struct deviation_vertices *vertices, struct arena scratch,
                          struct error *err)
{
    const struct vertices_settings settings = {pair->settings->threads, SIZE_MAX, pair->progress, 0.9, 1};

    return vertices->exact
           || deviation_vertices_find(&pair->subject, &pair->reference, &settings, vertices, scratch, err);
}

/* The signed extremes and the fields of the subject's vertices. */
static bool take_vertices(const struct pair *pair, const struct maximum *invented,
                          const struct deviation_side *reference_side, bool has_sides,
                          struct signed_deviation *signed_, struct deviation_vertices *vertices,
                          struct deviation_fields *fields, struct arena *keep, struct arena scratch,
                          struct error *err)
{
    struct deviation_side subject_side;

    if ((fields || signed_->defined) && !find_vertices(pair, vertices, scratch, err))
        return false;
    if (signed_->defined)
        widen_signed(pair, vertices, reference_side, invented, signed_);
    return !fields
           || (deviation_side_build(&pair->subject, pair->settings->threads, &subject_side, &scratch, err)
               && deviation_vertices_fields(vertices, &pair->frame, &subject_side, reference_side, has_sides,
                                            fields, keep, err));
}

/* All that is told of the distances from the subject to the reference. */
static bool take_invention(const struct pair *pair, const struct maximum *invented,
                           struct deviation *deviation, struct statistics_wide *wide,
                           struct deviation_fields *fields, struct deviation_faces *faces, struct arena *keep,
                           struct arena scratch, struct error *err)
{
    struct signed_deviation *signed_ = &deviation->signed_;
    bool has_sides = pair->reference.input->closed_orientable && pair->reference.input->face_side;
    struct deviation_vertices vertices;
    struct deviation_side side;
    const struct direction invention = {&pair->subject,
                                        &pair->reference,
                                        invented,
                                        LOSS_TO,
                                        0.8,
                                        &deviation->subject_to_reference,
                                        &vertices,
                                        faces ? &faces->of_subject : NULL,
                                        fields || has_sides,
                                        &side};

    *signed_ = (struct signed_deviation){false, NAN, NAN, NAN, NAN, NAN};
    return deviation_vertices_open(&pair->subject, &vertices, &scratch, err)
           && deviation_side_build(&pair->reference, pair->settings->threads, &side, &scratch, err)
           && measure_direction(pair, &invention, wide, keep, scratch, err)
           && take_samples(pair, &invention, wide->vague, has_sides ? &side : NULL, 0.8, 0.9,
                           has_sides ? signed_ : NULL, scratch, err)
           && take_vertices(pair, invented, &side, has_sides, signed_, &vertices, fields, keep, scratch, err);
}

/* Both directions, and where they go. */
struct telling {
    const struct maximum *lost, *invented;
    struct deviation *deviation;
    struct wide *wide;
    struct deviation_fields *fields; /* or NULL */
    struct deviation_faces *faces;   /* or NULL */
};

static bool take_direction(const struct pair *pair, const struct telling *telling, bool is_invention,
                           struct arena *keep, struct arena scratch, struct error *err)
{
    return is_invention
               ? take_invention(pair, telling->invented, telling->deviation, &telling->wide->invention,
                                telling->fields, telling->faces, keep, scratch, err)
               : take_loss(pair, telling->lost, telling->deviation, &telling->wide->loss, telling->faces,
                           keep, scratch, err);
}

/* Both at once, so that one goes on while the other waits for the last thread of a loop. */
struct at_once {
    const struct telling *telling;
    struct pair pairs[2]; /* with a progress for each */
    struct arena *keep[2], scratch[2];
    struct error errors[2];
    bool done[2];
};

static void take_at_once(void *context, size_t i)
{
    struct at_once *both = context;

    both->done[i] = take_direction(&both->pairs[i], both->telling, i == 1, both->keep[i], both->scratch[i],
                                   &both->errors[i]);
}

static bool run_at_once(struct at_once *both, const struct pair *pair)
{
    struct progress_share share;
    struct progress_step steps[2];

    progress_share_open(&share, pair->progress);
    for (int i = 0; i < 2; i++) {
        progress_share_add(&share, i * LOSS_TO, &steps[i]);
        both->pairs[i] = *pair;
        both->pairs[i].progress = &steps[i].progress;
    }
    tasks_run(2, 2, take_at_once, both);
    progress_share_close(&share);
    return both->done[0] && both->done[1];
}

/* Where that is refused, nothing is kept. ERROR_LIMIT also where the room of one would have done. */
static bool take_both_at_once(const struct pair *pair, const struct telling *telling, struct arena *keep,
                              struct arena scratch, struct error *err)
{
    const struct arena keep_before = *keep;
    const struct deviation before = *telling->deviation;
    struct arena own_keep;
    struct at_once both = {.telling = telling, .keep = {&own_keep, keep}};

    if (!arena_split(&scratch, arena_left(&scratch) / 2, &both.scratch[0])
        || !arena_split(keep, deviation_faces_bytes(pair->reference.input->mesh), &own_keep))
        return arena_error(err);
    both.scratch[1] = scratch;
    if (run_at_once(&both, pair))
        return true;
    *err = both.errors[both.done[0] || (!both.done[1] && both.errors[0].code == ERROR_LIMIT)];
    *keep = keep_before;
    *telling->deviation = before;
    return false;
}

static bool are_small(const struct pair *pair)
{
    return pair->subject.bvh.triangle_count + pair->reference.bvh.triangle_count < SMALL;
}

static bool take_both(struct pair *pair, const struct telling *telling, struct arena *keep,
                      struct arena scratch, struct error *err)
{
    struct error refused;

    if (pair->settings->threads > 1 && are_small(pair)) {
        if (take_both_at_once(pair, telling, keep, scratch, &refused))
            return true;
        if (refused.code != ERROR_LIMIT) {
            *err = refused;
            return false;
        }
    }
    if (!take_direction(pair, telling, false, keep, scratch, err))
        return false;
    bvh_forget_tree(&pair->subject.bvh); /* all has been asked */
    return take_direction(pair, telling, true, keep, scratch, err);
}

static bool add_face_field(struct deviation_fields *fields, const char *name, bool of_reference,
                           const struct face_distances *distances,
                           double (*value)(const struct face_distances *, size_t), struct arena *keep)
{
    double *values = ARENA_NEW(keep, double, distances->count);

    for (size_t f = 0; values && f < distances->count; f++)
        values[f] = value(distances, f);
    fields->fields[fields->count++] =
        (struct deviation_field){name, true, distances->count, values, of_reference};
    return values;
}

static bool add_face_fields(const struct deviation_faces *faces, struct deviation_fields *fields,
                            struct arena *keep, struct error *err)
{
    const struct face_distances *s = &faces->of_subject, *r = &faces->of_reference;

    return (add_face_field(fields, "face_distance_lower", false, s, face_distance_lower, keep)
            && add_face_field(fields, "face_distance_upper", false, s, face_distance_upper, keep)
            && add_face_field(fields, "face_distance_peak", false, s, face_distance_peak, keep)
            && add_face_field(fields, "reference_face_distance_lower", true, r, face_distance_lower, keep)
            && add_face_field(fields, "reference_face_distance_upper", true, r, face_distance_upper, keep)
            && add_face_field(fields, "reference_face_distance_peak", true, r, face_distance_peak, keep))
           || arena_error(err);
}

bool deviation_measure(const struct measure_input *subject, const struct measure_input *reference,
                       const struct deviation_settings *settings, const struct progress *progress,
                       struct deviation *deviation, struct deviation_fields *fields,
                       struct deviation_faces *faces, struct warning_list *subject_warnings,
                       struct warning_list *reference_warnings, struct arena *keep, struct arena scratch,
                       struct error *err)
{
    struct pair pair = {.settings = settings, .progress = progress};
    struct maximum lost, invented;
    struct deviation_faces own_faces;
    struct arena surfaces;
    struct wide wide;

    if (fields && !faces)
        faces = &own_faces;
    const struct telling telling = {&lost, &invented, deviation, &wide, fields, faces};
    memset(deviation, 0, sizeof *deviation);
    deviation->surface = SURFACE_CONTROL;
    if (!arena_split(&scratch,
                     deviation_surface_bytes(subject->mesh) + deviation_surface_bytes(reference->mesh),
                     &surfaces))
        return arena_error(err);
    if (!build_index(&pair, subject, reference, &surfaces, scratch, err))
        return false;
    assert(pair.subject.input && pair.reference.input && pair.subject.bvh.triangles
           && pair.reference.bvh.triangles);
    deviation->classes = classes_of(&pair);
    warn_of_fans(&pair.subject.triangulation, subject_warnings);
    warn_of_fans(&pair.reference.triangulation, reference_warnings);
    if (!tell(&pair, "hausdorff", 0, err) || !find_maxima(&pair, &lost, &invented, scratch, err)
        || !tell(&pair, "statistics", 0, err) || !take_both(&pair, &telling, keep, scratch, err))
        return false;
    if (fields && !add_face_fields(faces, fields, keep, err))
        return false;
    statistics_leave_frame(&pair.frame, &deviation->reference_to_subject);
    statistics_leave_frame(&pair.frame, &deviation->subject_to_reference);
    signed_leave_frame(&pair.frame, &deviation->signed_);
    deviation->reference_to_subject.max = place_of(&pair, &lost, &pair.reference, &pair.subject);
    deviation->subject_to_reference.max = place_of(&pair, &invented, &pair.subject, &pair.reference);
    const struct interval one = deviation->reference_to_subject.max.distance,
                          other = deviation->subject_to_reference.max.distance;
    deviation->hausdorff = (struct interval){fmax(one.lower, other.lower), fmax(one.upper, other.upper)};
    deviation->budget_exhausted = lost.exhausted || invented.exhausted
                                  || is_short(wide.loss, &deviation->reference_to_subject)
                                  || is_short(wide.invention, &deviation->subject_to_reference);
    return tell(&pair, "statistics", 1, err);
}

bool deviation_farthest(const struct measure_input *from, const struct measure_input *to, double width,
                        size_t threads, const struct progress *progress, struct farthest_place *place,
                        struct arena scratch, struct error *err)
{
    const struct deviation_settings settings = {.threads = threads};
    struct pair pair = {.settings = &settings, .progress = progress};
    struct maximum_settings search = {.threads = threads, .progress = progress, .progress_to = 1};
    struct maximum maximum;
    struct arena surfaces;

    if (!arena_split(&scratch, deviation_surface_bytes(from->mesh) + deviation_surface_bytes(to->mesh),
                     &surfaces))
        return arena_error(err);
    if (!build_index(&pair, from, to, &surfaces, scratch, err))
        return false;
    assert(pair.subject.bvh.triangles && pair.reference.bvh.triangles);
    search.width = fmax(ldexp(width, -pair.frame.exponent), MAXIMUM_WIDTH_MIN);
    if (!maximum_find(&pair.subject, &pair.reference, &search, &maximum, scratch, err))
        return false;
    *place = place_of(&pair, &maximum, &pair.subject, &pair.reference);
    return true;
}
