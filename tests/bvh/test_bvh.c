/* test_bvh.c
 *   nearest_*   against every triangle in turn, on soups, sheets and flat triangles; any first guess, same
 * answer tree_*      boxes hold what is below them; one triangle, many equal ones memory_*    smaller arenas
 * end in ERROR_LIMIT
 */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>

#include "bvh/bvh.h"
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
    cr_assert(bvh_build(soup.points, count, soup.triangles, 1, &soup.bvh, keep, *scratch, &err));
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
    const size_t sizes[] = {1, 2, 7, 8, 9, 64, 65, 500};
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
        done = bvh_build(soup.points, soup.count, soup.triangles, 1, &bvh, &keep, scratch, &err);
        cr_assert(done || err.code == ERROR_LIMIT);
    }
}
