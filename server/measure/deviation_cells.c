/* deviation_cells.c - rows of cells as words, spread cell by cell. */
#include "measure/deviation_cells.h"

#include "base/tasks.h"

#include <math.h>
#include <string.h>

#define SIDE 64 /* cells along each axis of the frame, as many as a word has bits */
#define CELL (2.0 / SIDE)
#define MANY ((size_t)1 << 17) /* triangles, of which most are no longer than a cell */
#define CHUNK ((size_t)1 << 13)
#define REACHED ((size_t)1 << 14) /* triangles at least that tell where a surface is, */
#define REACHED_SHARE 8           /* and one of so many */

struct cells {
    uint64_t rows[SIDE][SIDE]; /* [z][y], bit x */
};

/* The first and the last cell along each axis. */
struct cell_range {
    int first[3], last[3];
};

/* Never falls where x rises: what two boxes have in common they have in cells too. */
static int cell_of(double x)
{
    int cell = (int)((x + 1) * (SIDE / 2));

    return cell < 0 ? 0 : cell < SIDE ? cell : SIDE - 1;
}

static inline void put_axis(struct cell_range *range, int axis, double a, double b, double c)
{
    double low = a < b ? a : b, high = a < b ? b : a;

    range->first[axis] = cell_of(c < low ? c : low);
    range->last[axis] = cell_of(c > high ? c : high);
}

static inline struct cell_range range_of(const struct deviation_surface *surface, size_t triangle)
{
    const uint32_t *corner = surface->triangulation.corners[triangle];
    vec3 a = surface->points[corner[0]], b = surface->points[corner[1]], c = surface->points[corner[2]];

    struct cell_range range;

    put_axis(&range, 0, a.x, b.x, c.x);
    put_axis(&range, 1, a.y, b.y, c.y);
    put_axis(&range, 2, a.z, b.z, c.z);
    return range;
}

static uint64_t bits_of(const struct cell_range *range)
{
    return (UINT64_MAX >> (SIDE - 1 - (range->last[0] - range->first[0]))) << range->first[0];
}

static void put(struct cells *cells, const struct cell_range *range)
{
    for (int z = range->first[2]; z <= range->last[2]; z++)
        for (int y = range->first[1]; y <= range->last[1]; y++)
            cells->rows[z][y] |= bits_of(range);
}

static bool meets(const struct cells *cells, const struct cell_range *range)
{
    for (int z = range->first[2]; z <= range->last[2]; z++)
        for (int y = range->first[1]; y <= range->last[1]; y++)
            if (cells->rows[z][y] & bits_of(range))
                return true;
    return false;
}

/* To the cells beside, above and below, and at the corners. */
static void spread(struct cells *cells)
{
    struct cells by_rows;

    for (int z = 0; z < SIDE; z++) {
        uint64_t below = 0, row = 0;
        for (int y = 0; y < SIDE; y++) {
            uint64_t above = cells->rows[z][y] | cells->rows[z][y] << 1 | cells->rows[z][y] >> 1;
            if (y > 0)
                by_rows.rows[z][y - 1] = below | row | above;
            below = row;
            row = above;
        }
        by_rows.rows[z][SIDE - 1] = below | row;
    }
    for (int z = 0; z < SIDE; z++)
        for (int y = 0; y < SIDE; y++)
            cells->rows[z][y] = by_rows.rows[z][y] | (z > 0 ? by_rows.rows[z - 1][y] : 0)
                                | (z < SIDE - 1 ? by_rows.rows[z + 1][y] : 0);
}

static bool covers(const struct cells *cells, const struct cells *others)
{
    uint64_t open = 0;

    for (int z = 0; z < SIDE; z++)
        for (int y = 0; y < SIDE; y++)
            open |= others->rows[z][y] & ~cells->rows[z][y];
    return open == 0;
}

/* Cells with a corner of a triangle, of so many triangles evenly from the list. */
static void put_reached(struct cells *cells, const struct deviation_surface *surface)
{
    size_t count = surface->triangulation.triangle_count, stride = count / REACHED + 1;

    stride = stride < REACHED_SHARE ? stride : REACHED_SHARE;

    for (size_t t = 0; t < count; t += stride) {
        vec3 p = surface->points[surface->triangulation.corners[t][0]];
        cells->rows[cell_of(p.z)][cell_of(p.y)] |= (uint64_t)1 << cell_of(p.x);
    }
}

static void put_own(struct cells *cells, const struct deviation_surface *surface, const uint32_t *twins)
{
    for (size_t t = 0; t < surface->triangulation.triangle_count; t++)
        if (twins[t] == BVH_NONE) {
            struct cell_range range = range_of(surface, t);
            put(cells, &range);
        }
}

/* A point whose cell is within so many steps of one with a point of the other surface is within the diagonal
 * of so many cells and one. */
static double reach_of_steps(int steps)
{
    return sqrt(3) * (steps + 1) * CELL * (1 + 0x1p-40);
}

/* Cells along an axis that few triangles are longer than: those are told by their boxes, which takes longer,
 * the others by their corners. */
static int corner_cells_of(const struct deviation_surface *surface)
{
    return surface->triangulation.triangle_count < MANY ? 2 : 1;
}

/* Turns the cells of own triangles into those that may hold what is nearest to them; returns the reach. */
static double reach_out(struct cells *own, struct cells *reached, int corner_cells)
{
    int steps = 0;

    for (; !covers(reached, own); steps++)
        spread(reached);
    double reach = reach_of_steps(steps);
    for (int i = 0; i < SIDE && i * CELL < reach; i++)
        spread(own);
    for (int i = 0; i < corner_cells; i++) /* see may_be_near */
        spread(own);
    return reach;
}

struct marking {
    const struct deviation_surface *surface;
    const uint32_t *twins;
    const struct cells *near; /* NULL: nothing is asked */
    int corner_cells;         /* spread so far beyond what may be near */
    bool *near_points;        /* [point_count] in one of these cells */
    bool *marked;
    size_t count;
};

static size_t chunk_end(size_t chunk, size_t count)
{
    return (chunk + 1) * CHUNK < count ? (chunk + 1) * CHUNK : count;
}

static void mark_points(void *context, size_t chunk)
{
    const struct marking *marking = context;
    const struct deviation_surface *surface = marking->surface;

    for (size_t v = chunk * CHUNK; v < chunk_end(chunk, surface->point_count); v++) {
        vec3 p = surface->points[v];
        marking->near_points[v] = marking->near->rows[cell_of(p.z)][cell_of(p.y)] >> cell_of(p.x) & 1;
    }
}

static bool is_longer(double than, double a, double b, double c)
{
    double low = a < b ? a : b, high = a < b ? b : a;

    low = c < low ? c : low;
    high = c > high ? c : high;
    return high - low > than;
}

/* A point of a triangle that is not longer is within so many cells of each of its corners. */
static bool may_be_near(const struct marking *marking, size_t triangle)
{
    const uint32_t *corner = marking->surface->triangulation.corners[triangle];
    vec3 a = marking->surface->points[corner[0]], b = marking->surface->points[corner[1]],
         c = marking->surface->points[corner[2]];

    const double than = marking->corner_cells * CELL;

    if (is_longer(than, a.x, b.x, c.x) || is_longer(than, a.y, b.y, c.y) || is_longer(than, a.z, b.z, c.z)) {
        struct cell_range range = range_of(marking->surface, triangle);
        return meets(marking->near, &range);
    }
    return marking->near_points[corner[0]] || marking->near_points[corner[1]]
           || marking->near_points[corner[2]];
}

static void mark_chunk(void *context, size_t chunk)
{
    struct marking *marking = context;
    size_t count = 0;

    for (size_t t = chunk * CHUNK; t < chunk_end(chunk, marking->surface->triangulation.triangle_count);
         t++) {
        bool marked = marking->twins[t] == BVH_NONE;
        if (marking->near)
            marked |= may_be_near(marking, t);
        marking->marked[t] = marked;
        count += marked;
    }
    __atomic_fetch_add(&marking->count, count, __ATOMIC_RELAXED);
}

static void mark(struct marking *marking, size_t threads)
{
    const struct deviation_surface *surface = marking->surface;

    if (marking->near)
        tasks_run(threads, tasks_chunks(surface->point_count, CHUNK), mark_points, marking);
    tasks_run(threads, tasks_chunks(surface->triangulation.triangle_count, CHUNK), mark_chunk, marking);
    if (marking->count == 0) { /* both surfaces are the same there */
        marking->marked[0] = true;
        marking->count = 1;
    }
}

bool cells_mark(const struct deviation_surface *const surfaces[2], const struct shared_triangles *shared,
                size_t threads, struct held_triangles *held, struct arena *keep, struct arena scratch,
                struct error *err)
{
    struct cells *own = ARENA_NEW(&scratch, struct cells, 2), *reached = ARENA_NEW(&scratch, struct cells, 1);

    if (!own || !reached)
        return arena_error(err);
    for (int i = 0; i < 2; i++) {
        size_t count = surfaces[i]->triangulation.triangle_count;
        held->reach[i] = 0;
        held->marked[i] = ARENA_NEW(keep, bool, count);
        if (!held->marked[i])
            return arena_error(err);
        if (shared->counts[i] == count)
            continue;
        memset(&own[i], 0, sizeof own[i]);
        memset(reached, 0, sizeof *reached);
        put_own(&own[i], surfaces[i], shared->twins[i]);
        put_reached(reached, surfaces[1 - i]);
        held->reach[i] = reach_out(&own[i], reached, corner_cells_of(surfaces[1 - i]));
    }
    for (int i = 0; i < 2; i++) {
        struct arena room = scratch;
        struct marking marking = {.surface = surfaces[i],
                                  .twins = shared->twins[i],
                                  .near = held->reach[1 - i] > 0 ? &own[1 - i] : NULL,
                                  .corner_cells = corner_cells_of(surfaces[i]),
                                  .near_points = ARENA_NEW(&room, bool, surfaces[i]->point_count),
                                  .marked = held->marked[i]};
        if (!marking.near_points)
            return arena_error(err);
        mark(&marking, threads);
        held->counts[i] = marking.count;
    }
    return true;
}
