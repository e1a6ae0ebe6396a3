/* deviation_cells.c - cells of what differs, spread as far as the other surface may be. */
#include "measure/deviation_cells.h"

#include "base/tasks.h"
#include "measure/lattice.h"

#include <math.h>
#include <string.h>

#define MANY ((size_t)1 << 17) /* triangles, of which most are no longer than a cell */
#define CHUNK ((size_t)1 << 13)
#define REACHED ((size_t)1 << 14) /* triangles at least that tell where a surface is, */
#define REACHED_SHARE 8           /* and one of so many */

static struct lattice_range range_of(const struct deviation_surface *surface, size_t triangle)
{
    const uint32_t *corner = surface->triangulation.corners[triangle];

    return lattice_triangle(surface->points[corner[0]], surface->points[corner[1]],
                            surface->points[corner[2]]);
}

/* Cells with a corner of a triangle, of so many triangles evenly from the list. */
static void put_reached(struct lattice *cells, const struct deviation_surface *surface)
{
    size_t count = surface->triangulation.triangle_count, stride = count / REACHED + 1;

    stride = stride < REACHED_SHARE ? stride : REACHED_SHARE;
    for (size_t t = 0; t < count; t += stride)
        lattice_put_point(cells, surface->points[surface->triangulation.corners[t][0]]);
}

static void put_own(struct lattice *cells, const struct deviation_surface *surface, const uint32_t *twins)
{
    for (size_t t = 0; t < surface->triangulation.triangle_count; t++)
        if (twins[t] == BVH_NONE) {
            struct lattice_range range = range_of(surface, t);
            lattice_put(cells, &range);
        }
}

/* A point whose cell is within so many steps of one with a point of the other surface is within the diagonal
 * of so many cells and one. */
static double reach_of_steps(int steps)
{
    return sqrt(3) * (steps + 1) * LATTICE_CELL * (1 + 0x1p-40);
}

/* Cells along an axis that few triangles are longer than: those are told by their boxes, which takes longer,
 * the others by their corners. */
static int corner_cells_of(const struct deviation_surface *surface)
{
    return surface->triangulation.triangle_count < MANY ? 2 : 1;
}

/* Turns the cells of own triangles into those that may hold what is nearest to them; returns the reach. */
static double reach_out(struct lattice *own, struct lattice *reached, int corner_cells)
{
    int steps = 0;

    for (; !lattice_covers(reached, own); steps++)
        lattice_spread(reached, 1);
    double reach = reach_of_steps(steps);
    lattice_spread(own, lattice_steps(reach) + corner_cells); /* see may_be_near */
    return reach;
}

struct marking {
    const struct deviation_surface *surface;
    const uint32_t *twins;
    const struct lattice *near; /* NULL: nothing is asked */
    int corner_cells;           /* spread so far beyond what may be near */
    bool *near_points;          /* [point_count] in one of these cells */
    bool *marked;
    size_t count;
};

static void mark_points(void *context, size_t chunk)
{
    const struct marking *marking = context;
    const struct deviation_surface *surface = marking->surface;

    for (size_t v = chunk * CHUNK; v < tasks_chunk_end(chunk, CHUNK, surface->point_count); v++)
        marking->near_points[v] = lattice_has_point(marking->near, surface->points[v]);
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
    const double than = marking->corner_cells * LATTICE_CELL;

    if (is_longer(than, a.x, b.x, c.x) || is_longer(than, a.y, b.y, c.y) || is_longer(than, a.z, b.z, c.z)) {
        struct lattice_range range = range_of(marking->surface, triangle);
        return lattice_meets(marking->near, &range);
    }
    return marking->near_points[corner[0]] || marking->near_points[corner[1]]
           || marking->near_points[corner[2]];
}

static void mark_chunk(void *context, size_t chunk)
{
    struct marking *marking = context;
    size_t count = 0;

    for (size_t t = chunk * CHUNK;
         t < tasks_chunk_end(chunk, CHUNK, marking->surface->triangulation.triangle_count); t++) {
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
    struct lattice *own = ARENA_NEW(&scratch, struct lattice, 2),
                   *reached = ARENA_NEW(&scratch, struct lattice, 1);

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
