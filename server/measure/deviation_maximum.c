/* deviation_maximum.c - the rounds of the search: sample, walk the index, ask at triangles, refine pieces. */
#include "measure/deviation_maximum.h"

#include "base/tasks.h"
#include "measure/deviation_sweep.h"

#include <assert.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#define SAMPLES 1024           /* at most, and half of that at least, but */
#define SAMPLES_PER_TRIANGLE 8 /* of small surfaces */
#define SAMPLES_SHARE 64       /* one for so many triangles in between */
#define SAMPLE_CHUNK 64
#define SAMPLE_ENOUGH 0.75 /* of the largest distance: samples as near are not worth climbing from */
#define SAMPLING_SHARE 8   /* of the budget, an eighth at most, */
#define SAMPLING_WORK(triangle_count) (((size_t)1 << 16) + (triangle_count)) /* and so much */
#define CLIMBS 8  /* the farthest samples are moved to where it is farther still */
#define STRIDES 4 /* each way, as many as the next stride is shorter */
#define STRIDE_STEPS 12
#define CLIMB_STEPS 12
#define ITEM_BATCH 256 /* items of one round, each a chunk of its own */
#define SWEPT_FIRST 4  /* of them that are swept, in the first round, then twice as many */
#define FIRST_SHARE 16 /* of the work that is left, such a round may do one so small */
#define PIECE_BATCH 1024
#define PIECE_CHUNK 4
#define SWEEP_LEVEL 2 /* nodes of this level and below are swept down to their triangles, one a chunk */
#define PIECES_MAX ((size_t)1 << 16)    /* waiting at one time */
#define ALLOWANCE_MAX ((size_t)1 << 18) /* work of a chunk in one round, so that a round stays short */

/* A point of `from` where the distance was asked. */
struct sample {
    double distance; /* -1: not asked */
    vec3 at;
    uint32_t slot, near;
};

struct search {
    const struct maximum_settings *settings;
    struct hunt hunt; /* what is known between rounds */
    size_t budget, chunk_allowance;
    bool *gone[BVH_LEVELS_MAX]; /* nodes whose triangles are all shared; NULL when none are */
    struct item *items;
    size_t item_count, item_capacity;
    struct piece *pieces;
    size_t piece_count;
    struct item *item_batch, *item_output;    /* SWEEP_ITEMS_MAX of a chunk */
    struct piece *piece_batch, *piece_output; /* SWEEP_PIECES_MAX of a chunk */
    struct sample *samples;
    size_t batch_count, swept_most, sample_count;
    struct sweep *sweeps; /* of the chunks of one round */
    double first_gap;
};

/* A chunk starts from what is known between rounds, with its own count of work. */
static struct sweep *begin_chunk(struct search *search, size_t chunk)
{
    struct sweep *sweep = &search->sweeps[chunk];

    *sweep = (struct sweep){.hunt = search->hunt,
                            .gone = search->gone,
                            .allowance = search->chunk_allowance,
                            .items = search->item_output + chunk * SWEEP_ITEMS_MAX,
                            .pieces = search->piece_output + chunk * SWEEP_PIECES_MAX};
    sweep->hunt.work = 0;
    sweep->hunt.dropped = 0;
    for (size_t way = 0; way < WAYS_LEARNED; way++)
        luck_begin(&sweep->hunt.lucks[way], chunk);
    return sweep;
}

/* What the chunks have learned, for those of later rounds: its mean. */
static void learn_luck(struct search *search, size_t count)
{
    for (size_t way = 0; count > 0 && way < WAYS_LEARNED; way++) {
        int sum = 0;
        for (size_t chunk = 0; chunk < count; chunk++)
            sum += search->sweeps[chunk].hunt.lucks[way].failures;
        search->hunt.lucks[way].failures = sum / (int)count;
    }
}

/* Runs the chunks of a batch and adds up in their order what they found. */
static void run_chunks(struct search *search, size_t count, void (*run)(void *context, size_t chunk))
{
    size_t left = search->hunt.work < search->budget ? search->budget - search->hunt.work : 0;

    search->chunk_allowance = left / (count + 1) + 1;
    if (search->chunk_allowance > ALLOWANCE_MAX)
        search->chunk_allowance = ALLOWANCE_MAX;
    tasks_run(search->settings->threads, count, run, search);
    for (size_t chunk = 0; chunk < count; chunk++) {
        const struct hunt *found = &search->sweeps[chunk].hunt;
        search->hunt.work += found->work;
        search->hunt.dropped = fmax(search->hunt.dropped, found->dropped);
        if (found->best.distance > search->hunt.best.distance)
            search->hunt.best = found->best;
    }
    learn_luck(search, count);
}

/* Sampling: a first lower bound, from points spread over the surface and from climbing at the best of them.
 */

/* Sample i of sample_count: its triangle's corners in turn, then points inside, by a sequence of low
 * discrepancy (Roberts 2018, the R2 sequence of the plastic number). */
static vec3 place_sample(const struct search *search, size_t i, uint32_t *slot)
{
    const struct deviation_surface *from = search->hunt.from;
    size_t count = from->bvh.held_count, place = i % SAMPLES_PER_TRIANGLE;
    double u = fmod(0.5 + (double)i * 0.7548776662466927, 1),
           v = fmod(0.5 + (double)i * 0.5698402909980532, 1);

    *slot = (uint32_t)(i * count / search->sample_count);
    vec3 a = deviation_surface_corner(from, *slot, 0);
    if (place < 3)
        return deviation_surface_corner(from, *slot, (int)place);
    if (u + v > 1) {
        u = 1 - u;
        v = 1 - v;
    }
    vec3 along = vec3_scale(vec3_sub(deviation_surface_corner(from, *slot, 1), a), u);
    return vec3_add(a, vec3_add(along, vec3_scale(vec3_sub(deviation_surface_corner(from, *slot, 2), a), v)));
}

static void sample_chunk(void *context, size_t chunk)
{
    struct search *search = context;
    struct sweep *sweep = begin_chunk(search, chunk);
    uint32_t first = search->hunt.best.to_slot;

    for (size_t i = chunk * SAMPLE_CHUNK; i < tasks_chunk_end(chunk, SAMPLE_CHUNK, search->sample_count);
         i++) {
        struct sample *sample = &search->samples[i];
        sample->at = place_sample(search, i, &sample->slot);
        sample->distance = -1;
        if (search->hunt.from->shared[sample->slot] || sweep_is_spent(sweep))
            continue;
        first = hunt_query(&sweep->hunt, sample->at, sample->slot, first,
                           SAMPLE_ENOUGH * sweep->hunt.best.distance, &sample->distance)
                    .slot;
        sample->near = first;
    }
}

static int compare_samples(const void *a, const void *b)
{
    const struct sample *x = a, *y = b;

    if (x->distance != y->distance)
        return x->distance > y->distance ? -1 : 1;
    return (x->slot > y->slot) - (x->slot < y->slot);
}

/* Asks at a corner of each of the triangles around in the index, so many apart, and goes to the farthest;
 * false where none is farther. */
static bool stride_once(struct search *search, struct sweep *sweep, size_t stride, struct sample *here)
{
    const struct deviation_surface *from = search->hunt.from;
    const int64_t count = (int64_t)from->bvh.held_count, middle = here->slot;
    struct sample there = *here;
    bool moved = false;

    for (int64_t k = -STRIDES; k <= STRIDES; k++) {
        int64_t slot = middle + k * (int64_t)stride;
        if (k == 0 || slot < 0 || slot >= count || from->shared[slot] || sweep_is_spent(sweep))
            continue;
        there.slot = (uint32_t)slot;
        there.at = deviation_surface_corner(from, there.slot, 0);
        there.near =
            hunt_query(&sweep->hunt, there.at, there.slot, there.near, here->distance, &there.distance).slot;
        if (there.distance > here->distance) {
            *here = there;
            moved = true;
        }
    }
    return moved;
}

/* From triangle to triangle, by ever smaller strides, the first as long as samples are apart. */
static void stride_away(struct search *search, struct sweep *sweep, struct sample *here)
{
    size_t stride = search->hunt.from->bvh.held_count / search->sample_count / STRIDES;

    for (int i = 0; i < STRIDE_STEPS && stride > 0; i++)
        if (!stride_once(search, sweep, stride, here))
            stride /= STRIDES;
}

/* Goes to where it is farther away: to another triangle, then towards one of its corners, or back from it, by
 * ever smaller steps. */
static void climb_chunk(void *context, size_t chunk)
{
    struct search *search = context;
    struct sweep *sweep = begin_chunk(search, chunk);
    struct sample here = search->samples[chunk];
    double step = 0.5;

    if (here.distance >= 0)
        stride_away(search, sweep, &here);
    for (int i = 0; i < CLIMB_STEPS && here.distance >= 0 && !sweep_is_spent(sweep); i++) {
        bool moved = false;
        for (int corner = 0; corner < 3 && !moved; corner++) {
            struct sample there = here;
            there.at =
                vec3_lerp(here.at, deviation_surface_corner(search->hunt.from, here.slot, corner), step);
            there.near =
                hunt_query(&sweep->hunt, there.at, here.slot, here.near, here.distance, &there.distance).slot;
            moved = there.distance > here.distance;
            here = moved ? there : here;
        }
        if (!moved)
            step *= 0.5;
    }
}

/* Where all is as near to a point, as to the axis of a tube, a question takes long and tells little. */
static size_t sampling_budget(const struct search *search)
{
    size_t most = search->budget / SAMPLING_SHARE,
           work = SAMPLING_WORK(search->hunt.from->bvh.held_count + search->hunt.to->bvh.held_count);

    return work < most ? work : most;
}

/* So that even a distance of 0 has a place: at a triangle that may be asked from. */
static void begin_somewhere(struct search *search)
{
    const struct deviation_surface *from = search->hunt.from;
    uint32_t slot = 0;
    double distance;

    while (from->twins && slot < from->bvh.triangle_count && from->twins[slot] != BVH_NONE)
        slot++;
    if (from->twins && slot == from->bvh.triangle_count) {
        search->hunt.best =
            (struct farthest){.at = deviation_surface_corner(from, 0, 0), .to_slot = from->twins[0]};
        return;
    }
    search->hunt.best.distance = -1;
    hunt_query(&search->hunt, deviation_surface_corner(from, slot, 0), slot, BVH_NONE, -1, &distance);
}

static void take_samples(struct search *search)
{
    const struct deviation_surface *from = search->hunt.from;
    size_t count = from->bvh.held_count, wanted = count / SAMPLES_SHARE;

    begin_somewhere(search);
    wanted = wanted < SAMPLES / 2 ? SAMPLES / 2 : wanted < SAMPLES ? wanted : SAMPLES;
    search->sample_count = wanted < count * SAMPLES_PER_TRIANGLE ? wanted : count * SAMPLES_PER_TRIANGLE;
    size_t all = search->budget;
    search->budget = sampling_budget(search);
    run_chunks(search, tasks_chunks(search->sample_count, SAMPLE_CHUNK), sample_chunk);
    qsort(search->samples, search->sample_count, sizeof *search->samples, compare_samples);
    run_chunks(search, search->sample_count < CLIMBS ? search->sample_count : CLIMBS, climb_chunk);
    search->budget = all;
}

/* Nodes of the index. */

/* The whole surface, bounded against the face nearest to the farthest sample. */
static struct item whole_surface(struct search *search)
{
    const struct bvh *bvh = &search->hunt.from->bvh;
    const struct bvh_node *top = bvh->levels[bvh->level_count - 1];
    struct item item = {0, 0, search->hunt.best.to_slot, (int)bvh->level_count - 1};

    for (unsigned c = 0; c < BVH_WIDTH; c++) {
        aabb box = bvh_child_box(top, c);
        if (!aabb_is_empty(box))
            item.upper = fmax(item.upper, sweep_box_bound(&search->hunt, box, item.near));
    }
    return item;
}

static bool is_swept(const struct item *item)
{
    return item->level <= SWEEP_LEVEL;
}

static void sweep_chunk(void *context, size_t chunk)
{
    struct search *search = context;
    struct sweep *sweep = begin_chunk(search, chunk);
    const struct item *item = &search->item_batch[chunk];

    if (is_swept(item))
        sweep_item(sweep, item);
    else
        sweep_open(sweep, item);
}

static void piece_chunk(void *context, size_t chunk)
{
    struct search *search = context;
    struct sweep *sweep = begin_chunk(search, chunk);

    for (size_t i = chunk * PIECE_CHUNK; i < tasks_chunk_end(chunk, PIECE_CHUNK, search->batch_count); i++)
        sweep_piece(sweep, &search->piece_batch[i]);
}

static void collect_items(struct search *search, size_t chunk_count)
{
    for (size_t chunk = 0; chunk < chunk_count; chunk++) {
        size_t count = search->sweeps[chunk].item_count;
        assert(search->item_count + count <= search->item_capacity);
        memcpy(search->items + search->item_count, search->sweeps[chunk].items,
               count * sizeof *search->items);
        search->item_count += count;
    }
}

static void collect_pieces(struct search *search, size_t chunk_count)
{
    for (size_t chunk = 0; chunk < chunk_count; chunk++)
        for (size_t i = 0; i < search->sweeps[chunk].piece_count; i++) {
            const struct piece *piece = &search->sweeps[chunk].pieces[i];
            if (search->piece_count < PIECES_MAX)
                search->pieces[search->piece_count++] = *piece;
            else /* no room: its bound is given away, and counts in the end */
                search->hunt.dropped = fmax(search->hunt.dropped, piece->upper);
        }
}

/* Rounds. */

/* Drops what can be, and returns the largest bound of what is left; 0 when nothing is. */
static double sift(struct search *search)
{
    double largest = 0;
    size_t kept = 0;

    for (size_t i = 0; i < search->item_count; i++)
        if (!hunt_drops(&search->hunt, search->items[i].upper)) {
            largest = fmax(largest, search->items[i].upper);
            search->items[kept++] = search->items[i];
        }
    search->item_count = kept;
    kept = 0;
    for (size_t i = 0; i < search->piece_count; i++)
        if (!hunt_drops(&search->hunt, search->pieces[i].upper)) {
            largest = fmax(largest, search->pieces[i].upper);
            search->pieces[kept++] = search->pieces[i];
        }
    search->piece_count = kept;
    return largest;
}

/* Puts a bound among the largest, of which there are at most so many; returns how many there are then. */
static size_t add_bound(double *largest, size_t count, size_t most, double upper)
{
    if (count == most && upper <= largest[count - 1])
        return count;
    count += count < most;
    size_t at = count - 1;
    for (; at > 0 && largest[at - 1] < upper; at--)
        largest[at] = largest[at - 1];
    largest[at] = upper;
    return count;
}

/* Which items may be swept in a round: those above a bound, and of those at it `taken` of `count`, spread. */
struct swept {
    double bound;
    size_t count, taken, passed;
};

/* The first rounds sweep few, those with the largest bounds, so that the others know what is found there. */
static struct swept choose_swept(struct search *search, double above)
{
    struct swept swept = {above, 1, 1, 0};
    double largest[ITEM_BATCH];
    size_t kept = 0, all = 0, most = search->swept_most;

    if (most >= ITEM_BATCH)
        return swept;
    for (size_t i = 0; i < search->item_count; i++)
        if (is_swept(&search->items[i]) && search->items[i].upper >= above) {
            kept = add_bound(largest, kept, most, search->items[i].upper);
            all++;
        }
    if (all > 0)
        search->swept_most *= 2;
    if (all <= most)
        return swept;
    swept = (struct swept){largest[most - 1], 0, 0, 0};
    for (size_t i = 0; i < most; i++)
        swept.taken += largest[i] == swept.bound;
    for (size_t i = 0; i < search->item_count; i++)
        swept.count += is_swept(&search->items[i]) && search->items[i].upper == swept.bound;
    return swept;
}

static bool is_taken(struct swept *swept, double upper)
{
    if (upper != swept->bound)
        return upper > swept->bound;
    swept->passed += swept->taken;
    if (swept->passed < swept->count)
        return false;
    swept->passed -= swept->count;
    return true;
}

/* Takes items above a bound out of the pool. */
static void take_items(struct search *search, double above)
{
    struct swept swept = choose_swept(search, above);
    size_t kept = 0;

    search->batch_count = 0;
    for (size_t i = 0; i < search->item_count; i++) {
        const struct item *item = &search->items[i];
        if ((is_swept(item) ? is_taken(&swept, item->upper) : item->upper >= above)
            && search->batch_count < ITEM_BATCH)
            search->item_batch[search->batch_count++] = *item;
        else
            search->items[kept++] = *item;
    }
    search->item_count = kept;
}

static void take_pieces(struct search *search, double above)
{
    size_t kept = 0;

    search->batch_count = 0;
    for (size_t i = 0; i < search->piece_count; i++) {
        if (search->pieces[i].upper >= above && search->batch_count < PIECE_BATCH)
            search->piece_batch[search->batch_count++] = search->pieces[i];
        else
            search->pieces[kept++] = search->pieces[i];
    }
    search->piece_count = kept;
}

/* A first round ends soon, so that a search that finds nothing still looks at all of the surface. */
static void sweep_items(struct search *search)
{
    const size_t all = search->budget;

    if (search->swept_most < ITEM_BATCH && search->hunt.work < all)
        search->budget = search->hunt.work + (all - search->hunt.work) / FIRST_SHARE;
    run_chunks(search, search->batch_count, sweep_chunk);
    search->budget = all;
    collect_items(search, search->batch_count);
    collect_pieces(search, search->batch_count);
}

/* Works on what has the larger half of the open bounds, so that the lower bound rises before the rest is
 * looked at. */
static void run_round(struct search *search, double largest)
{
    double lower = search->hunt.best.distance + search->hunt.tolerance,
           above = lower + (largest - lower) * 0.5;
    size_t chunks;

    take_items(search, above);
    sweep_items(search);
    take_pieces(search, above);
    chunks = tasks_chunks(search->batch_count, PIECE_CHUNK);
    run_chunks(search, chunks, piece_chunk);
    collect_pieces(search, chunks);
}

static void bound_chunk(void *context, size_t chunk)
{
    struct search *search = context;
    struct sweep *sweep = begin_chunk(search, chunk);

    for (size_t i = chunk * search->batch_count;
         i < tasks_chunk_end(chunk, search->batch_count, search->item_count); i++)
        sweep_bound(sweep, &search->items[i]);
}

/* What no round has come to is bounded by its boxes; returns the largest bound of what is left. */
static double end_early(struct search *search)
{
    search->batch_count = tasks_chunks(search->item_count, ITEM_BATCH);
    run_chunks(search, search->item_count ? tasks_chunks(search->item_count, search->batch_count) : 0,
               bound_chunk);
    return sift(search);
}

static bool tell(struct search *search, double gap)
{
    const struct maximum_settings *settings = search->settings;
    double wanted = search->hunt.tolerance, done = 1;

    if (search->first_gap <= 0)
        search->first_gap = gap;
    if (gap > wanted && search->first_gap > wanted)
        done = 1 - log(gap / wanted) / log(search->first_gap / wanted);
    return progress_tell(settings->progress, "hausdorff",
                         settings->progress_from
                             + (settings->progress_to - settings->progress_from) * fmin(fmax(done, 0), 1));
}

static bool mark_gone(struct search *search, struct arena *arena)
{
    const struct deviation_surface *from = search->hunt.from;

    for (size_t level = 0; level < from->bvh.level_count && from->shared_count > 0; level++) {
        size_t below = level ? from->bvh.node_counts[level - 1] : from->bvh.held_count;
        search->gone[level] = ARENA_NEW(arena, bool, from->bvh.node_counts[level]);
        if (!search->gone[level])
            return false;
        memset(search->gone[level], true, from->bvh.node_counts[level]);
        for (size_t i = 0; i < below; i++)
            if (!(level ? search->gone[level - 1][i] : from->shared[i]))
                search->gone[level][i / BVH_WIDTH] = false;
    }
    return true;
}

static bool allocate(struct search *search, struct arena *arena, struct error *err)
{
    const struct deviation_surface *from = search->hunt.from;

    static_assert(PIECE_BATCH / PIECE_CHUNK <= ITEM_BATCH && SAMPLES / SAMPLE_CHUNK <= ITEM_BATCH
                      && CLIMBS <= ITEM_BATCH,
                  "a sweep for each chunk");
    static_assert(PIECE_CHUNK * SWEEP_STACK_MAX <= SWEEP_PIECES_MAX, "room for what a chunk leaves");

    search->item_capacity = from->bvh.held_count + SWEEP_ITEMS_MAX * ITEM_BATCH;
    /* what is touched in any case comes first: the rest, mostly empty, would put each of them on a page of
     * its own, and pages are large */
    search->samples = ARENA_NEW(arena, struct sample, SAMPLES);
    search->sweeps = ARENA_NEW(arena, struct sweep, ITEM_BATCH);
    search->item_batch = ARENA_NEW(arena, struct item, ITEM_BATCH);
    search->piece_batch = ARENA_NEW(arena, struct piece, PIECE_BATCH);
    search->item_output = ARENA_NEW(arena, struct item, ITEM_BATCH * SWEEP_ITEMS_MAX);
    if (!mark_gone(search, arena))
        return arena_error(err);
    search->items = ARENA_NEW(arena, struct item, search->item_capacity);
    search->pieces = ARENA_NEW(arena, struct piece, PIECES_MAX);
    search->piece_output = ARENA_NEW(arena, struct piece, ITEM_BATCH * SWEEP_PIECES_MAX);
    if (!search->items || !search->pieces || !search->item_batch || !search->item_output
        || !search->piece_batch || !search->piece_output || !search->samples || !search->sweeps)
        return arena_error(err);
    return true;
}

static void fill_result(const struct search *search, double open, struct maximum *maximum)
{
    const struct farthest *best = &search->hunt.best;
    double upper = fmax(best->distance, fmax(search->hunt.dropped, open));

    maximum->lower = fmax(0, best->distance - DEVIATION_SLACK);
    maximum->upper = fmin(upper, fmax(best->distance, search->hunt.from->reach)) + DEVIATION_SLACK;
    maximum->at = best->at;
    maximum->from_slot = best->from_slot;
    maximum->to_slot = best->to_slot;
    maximum->work = search->hunt.work;
    maximum->exhausted = maximum->upper - maximum->lower > fmax(search->settings->width, MAXIMUM_WIDTH_MIN);
}

bool maximum_find(const struct deviation_surface *from, const struct deviation_surface *to,
                  const struct maximum_settings *settings, struct maximum *maximum, struct arena scratch,
                  struct error *err)
{
    struct search search = {.settings = settings, .swept_most = SWEPT_FIRST};
    double largest;

    search.hunt = (struct hunt){.from = from, .to = to};
    search.hunt.tolerance = fmax(settings->width * (1 - 0x1p-40) - 2 * DEVIATION_SLACK, DEVIATION_SLACK);
    search.budget = settings->budget ? settings->budget
                                     : MAXIMUM_BUDGET(from->bvh.triangle_count, to->bvh.triangle_count);
    if (!allocate(&search, &scratch, err))
        return false;
    take_samples(&search);
    if (from->shared_count < from->bvh.triangle_count)
        search.items[search.item_count++] = whole_surface(&search);
    while ((largest = sift(&search)) > 0) {
        if (!tell(&search, largest - search.hunt.best.distance))
            return error_set(err, ERROR_CANCELLED, "measuring was stopped");
        if (search.hunt.work >= search.budget - search.budget / 16) {
            largest = end_early(&search);
            break;
        }
        run_round(&search, largest);
    }
    fill_result(&search, largest, maximum);
    return true;
}
