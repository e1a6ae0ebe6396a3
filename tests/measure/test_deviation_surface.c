/* test_deviation_surface.c
 *   shared_*   the triangles that both surfaces have
 *   two_*      surfaces indexed at the same time
 */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <string.h>

#include "measure/deviation_pair.h"
#include "measure/deviation_surface.h"

#define MOST 400

/* Corners on a small lattice, so that triangles meet again, as copies, turned and without area; zeros have
 * either sign. The last `apart` triangles are anywhere. */
static struct mesh lattice_soup(struct arena *arena, uint64_t *state, size_t count, size_t apart)
{
    vec3 corners[3 * MOST];

    for (size_t i = 0; i < 3 * count; i++) {
        double zero = fixture_random(state) >> 63 ? -0.0 : 0.0;
        corners[i] =
            (vec3){(double)fixture_random_below(state, 2), (double)fixture_random_below(state, 3), zero};
        if (i / 3 + apart >= count)
            corners[i] =
                (vec3){fixture_random_unit(state), fixture_random_unit(state), fixture_random_unit(state)};
    }
    return pair_soup(arena, corners, count);
}

static bool same_position(vec3 a, vec3 b)
{
    return a.x == b.x && a.y == b.y && a.z == b.z;
}

static bool same_in_some_order(const vec3 *a, const vec3 *b)
{
    static const int orders[6][3] = {{0, 1, 2}, {1, 2, 0}, {2, 0, 1}, {2, 1, 0}, {1, 0, 2}, {0, 2, 1}};
    bool found = false;

    for (int i = 0; i < 6; i++)
        found = found
                || (same_position(a[0], b[orders[i][0]]) && same_position(a[1], b[orders[i][1]])
                    && same_position(a[2], b[orders[i][2]]));
    return found;
}

static bool is_in(const struct mesh *soup, const vec3 *corners)
{
    bool found = false;

    for (size_t f = 0; f < soup->face_count; f++)
        found = found || same_in_some_order(corners, soup->positions + 3 * f);
    return found;
}

/* Returns how many are shared. */
static size_t expect_shared(const struct deviation_surface *surface, const struct mesh *own,
                            const struct mesh *other, const char *name)
{
    size_t shared = 0;

    for (size_t slot = 0; slot < surface->bvh.triangle_count; slot++) {
        size_t f = surface->bvh.triangles[slot];
        cr_expect(surface->shared[slot] == is_in(other, own->positions + 3 * f), "%s: face %zu", name, f);
        shared += surface->shared[slot];
    }
    cr_expect(eq(sz, surface->shared_count, shared));
    return shared;
}

Test(deviation_surface, shared_triangles_are_those_found_by_looking_at_every_pair)
{
    static const struct {
        const char *name;
        size_t counts[2], apart[2], threads;
    } cases[] = {
        {"all on the lattice", {60, 50}, {0, 0}, 1},
        {"the subject is the smaller", {20, 400}, {0, 0}, 2},
        {"most are apart", {300, 400}, {290, 380}, 2},
        {"the larger has few candidates", {350, 360}, {10, 355}, 4},
        {"none is shared", {40, 40}, {40, 40}, 2},
    };
    uint64_t state = 7;

    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct arena arena = pair_arena(0);
        struct mesh meshes[2];
        struct measure_input inputs[2];
        struct deviation_surface surfaces[2];
        struct error err;
        for (int k = 0; k < 2; k++) {
            meshes[k] = lattice_soup(&arena, &state, cases[i].counts[k], cases[i].apart[k]);
            cr_assert(
                measure_input_build(&meshes[k], MESH_SCAN, NULL, &inputs[k], &arena, pair_arena(1), &err));
        }
        struct deviation_frame frame = deviation_frame_of(&inputs[0], &inputs[1]);
        const struct measure_input *const of[2] = {&inputs[0], &inputs[1]};
        struct deviation_surface *const made[2] = {&surfaces[0], &surfaces[1]};
        cr_assert(
            deviation_surface_build_pair(of, &frame, cases[i].threads, made, &arena, pair_arena(1), &err));
        size_t shared = expect_shared(&surfaces[0], &meshes[0], &meshes[1], cases[i].name);
        bool some = cases[i].apart[0] < cases[i].counts[0];
        cr_expect(some == (shared > 0), "%s: %zu", cases[i].name, shared);
        expect_shared(&surfaces[1], &meshes[1], &meshes[0], cases[i].name);
    }
}

static void expect_same_index(const struct deviation_surface *a, const struct deviation_surface *b)
{
    cr_assert(eq(sz, a->bvh.triangle_count, b->bvh.triangle_count));
    cr_assert(eq(sz, a->bvh.level_count, b->bvh.level_count));
    cr_expect(memcmp(a->points, b->points, a->point_count * sizeof *a->points) == 0);
    cr_expect(memcmp(a->bvh.triangles, b->bvh.triangles, a->bvh.triangle_count * sizeof(uint32_t)) == 0);
    cr_expect(memcmp(a->bvh.corners, b->bvh.corners, a->bvh.triangle_count * sizeof *a->bvh.corners) == 0);
    for (size_t level = 0; level < a->bvh.level_count; level++)
        cr_expect(memcmp(a->bvh.levels[level], b->bvh.levels[level],
                         a->bvh.node_counts[level] * sizeof(struct bvh_node))
                  == 0);
}

/* With little memory the two must be made one after the other; the least that this takes is found by trying.
 */
Test(deviation_surface, two_surfaces_at_once_are_the_same_as_one_by_one_in_any_memory)
{
    struct arena arena = pair_arena(0);
    struct error err;
    struct mesh meshes[2] = {fixture_torus(&arena, 60, 50, 3, 1), fixture_torus(&arena, 70, 55, 3.1, 1)};
    struct measure_input inputs[2];
    struct deviation_surface alone[2], both[2];
    size_t least = 0;

    for (int k = 0; k < 2; k++)
        cr_assert(measure_input_build(&meshes[k], MESH_CAGE, NULL, &inputs[k], &arena, pair_arena(1), &err));
    struct deviation_frame frame = deviation_frame_of(&inputs[0], &inputs[1]);
    for (int k = 0; k < 2; k++)
        cr_assert(deviation_surface_build(&inputs[k], &frame, 1, &alone[k], &arena, pair_arena(1), &err));
    const struct measure_input *const of[2] = {&inputs[0], &inputs[1]};
    struct deviation_surface *const made[2] = {&both[0], &both[1]};
    for (size_t bytes = 16 << 10; bytes <= (size_t)4 << 20; bytes += bytes / 8) {
        struct arena keep = pair_arena(2), room = pair_arena(1), scratch;
        cr_assert(arena_split(&room, bytes, &scratch));
        if (!deviation_surface_build_two(of, &frame, 2, made, &keep, scratch, &err)) {
            cr_expect(err.code == ERROR_LIMIT && least == 0);
            continue;
        }
        least = least ? least : bytes;
        for (int k = 0; k < 2; k++)
            expect_same_index(&alone[k], &both[k]);
    }
    cr_expect(least > 16 << 10 && least < (size_t)4 << 20);
}
