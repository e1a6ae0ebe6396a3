/* finding_places.c - severity, certainty and words for the places far from the other surface. */
#include "measure/finding_places.h"

#include <assert.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "geom/point_triangle.h"
#include "measure/face_geometry.h"

static_assert(FINDING_PER_KIND_MAX == PLACES_KEPT_MAX, "every place that is kept can be told");
static_assert(FINDING_FACES_MAX == PLACE_FACES_MAX, "every face that is kept can be told");

/* One direction: places on `on`, far from `other`. */
struct direction {
    enum finding_kind kind;
    const struct measure_input *subject, *reference, *on, *other;
    const struct finding_distances *distances;
    double level;
    aabb *loop_boxes; /* of the open loops of `other`, in the units of the file */
};

/* Above the largest tolerance a fault, above another a warning. Without tolerances never a fault; from one
 * and a half times the level a warning, below a note (no source). */
static enum finding_severity severity_of(const struct direction *direction, double peak)
{
    const struct deviation_settings *settings = direction->distances->settings;

    if (settings->tolerance_count > 0)
        return peak > settings->tolerances[settings->tolerance_count - 1] ? FINDING_FAULT : FINDING_WARNING;
    return peak >= 1.5 * direction->level ? FINDING_WARNING : FINDING_NOTE;
}

static double box_distance(aabb box, vec3 p)
{
    vec3 beyond = {fmax(0, fmax(box.min.x - p.x, p.x - box.max.x)),
                   fmax(0, fmax(box.min.y - p.y, p.y - box.max.y)),
                   fmax(0, fmax(box.min.z - p.z, p.z - box.max.z))};
    return safe_length(beyond);
}

static double edge_distance(const struct mesh *mesh, const uint32_t *ends, double unit, vec3 p)
{
    vec3 low = mesh->positions[ends[0]], high = mesh->positions[ends[1]];
    vec3 from = vec3_scale(vec3_sub(p, low), 1 / unit), along = vec3_scale(vec3_sub(high, low), 1 / unit);

    return unit * vec3_length(vec3_sub(from, vec3_scale(along, segment_nearest(from, along))));
}

static bool list_loop_boxes(struct direction *direction, struct arena *arena, struct error *err)
{
    const struct open_loops *loops = &direction->other->loops;
    const vec3 *positions = direction->other->mesh->positions;

    direction->loop_boxes = ARENA_NEW(arena, aabb, loops->count);
    if (arena->failed)
        return arena_error(err);
    for (size_t i = 0; i < loops->count; i++) {
        direction->loop_boxes[i] = aabb_empty();
        for (uint32_t j = loops->edge_begin[i]; j < loops->edge_begin[i + 1]; j++) {
            aabb box = aabb_include(direction->loop_boxes[i], positions[loops->ends[j][0]]);
            direction->loop_boxes[i] = aabb_include(box, positions[loops->ends[j][1]]);
        }
    }
    return true;
}

/* True when an open edge of the other surface is as near to the peak as that surface is at all. */
static bool is_at_open_edge(const struct direction *direction, const struct place *place)
{
    const struct open_loops *loops = &direction->other->loops;

    for (size_t i = 0; i < loops->count; i++) {
        if (!(box_distance(direction->loop_boxes[i], place->at) <= place->upper))
            continue;
        for (uint32_t j = loops->edge_begin[i]; j < loops->edge_begin[i + 1]; j++)
            if (edge_distance(direction->other->mesh, loops->ends[j], direction->other->unit, place->at)
                <= place->upper)
                return true;
    }
    return false;
}

static enum finding_form form_of(const struct direction *direction, const struct place *place)
{
    if (place->faces_total == direction->on->mesh->face_count)
        return FINDING_EVERYTHING;
    if (place->is_shell && place->nearest > 0)
        return FINDING_SHELL;
    return is_at_open_edge(direction, place) ? FINDING_HOLE : FINDING_PATCH;
}

/* "0.412 mm", or "0.41 to 0.43 mm" where three figures tell both ends of the interval apart. */
static void print_distance(const struct direction *direction, const struct place *place, char text[64])
{
    char lower[24], upper[24];
    const char *unit = direction->distances->length_unit;

    snprintf(lower, sizeof lower, "%.3g", place->lower);
    snprintf(upper, sizeof upper, "%.3g", place->upper);
    bool is_one = strcmp(lower, upper) == 0;
    snprintf(text, 64, "%s%s%s%s%s", lower, is_one ? "" : " to ", is_one ? "" : upper, *unit ? " " : "",
             unit);
}

static void describe(const struct direction *direction, const struct place *place, enum finding_form form,
                     struct finding *finding)
{
    static const char *const lost[] = {
        [FINDING_PATCH] =
            "the %3$s leaves the %1$s here by %2$s: a tip, an edge, a hollow or a way through is "
            "lost; move it onto the %1$s, or take smaller faces",
        [FINDING_HOLE] = "the %3$s is open here, %2$s from the %1$s at the farthest; close it over the %1$s",
        [FINDING_SHELL] = "a whole shell of the %1$s is missing from the %3$s, %2$s away at the farthest; "
                          "add it, unless it was left out on purpose",
        [FINDING_EVERYTHING] =
            "all of the %1$s is away from the %3$s, by %2$s at the farthest; check unit and "
            "position of both files",
    };
    static const char *const invented[] = {
        [FINDING_PATCH] =
            "the %3$s has surface %2$s from the %1$s here: a flap, a bridge or a bulge; delete it "
            "or move it onto the %1$s",
        [FINDING_HOLE] =
            "the %3$s goes on where the %1$s is open, %2$s from it at the farthest; check that it "
            "is meant to",
        [FINDING_SHELL] = "a whole shell of the %3$s has nothing of the %1$s near it, %2$s away at the "
                          "farthest; delete it unless it belongs to the specimen",
        [FINDING_EVERYTHING] =
            "all of the %3$s is away from the %1$s, by %2$s at the farthest; check unit and "
            "position of both files",
    };
    const bool is_cage = direction->subject->kind == MESH_CAGE;
    char distance[64];

    print_distance(direction, place, distance);
    snprintf(finding->text, sizeof finding->text, (direction->kind == FINDING_LOST ? lost : invented)[form],
             is_cage ? "scan" : "reference", distance, is_cage ? "cage" : "scan");
}

static struct finding make_finding(const struct direction *direction, const struct place *place, double score)
{
    const enum finding_form form = form_of(direction, place);
    struct finding finding = {
        .kind = direction->kind,
        .severity = severity_of(direction, place->lower),
        .score = score,
        .certain = direction->distances->settings->tolerance_count > 0,
        .mesh = direction->kind == FINDING_LOST ? FINDING_REFERENCE : FINDING_SUBJECT,
        .at = place->at,
        .radius = place->radius,
        .distance = {place->lower, place->upper},
        .size = place->area,
        .unit = "area",
        .face_count = place->face_count,
        .faces_total = place->faces_total,
        .form = form,
    };

    memcpy(finding.faces, place->faces, place->face_count * sizeof *place->faces);
    describe(direction, place, form, &finding);
    return finding;
}

static void count_places(const struct direction *direction, const struct place_list *list,
                         struct finding_list *totals)
{
    enum finding_mesh mesh = direction->kind == FINDING_LOST ? FINDING_REFERENCE : FINDING_SUBJECT;

    totals->total += list->total;
    totals->total_by_kind[mesh][direction->kind] += list->total;
    for (size_t p = 0; p < list->total; p++)
        totals->total_by_severity[mesh][severity_of(direction, list->peaks[p])]++;
}

bool finding_places(const struct finding_distances *distances, enum finding_kind kind, struct finding *found,
                    size_t *found_count, struct finding_list *totals, struct arena scratch, struct error *err)
{
    const bool is_lost = kind == FINDING_LOST;
    const struct measure_input *subject = distances->subject, *reference = distances->reference;
    const double edge = distances->median_edge;
    const struct one_sided_deviation *deviation =
        is_lost ? &distances->deviation->reference_to_subject : &distances->deviation->subject_to_reference;
    struct direction direction = {
        .kind = kind,
        .subject = subject,
        .reference = reference,
        .on = is_lost ? reference : subject,
        .other = is_lost ? subject : reference,
        .distances = distances,
        .level = places_level(distances->settings, deviation, edge, reference->diagonal),
    };
    const struct place_request request = {direction.level, PLACE_GAP_EDGES * edge, &deviation->max};
    struct place_list list;
    struct arena kept;

    *(is_lost ? &totals->level_lost : &totals->level_invented) = direction.level;
    if (!arena_split(&scratch,
                     PLACES_KEPT_MAX * (sizeof(struct place) + 64)
                         + direction.on->mesh->face_count * sizeof(double) + 4096,
                     &kept))
        return arena_error(err);
    if (!places_find(direction.on, is_lost ? distances->of_reference : distances->of_subject, &request, &list,
                     &kept, scratch, err)
        || (list.count > 0 && !list_loop_boxes(&direction, &scratch, err)))
        return false;
    count_places(&direction, &list, totals);
    for (size_t p = 0; p < list.count; p++)
        found[(*found_count)++] = make_finding(&direction, &list.places[p], list.scores[p]);
    return true;
}
