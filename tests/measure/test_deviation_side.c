/* test_deviation_side.c
 *   sides_*     inside or outside, against the winding number by solid angles, on surfaces with sharp edges
 *   normals_*   pseudonormals that are known
 */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>

#include "measure/deviation_pair.h"
#include "measure/deviation_side.h"

struct sided {
    struct measure_input input;
    struct deviation_surface surface;
    struct deviation_side side;
};

/* In a frame of its own: the meshes here are smaller than 1. Lives until the next call. */
static void make_sided(const struct mesh *mesh, struct sided *sided)
{
    struct arena arena = pair_arena(0), keep = pair_arena(2), scratch = pair_arena(1);
    struct error err = {.text = ""};
    const struct deviation_frame frame = {{0, 0, 0}, 0};

    cr_assert(measure_input_build(mesh, MESH_SCAN, NULL, &sided->input, &arena, scratch, &err)
                  && deviation_surface_build(&sided->input, &frame, 1, &sided->surface, &keep, scratch, &err)
                  && deviation_side_build(&sided->surface, 2, &sided->side, &keep, &err),
              "%s", err.text);
    cr_assert(sided->input.closed_orientable);
}

/* Van Oosterom, Strackee 1983, "The solid angle of a plane triangle": the sum over the surface is 4 pi
 * inside. */
static bool is_inside(const struct sided *sided, vec3 p)
{
    double sum = 0;

    for (uint32_t slot = 0; slot < sided->surface.bvh.triangle_count; slot++) {
        vec3 a = vec3_sub(deviation_surface_corner(&sided->surface, slot, 0), p),
             b = vec3_sub(deviation_surface_corner(&sided->surface, slot, 1), p),
             c = vec3_sub(deviation_surface_corner(&sided->surface, slot, 2), p);
        double la = vec3_length(a), lb = vec3_length(b), lc = vec3_length(c);
        sum += 2
               * atan2(vec3_dot(a, vec3_cross(b, c)),
                       la * lb * lc + vec3_dot(a, b) * lc + vec3_dot(b, c) * la + vec3_dot(c, a) * lb);
    }
    return fabs(sum) > 6.283185307179586;
}

/* Every vertex moved along its own direction from the centre: star-shaped, spiky, closed. */
static struct mesh spiky_sphere(struct arena *arena, uint64_t *state)
{
    struct mesh sphere = fixture_cubed_sphere(arena, 4);

    for (size_t v = 0; v < sphere.vertex_count; v++)
        sphere.positions[v] = vec3_scale(sphere.positions[v], 0.15 + 0.8 * fixture_random_unit(state));
    return fixture_fanned(arena, &sphere);
}

Test(deviation_side, sides_agree_with_the_winding_number)
{
    uint64_t state = 12;
    size_t inside = 0;

    for (int n = 0; n < 12; n++) {
        struct arena arena = pair_arena(4);
        struct mesh mesh = spiky_sphere(&arena, &state);
        struct mesh listed = n % 2 ? fixture_reversed(&arena, &mesh) : mesh;
        struct sided sided;
        make_sided(&listed, &sided);
        for (int i = 0; i < 400; i++) {
            vec3 p = {2 * fixture_random_unit(&state) - 1, 2 * fixture_random_unit(&state) - 1,
                      2 * fixture_random_unit(&state) - 1};
            size_t work = 0;
            struct bvh_hit hit = bvh_nearest(&sided.surface.bvh, p, BVH_NONE, &work);
            bool want = is_inside(&sided, p);
            bool got = deviation_side_of(&sided.side, p, hit.slot) < 0;
            cr_assert(got == want, "mesh %d, point %d", n, i);
            inside += want;
        }
    }
    cr_expect(gt(sz, inside, 200), "both sides were met: %zu inside", inside);
}

Test(deviation_side, normals_of_a_cube)
{
    struct arena arena = pair_arena(4);
    struct mesh cube = fixture_cube(&arena, 1), reversed = fixture_reversed(&arena, &cube);

    for (int n = 0; n < 2; n++) {
        struct sided sided;
        make_sided(n ? &reversed : &cube, &sided);
        for (uint32_t v = 0; v < 8; v++) /* outwards along the diagonal, whatever the listing and the cut */
            cr_expect(
                lt(dbl,
                   deviation_side_angle_deg(deviation_side_vertex_normal(&sided.side, v), cube.positions[v]),
                   1e-6));
        vec3 p = {0.9, 0.9, 0.1};
        size_t work = 0;
        struct bvh_hit hit = bvh_nearest(&sided.surface.bvh, p, BVH_NONE, &work);
        struct triangle_foot foot = deviation_side_foot(&sided.surface, p, hit.slot);
        vec3 normal = deviation_side_foot_normal(&sided.side, hit.slot, foot.feature);
        cr_expect(lt(dbl, deviation_side_angle_deg(normal, (vec3){1, 1, 0}), 1e-6), "on an edge");
        cr_expect(lt(dbl, vec3_distance(foot.point, (vec3){0.5, 0.5, 0.1}), 1e-15));
    }
    cr_expect(isnan(deviation_side_angle_deg((vec3){0, 0, 0}, (vec3){1, 0, 0})));
    cr_expect(eq(dbl, deviation_side_angle_deg((vec3){2, 0, 0}, (vec3){-1, 0, 0}), 180));
}
