/* places.c - far faces joined at their vertices, groups joined across gaps, and what each place is like. */
#include "measure/places.h"

#include <math.h>
#include <string.h>

#include "measure/face_geometry.h"
#include "measure/ranking.h"
#include "topology/disjoint_sets.h"
#include "topology/incidence.h"

#define NONE UINT32_MAX

double places_level(const struct deviation_settings *settings, const struct one_sided_deviation *deviation,
                    double median_edge, double diagonal)
{
    if (settings->tolerance_count > 0)
        return settings->tolerances[0];
    double noise =
        fmin(PLACE_LEVEL_MEDIAN * deviation->median, fmax(PLACE_LEVEL_DIAGONAL * diagonal, deviation->p95));
    return fmax(PLACE_LEVEL_EDGE * median_edge, fmax(noise, settings->certify * diagonal));
}

/* The faces above half the level, and the groups that they make. */
struct gathering {
    const struct measure_input *input;
    const struct face_distances *distances;
    const struct place_request *request;
    uint32_t *members; /* faces, ascending */
    size_t member_count;
    uint32_t *set; /* [vertex count] those of the members of one group are one set */
};

/* The largest distance that is certainly reached on a face. */
static double peak_of(const struct gathering *gathering, size_t f)
{
    const struct farthest_place *farthest = gathering->request->farthest;
    double peak = face_distance_peak(gathering->distances, f);

    return farthest && farthest->face == f ? larger(peak, farthest->distance.lower) : peak;
}

static vec3 peak_point(const struct gathering *gathering, size_t f)
{
    return peak_of(gathering, f) > face_distance_peak(gathering->distances, f)
               ? gathering->request->farthest->at
               : face_distance_at(gathering->distances, f);
}

static uint32_t first_vertex(const struct gathering *gathering, uint32_t f)
{
    return mesh_face(gathering->input->mesh, f)[0];
}

/* False where no face is above the level. */
static bool collect_members(struct gathering *gathering)
{
    double level = gathering->request->level;
    bool is_any_far = false;

    for (size_t f = 0; f < gathering->distances->count; f++) {
        double peak = peak_of(gathering, f);
        if (peak > PLACE_LEAST * level)
            gathering->members[gathering->member_count++] = (uint32_t)f;
        is_any_far = is_any_far || peak > level;
    }
    return is_any_far;
}

static void join_at_vertices(struct gathering *gathering)
{
    const struct mesh *mesh = gathering->input->mesh;

    for (size_t i = 0; i < gathering->member_count; i++) {
        const uint32_t *corners = mesh_face(mesh, gathering->members[i]);
        for (size_t c = 1; c < mesh_face_size(mesh, gathering->members[i]); c++)
            disjoint_sets_join(gathering->set, corners[0], corners[c]);
    }
}

/* Lets go of the groups without a face above the level; returns how many are left. */
static size_t keep_far_groups(struct gathering *gathering, bool *is_far)
{
    size_t kept = 0, group_count = 0;

    for (size_t i = 0; i < gathering->member_count; i++) {
        uint32_t f = gathering->members[i],
                 group = disjoint_sets_find(gathering->set, first_vertex(gathering, f));
        if (peak_of(gathering, f) > gathering->request->level && !is_far[group]) {
            is_far[group] = true;
            group_count++;
        }
    }
    for (size_t i = 0; i < gathering->member_count; i++) {
        uint32_t f = gathering->members[i];
        if (is_far[disjoint_sets_find(gathering->set, first_vertex(gathering, f))])
            gathering->members[kept++] = f;
    }
    gathering->member_count = kept;
    return group_count;
}

struct reached {
    double distance;
    uint32_t vertex;
};

/* Growing all groups along the edges. Lengths are in units of the input. */
struct growth {
    struct gathering *gathering;
    double gap;
    struct incidence faces_at;
    uint32_t *source;     /* [vertex count] the vertex of a group that v was reached from, or NONE */
    double *distance;     /* [vertex count] from there */
    struct reached *heap; /* nearest first; of equals the lowest vertex */
    size_t heap_count;
};

static bool is_before(struct reached a, struct reached b)
{
    return a.distance < b.distance || (a.distance == b.distance && a.vertex < b.vertex);
}

static void heap_push(struct growth *growth, struct reached reached)
{
    size_t at = growth->heap_count++;

    for (; at > 0 && is_before(reached, growth->heap[(at - 1) / 2]); at = (at - 1) / 2)
        growth->heap[at] = growth->heap[(at - 1) / 2];
    growth->heap[at] = reached;
}

static struct reached heap_pop(struct growth *growth)
{
    struct reached *heap = growth->heap, first = heap[0], last = heap[--growth->heap_count];
    size_t at = 0, count = growth->heap_count;

    for (size_t child = 1; child < count; child = 2 * at + 1) {
        child += child + 1 < count && is_before(heap[child + 1], heap[child]);
        if (!is_before(heap[child], last))
            break;
        heap[at] = heap[child];
        at = child;
    }
    heap[at] = last;
    return first;
}

static void reach(struct growth *growth, uint32_t v, uint32_t other)
{
    uint32_t *set = growth->gathering->set, *source = growth->source;

    if (source[other] != NONE && growth->distance[other] == 0
        && disjoint_sets_find(set, source[other]) == disjoint_sets_find(set, source[v]))
        return;
    double way = growth->distance[v] + unit_distance(growth->gathering->input, v, other);
    if (source[other] != NONE && way + growth->distance[other] <= growth->gap)
        disjoint_sets_join(set, source[v], source[other]);
    if (way <= growth->gap / 2 && way < growth->distance[other]) {
        source[other] = source[v];
        growth->distance[other] = way;
        heap_push(growth, (struct reached){way, other});
    }
}

/* Goes from a reached vertex to its neighbours, and joins the groups that meet there. Who goes along an edge
 * of several faces again finds nothing nearer. */
static void reach_around(struct growth *growth, uint32_t v)
{
    const struct mesh *mesh = growth->gathering->input->mesh;
    const struct incidence *at = &growth->faces_at;

    for (uint32_t k = at->begin[v]; k < at->begin[v + 1]; k++) {
        const uint32_t *face = mesh_face(mesh, at->faces[k]);
        const size_t size = mesh_face_size(mesh, at->faces[k]);
        for (size_t i = 0; i < size; i++) {
            if (face[i] != v)
                continue;
            reach(growth, v, face[i + 1 < size ? i + 1 : 0]);
            reach(growth, v, face[i > 0 ? i - 1 : size - 1]);
        }
    }
}

static void grow(struct growth *growth)
{
    const struct gathering *gathering = growth->gathering;
    const struct mesh *mesh = gathering->input->mesh;

    for (size_t v = 0; v < mesh->vertex_count; v++) {
        growth->source[v] = NONE;
        growth->distance[v] = INFINITY;
    }
    for (size_t i = 0; i < gathering->member_count; i++) {
        const uint32_t *corners = mesh_face(mesh, gathering->members[i]);
        for (size_t c = 0; c < mesh_face_size(mesh, gathering->members[i]); c++) {
            growth->source[corners[c]] = corners[c];
            growth->distance[corners[c]] = 0;
        }
    }
    for (uint32_t v = 0; v < mesh->vertex_count; v++)
        if (growth->source[v] == v)
            reach_around(growth, v);
    while (growth->heap_count > 0) {
        struct reached nearest = heap_pop(growth);
        if (nearest.distance == growth->distance[nearest.vertex])
            reach_around(growth, nearest.vertex);
    }
}

static bool join_across_gaps(struct gathering *gathering, struct arena scratch, struct error *err)
{
    const struct mesh *mesh = gathering->input->mesh;
    const struct incidence_faces faces = {mesh->vertex_count, mesh->face_count, mesh->face_vertices,
                                          mesh->face_offsets};
    struct growth growth = {
        .gathering = gathering,
        .gap = gathering->request->gap / gathering->input->unit,
        .source = ARENA_NEW(&scratch, uint32_t, mesh->vertex_count),
        .distance = ARENA_NEW(&scratch, double, mesh->vertex_count),
    };

    if (scratch.failed)
        return arena_error(err);
    if (!incidence_build(&faces, gathering->input->threads, &growth.faces_at, &scratch, err))
        return false;
    /* once along each side, each way, at most */
    growth.heap = ARENA_NEW(&scratch, struct reached, 2 * mesh_corner_count(mesh));
    if (!growth.heap)
        return arena_error(err);
    grow(&growth);
    return true;
}

/* What ranks a place, gathered in one pass over its faces. */
struct summary {
    double peak, area; /* area in unit^2 */
    uint32_t peak_face, shell;
    size_t faces_total;
    bool one_shell;
};

/* Numbers the places by their first faces. face_place[i] belongs to member i. */
static size_t number_places(struct gathering *gathering, uint32_t *number, uint32_t *face_place)
{
    uint32_t count = 0;

    memset(number, 0xff, gathering->input->mesh->vertex_count * sizeof *number);
    for (size_t i = 0; i < gathering->member_count; i++) {
        uint32_t group = disjoint_sets_find(gathering->set, first_vertex(gathering, gathering->members[i]));
        if (number[group] == NONE)
            number[group] = count++;
        face_place[i] = number[group];
    }
    return count;
}

static void summarise(const struct gathering *gathering, const uint32_t *face_place,
                      struct summary *summaries)
{
    for (size_t i = 0; i < gathering->member_count; i++) {
        uint32_t f = gathering->members[i], shell = shells_of_face(&gathering->input->shells, f);
        struct summary *summary = &summaries[face_place[i]];
        double peak = peak_of(gathering, f);
        if (summary->faces_total == 0) {
            summary->shell = shell;
            summary->one_shell = true;
        }
        if (peak > summary->peak) {
            summary->peak = peak;
            summary->peak_face = f;
        }
        summary->one_shell = summary->one_shell && shell == summary->shell;
        summary->area += face_geometry(gathering->input, f).area;
        summary->faces_total++;
    }
}

/* Rises with the distance over the level, 1/2 at four times it; a place no larger than the gap counts up to
 * half as much as a wide one. Only orders places (no source). */
static double score_of(const struct gathering *gathering, const struct summary *summary)
{
    double gap = gathering->request->gap / gathering->input->unit, area = summary->area;
    double width = area > 0 ? area / (area + gap * gap) : 0;
    double weight = summary->peak * (1 + width) / 2;

    return isfinite(weight) ? weight / (weight + 4 * gathering->request->level) : 1;
}

/* Puts a face where it belongs among the farthest so far. Faces come in ascending order. */
static void list_face(const struct gathering *gathering, uint32_t f, struct place *place)
{
    double peak = peak_of(gathering, f);
    size_t at = place->face_count;

    if (at == PLACE_FACES_MAX && peak <= peak_of(gathering, place->faces[at - 1]))
        return;
    if (at < PLACE_FACES_MAX)
        place->face_count++;
    else
        at--;
    for (; at > 0 && peak > peak_of(gathering, place->faces[at - 1]); at--)
        place->faces[at] = place->faces[at - 1];
    place->faces[at] = f;
}

/* The largest distance from the peak to a corner of the face, in units. */
static double reach_of(const struct measure_input *input, vec3 at, uint32_t f)
{
    vec3 middle = vec3_scale(vec3_sub(at, input->centre), 1 / input->unit);
    double reach = 0;

    for (size_t c = 0; c < mesh_face_size(input->mesh, f); c++)
        reach = larger(reach, vec3_distance(centred_position(input, mesh_face(input->mesh, f)[c]), middle));
    return reach;
}

static struct place begin_place(const struct gathering *gathering, const struct summary *summary)
{
    const struct measure_input *input = gathering->input;

    return (struct place){
        .lower = summary->peak,
        .upper = summary->peak,
        .at = peak_point(gathering, summary->peak_face),
        .area = finite_or_nan(summary->area * input->unit * input->unit),
        .nearest = INFINITY,
        .faces_total = summary->faces_total,
        .is_shell = summary->one_shell && summary->faces_total == input->shells.face_total[summary->shell],
    };
}

static void include_face(const struct gathering *gathering, uint32_t f, struct place *place)
{
    list_face(gathering, f, place);
    place->upper = larger(place->upper, face_distance_upper(gathering->distances, f));
    place->nearest = smaller(place->nearest, face_distance_lower(gathering->distances, f));
    place->radius = larger(place->radius, reach_of(gathering->input, place->at, f));
}

static void finish_place(const struct gathering *gathering, struct place *place)
{
    const struct farthest_place *farthest = gathering->request->farthest;

    if (farthest) /* no point is farther than the certified maximum */
        place->upper = larger(place->lower, smaller(place->upper, farthest->distance.upper));
    place->radius = finite_or_nan(place->radius * gathering->input->unit);
}

/* Fills the list with the worst places, from their summaries. */
static bool list_places(const struct gathering *gathering, const uint32_t *face_place,
                        const struct summary *summaries, struct place_list *list, struct arena *keep,
                        struct arena scratch, struct error *err)
{
    struct ranked *ranking = ARENA_NEW(&scratch, struct ranked, list->total);
    uint32_t *listed = ARENA_NEW(&scratch, uint32_t, list->total);

    list->count = list->total < PLACES_KEPT_MAX ? list->total : PLACES_KEPT_MAX;
    list->places = ARENA_NEW(keep, struct place, list->count);
    list->scores = ARENA_NEW(keep, double, list->count);
    list->peaks = ARENA_NEW(keep, double, list->total);
    if (scratch.failed || keep->failed)
        return arena_error(err);
    memset(listed, 0xff, list->total * sizeof *listed);
    for (size_t p = 0; p < list->total; p++) {
        ranking[p] = (struct ranked){score_of(gathering, &summaries[p]), p};
        list->peaks[p] = summaries[p].peak;
    }
    ranking_sort(ranking, list->total);
    for (uint32_t k = 0; k < list->count; k++) {
        listed[ranking[k].index] = k;
        list->scores[k] = ranking[k].key;
        list->places[k] = begin_place(gathering, &summaries[ranking[k].index]);
    }
    for (size_t i = 0; i < gathering->member_count; i++)
        if (listed[face_place[i]] != NONE)
            include_face(gathering, gathering->members[i], &list->places[listed[face_place[i]]]);
    for (size_t k = 0; k < list->count; k++)
        finish_place(gathering, &list->places[k]);
    return true;
}

static bool describe_places(struct gathering *gathering, struct place_list *list, struct arena *keep,
                            struct arena scratch, struct error *err)
{
    uint32_t *number = ARENA_NEW(&scratch, uint32_t, gathering->input->mesh->vertex_count);
    uint32_t *face_place = ARENA_NEW(&scratch, uint32_t, gathering->member_count);

    if (scratch.failed)
        return arena_error(err);
    list->total = number_places(gathering, number, face_place);
    struct summary *summaries = ARENA_ZERO(&scratch, struct summary, list->total);
    if (scratch.failed)
        return arena_error(err);
    summarise(gathering, face_place, summaries);
    return list_places(gathering, face_place, summaries, list, keep, scratch, err);
}

bool places_find(const struct measure_input *input, const struct face_distances *distances,
                 const struct place_request *request, struct place_list *list, struct arena *keep,
                 struct arena scratch, struct error *err)
{
    size_t vertex_count = input->mesh->vertex_count;
    struct gathering gathering = {.input = input, .distances = distances, .request = request};

    memset(list, 0, sizeof *list);
    gathering.members = ARENA_NEW(&scratch, uint32_t, distances->count);
    if (scratch.failed)
        return arena_error(err);
    if (!collect_members(&gathering))
        return true;
    arena_trim(&scratch, gathering.members, gathering.member_count, sizeof *gathering.members);
    gathering.set = ARENA_NEW(&scratch, uint32_t, vertex_count);
    bool *is_far = ARENA_ZERO(&scratch, bool, vertex_count);
    if (scratch.failed)
        return arena_error(err);
    disjoint_sets_begin(gathering.set, vertex_count);
    join_at_vertices(&gathering);
    if (keep_far_groups(&gathering, is_far) > 1 && !join_across_gaps(&gathering, scratch, err))
        return false;
    return describe_places(&gathering, list, keep, scratch, err);
}
