/* test_quality_kernels.c - triangles together, on each path, against each alone.
 *   same_*      to the last bit
 *   refused_*   where lengths leave the range in which squares are exact
 */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <string.h>

#include "measure/quality_kernels.h"
#include "support/fixture_shapes.h"

static double between(double low, double high, uint64_t *state)
{
    return low + (high - low) * fixture_random_unit(state);
}

static void put_corner(struct quality_corners *corners, int k, size_t lane, vec3 p)
{
    corners->x[k][lane] = p.x;
    corners->y[k][lane] = p.y;
    corners->z[k][lane] = p.z;
}

static vec3 corner(const struct quality_corners *corners, int k, size_t lane)
{
    return (vec3){corners->x[k][lane], corners->y[k][lane], corners->z[k][lane]};
}

/* Fat ones, needles and caps, of any size; one of them with equal sides. */
static struct quality_corners random_corners(uint64_t *state)
{
    const double size = ldexp(1, (int)between(-90, 90, state)), thin = ldexp(1, (int)between(-20, 0, state));
    struct quality_corners corners;

    for (size_t lane = 0; lane < QUALITY_LANES; lane++)
        for (int k = 0; k < 3; k++)
            put_corner(&corners, k, lane,
                       vec3_scale((vec3){between(-1, 1, state), between(-1, 1, state) * thin,
                                         between(-1, 1, state) * thin},
                                  size));
    put_corner(&corners, 0, 3, (vec3){0, 0, 0});
    put_corner(&corners, 1, 3, (vec3){size, size, 0});
    put_corner(&corners, 2, 3, (vec3){0, size, size});
    return corners;
}

Test(quality_kernels, same_as_each_alone_on_every_path)
{
    uint64_t state = 4;

    for (size_t round = 0; round < 5000; round++) {
        const struct quality_corners corners = random_corners(&state);
        for (size_t path = 0; quality_kernels_at(path); path++) {
            const struct quality_kernels *kernels = quality_kernels_at(path);
            double values[TRIANGLE_METRIC_COUNT][QUALITY_LANES], alone[TRIANGLE_METRIC_COUNT];
            cr_assert(kernels->triangles(&corners, values), "%s, round %zu", kernels->name, round);
            for (size_t lane = 0; lane < QUALITY_LANES; lane++) {
                const vec3 corner_of[3] = {corner(&corners, 0, lane), corner(&corners, 1, lane),
                                           corner(&corners, 2, lane)};
                triangle_quality(corner_of, 1, alone);
                for (size_t m = 0; m < TRIANGLE_METRIC_COUNT; m++)
                    cr_assert(memcmp(&alone[m], &values[m][lane], sizeof alone[m]) == 0,
                              "%s, round %zu, lane %zu, %s: %a, not %a", kernels->name, round, lane,
                              triangle_metrics[m].name, values[m][lane], alone[m]);
            }
        }
    }
}

Test(quality_kernels, refused_where_one_is_too_small_too_large_or_without_area)
{
    static const vec3 bad[][3] = {
        {{0, 0, 0}, {0x1p-300, 0, 0}, {0, 0x1p-300, 0}},
        {{0, 0, 0}, {0x1p300, 0, 0}, {0, 0x1p300, 0}},
        {{0, 0, 0}, {1, 0, 0}, {2, 0, 0}},
        {{1, 2, 3}, {1, 2, 3}, {0, 0, 0}},
        {{0, 0, 0}, {0x1p1023, 0, 0}, {0, 1, 0}},
        {{1, 2, 3}, {1, 2, 3}, {1, 2, 3}},
    };
    uint64_t state = 9;

    for (size_t path = 0; quality_kernels_at(path); path++)
        for (size_t b = 0; b < sizeof bad / sizeof *bad; b++)
            for (size_t lane = 0; lane < QUALITY_LANES; lane++) {
                struct quality_corners corners = random_corners(&state);
                double values[TRIANGLE_METRIC_COUNT][QUALITY_LANES];
                for (int k = 0; k < 3; k++)
                    put_corner(&corners, k, lane, bad[b][k]);
                cr_expect(quality_kernels_at(path)->triangles(&corners, values) == false,
                          "%s, %zu in lane %zu", quality_kernels_at(path)->name, b, lane);
            }
}
