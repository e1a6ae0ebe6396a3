/* deviation_triangles.c - leaf by leaf, in chunks of leaves. */
#include "measure/deviation_triangles.h"

#include "base/tasks.h"
#include "geom/point_triangle.h"
#include "measure/deviation_quick.h"
#include "measure/float_bins.h"

#include <math.h>
#include <string.h>

#define LEAVES_OF_CHUNK 32
#define SLICE_CHUNKS 256 /* chunks between two words to the listener */
#define TRIAL_LEAVES 64  /* at least, */
#define TRIAL_STRIDE 256 /* and one chunk of so many */
#define GIVEN_UP 2       /* times what says enough: no rounding changes that */
#define CLOSELY_SHARE 4  /* one such part of the budget is for the farthest leaves */
#define FEWER_SHARE 16   /* where what is over a triangle may be cut up, which tells most of it already */
#define LEAF_WORK 3072   /* of the work of bounding one leaf closely; measured, on rough pairs */
#define PEAKS_CHUNK ((size_t)1024 * BVH_WIDTH)
#define BIN_BITS 6       /* 64 bins to each power of two */
#define QUICK_SHARE 0.65 /* of the progress */

struct bounding {
    struct surface_parts *parts;
    const uint32_t *leaves; /* [leaf_count], or NULL: all */
    size_t leaf_count;
    size_t allowance;       /* of work, of each chunk */
    struct leaf_parts *own; /* [leaf_count] of the leaves listed, or NULL: they go to all parts */
    bool quick;             /* known quickly: that is kept where it is better */
    double gap_most; /* area times gap: a chunk of leaves that has more leaves the rest; 0: none does */
    size_t first_chunk;
    size_t *work; /* [chunk] */
};

/* Of all triangles of a leaf, of which none is bounded yet. */
static void open_parts(const struct deviation_surface *from, size_t leaf, struct part *parts)
{
    const size_t first = leaf * BVH_WIDTH;

    for (size_t slot = first; slot < first + BVH_WIDTH && slot < from->bvh.triangle_count; slot++)
        parts[slot - first] =
            (struct part){.area = triangle_area(deviation_surface_corner(from, (uint32_t)slot, 0),
                                                deviation_surface_corner(from, (uint32_t)slot, 1),
                                                deviation_surface_corner(from, (uint32_t)slot, 2)),
                          .scale = from->shared[slot] ? 0 : -1};
}

/* Triangles of a leaf that are not shared, and their places in it. */
static size_t gather_leaf(const struct surface_parts *parts, size_t leaf, const struct part *known,
                          struct bracket_group *group, size_t *places)
{
    const struct deviation_surface *from = parts->from;

    group->count = 0;
    for (size_t c = 0; c < BVH_WIDTH && leaf * BVH_WIDTH + c < from->bvh.triangle_count; c++) {
        uint32_t slot = (uint32_t)(leaf * BVH_WIDTH + c);
        if (from->shared[slot])
            continue;
        for (int i = 0; i < 3; i++)
            group->corners[group->count][i] = deviation_surface_corner(from, slot, i);
        group->parts[group->count] = known[c];
        places[group->count++] = c;
    }
    return group->count;
}

static void bound_leaf(const struct bounding *bounding, size_t item, struct bracketing *bracketing)
{
    const struct surface_parts *parts = bounding->parts;
    size_t leaf = bounding->leaves ? bounding->leaves[item] : item, places[BVH_WIDTH],
           left = BVH_WIDTH * QUICK_WORK;
    struct part *own = bounding->own ? bounding->own[item].parts : &parts->parts[leaf * BVH_WIDTH];
    struct bracket_group group;

    if (bounding->own)
        bounding->own[item].leaf = (uint32_t)leaf;
    if (bounding->quick)
        quick_bound_leaf(parts, leaf, QUICK_ALL, own, &left);
    else
        open_parts(parts->from, leaf, own);
    if (gather_leaf(parts, leaf, own, &group, places) == 0)
        return;
    if (bracketing->work > bounding->allowance && bounding->quick)
        return;
    if (bracketing->work > bounding->allowance)
        bracket_bound_by_way(bracketing, &group);
    else
        bracket_bound(bracketing, &group);
    for (size_t i = 0; i < group.count; i++)
        own[places[i]] = group.parts[i];
}

/* Sums of area, and of area times gap. */
struct gaps {
    double area, gap;
};

static void add_gaps(const struct surface_parts *parts, const struct leaf_parts *leaf, struct gaps *gaps)
{
    for (size_t c = 0; c < BVH_WIDTH; c++) {
        const struct part *part = &leaf->parts[c];
        if (leaf->leaf * (size_t)BVH_WIDTH + c >= parts->from->bvh.triangle_count || !(part->area > 0))
            continue;
        struct part_moments moments = part_moments(part);
        gaps->area += part->area;
        gaps->gap += part->area * (moments.high - moments.low);
    }
}

static void bound_chunk(void *context, size_t number)
{
    struct bounding *bounding = context;
    size_t chunk = bounding->first_chunk + number, end = (chunk + 1) * LEAVES_OF_CHUNK;
    struct bracketing bracketing = surface_parts_begin(bounding->parts, BVH_NONE);
    struct gaps gaps = {0, 0};

    for (size_t i = chunk * LEAVES_OF_CHUNK; i < end && i < bounding->leaf_count; i++) {
        if (bounding->gap_most > 0 && gaps.gap > bounding->gap_most)
            break;
        bound_leaf(bounding, i, &bracketing);
        if (bounding->gap_most > 0)
            add_gaps(bounding->parts, &bounding->own[i], &gaps);
    }
    bounding->work[chunk] = bracketing.work;
}

static bool bound_leaves(struct bounding *bounding, const struct progress *progress, double from, double to,
                         struct arena scratch, struct error *err)
{
    size_t chunks = tasks_chunks(bounding->leaf_count, LEAVES_OF_CHUNK);

    bounding->work = ARENA_NEW(&scratch, size_t, chunks);
    if (!bounding->work)
        return arena_error(err);
    for (bounding->first_chunk = 0; bounding->first_chunk < chunks; bounding->first_chunk += SLICE_CHUNKS) {
        size_t left = chunks - bounding->first_chunk;
        if (!progress_tell(progress, "statistics",
                           from + (to - from) * (double)bounding->first_chunk / (double)chunks))
            return error_set(err, ERROR_CANCELLED, "measuring was stopped");
        tasks_run(bounding->parts->threads, left < SLICE_CHUNKS ? left : SLICE_CHUNKS, bound_chunk, bounding);
    }
    for (size_t chunk = 0; chunk < chunks; chunk++)
        bounding->parts->work += bounding->work[chunk];
    return true;
}

static size_t leaves_of(const struct surface_parts *parts)
{
    return deviation_surface_leaves(parts->from);
}

/* Of each chunk; twice its share, since what triangles do not need refining has. A trial of all has the
 * budget once: it takes long only where little is told by it, as in the middle of a tube. */
static size_t allowance_of(const struct surface_parts *parts)
{
    const size_t chunks = tasks_chunks(leaves_of(parts), LEAVES_OF_CHUNK);

    return (parts->trial_stride == 1 ? 1 : 2) * parts->budget / chunks + 1;
}

/* Those of the chunks that a trial takes, or of the others, in order. They are whole but for the last, so
 * that it does not matter which of the two a chunk is bounded with. */
static size_t list_leaves(const struct surface_parts *parts, bool of_trial, uint32_t *leaves)
{
    size_t all = leaves_of(parts), chunks = tasks_chunks(all, LEAVES_OF_CHUNK), count = 0;

    for (size_t chunk = 0; chunk < chunks; chunk++)
        if ((chunk % parts->trial_stride == 0) == of_trial)
            for (size_t i = chunk * LEAVES_OF_CHUNK; i < (chunk + 1) * LEAVES_OF_CHUNK && i < all; i++)
                leaves[count++] = (uint32_t)i;
    return count;
}

/* Those of a trial, to where they belong. */
static void take_trial(struct surface_parts *parts)
{
    size_t count = parts->from->bvh.triangle_count;

    for (size_t k = 0; k < parts->leaf_count; k++) {
        size_t first = parts->leaves[k].leaf * (size_t)BVH_WIDTH, left = count - first;
        memcpy(&parts->parts[first], parts->leaves[k].parts,
               (left < BVH_WIDTH ? left : BVH_WIDTH) * sizeof(struct part));
    }
}

bool triangles_bound(struct surface_parts *parts, const struct progress *progress, double from, double to,
                     struct arena scratch, struct error *err)
{
    uint32_t *leaves = ARENA_NEW(&scratch, uint32_t, leaves_of(parts));
    struct bounding bounding = {
        .parts = parts, .leaf_count = leaves_of(parts), .allowance = allowance_of(parts)};

    if (!leaves)
        return arena_error(err);
    if (parts->trial_stride > 0) {
        take_trial(parts);
        bounding.leaves = leaves;
        bounding.leaf_count = list_leaves(parts, false, leaves);
    }
    return bound_leaves(&bounding, progress, from, to, scratch, err);
}

/* --- the trial --- */

/* Opens the leaves listed, so that those that are left have no gap; returns their area. */
static double open_leaves(const struct bounding *bounding)
{
    struct gaps gaps = {0, 0};

    for (size_t i = 0; i < bounding->leaf_count; i++) {
        bounding->own[i].leaf = bounding->leaves[i];
        open_parts(bounding->parts->from, bounding->leaves[i], bounding->own[i].parts);
        add_gaps(bounding->parts, &bounding->own[i], &gaps);
    }
    return gaps.area;
}

static double mean_halfwidth(const struct surface_parts *parts)
{
    struct gaps gaps = {0, 0};

    for (size_t k = 0; k < parts->leaf_count; k++)
        add_gaps(parts, &parts->leaves[k], &gaps);
    return gaps.area > 0 ? 0.5 * gaps.gap / gaps.area : 0;
}

bool triangles_try(struct surface_parts *parts, const struct progress *progress, double at, double enough,
                   double *halfwidth, struct arena *keep, struct error *err)
{
    size_t all = leaves_of(parts),
           stride = tasks_chunks(all, LEAVES_OF_CHUNK) * LEAVES_OF_CHUNK / TRIAL_LEAVES;

    parts->trial_stride = stride < 1 ? 1 : stride > TRIAL_STRIDE ? TRIAL_STRIDE : stride;
    size_t chunks = tasks_chunks(tasks_chunks(all, LEAVES_OF_CHUNK), parts->trial_stride);
    parts->leaves = ARENA_NEW(keep, struct leaf_parts, chunks * LEAVES_OF_CHUNK);
    struct arena scratch = *keep;
    uint32_t *leaves = ARENA_NEW(&scratch, uint32_t, all);
    struct bounding bounding = {
        .parts = parts, .leaves = leaves, .own = parts->leaves, .allowance = allowance_of(parts)};
    if (!parts->leaves || !leaves)
        return arena_error(err);
    parts->leaf_count = bounding.leaf_count = list_leaves(parts, true, leaves);
    if (parts->trial_stride > 1)
        bounding.gap_most = GIVEN_UP * 2 * enough * open_leaves(&bounding);
    if (!bound_leaves(&bounding, progress, at, at, scratch, err))
        return false;
    *halfwidth = mean_halfwidth(parts);
    return true;
}

/* --- quickly --- */

struct peaking {
    const struct surface_parts *parts;
    float *peaks; /* [leaf] the largest distance known; 0 where all of it is shared */
};

static void find_peaks_chunk(void *context, size_t chunk)
{
    const struct peaking *peaking = context;
    const struct surface_parts *parts = peaking->parts;
    size_t begin = chunk * PEAKS_CHUNK, count = parts->from->bvh.triangle_count;

    for (size_t slot = begin; slot < begin + PEAKS_CHUNK && slot < count; slot++) {
        float *peak = &peaking->peaks[slot / BVH_WIDTH];
        if (slot % BVH_WIDTH == 0)
            *peak = 0;
        if (!parts->from->shared[slot])
            *peak = fmaxf(*peak, (float)quick_peak(parts, (uint32_t)slot).distance);
    }
}

static void find_peaks(const struct surface_parts *parts, float *peaks)
{
    struct peaking peaking = {parts, peaks};

    tasks_run(parts->threads, tasks_chunks(parts->from->bvh.triangle_count, PEAKS_CHUNK), find_peaks_chunk,
              &peaking);
}

static size_t farthest_most(const struct surface_parts *parts)
{
    return parts->budget / (quick_is_coarse(parts) ? FEWER_SHARE : CLOSELY_SHARE) / LEAF_WORK;
}

/* The leaves that are farthest, as many as there is work for, but for those that are equally far. */
static size_t list_farthest(const struct surface_parts *parts, const float *peaks, size_t *counts,
                            uint32_t *leaves)
{
    size_t all = leaves_of(parts), most = farthest_most(parts), bin = FLOAT_BINS(BIN_BITS), sum = 0,
           count = 0;

    memset(counts, 0, FLOAT_BINS(BIN_BITS) * sizeof *counts);
    for (size_t leaf = 0; leaf < all; leaf++)
        counts[float_bin_of(peaks[leaf], BIN_BITS)]++;
    while (bin > 1 && (sum == 0 || sum + counts[bin - 1] <= most))
        sum += counts[--bin];
    for (size_t leaf = 0; leaf < all && count < most; leaf++)
        if (float_bin_of(peaks[leaf], BIN_BITS) >= bin)
            leaves[count++] = (uint32_t)leaf;
    return count;
}

bool triangles_bound_quickly(struct surface_parts *parts, struct deviation_vertices *vertices,
                             const struct progress *progress, double from, double to, struct arena *keep,
                             struct error *err)
{
    double until = from + QUICK_SHARE * (to - from);
    struct bounding bounding = {.parts = parts, .allowance = 2 * LEAVES_OF_CHUNK * (size_t)LEAF_WORK};

    if (!quick_ask_vertices(parts, vertices, progress, from, until, *keep, err))
        return false;
    parts->leaves = ARENA_NEW(keep, struct leaf_parts, farthest_most(parts));
    struct arena scratch = *keep;
    uint32_t *leaves = ARENA_NEW(&scratch, uint32_t, leaves_of(parts));
    float *peaks = ARENA_NEW(&scratch, float, leaves_of(parts));
    size_t *counts = ARENA_NEW(&scratch, size_t, FLOAT_BINS(BIN_BITS));
    if (!parts->leaves || !leaves || !peaks || !counts)
        return arena_error(err);
    find_peaks(parts, peaks);
    parts->leaf_count = bounding.leaf_count = list_farthest(parts, peaks, counts, leaves);
    bounding.leaves = leaves;
    bounding.own = parts->leaves;
    bounding.quick = true;
    return bound_leaves(&bounding, progress, until, to, scratch, err);
}
