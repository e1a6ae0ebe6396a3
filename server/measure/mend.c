/* mend.c - what both meshes share, what only one has, and the regions of it. */
#include "measure/mend.h"

#include <string.h>

#include "base/tasks.h"
#include "measure/exact_sum.h"
#include "measure/face_geometry.h"
#include "measure/mend_move.h"
#include "measure/mend_regions.h"
#include "measure/position_key.h"
#include "measure/ranking.h"

const char *mend_kind_name(enum mend_kind kind)
{
    static const char *const names[MEND_KIND_COUNT] = {[MEND_FILLED] = "filled",
                                                       [MEND_EXTENDED] = "extended",
                                                       [MEND_ADDED] = "added",
                                                       [MEND_REPLACED] = "replaced",
                                                       [MEND_REMOVED] = "removed"};
    return names[kind];
}

static bool tell(const struct progress *progress, double fraction, struct error *err)
{
    return progress_tell(progress, "mend", fraction)
           || error_set(err, ERROR_CANCELLED, "the measurement was stopped");
}

/* Faces in one chunk, and chunks that are measured before their sums are taken, in the order of faces. */
enum { CHUNK_FACES = 2048, CHUNKS_AT_ONCE = 8 };

struct measuring {
    const struct measure_input *input;
    size_t begin; /* of the first chunk */
    double areas[CHUNK_FACES * CHUNKS_AT_ONCE];
};

static void measure_chunk(void *context, size_t chunk)
{
    struct measuring *measuring = context;
    size_t begin = measuring->begin + chunk * CHUNK_FACES, count = measuring->input->mesh->face_count;

    for (size_t f = begin; f < begin + CHUNK_FACES && f < count; f++)
        measuring->areas[f - measuring->begin] = face_geometry(measuring->input, f).area;
}

/* Areas in the input's unit. */
static void sum_areas(const struct measure_input *input, const uint32_t *partner, double *shared,
                      double *other)
{
    struct exact_sum sums[2] = {{0, 0}, {0, 0}};
    struct measuring measuring = {.input = input};
    size_t count = input->mesh->face_count, step = CHUNK_FACES * CHUNKS_AT_ONCE;

    for (; measuring.begin < count; measuring.begin += step) {
        tasks_run(input->threads,
                  tasks_chunks(count - measuring.begin < step ? count - measuring.begin : step, CHUNK_FACES),
                  measure_chunk, &measuring);
        for (size_t f = measuring.begin; f < count && f < measuring.begin + step; f++)
            exact_sum_add(&sums[partner[f] == MEND_NONE], measuring.areas[f - measuring.begin]);
    }
    *shared = exact_sum_value(sums[0]);
    *other = exact_sum_value(sums[1]);
}

static double share(double part, double other)
{
    return part + other > 0 ? part / (part + other) : NAN;
}

static void measure_areas(const struct measure_input *subject, const struct measure_input *reference,
                          const struct mend_match *match, struct mend *mend)
{
    double shared, added, removed, unit = subject->unit;

    sum_areas(subject, match->partner[MEND_SUBJECT], &shared, &added);
    mend->shared_area = finite_or_nan(shared * unit * unit);
    mend->added_area = finite_or_nan(added * unit * unit);
    mend->subject_share = share(shared, added);
    unit = reference->unit;
    sum_areas(reference, match->partner[MEND_REFERENCE], &shared, &removed);
    mend->removed_area = finite_or_nan(removed * unit * unit);
    mend->reference_share = share(shared, removed);
}

static double volume_change(const struct measure_input *subject, const struct measure_input *reference)
{
    double after = subject->unit, before = reference->unit;

    after = mend_enclosed_volume(subject) * after * after * after;
    before = mend_enclosed_volume(reference) * before * before * before;
    return finite_or_nan(after - before);
}

static bool same_listing(const struct mesh *a, const struct mesh *b)
{
    return a->vertex_count == b->vertex_count && a->face_count == b->face_count
           && memcmp(a->face_offsets, b->face_offsets, (a->face_count + 1) * sizeof *a->face_offsets) == 0
           && memcmp(a->face_vertices, b->face_vertices, mesh_corner_count(a) * sizeof *a->face_vertices)
                  == 0;
}

static struct vertex_moves measure_moves(const struct measure_input *subject,
                                         const struct measure_input *reference)
{
    const struct mesh *a = reference->mesh, *b = subject->mesh;
    struct vertex_moves moves = {.vertex = MEASURE_UNDEFINED};
    double guard = smaller(subject->guard, reference->guard);

    moves.defined = same_listing(a, b);
    for (size_t v = 0; moves.defined && v < a->vertex_count; v++) {
        if (position_equal(a->positions[v], b->positions[v]))
            continue;
        vec3 guarded = vec3_sub(vec3_scale(b->positions[v], guard), vec3_scale(a->positions[v], guard));
        double length = safe_length(guarded) / guard;
        if (moves.count++ == 0 || length > moves.largest) {
            moves.largest = length;
            moves.vertex = (int64_t)v;
        }
    }
    moves.largest = finite_or_nan(moves.largest);
    return moves;
}

static void count_region(const struct mend_region *region, struct exact_sum *filled_volume, struct mend *mend)
{
    mend->by_kind[region->kind]++;
    mend->holes_filled += (int64_t)region->holes_filled;
    mend->holes_opened += (int64_t)region->holes_opened;
    if (region->kind == MEND_FILLED)
        exact_sum_add(filled_volume, region->volume);
}

static bool measure_move(const struct mend_regions *regions, size_t r, double width,
                         struct mend_region *region, struct mend_move *largest, struct arena scratch,
                         struct error *err)
{
    struct mend_move *move = &region->move;

    if (region->kind != MEND_REPLACED)
        return true;
    if (!mend_move_measure(regions, r, width, move, scratch, err))
        return false;
    if (!(move->distance.lower <= largest->distance.lower)) {
        largest->distance.lower = move->distance.lower;
        largest->at = move->at;
    }
    if (!(move->distance.upper <= largest->distance.upper))
        largest->distance.upper = move->distance.upper;
    return true;
}

static bool list_regions(const struct mend_regions *regions, double width, const struct progress *progress,
                         struct mend *mend, struct arena *keep, struct arena scratch, struct error *err)
{
    struct exact_sum filled_volume = {0, 0};
    size_t total = regions->edges->region_count, kept = total < MEASURE_LIST_MAX ? total : MEASURE_LIST_MAX;
    struct ranked *ranking = ARENA_NEW(&scratch, struct ranked, total);

    mend->regions = ARENA_NEW(keep, struct mend_region, kept);
    if (scratch.failed || keep->failed)
        return arena_error(err);
    mend->holes_filled = mend->holes_opened = 0;
    for (int kind = 0; kind < MEND_KIND_COUNT; kind++)
        mend->by_kind[kind] = 0;
    for (size_t r = 0; r < total; r++) {
        struct mend_region region = mend_regions_report(regions, r);
        count_region(&region, &filled_volume, mend);
        ranking[r] = (struct ranked){larger(region.added_area, region.removed_area), r};
    }
    mend->filled_volume = exact_sum_value(filled_volume);
    ranking_sort(ranking, total);
    for (size_t i = 0; i < kept; i++) {
        mend->regions[i] = mend_regions_report(regions, ranking[i].index);
        if (!tell(progress, 0.8 + 0.2 * (double)i / (double)kept, err)
            || !measure_move(regions, ranking[i].index, width, &mend->regions[i], &mend->largest_move,
                             scratch, err))
            return false;
    }
    mend->region_total = total;
    mend->region_count = kept;
    return true;
}

static bool find_regions(const struct measure_input *subject, const struct measure_input *reference,
                         const struct mend_match *match, double width, const struct progress *progress,
                         struct mend *mend, struct arena *keep, struct arena scratch, struct error *err)
{
    struct mend_edges edges;
    struct mend_regions regions;
    struct arena held; /* half of scratch: what is not used is never touched */

    if (!arena_split(&scratch, arena_left(&scratch) / 2, &held))
        return arena_error(err);
    return mend_edges_build(match, &edges, &held, scratch, err)
           && mend_regions_build(subject, reference, match, &edges, &regions, &held, scratch, err)
           && list_regions(&regions, width, progress, mend, keep, scratch, err);
}

bool mend_build(const struct measure_input *subject, const struct measure_input *reference, double width,
                const struct progress *progress, struct mend *mend, struct arena *keep, struct arena scratch,
                struct error *err)
{
    struct mend_match match;
    struct arena matched;

    *mend = (struct mend){
        .holes_filled = MEASURE_UNDEFINED,
        .holes_opened = MEASURE_UNDEFINED,
        .filled_volume = NAN,
        .largest_move = {{NAN, NAN}, {NAN, NAN, NAN}},
    };
    for (int kind = 0; kind < MEND_KIND_COUNT; kind++)
        mend->by_kind[kind] = MEASURE_UNDEFINED;
    if (!arena_split(&scratch, mend_match_bytes(subject->mesh, reference->mesh), &matched))
        return arena_error(err);
    if (!tell(progress, 0, err)
        || !mend_match_build(subject->mesh, reference->mesh, subject->threads, &match, &matched, scratch, err)
        || !tell(progress, 0.6, err))
        return false;
    mend->shared_faces = match.shared_count;
    mend->turned_faces = match.turned_count;
    mend->added_faces = subject->mesh->face_count - match.shared_count;
    mend->removed_faces = reference->mesh->face_count - match.shared_count;
    measure_areas(subject, reference, &match, mend);
    mend->volume_change = volume_change(subject, reference);
    mend->moves = measure_moves(subject, reference);
    return (match.shared_count == 0
            || find_regions(subject, reference, &match, width, progress, mend, keep, scratch, err))
           && tell(progress, 1, err);
}
