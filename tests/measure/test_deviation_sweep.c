/* test_deviation_sweep.c
 *   box_*   no point of a box is farther from a face than the bound, which a corner reaches
 */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <math.h>

#include "measure/deviation_pair.h"
#include "measure/deviation_sweep.h"

static double uniform(uint64_t *state)
{
    return 2 * fixture_random_unit(state) - 1;
}

static double within(double low, double high, double share)
{
    return low + share * (high - low);
}

Test(deviation_sweep, box_bound_is_that_of_the_farthest_of_all_eight_corners)
{
    const struct deviation_frame frame = {{0, 0, 0}, 0};
    uint64_t state = 23;
    size_t farthest_at[8] = {0};

    for (int round = 0; round < 500; round++) {
        struct arena arena = pair_arena(4);
        vec3 corners[3];
        for (int i = 0; i < 3; i++)
            corners[i] = (vec3){0.3 * uniform(&state), 0.3 * uniform(&state), 0.3 * uniform(&state)};
        struct mesh mesh = pair_soup(&arena, corners, 1);
        const struct measure_input input = {.mesh = &mesh};
        struct deviation_surface to;
        struct error err;
        cr_assert(deviation_surface_build(&input, &frame, 1, &to, &arena, pair_arena(1), &err));
        struct hunt hunt = {.to = &to};
        vec3 a = {uniform(&state), uniform(&state), uniform(&state)},
             b = {uniform(&state), uniform(&state), uniform(&state)};
        aabb box = aabb_include(aabb_include(aabb_empty(), a), b);
        double bound = sweep_box_bound(&hunt, box, 0), farthest = 0;
        int where = 0;
        for (int i = 0; i < 60; i++) {
            double x = i < 8 ? i & 1 : fixture_random_unit(&state), y = i < 8 ? i >> 1 & 1 : uniform(&state),
                   z = i < 8 ? i >> 2 & 1 : fixture_random_unit(&state);
            vec3 p = {within(box.min.x, box.max.x, x), within(box.min.y, box.max.y, fabs(y)),
                      within(box.min.z, box.max.z, z)};
            double distance = sqrt(bvh_distance_sq(&to.bvh, p, 0));
            where = i < 8 && distance > farthest ? i : where;
            farthest = fmax(farthest, distance);
            cr_assert(distance <= bound + 1e-15, "round %d: %g over %g", round, distance, bound);
        }
        cr_assert(fabs(farthest - bound) <= 1e-15, "round %d: %g, not %g", round, farthest, bound);
        farthest_at[where]++;
    }
    for (int corner = 0; corner < 8; corner++)
        cr_expect(farthest_at[corner] > 10, "corner %d", corner);
}
