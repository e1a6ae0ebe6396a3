/* test_bvh.c
 *   nearest_*      against every triangle in turn, on soups, sheets and flat triangles, from any first guess
 *   within_*       what is found is within the limit; nothing is missed in the node
 *   near_*         what is near enough, or else the nearest
 *   about_*        what is near enough, or else about as near as the nearest
 *   look_*         nothing over a polygon is left out, whatever is seen
 *   collect_*      against every triangle in turn
 *   paths_*        every kind of vector unit gives the same results to the last bit
 *   match_*        the listed triangle whose box has the nearest middle
 *   every_path_*   likewise, pair by pair
 *   below_*        linear bounds from below
 *   tree_*         boxes hold what is below them; one triangle, many equal ones; any number of threads
 *   halves_*, cells_*  how the triangles of a block are ordered
 *   memory_*       smaller arenas end in ERROR_LIMIT
 */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <string.h>

#include "bvh/bvh.h"
#include "bvh/bvh_kernels.h"
#include "geom/point_triangle.h"
#include "support/fixture_shapes.h"

struct soup {
    size_t count;
    vec3 *points;
    uint32_t (*triangles)[3];
    struct bvh bvh;
};

enum soup_kind { SOUP_ANY, SOUP_SMALL, SOUP_LATTICE, SOUP_FLAT, SOUP_ONE_PLACE, SOUP_KINDS };

static double uniform(uint64_t *state)
{
    return 2 * fixture_random_unit(state) - 1;
}

static vec3 random_point(uint64_t *state)
{
    return (vec3){uniform(state), uniform(state), uniform(state)};
}

static vec3 soup_corner(uint64_t *state, enum soup_kind kind, vec3 centre)
{
    vec3 p = random_point(state);

    switch (kind) {
    case SOUP_SMALL:
        return vec3_add(vec3_scale(centre, 0.9), vec3_scale(p, 0.05));
    case SOUP_LATTICE: /* many ties */
        return (vec3){round(p.x * 2) / 2, round(p.y * 2) / 2, round(p.z * 2) / 2};
    case SOUP_FLAT: /* needles along x */
        return (vec3){p.x, centre.y, centre.z + 1e-9 * p.z};
    case SOUP_ONE_PLACE:
        return (vec3){0.25, 0.5, -0.75};
    default:
        return p;
    }
}

static struct soup make_soup(size_t count, enum soup_kind kind, uint64_t *state)
{
    struct arena *keep = fixture_arena(), *scratch = fixture_arena();
    struct soup soup = {
        count, ARENA_NEW(keep, vec3, 3 * count), arena_alloc(keep, count, sizeof *soup.triangles, 4), {0}};
    struct error err;

    for (size_t t = 0; t < count; t++) {
        vec3 centre = vec3_scale(random_point(state), 0.9);
        for (size_t i = 0; i < 3; i++) {
            soup.points[3 * t + i] = soup_corner(state, kind, centre);
            soup.triangles[t][i] = (uint32_t)(3 * t + i);
        }
    }
    cr_assert(
        bvh_build(soup.points, count, soup.triangles, FIXTURE_FRAME, 1, &soup.bvh, keep, *scratch, &err));
    cr_assert(bvh_is_valid(&soup.bvh));
    return soup;
}

/* The corners in the order of the index, so that rounding is the same. */
static struct bvh_hit nearest_of_all(const struct soup *soup, vec3 p)
{
    struct bvh_hit best = {INFINITY, BVH_NONE};

    for (uint32_t slot = 0; slot < soup->count; slot++) {
        double distance_sq = bvh_distance_sq(&soup->bvh, p, slot);
        if (distance_sq < best.distance_sq
            || (distance_sq == best.distance_sq
                && soup->bvh.triangles[slot] < soup->bvh.triangles[best.slot]))
            best = (struct bvh_hit){distance_sq, slot};
    }
    return best;
}

Test(bvh, nearest_is_that_of_all_triangles_whatever_the_first_guess)
{
    const size_t sizes[] = {1, 2, 7, 8, 9, 64, 65, 500, 600, 5000};
    uint64_t state = 21;

    for (int kind = 0; kind < SOUP_KINDS; kind++)
        for (size_t k = 0; k < sizeof sizes / sizeof *sizes; k++) {
            struct soup soup = make_soup(sizes[k], (enum soup_kind)kind, &state);
            for (int i = 0; i < 200; i++) {
                size_t work = 0;
                vec3 p =
                    i % 2 ? random_point(&state) : soup.points[fixture_random_below(&state, 3 * soup.count)];
                struct bvh_hit want = nearest_of_all(&soup, p);
                struct bvh_hit got = bvh_nearest(&soup.bvh, p, BVH_NONE, &work);
                cr_assert(got.slot == want.slot && got.distance_sq == want.distance_sq,
                          "kind %d, %zu triangles", kind, sizes[k]);
                cr_assert(gt(sz, work, 0));
                uint32_t first = (uint32_t)fixture_random_below(&state, soup.count);
                got = bvh_nearest(&soup.bvh, p, first, &work);
                cr_assert(got.slot == want.slot && got.distance_sq == want.distance_sq,
                          "kind %d, %zu triangles, first guess %u", kind, sizes[k], first);
            }
        }
}

/* Near one of the soup's corners, some of them on corners: as many as lanes. */
static void put_points_about(const struct soup *soup, double spread, uint64_t *state, vec3 *points)
{
    vec3 middle = soup->points[fixture_random_below(state, 3 * soup->count)];

    for (int i = 0; i < BVH_LANES; i++)
        points[i] = i % 4 == 3
                        ? soup->points[fixture_random_below(state, 3 * soup->count)]
                        : vec3_add(vec3_scale(middle, 0.5), vec3_scale(random_point(state), 0.5 * spread));
}

/* Beginning at what is nearest, and at slots that may be anywhere. */
static bool are_the_same_from(const struct soup *soup, const vec3 *points, size_t count,
                              const struct bvh_hit *want)
{
    uint32_t near[BVH_LANES], any[BVH_LANES];
    struct bvh_hit got[2][BVH_LANES];
    size_t work = 0;

    for (size_t lane = 0; lane < count; lane++) {
        near[lane] = want[lane].slot;
        any[lane] = (uint32_t)((want[lane].slot * 7 + lane) % soup->count);
    }
    bvh_nearest_lanes_from(&soup->bvh, points, count, near, got[0], &work);
    bvh_nearest_lanes_from(&soup->bvh, points, count, any, got[1], &work);
    for (size_t lane = 0; lane < 2 * count; lane++) {
        const struct bvh_hit *hit = &got[lane / count][lane % count];
        if (hit->slot != want[lane % count].slot || hit->distance_sq != want[lane % count].distance_sq)
            return false;
    }
    return true;
}

Test(bvh, nearest_of_lanes_is_that_of_each_alone_whatever_the_reach)
{
    const size_t sizes[] = {1, 9, 65, 3000};
    const double reaches[] = {0, 1e-9, 0.01, 0.2, 3, INFINITY};
    uint64_t state = 22;

    for (int kind = 0; kind < SOUP_KINDS; kind++)
        for (size_t k = 0; k < sizeof sizes / sizeof *sizes; k++) {
            struct soup soup = make_soup(sizes[k], (enum soup_kind)kind, &state);
            for (int i = 0; i < 100; i++) {
                vec3 points[BVH_LANES];
                put_points_about(&soup, i % 5 ? 0.02 : 1, &state, points);
                size_t count = 1 + fixture_random_below(&state, BVH_LANES), work = 0;
                double reach = reaches[i % 6];
                size_t taken = 0;
                struct bvh_hit got[BVH_LANES];
                for (size_t path = 0; bvh_kernels_at(path); path++) {
                    soup.bvh.kernels = bvh_kernels_at(path);
                    work = 0;
                    bvh_nearest_lanes(&soup.bvh, points, count, reach, i % 2 ? 0 : BVH_NONE, got, &work);
                    taken = path == 0 ? work : taken;
                    cr_assert(work == taken && work > 0, "%s: work %zu, %zu", soup.bvh.kernels->name, work,
                              taken);
                    for (size_t lane = 0; lane < count; lane++) {
                        struct bvh_hit want = bvh_nearest(&soup.bvh, points[lane], BVH_NONE, &work);
                        cr_assert(got[lane].slot == want.slot && got[lane].distance_sq == want.distance_sq,
                                  "%s, kind %d, %zu triangles, reach %g", soup.bvh.kernels->name, kind,
                                  sizes[k], reach);
                    }
                    cr_assert(are_the_same_from(&soup, points, count, got), "%s, kind %d, %zu triangles",
                              soup.bvh.kernels->name, kind, sizes[k]);
                }
            }
        }
}

Test(bvh, nearest_agrees_with_the_plain_formula)
{
    uint64_t state = 4;
    struct soup soup = make_soup(300, SOUP_ANY, &state);

    for (int i = 0; i < 500; i++) {
        vec3 p = random_point(&state);
        size_t work = 0;
        double least = INFINITY;
        for (size_t t = 0; t < soup.count; t++)
            least = fmin(least, triangle_distance_sq(p, soup.points[3 * t], soup.points[3 * t + 1],
                                                     soup.points[3 * t + 2]));
        /* 1e-12: other order of corners, other rounding */
        cr_expect(fabs(sqrt(bvh_nearest(&soup.bvh, p, BVH_NONE, &work).distance_sq) - sqrt(least)) < 1e-12);
    }
}

Test(bvh, nearest_looks_at_few_of_many)
{
    uint64_t state = 8;
    struct soup soup = make_soup(20000, SOUP_SMALL, &state);
    size_t work = 0;

    for (int i = 0; i < 100; i++)
        bvh_nearest(&soup.bvh, soup.points[fixture_random_below(&state, 3 * soup.count)], BVH_NONE, &work);
    cr_expect(lt(sz, work / 100, 2000), "%zu boxes and triangles a query", work / 100);
}

Test(bvh, tree_turns_the_longest_side_first)
{
    uint64_t state = 2;
    struct soup soup = make_soup(100, SOUP_ANY, &state);

    for (size_t slot = 0; slot < soup.count; slot++) {
        const uint32_t *c = soup.bvh.corners[slot];
        cr_expect(
            eq(uint, triangle_longest_first(soup.points[c[0]], soup.points[c[1]], soup.points[c[2]]), 0));
    }
}

#define WAVES 128 /* squares on each side of a wavy sheet, each of two triangles */

static double wave(size_t i, size_t k)
{
    double x = 1.6 * (double)i / WAVES - 0.8, y = 1.6 * (double)k / WAVES - 0.8;

    return 0.4 * x + 0.2 * sin(5 * x) * cos(4 * y);
}

struct waves {
    double size;
    bool far;      /* one triangle more, in a corner of the frame */
    bool shuffled; /* the others, in the list */
};

static void shuffle_triangles(uint32_t (*triangles)[3], size_t count)
{
    uint64_t state = 53;

    for (size_t i = count; i > 1; i--) {
        uint32_t swap[3], *a = triangles[i - 1], *b = triangles[fixture_random_below(&state, i)];
        memcpy(swap, a, sizeof swap);
        memmove(a, b, sizeof swap);
        memcpy(b, swap, sizeof swap);
    }
}

static struct soup make_waves(const struct waves *waves)
{
    struct arena *keep = fixture_arena(), *scratch = fixture_arena();
    const uint32_t row = WAVES + 1;
    const size_t count = (size_t)2 * WAVES * WAVES + waves->far;
    struct soup soup = {count,
                        ARENA_NEW(keep, vec3, (size_t)row * row + 3),
                        arena_alloc(keep, count, sizeof *soup.triangles, 4),
                        {0}};
    struct error err;
    size_t t = 0;

    for (size_t k = 0; k < row; k++)
        for (size_t i = 0; i < row; i++)
            soup.points[k * row + i] =
                vec3_scale((vec3){1.6 * (double)i / WAVES - 0.8, 1.6 * (double)k / WAVES - 0.8, wave(i, k)},
                           waves->size);
    for (uint32_t k = 0; k < WAVES; k++)
        for (uint32_t i = 0; i < WAVES; i++) {
            const uint32_t a = k * row + i, two[2][3] = {{a, a + 1, a + row + 1}, {a, a + row + 1, a + row}};
            memcpy(soup.triangles[t], two, sizeof two);
            t += 2;
        }
    if (waves->shuffled)
        shuffle_triangles(soup.triangles, t);
    for (uint32_t i = 0; i < 3 && waves->far; i++) {
        soup.points[row * row + i] = (vec3){1, 1, i == 0 ? 1 : i == 1 ? 0.99 : 0.98};
        soup.triangles[t][i] = row * row + i;
    }
    cr_assert(
        bvh_build(soup.points, count, soup.triangles, FIXTURE_FRAME, 2, &soup.bvh, keep, *scratch, &err));
    return soup;
}

/* Leaves that reach over more than six edges. */
static size_t count_large_leaves(const struct bvh *bvh, double size)
{
    const double most = 6 * 1.6 / WAVES * size;
    size_t large = 0;

    for (size_t i = 0; i < bvh->node_counts[0]; i++) {
        aabb box = aabb_empty();
        for (unsigned c = 0; c < BVH_WIDTH; c++) {
            aabb child = bvh_child_box(&bvh->levels[0][i], c);
            box = aabb_include(aabb_include(box, child.min), child.max);
        }
        large += box.max.x - box.min.x > most || box.max.y - box.min.y > most;
    }
    return large;
}

/* Morton order leaps now and then. Few leaves may reach from one side of a leap to the other: on this sheet
 * no more than one for each 512 triangles, where leaves cut from that order alone are many times more. */
Test(bvh, tree_keeps_leaves_small_on_a_sheet)
{
    struct soup soup = make_waves(&(struct waves){1, false, false});

    cr_expect(le(u64, count_large_leaves(&soup.bvh, 1), soup.count / 512));
}

static void expect_small_leaves(const struct waves *waves)
{
    struct soup soup = make_waves(waves);

    cr_assert(bvh_is_valid(&soup.bvh));
    cr_expect(le(u64, count_large_leaves(&soup.bvh, waves->size), soup.count / 512 + 1), "of size %g",
              waves->size);
}

/* The cells are then as large as an edge or some, or than the whole sheet: that triangles are near each other
 * is told by the last bits of their keys, or by the list alone. */
Test(bvh, tree_keeps_leaves_small_where_one_triangle_is_far)
{
    for (double size = 0x1p-5; size > 0x1p-24; size *= 0x1p-5)
        expect_small_leaves(&(struct waves){size, true, false});
    for (double size = 0x1p-5; size > 0x1p-9; size *= 0x1p-3)
        expect_small_leaves(&(struct waves){size, true, true});
}

static size_t axis_of_longest(const bvh_centre *centres, const uint32_t *order, size_t count)
{
    int64_t longest = -1;
    size_t found = 0;

    for (size_t axis = 0; axis < 3; axis++) {
        int64_t low = INT64_MAX, high = INT64_MIN;
        for (size_t i = 0; i < count; i++) {
            int64_t at = centres[order[i]][axis];
            low = at < low ? at : low;
            high = at > high ? at : high;
        }
        if (high - low > longest) {
            longest = high - low;
            found = axis;
        }
    }
    return found;
}

/* Values along an axis are told apart to a 2^22th of the length. */
static void expect_halved(const bvh_centre *centres, const uint32_t *order, size_t count)
{
    size_t half = BVH_WIDTH;

    if (count <= BVH_WIDTH)
        return;
    while (2 * half < count)
        half *= 2;
    const size_t axis = axis_of_longest(centres, order, count);
    int64_t low = INT64_MAX, high = INT64_MIN, most = INT64_MIN, least = INT64_MAX;
    for (size_t i = 0; i < count; i++) {
        int64_t at = centres[order[i]][axis];
        low = at < low ? at : low;
        high = at > high ? at : high;
        if (i < half)
            most = at > most ? at : most;
        else
            least = at < least ? at : least;
    }
    cr_assert(most <= least + ((high - low) >> 21), "%zu of them", count);
    expect_halved(centres, order, half);
    expect_halved(centres, order + half, count - half);
}

static void make_centres(bvh_centre *centres, size_t count, int kind, uint64_t *state)
{
    for (size_t i = 0; i < count; i++) {
        uint64_t range = kind == 0 ? (uint64_t)1 << 30 : kind == 1 ? 5 : 1;
        centres[i] = (bvh_centre){(int32_t)fixture_random_below(state, range),
                                  (int32_t)fixture_random_below(state, range >> 3 ? range >> 3 : 1),
                                  (int32_t)fixture_random_below(state, range), (int32_t)i};
        if (kind == 0 && i % 5 == 0) /* many in one place, from where the rest is far */
            centres[i][0] = 7;
    }
}

Test(bvh, halves_are_apart_on_every_path)
{
    uint64_t state = 51;

    for (size_t count = 1; count <= BVH_BLOCK; count += count < 70 ? 1 : 13)
        for (int kind = 0; kind < 3; kind++) {
            bvh_centre centres[BVH_BLOCK], work[BVH_BLOCK], room[BVH_BLOCK];
            uint32_t order[2][BVH_BLOCK];
            make_centres(centres, count, kind, &state);
            for (size_t path = 0; bvh_kernels_at(path); path++) {
                bool seen[BVH_BLOCK] = {false};
                memcpy(work, centres, sizeof work);
                bvh_kernels_at(path)->halve(work, room, count, order[path > 0]);
                cr_assert(memcmp(order[path > 0], order[0], count * sizeof order[0][0]) == 0, "%s",
                          bvh_kernels_at(path)->name);
                for (size_t i = 0; i < count; i++) {
                    cr_assert(order[0][i] < count && !seen[order[0][i]], "not a permutation");
                    seen[order[0][i]] = true;
                }
            }
            expect_halved(centres, order[0], count);
        }
}

/* A Morton code bit by bit. */
static uint64_t code_of(const uint32_t *cell)
{
    uint64_t code = 0;

    for (unsigned bit = 0; bit < 20; bit++)
        for (unsigned axis = 0; axis < 3; axis++)
            code |= (uint64_t)(cell[axis] >> bit & 1) << (3 * bit + axis);
    return code;
}

Test(bvh, cells_of_keys_are_found_on_every_path)
{
    uint64_t state = 52, keys[BVH_BLOCK];
    uint32_t cells[BVH_BLOCK][3];

    for (size_t count = 1; count <= BVH_BLOCK; count += 73)
        for (size_t path = 0; bvh_kernels_at(path); path++) {
            bvh_centre centres[BVH_BLOCK];
            uint32_t longest = 0;
            for (size_t i = 0; i < count; i++) {
                for (size_t axis = 0; axis < 3; axis++)
                    cells[i][axis] = (uint32_t)fixture_random_below(&state, 1 << 20);
                keys[i] = code_of(cells[i]) << 4 | fixture_random_below(&state, 16);
            }
            for (size_t axis = 0; axis < 3; axis++)
                for (size_t i = 0; i < count; i++)
                    for (size_t k = 0; k < i; k++) {
                        uint32_t a = cells[i][axis], b = cells[k][axis], apart = a > b ? a - b : b - a;
                        longest = apart > longest ? apart : longest;
                    }
            cr_expect(eq(u32, bvh_kernels_at(path)->find_cells(keys, count, 4, centres), longest));
            for (size_t i = 0; i < count; i++) {
                cr_assert(eq(i32, centres[i][3], (int32_t)i));
                for (size_t axis = 0; axis < 3; axis++)
                    cr_assert(eq(i32, centres[i][axis], (int32_t)cells[i][axis]));
            }
        }
}

Test(bvh, memory_that_is_too_small_is_refused_at_every_size)
{
    uint64_t state = 6;
    struct soup soup = make_soup(200, SOUP_ANY, &state);
    bool done = false;

    for (size_t bytes = 64; !done; bytes += 509) {
        struct arena *arena = fixture_arena(), keep, scratch;
        struct bvh bvh;
        struct error err;
        cr_assert(arena_split(arena, bytes, &keep) && arena_split(arena, bytes, &scratch));
        done =
            bvh_build(soup.points, soup.count, soup.triangles, FIXTURE_FRAME, 1, &bvh, &keep, scratch, &err);
        cr_assert(done || err.code == ERROR_LIMIT);
    }
}

static struct bvh_points random_points(uint64_t *state)
{
    struct bvh_points points;

    for (int i = 0; i < BVH_LANES; i++) {
        vec3 p = random_point(state);
        points.x[i] = p.x;
        points.y[i] = p.y;
        points.z[i] = p.z;
    }
    return points;
}

static struct bvh_region random_region(uint64_t *state)
{
    struct bvh_region region;
    vec3 centre = random_point(state);

    region.min[0] = (float)centre.x - 0.25f;
    region.min[1] = (float)centre.y - 0.25f;
    region.min[2] = (float)centre.z - 0.25f;
    for (int axis = 0; axis < 3; axis++)
        region.max[axis] = region.min[axis] + 0.5f;
    region.reach_sq = fixture_random_below(state, 2) ? 0.01f : 0;
    region.plane_count = BVH_REGION_PLANES;
    for (int i = 0; i < BVH_REGION_PLANES; i++) {
        vec3 normal = random_point(state);
        region.normals[i][0] = (float)normal.x;
        region.normals[i][1] = (float)normal.y;
        region.normals[i][2] = (float)normal.z;
        region.offsets[i] = (float)(vec3_dot(normal, centre) - 0.2 * vec3_length(normal));
    }
    return region;
}

Test(bvh, paths_agree_to_the_last_bit)
{
    uint64_t state = 31;

    for (int kind = 0; kind < SOUP_KINDS; kind++) {
        struct soup soup = make_soup(700, (enum soup_kind)kind, &state);
        for (int i = 0; i < 200; i++) {
            vec3 p[3] = {random_point(&state), random_point(&state), random_point(&state)};
            struct bvh_points points = random_points(&state);
            struct bvh_region region = random_region(&state);
            uint32_t first = (uint32_t)fixture_random_below(&state, soup.count), slots[2][700];
            double distances_sq[2][BVH_LANES], farthest[2] = {0, 0};
            size_t work[2] = {0, 0}, count[2];
            uint32_t found[2];
            struct bvh_hit hit[2], about[2];
            for (size_t path = 0; bvh_kernels_at(path); path++) {
                size_t k = path > 0;
                work[k] = 0;
                soup.bvh.kernels = bvh_kernels_at(path);
                about[k] = bvh_about(&soup.bvh, p[0], first, 0.1, &work[k]);
                hit[k] = bvh_nearest(&soup.bvh, p[0], first, &work[k]);
                found[k] = bvh_within(&soup.bvh, p, 1.5, first, &farthest[k], &work[k]);
                count[k] = bvh_collect(&soup.bvh, &region, slots[k], 300, &work[k]);
                bvh_distances_sq(&soup.bvh, first, &points, distances_sq[k]);
                cr_assert(hit[k].slot == hit[0].slot && hit[k].distance_sq == hit[0].distance_sq
                              && about[k].slot == about[0].slot && found[k] == found[0]
                              && farthest[k] == farthest[0] && count[k] == count[0] && work[k] == work[0]
                              && memcmp(distances_sq[k], distances_sq[0], sizeof distances_sq[0]) == 0
                              && (count[0] > 300 || memcmp(slots[k], slots[0], count[0] * 4) == 0),
                          "%s, kind %d", soup.bvh.kernels->name, kind);
            }
        }
    }
}

Test(bvh, near_ends_at_what_is_near_enough)
{
    uint64_t state = 36;

    for (int kind = 0; kind < SOUP_KINDS; kind++) {
        struct soup soup = make_soup(400, (enum soup_kind)kind, &state);
        for (int i = 0; i < 200; i++) {
            vec3 p = random_point(&state);
            uint32_t first = (uint32_t)fixture_random_below(&state, soup.count);
            double enough = 0.3 * (1 + uniform(&state));
            size_t work = 0;
            struct bvh_hit least = bvh_nearest(&soup.bvh, p, first, &work),
                           got = bvh_near(&soup.bvh, p, first, enough, &work),
                           exact = bvh_near(&soup.bvh, p, first, -1, &work);
            cr_assert(exact.slot == least.slot && exact.distance_sq == least.distance_sq);
            cr_assert(got.distance_sq == bvh_distance_sq(&soup.bvh, p, got.slot));
            cr_assert(got.distance_sq <= enough * enough || got.slot == least.slot, "kind %d", kind);
        }
    }
}

Test(bvh, about_is_near_enough_or_hardly_farther_than_the_nearest)
{
    uint64_t state = 37;
    size_t others = 0;

    for (int kind = 0; kind < SOUP_KINDS; kind++) {
        struct soup soup = make_soup(400, (enum soup_kind)kind, &state);
        for (int i = 0; i < 200; i++) {
            vec3 p = random_point(&state);
            uint32_t first = (uint32_t)fixture_random_below(&state, soup.count);
            double enough = i % 2 ? -1 : 0.3 * (1 + uniform(&state));
            size_t work = 0, least_work = 0;
            struct bvh_hit least = bvh_nearest(&soup.bvh, p, first, &least_work),
                           got = bvh_about(&soup.bvh, p, first, enough, &work);
            others += got.slot != least.slot;
            cr_assert(got.distance_sq == bvh_distance_sq(&soup.bvh, p, got.slot));
            cr_assert(work <= least_work, "kind %d", kind);
            const bool is_enough = enough >= 0 && got.distance_sq <= enough * enough;
            cr_assert(is_enough || got.distance_sq <= 2 * least.distance_sq, "kind %d: %g, nearest %g", kind,
                      sqrt(got.distance_sq), sqrt(least.distance_sq));
        }
    }
    cr_expect(others > 100, "%zu", others);
}

/* A triangle as the polygon of a view, its plane that of the first two axes. */
static struct bvh_view random_view(uint64_t *state)
{
    struct bvh_view view = {.origin = random_point(state),
                            .axes = {{0, 0.6, 0.8}, {1, 0, 0}, {0, 0.8, -0.6}}};
    const double x[BVH_VIEW_CORNERS] = {0, 0.7, 0.2, 0}, y[BVH_VIEW_CORNERS] = {0, 0.1, 0.6, 0};

    for (int i = 0; i < BVH_VIEW_CORNERS; i++) {
        int from = i % 3, to = (from + 1) % 3;
        double along_x = x[to] - x[from], along_y = y[to] - y[from], side = hypot(along_x, along_y);
        view.x[i] = x[i];
        view.y[i] = y[i];
        view.inward_x[i] = -along_y / side;
        view.inward_y[i] = along_x / side;
    }
    view.middle_x = 0.3;
    view.middle_y = 0.7 / 3;
    view.beside = 1e-14;
    return view;
}

/* A corner of a slot's triangle in the axes of the view. */
static vec3 seen_from(const struct soup *soup, const struct bvh_view *view, uint32_t slot, int corner)
{
    vec3 from = vec3_sub(soup->points[soup->bvh.corners[slot][corner]], view->origin);

    return (vec3){vec3_dot(from, view->axes[0]), vec3_dot(from, view->axes[1]),
                  vec3_dot(from, view->axes[2])};
}

/* Whether a point of the polygon is in the projected triangle: one of those of a grid over it. */
static bool has_common_point(const struct bvh_view *view, const vec3 *corners)
{
    for (int i = 0; i <= 40; i++)
        for (int k = 0; i + k <= 40; k++) {
            double x = (i * view->x[1] + k * view->x[2]) / 40, y = (i * view->y[1] + k * view->y[2]) / 40;
            int left = 0, right = 0;
            for (int c = 0; c < 3; c++) {
                vec3 a = corners[c], b = corners[(c + 1) % 3];
                double area = (b.x - a.x) * (y - a.y) - (b.y - a.y) * (x - a.x);
                left += area > 0;
                right += area < 0;
            }
            if (left == 3 || right == 3)
                return true;
        }
    return false;
}

Test(bvh, look_leaves_out_nothing_over_the_polygon)
{
    uint64_t state = 37;
    size_t over = 0, left_out = 0;

    for (int kind = 0; kind < SOUP_KINDS; kind++) {
        struct soup soup = make_soup(300, (enum soup_kind)kind, &state);
        for (int round = 0; round < 40; round++) {
            struct bvh_view view = random_view(&state);
            uint32_t slots[BVH_LANES];
            struct bvh_sight sight;
            for (int i = 0; i < BVH_LANES; i++)
                slots[i] = (uint32_t)fixture_random_below(&state, soup.count);
            bvh_look(&soup.bvh, &view, slots, &sight);
            for (int i = 0; i < BVH_LANES; i++) {
                vec3 corners[3];
                double low = INFINITY, high = -INFINITY;
                for (int c = 0; c < 3; c++) {
                    corners[c] = seen_from(&soup, &view, slots[i], c);
                    low = fmin(low, corners[c].z);
                    high = fmax(high, corners[c].z);
                }
                bool common = has_common_point(&view, corners),
                     out = sight.flags[i] & (BVH_SIGHT_OUT | BVH_SIGHT_APART);
                over += common;
                left_out += out;
                cr_assert(eq(int, common &&out, 0), "kind %d", kind);
                cr_assert(fabs(sight.low[i] - low) < 1e-15 && fabs(sight.high[i] - high) < 1e-15);
            }
        }
    }
    cr_expect(over > 50 && left_out > 500, "%zu over, %zu left out", over, left_out);
}

Test(bvh, looking_and_matching_paths_agree_to_the_last_bit)
{
    uint64_t state = 38;

    for (int kind = 0; kind < SOUP_KINDS; kind++) {
        struct soup soup = make_soup(300, (enum soup_kind)kind, &state);
        for (int round = 0; round < 100; round++) {
            struct bvh_view view = random_view(&state);
            struct bvh_points corners[3] = {random_points(&state), random_points(&state),
                                            random_points(&state)};
            uint32_t slots[BVH_LANES], matches[2][BVH_LANES], beside[BVH_BESIDE_MAX],
                first = (uint32_t)fixture_random_below(&state, soup.count);
            size_t count = bvh_beside(&soup.bvh, first, beside);
            cr_assert(beside[0] <= first && first <= beside[count - 1]);
            struct bvh_sight sights[2];
            for (int i = 0; i < BVH_LANES; i++)
                slots[i] = (uint32_t)fixture_random_below(&state, soup.count);
            for (size_t path = 0; bvh_kernels_at(path); path++) {
                size_t k = path > 0;
                soup.bvh.kernels = bvh_kernels_at(path);
                bvh_look(&soup.bvh, &view, slots, &sights[k]);
                bvh_match(&soup.bvh, beside, count, corners, matches[k]);
                cr_assert(memcmp(&sights[k], &sights[0], sizeof sights[0]) == 0, "kind %d", kind);
                cr_assert(memcmp(matches[k], matches[0], sizeof matches[0]) == 0, "kind %d", kind);
                for (int i = 0; i < BVH_LANES; i++)
                    cr_assert(matches[k][i] < soup.count && matches[k][i] / BVH_WIDTH + 1 >= first / BVH_WIDTH
                              && matches[k][i] / BVH_WIDTH <= first / BVH_WIDTH + 1);
            }
        }
    }
}

/* Asked at the middles of the boxes of eight triangles, it finds each of them among all. */
Test(bvh, match_finds_triangles_of_their_own_box)
{
    uint64_t state = 39;
    struct soup soup = make_soup(300, SOUP_ANY, &state);
    uint32_t all[300];

    for (uint32_t slot = 0; slot < 300; slot++)
        all[slot] = slot;
    for (int round = 0; round < 100; round++) {
        struct bvh_points corners[3];
        uint32_t wanted[BVH_LANES], matches[BVH_LANES];
        for (int lane = 0; lane < BVH_LANES; lane++) {
            wanted[lane] = (uint32_t)fixture_random_below(&state, soup.count);
            vec3 middle = aabb_centre(
                bvh_child_box(&soup.bvh.levels[0][wanted[lane] / BVH_WIDTH], wanted[lane] % BVH_WIDTH));
            for (int i = 0; i < 3; i++) {
                corners[i].x[lane] = middle.x;
                corners[i].y[lane] = middle.y;
                corners[i].z[lane] = middle.z;
            }
        }
        bvh_match(&soup.bvh, all, 300, corners, matches);
        cr_assert(memcmp(matches, wanted, sizeof wanted) == 0, "round %d", round);
    }
}

/* Random triangles of about that size, as lanes too. */
static void random_lanes(double size, uint64_t *state, vec3 corners[BVH_LANES][3], struct bvh_lanes *lanes)
{
    for (int lane = 0; lane < BVH_LANES; lane++) {
        vec3 centre = vec3_scale(random_point(state), 0.9);
        for (int i = 0; i < 3; i++)
            corners[lane][i] = vec3_add(centre, vec3_scale(random_point(state), size));
        vec3 middle =
            vec3_scale(vec3_add(vec3_add(corners[lane][0], corners[lane][1]), corners[lane][2]), 1.0 / 3);
        lanes->middles.x[lane] = middle.x;
        lanes->middles.y[lane] = middle.y;
        lanes->middles.z[lane] = middle.z;
        for (int i = 0; i < 3; i++) {
            lanes->ways[i].x[lane] = corners[lane][i].x - middle.x;
            lanes->ways[i].y[lane] = corners[lane][i].y - middle.y;
            lanes->ways[i].z[lane] = corners[lane][i].z - middle.z;
        }
    }
}

static void wish(struct bvh_lows *lows, double low)
{
    for (int lane = 0; lane < BVH_LANES; lane++)
        lows->low[0][lane] = lows->low[1][lane] = lows->low[2][lane] = low;
}

Test(bvh, below_paths_agree_to_the_last_bit)
{
    uint64_t state = 33;

    for (int kind = 0; kind < SOUP_KINDS; kind++) {
        struct soup soup = make_soup(300, (enum soup_kind)kind, &state);
        uint32_t slots[300];
        for (uint32_t slot = 0; slot < 300; slot++)
            slots[slot] = slot;
        for (int i = 0; i < 30; i++) {
            vec3 corners[BVH_LANES][3];
            struct bvh_lanes lanes;
            struct bvh_lows lows[2];
            random_lanes(0.1, &state, corners, &lanes);
            for (size_t path = 0; bvh_kernels_at(path); path++) {
                double low[2][3] = {{0.5, 0.5, 0.5}, {0.5, 0.5, 0.5}};
                size_t k = path > 0, work[2] = {0, 0};
                soup.bvh.kernels = bvh_kernels_at(path);
                memset(&lows[k], 0, sizeof lows[k]);
                wish(&lows[k], 2);
                bvh_bound_lanes(&soup.bvh, &lanes, slots, 300, &lows[k]);
                soup.bvh.kernels = bvh_kernels_at(0);
                bvh_bound_below(&soup.bvh, corners[0], 100, low[0], &work[0]);
                soup.bvh.kernels = bvh_kernels_at(path);
                bvh_bound_below(&soup.bvh, corners[0], 100, low[1], &work[1]);
                cr_assert(memcmp(&lows[k], &lows[0], sizeof lows[0]) == 0
                              && memcmp(low[0], low[1], sizeof low[0]) == 0 && work[0] == work[1],
                          "%s, kind %d", soup.bvh.kernels->name, kind);
            }
        }
    }
}

/* No point of a triangle is nearer than the bound that is linear between its corners. */
Test(bvh, below_is_no_more_than_any_distance)
{
    uint64_t state = 34;

    for (int kind = 0; kind < SOUP_KINDS; kind++) {
        struct soup soup = make_soup(100, (enum soup_kind)kind, &state);
        uint32_t slots[100];
        for (uint32_t slot = 0; slot < 100; slot++)
            slots[slot] = slot;
        for (int i = 0; i < 300; i++) {
            vec3 corners[BVH_LANES][3];
            struct bvh_lanes lanes;
            struct bvh_lows lows;
            size_t work = 0, lane = (size_t)i % BVH_LANES;
            double low[3] = {i % 2 ? 4 : 0.3, i % 3 ? 4 : 0.3, 0.3};
            random_lanes(i % 2 ? 0.02 : 0.3, &state, corners, &lanes);
            wish(&lows, i % 7 ? 4 : 0.3);
            bvh_bound_lanes(&soup.bvh, &lanes, slots, 100, &lows);
            bvh_bound_below(&soup.bvh, corners[lane], i % 5 ? 10000 : 5, low, &work);
            for (int k = 0; k < 40; k++) {
                double u = fixture_random_unit(&state), v = fixture_random_unit(&state) * (1 - u),
                       w = 1 - u - v;
                vec3 p = vec3_add(vec3_add(vec3_scale(corners[lane][0], u), vec3_scale(corners[lane][1], v)),
                                  vec3_scale(corners[lane][2], w));
                double d = sqrt(bvh_nearest(&soup.bvh, p, BVH_NONE, &work).distance_sq);
                double by_lanes = u * lows.low[0][lane] + v * lows.low[1][lane] + w * lows.low[2][lane];
                cr_assert(by_lanes <= d + 1e-14, "kind %d: %.17g over %.17g", kind, by_lanes, d);
                cr_assert(u * low[0] + v * low[1] + w * low[2] <= d + 1e-14, "kind %d, by the index", kind);
            }
        }
    }
}

Test(bvh, paths_measure_lanes_as_single_points)
{
    uint64_t state = 32;

    for (int kind = 0; kind < SOUP_KINDS; kind++) {
        struct soup soup = make_soup(200, (enum soup_kind)kind, &state);
        for (uint32_t slot = 0; slot < soup.count; slot++) {
            struct bvh_points points = random_points(&state);
            double distances_sq[BVH_LANES];
            bvh_distances_sq(&soup.bvh, slot, &points, distances_sq);
            for (int i = 0; i < BVH_LANES; i++)
                cr_assert(
                    distances_sq[i]
                        == bvh_distance_sq(&soup.bvh, (vec3){points.x[i], points.y[i], points.z[i]}, slot),
                    "kind %d, slot %u", kind, slot);
        }
    }
}

Test(bvh, every_path_measures_pairs_as_single_points)
{
    uint64_t state = 34;

    for (int kind = 0; kind < SOUP_KINDS; kind++) {
        struct soup soup = make_soup(200, (enum soup_kind)kind, &state);
        for (int round = 0; round < 50; round++) {
            struct bvh_points corners[3] = {random_points(&state), random_points(&state),
                                            random_points(&state)};
            uint32_t slots[BVH_LANES];
            for (int i = 0; i < BVH_LANES; i++)
                slots[i] = (uint32_t)fixture_random_below(&state, soup.count);
            for (size_t path = 0; bvh_kernels_at(path); path++) {
                double got[3][BVH_LANES];
                soup.bvh.kernels = bvh_kernels_at(path);
                bvh_paired_sq(&soup.bvh, slots, corners, got);
                for (int i = 0; i < 3 * BVH_LANES; i++) {
                    const struct bvh_points *from = &corners[i / BVH_LANES];
                    const int lane = i % BVH_LANES;
                    vec3 p = {from->x[lane], from->y[lane], from->z[lane]};
                    cr_assert(got[i / BVH_LANES][lane] == bvh_distance_sq(&soup.bvh, p, slots[lane]),
                              "kind %d, path %zu, lane %d", kind, path, lane);
                }
            }
        }
    }
}

Test(bvh, within_finds_what_the_nodes_have)
{
    uint64_t state = 33;
    size_t hits = 0, misses = 0;
    struct soup soup = make_soup(300, SOUP_SMALL, &state);

    for (int i = 0; i < 2000; i++) {
        uint32_t first = (uint32_t)fixture_random_below(&state, soup.count);
        vec3 near = soup.points[3 * fixture_random_below(&state, soup.count)], p[3];
        double limit = 0.5 * fixture_random_unit(&state), farthest, least = INFINITY;
        size_t work = 0;
        for (int k = 0; k < 3; k++)
            p[k] = vec3_add(near, vec3_scale(random_point(&state), 0.1));
        uint32_t node = first / 8, from = node ? 8 * node - 8 : 0, to = 8 * node + 16;
        for (uint32_t slot = from; slot < to && slot < soup.count; slot++) {
            double largest = 0;
            for (int k = 0; k < 3; k++)
                largest = fmax(largest, sqrt(bvh_distance_sq(&soup.bvh, p[k], slot)));
            least = fmin(least, largest);
        }
        uint32_t found = bvh_within(&soup.bvh, p, limit, first, &farthest, &work);
        if (found == BVH_NONE) {
            cr_assert(least > limit);
            misses++;
            continue;
        }
        hits++;
        cr_assert(found >= from && found < to && farthest <= limit && farthest >= least);
        for (int k = 0; k < 3; k++)
            cr_assert(sqrt(bvh_distance_sq(&soup.bvh, p[k], found)) <= farthest);
    }
    cr_expect(hits > 50 && misses > 50, "%zu found, %zu not", hits, misses);
}

/* The root of a squared distance just over the limit's square may be the limit itself: that is no reason not
 * to ask at the other corners, of which one is far away. */
Test(bvh, within_asks_at_every_corner_even_at_the_limit)
{
    uint64_t state = 34;
    size_t at_limit = 0;
    struct soup soup = make_soup(1, SOUP_SMALL, &state);

    for (int i = 0; i < 2000; i++) {
        vec3 p[3] = {random_point(&state), random_point(&state), random_point(&state)};
        double square = bvh_distance_sq(&soup.bvh, p[0], 0), limit = sqrt(square), farthest = 0, largest = 0;
        size_t work = 0;
        for (int k = 1; k < 3; k++)
            largest = fmax(largest, sqrt(bvh_distance_sq(&soup.bvh, p[k], 0)));
        at_limit += limit * limit < square && largest > limit;
        if (bvh_within(&soup.bvh, p, limit, 0, &farthest, &work) != BVH_NONE)
            cr_assert(largest <= limit, "%g found within %g", largest, limit);
    }
    cr_expect(at_limit > 100, "%zu", at_limit);
}

/* How far a box is from that of a region, each way smaller by less. */
static double apart(const struct bvh_region *region, const double *low, const double *high, double less)
{
    double sum = 0;

    for (int axis = 0; axis < 3; axis++) {
        double outside = fmax((double)region->min[axis] + less - high[axis],
                              low[axis] - ((double)region->max[axis] - less));
        sum += fmax(0, outside) * fmax(0, outside);
    }
    return sqrt(sum);
}

/* 1e-5: float arithmetic on numbers up to 2 */
static bool has_corner_well_inside(const struct soup *soup, uint32_t slot, const struct bvh_region *region)
{
    for (int i = 0; i < 3; i++) {
        vec3 p = soup->points[soup->bvh.corners[slot][i]];
        const double at[3] = {p.x, p.y, p.z};
        bool inside = apart(region, at, at, 1e-5) <= sqrt((double)region->reach_sq);
        for (int k = 0; k < BVH_REGION_PLANES; k++)
            inside = inside
                     && at[0] * (double)region->normals[k][0] + at[1] * (double)region->normals[k][1]
                                + at[2] * (double)region->normals[k][2]
                            > (double)region->offsets[k] + 1e-5;
        if (inside)
            return true;
    }
    return false;
}

static double box_apart(const struct soup *soup, uint32_t slot, const struct bvh_region *region)
{
    double low[3] = {INFINITY, INFINITY, INFINITY}, high[3] = {-INFINITY, -INFINITY, -INFINITY};

    for (int i = 0; i < 3; i++) {
        vec3 p = soup->points[soup->bvh.corners[slot][i]];
        const double at[3] = {p.x, p.y, p.z};
        for (int axis = 0; axis < 3; axis++) {
            low[axis] = fmin(low[axis], at[axis]);
            high[axis] = fmax(high[axis], at[axis]);
        }
    }
    return apart(region, low, high, 0);
}

Test(bvh, collect_has_every_triangle_with_a_corner_inside_and_none_out_of_reach)
{
    uint64_t state = 34;
    struct soup soup = make_soup(500, SOUP_SMALL, &state);
    size_t inside = 0, collected = 0;

    for (int i = 0; i < 300; i++) {
        struct bvh_region region = random_region(&state);
        uint32_t slots[500];
        size_t work = 0, at = 0, count = bvh_collect(&soup.bvh, &region, slots, 500, &work);
        cr_assert(count <= 500 && work > 0);
        for (uint32_t slot = 0; slot < soup.count; slot++) {
            bool listed = false;
            for (at = 0; at < count && !listed; at++)
                listed = slots[at] == slot;
            bool wanted = has_corner_well_inside(&soup, slot, &region);
            cr_assert(listed || !wanted, "region %d, slot %u", i, slot);
            cr_assert(box_apart(&soup, slot, &region) <= sqrt((double)region.reach_sq) + 1e-5
                          || listed == false,
                      "region %d, slot %u", i, slot);
            inside += wanted;
        }
        collected += count;
        if (count > 1)
            cr_assert(eq(sz, bvh_collect(&soup.bvh, &region, slots, count - 1, &work), count));
    }
    cr_expect(inside > 100 && collected < 300 * 500 / 4, "%zu inside, %zu collected", inside, collected);
}

Test(bvh, tree_is_the_same_for_any_number_of_threads)
{
    const size_t count = 100000;
    struct arena keep, scratch, one = fixture_arena_of((size_t)64 << 20)[0],
                                other = fixture_arena_of((size_t)64 << 20)[0];
    uint64_t state = 35;
    struct bvh want, got;
    struct error err;

    keep = fixture_arena_of((size_t)32 << 20)[0];
    scratch = fixture_arena_of((size_t)32 << 20)[0];
    vec3 *points = ARENA_NEW(&keep, vec3, count);
    uint32_t(*triangles)[3] = arena_alloc(&keep, count, sizeof *triangles, 4);
    for (size_t t = 0; t < count; t++) {
        points[t] = random_point(&state);
        if (t % 3 == 0) /* many in one place: a large bucket */
            points[t] = vec3_scale(points[t], 1e-3);
        for (size_t i = 0; i < 3; i++)
            triangles[t][i] = (uint32_t)(t - (t > i ? i : 0));
    }
    cr_assert(bvh_build(points, count, triangles, FIXTURE_FRAME, 1, &want, &one, scratch, &err));
    cr_assert(bvh_is_valid(&want));
    for (size_t threads = 2; threads <= 5; threads += 3) {
        struct arena room = other;
        cr_assert(bvh_build(points, count, triangles, FIXTURE_FRAME, threads, &got, &room, scratch, &err));
        cr_expect(memcmp(got.triangles, want.triangles, count * sizeof *want.triangles) == 0);
        cr_expect(memcmp(got.corners, want.corners, count * sizeof *want.corners) == 0);
        for (size_t level = 0; level < want.level_count; level++)
            cr_expect(memcmp(got.levels[level], want.levels[level],
                             want.node_counts[level] * sizeof(struct bvh_node))
                      == 0);
    }
}
