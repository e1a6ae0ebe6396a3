/* deviation_maximum.c - the rounds of the search: sample, walk the index, ask at triangles, refine pieces. */
#include "measure/deviation_maximum.h"

#include "measure/deviation_piece.h"
#include "measure/deviation_tasks.h"

#include <assert.h>
#include <math.h>
#include <string.h>

#define SAMPLES 1024
#define SAMPLE_CHUNK 32
#define NODE_BATCH 8192 /* tree items of one round */
#define NODE_CHUNK 16
#define PIECE_BATCH 4096
#define PIECE_CHUNK 8
#define PIECES_MAX ((size_t)1 << 17)    /* waiting at one time */
#define ALLOWANCE_MAX ((size_t)1 << 18) /* work of a chunk in one round, so that a round stays short */
#define FARTHEST_POSSIBLE 4.0           /* more than the diagonal of [-1, 1]^3 */

/* A node of the index (level >= 0) or the triangle of a slot (level -1) that may hold the maximum. */
struct item {
    double upper;
    uint32_t index;
    uint32_t near; /* a slot of the other surface near it */
    int level;
};

struct chunk_result {
    struct hunt hunt;
    size_t item_count, piece_count; /* filled in the chunk's part of the outputs */
};

/* A vertex of `from` whose nearest triangle is wanted. */
struct vertex_query {
    uint32_t vertex, slot, first;
};

struct search {
    const struct maximum_settings *settings;
    struct hunt hunt; /* what is known between rounds */
    size_t budget, chunk_allowance;
    uint32_t *vertex_faces;     /* [points of from] nearest slot of `to`; BVH_NONE: not asked yet */
    bool *gone[BVH_LEVELS_MAX]; /* nodes whose triangles are all shared; NULL when none are */
    struct item *items;
    size_t item_count, item_capacity;
    struct piece *pieces;
    size_t piece_count;
    struct item *item_batch, *item_output;
    struct piece *piece_batch, *piece_output;
    struct vertex_query *queries;
    size_t batch_count, query_count;
    struct chunk_result *results;
    double first_gap;
};

static size_t chunks_of(size_t count, size_t chunk)
{
    return (count + chunk - 1) / chunk;
}

static size_t chunk_end(size_t chunk, size_t chunk_size, size_t count)
{
    return (chunk + 1) * chunk_size < count ? (chunk + 1) * chunk_size : count;
}

/* A chunk starts from what is known between rounds, with its own count of work. */
static struct chunk_result *begin_chunk(struct search *search, size_t chunk)
{
    struct chunk_result *result = &search->results[chunk];

    *result = (struct chunk_result){.hunt = search->hunt};
    result->hunt.work = 0;
    result->hunt.dropped = 0;
    return result;
}

static bool allowance_spent(const struct search *search, const struct chunk_result *result)
{
    return result->hunt.work > search->chunk_allowance;
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
        const struct hunt *found = &search->results[chunk].hunt;
        search->hunt.work += found->work;
        search->hunt.dropped = fmax(search->hunt.dropped, found->dropped);
        if (found->best.distance > search->hunt.best.distance)
            search->hunt.best = found->best;
    }
}

/* Sampling: a first lower bound from vertices spread over the surface. */

static void sample_chunk(void *context, size_t chunk)
{
    struct search *search = context;
    struct chunk_result *result = begin_chunk(search, chunk);
    uint32_t first = search->hunt.best.to_slot;

    for (size_t i = chunk * SAMPLE_CHUNK; i < chunk_end(chunk, SAMPLE_CHUNK, search->query_count); i++) {
        const struct vertex_query *query = &search->queries[i];
        double distance;
        if (allowance_spent(search, result))
            return;
        first =
            hunt_query(&result->hunt, search->hunt.from->points[query->vertex], query->slot, first, &distance)
                .slot;
    }
}

static void take_samples(struct search *search)
{
    const struct deviation_surface *from = search->hunt.from;
    size_t count = from->bvh.triangle_count, wanted = count < SAMPLES ? count : SAMPLES;
    double distance;

    search->hunt.best.distance = -1; /* so that even a distance of 0 gives a place */
    hunt_query(&search->hunt, deviation_surface_corner(from, 0, 0), 0, BVH_NONE, &distance);
    search->query_count = 0;
    for (size_t i = 0; i < wanted; i++) {
        uint32_t slot = (uint32_t)(i * count / wanted);
        if (!from->shared[slot])
            search->queries[search->query_count++] =
                (struct vertex_query){from->bvh.corners[slot][0], slot, 0};
    }
    run_chunks(search, chunks_of(search->query_count, SAMPLE_CHUNK), sample_chunk);
}

/* Nodes of the index. */

static double box_bound(struct hunt *hunt, aabb box, uint32_t slot)
{
    double upper_sq = 0;

    for (int corner = 0; corner < 8; corner++) {
        vec3 p = {corner & 1 ? box.max.x : box.min.x, corner & 2 ? box.max.y : box.min.y,
                  corner & 4 ? box.max.z : box.min.z};
        upper_sq = fmax(upper_sq, bvh_distance_sq(&hunt->to->bvh, p, slot));
    }
    hunt->work += 8;
    return sqrt(upper_sq);
}

static double triangle_bound(struct hunt *hunt, uint32_t slot, uint32_t near)
{
    double upper_sq = 0;

    for (int i = 0; i < 3; i++)
        upper_sq = fmax(upper_sq,
                        bvh_distance_sq(&hunt->to->bvh, deviation_surface_corner(hunt->from, slot, i), near));
    hunt->work += 3;
    return sqrt(upper_sq);
}

static bool is_gone(const struct search *search, int level, size_t index)
{
    if (search->hunt.from->shared_count == 0)
        return false;
    return level < 0 ? search->hunt.from->shared[index] : search->gone[level][index];
}

/* The children of a node that may hold the maximum, each with the face that bounds it best. */
static void open_node(struct search *search, struct chunk_result *result, const struct item *item,
                      struct item *output)
{
    const struct bvh *bvh = &search->hunt.from->bvh;
    const struct bvh_node *node = &bvh->levels[item->level][item->index];

    for (unsigned c = 0; c < BVH_WIDTH; c++) {
        aabb box = bvh_child_box(node, c);
        struct item child = {item->upper, item->index * BVH_WIDTH + c, item->near, item->level - 1};
        if (aabb_is_empty(box) || is_gone(search, child.level, child.index))
            continue;
        if (child.level < 0) {
            child.upper = fmin(child.upper, triangle_bound(&result->hunt, child.index, child.near));
        } else {
            child.upper = fmin(child.upper, box_bound(&result->hunt, box, child.near));
            if (child.upper > result->hunt.best.distance + result->hunt.tolerance) {
                child.near =
                    bvh_nearest(&search->hunt.to->bvh, aabb_centre(box), child.near, &result->hunt.work).slot;
                child.upper = fmin(child.upper, box_bound(&result->hunt, box, child.near));
            }
        }
        if (!hunt_drops(&result->hunt, child.upper))
            output[result->item_count++] = child;
    }
}

static void node_chunk(void *context, size_t chunk)
{
    struct search *search = context;
    struct chunk_result *result = begin_chunk(search, chunk);
    struct item *output = search->item_output + chunk * NODE_CHUNK * BVH_WIDTH;

    for (size_t i = chunk * NODE_CHUNK; i < chunk_end(chunk, NODE_CHUNK, search->batch_count); i++) {
        if (allowance_spent(search, result))
            output[result->item_count++] = search->item_batch[i];
        else
            open_node(search, result, &search->item_batch[i], output);
    }
}

static void collect_items(struct search *search, size_t chunk_count, size_t outputs_per_chunk)
{
    for (size_t chunk = 0; chunk < chunk_count; chunk++) {
        size_t count = search->results[chunk].item_count;
        assert(search->item_count + count <= search->item_capacity);
        memcpy(search->items + search->item_count, search->item_output + chunk * outputs_per_chunk,
               count * sizeof *search->items);
        search->item_count += count;
    }
}

/* Triangles: first the centroid's face, then those of the corners. */

static void centroid_chunk(void *context, size_t chunk)
{
    struct search *search = context;
    struct chunk_result *result = begin_chunk(search, chunk);
    const struct deviation_surface *from = search->hunt.from;

    for (size_t i = chunk * NODE_CHUNK; i < chunk_end(chunk, NODE_CHUNK, search->batch_count); i++) {
        struct item item = search->item_batch[i];
        if (!allowance_spent(search, result)) {
            vec3 sum = vec3_add(deviation_surface_corner(from, item.index, 0),
                                vec3_add(deviation_surface_corner(from, item.index, 1),
                                         deviation_surface_corner(from, item.index, 2)));
            double distance;
            item.near =
                hunt_query(&result->hunt, vec3_scale(sum, 1.0 / 3), item.index, item.near, &distance).slot;
            item.upper = fmin(item.upper, triangle_bound(&result->hunt, item.index, item.near));
        }
        if (!hunt_drops(&result->hunt, item.upper))
            search->item_output[chunk * NODE_CHUNK + result->item_count++] = item;
    }
}

static void vertex_chunk(void *context, size_t chunk)
{
    struct search *search = context;
    struct chunk_result *result = begin_chunk(search, chunk);

    for (size_t i = chunk * NODE_CHUNK; i < chunk_end(chunk, NODE_CHUNK, search->query_count); i++) {
        const struct vertex_query *query = &search->queries[i];
        double distance;
        search->vertex_faces[query->vertex] =
            allowance_spent(search, result)
                ? BVH_NONE
                : hunt_query(&result->hunt, search->hunt.from->points[query->vertex], query->slot,
                             query->first, &distance)
                      .slot;
    }
}

/* The vertices of the batch that were not asked yet, each once. */
static void list_vertices(struct search *search)
{
    search->query_count = 0;
    for (size_t i = 0; i < search->batch_count; i++) {
        const struct item *item = &search->item_batch[i];
        for (int k = 0; k < 3; k++) {
            uint32_t vertex = search->hunt.from->bvh.corners[item->index][k];
            if (search->vertex_faces[vertex] != BVH_NONE)
                continue;
            search->vertex_faces[vertex] = item->near; /* listed: the answer overwrites this */
            search->queries[search->query_count++] = (struct vertex_query){vertex, item->index, item->near};
        }
    }
}

static void triangle_chunk(void *context, size_t chunk)
{
    struct search *search = context;
    struct chunk_result *result = begin_chunk(search, chunk);
    const struct deviation_surface *from = search->hunt.from;

    for (size_t i = chunk * NODE_CHUNK; i < chunk_end(chunk, NODE_CHUNK, search->batch_count); i++) {
        const struct item *item = &search->item_batch[i];
        struct piece *piece = &search->piece_output[chunk * NODE_CHUNK + result->piece_count];
        bool known = true;
        piece->slot = item->index;
        for (int k = 0; k < 3; k++) {
            piece->corners[k] = deviation_surface_corner(from, item->index, k);
            piece->faces[k] = search->vertex_faces[from->bvh.corners[item->index][k]];
            known = known && piece->faces[k] != BVH_NONE;
        }
        if (!known || allowance_spent(search, result)) {
            search->item_output[chunk * NODE_CHUNK + result->item_count++] = *item;
            continue;
        }
        for (int k = 0; k < 3; k++)
            piece->distances[k] =
                sqrt(bvh_distance_sq(&search->hunt.to->bvh, piece->corners[k], piece->faces[k]));
        piece_bound(&result->hunt, piece, item->near, item->upper);
        if (!hunt_drops(&result->hunt, piece->upper))
            result->piece_count++;
    }
}

static void collect_pieces(struct search *search, size_t chunk_count, size_t outputs_per_chunk)
{
    for (size_t chunk = 0; chunk < chunk_count; chunk++)
        for (size_t i = 0; i < search->results[chunk].piece_count; i++) {
            const struct piece *piece = &search->piece_output[chunk * outputs_per_chunk + i];
            if (search->piece_count < PIECES_MAX)
                search->pieces[search->piece_count++] = *piece;
            else /* no room: its bound is given away, and counts in the end */
                search->hunt.dropped = fmax(search->hunt.dropped, piece->upper);
        }
}

/* The output of one step becomes the batch of the next. */
static void keep_as_batch(struct search *search, size_t chunk_count)
{
    search->batch_count = 0;
    for (size_t chunk = 0; chunk < chunk_count; chunk++)
        for (size_t i = 0; i < search->results[chunk].item_count; i++)
            search->item_batch[search->batch_count++] = search->item_output[chunk * NODE_CHUNK + i];
}

static void search_triangles(struct search *search)
{
    size_t chunks = chunks_of(search->batch_count, NODE_CHUNK);

    run_chunks(search, chunks, centroid_chunk);
    keep_as_batch(search, chunks);
    list_vertices(search);
    run_chunks(search, chunks_of(search->query_count, NODE_CHUNK), vertex_chunk);
    chunks = chunks_of(search->batch_count, NODE_CHUNK);
    run_chunks(search, chunks, triangle_chunk);
    collect_items(search, chunks, NODE_CHUNK);
    collect_pieces(search, chunks, NODE_CHUNK);
}

/* Pieces. */

static void piece_chunk(void *context, size_t chunk)
{
    struct search *search = context;
    struct chunk_result *result = begin_chunk(search, chunk);
    struct piece *output = search->piece_output + chunk * PIECE_CHUNK * PIECE_CHILDREN_MAX;

    for (size_t i = chunk * PIECE_CHUNK; i < chunk_end(chunk, PIECE_CHUNK, search->batch_count); i++) {
        const struct piece *piece = &search->piece_batch[i];
        if (allowance_spent(search, result))
            output[result->piece_count++] = *piece;
        else if (!hunt_drops(&result->hunt, piece->upper))
            result->piece_count += piece_refine(&result->hunt, piece, output + result->piece_count);
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

/* Takes items above a bound out of the pool: nodes, or triangles. */
static void take_items(struct search *search, double above, bool triangles)
{
    size_t kept = 0;

    search->batch_count = 0;
    for (size_t i = 0; i < search->item_count; i++) {
        struct item item = search->items[i];
        if (item.upper >= above && (item.level < 0) == triangles && search->batch_count < NODE_BATCH)
            search->item_batch[search->batch_count++] = item;
        else
            search->items[kept++] = item;
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

/* Works on what has the larger half of the open bounds, so that the lower bound rises before the rest is
 * looked at. */
static void run_round(struct search *search, double largest)
{
    double lower = search->hunt.best.distance + search->hunt.tolerance,
           above = lower + (largest - lower) * 0.5;
    size_t chunks;

    take_items(search, above, false);
    chunks = chunks_of(search->batch_count, NODE_CHUNK);
    run_chunks(search, chunks, node_chunk);
    collect_items(search, chunks, NODE_CHUNK * BVH_WIDTH);

    take_items(search, above, true);
    search_triangles(search);

    take_pieces(search, above);
    chunks = chunks_of(search->batch_count, PIECE_CHUNK);
    run_chunks(search, chunks, piece_chunk);
    collect_pieces(search, chunks, PIECE_CHUNK * PIECE_CHILDREN_MAX);
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
        size_t below = level ? from->bvh.node_counts[level - 1] : from->bvh.triangle_count;
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
    size_t chunk_max = chunks_of(3 * NODE_BATCH, NODE_CHUNK);

    search->item_capacity = from->bvh.triangle_count + BVH_WIDTH * NODE_BATCH;
    search->vertex_faces = ARENA_NEW(arena, uint32_t, from->point_count);
    search->items = ARENA_NEW(arena, struct item, search->item_capacity);
    search->pieces = ARENA_NEW(arena, struct piece, PIECES_MAX);
    search->item_batch = ARENA_NEW(arena, struct item, NODE_BATCH);
    search->item_output = ARENA_NEW(arena, struct item, NODE_BATCH * BVH_WIDTH);
    search->piece_batch = ARENA_NEW(arena, struct piece, PIECE_BATCH);
    search->piece_output = ARENA_NEW(arena, struct piece, PIECE_BATCH * PIECE_CHILDREN_MAX);
    search->queries = ARENA_NEW(arena, struct vertex_query, 3 * NODE_BATCH);
    search->results = ARENA_NEW(arena, struct chunk_result, chunk_max);
    if (!search->vertex_faces || !search->items || !search->pieces || !search->item_batch
        || !search->item_output || !search->piece_batch || !search->piece_output || !search->queries
        || !search->results || !mark_gone(search, arena))
        return arena_error(err);
    memset(search->vertex_faces, 0xff, from->point_count * sizeof *search->vertex_faces);
    return true;
}

static void fill_result(const struct search *search, double open, struct maximum *maximum)
{
    const struct farthest *best = &search->hunt.best;
    double upper = fmax(best->distance, fmax(search->hunt.dropped, open));

    maximum->lower = fmax(0, best->distance - DEVIATION_SLACK);
    maximum->upper = upper + DEVIATION_SLACK;
    maximum->at = best->at;
    maximum->from_slot = best->from_slot;
    maximum->to_slot = best->to_slot;
    maximum->work = search->hunt.work;
    maximum->exhausted = maximum->upper - maximum->lower > search->settings->width;
}

bool maximum_find(const struct deviation_surface *from, const struct deviation_surface *to,
                  const struct maximum_settings *settings, struct maximum *maximum, struct arena scratch,
                  struct error *err)
{
    struct search search = {.settings = settings};
    double largest;

    search.hunt = (struct hunt){.from = from, .to = to};
    search.hunt.tolerance = fmax(settings->width * (1 - 0x1p-40) - 2 * DEVIATION_SLACK, DEVIATION_SLACK);
    search.budget = settings->budget ? settings->budget
                                     : MAXIMUM_BUDGET(from->bvh.triangle_count, to->bvh.triangle_count);
    if (!allocate(&search, &scratch, err))
        return false;
    take_samples(&search);
    if (from->shared_count < from->bvh.triangle_count)
        search.items[search.item_count++] =
            (struct item){FARTHEST_POSSIBLE, 0, search.hunt.best.to_slot, (int)from->bvh.level_count - 1};
    while ((largest = sift(&search)) > 0) {
        if (!tell(&search, largest - search.hunt.best.distance))
            return error_set(err, ERROR_CANCELLED, "measuring was stopped");
        if (search.hunt.work >= search.budget - search.budget / 16)
            break;
        run_round(&search, largest);
    }
    fill_result(&search, largest, maximum);
    return true;
}
