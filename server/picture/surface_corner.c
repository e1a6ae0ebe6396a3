/* surface_corner.c - Q. Meyer and others 2010 for the normal: the octahedron, its lower half folded outwards.
 */
#include "picture/surface_corner.h"

#define NORMAL_STEPS 127

struct corner_grid corner_grid_about(aabb box)
{
    vec3 low = vec3_scale(box.min, 0.5), high = vec3_scale(box.max, 0.5), half = vec3_sub(high, low);
    double largest = half.x > half.y ? half.x : half.y;
    vec3 centre = vec3_add(low, high);

    largest = largest > half.z ? largest : half.z;
    return (struct corner_grid){vec3_sub(centre, (vec3){largest, largest, largest}),
                                largest / (0.5 * CORNER_STEPS)};
}

static uint16_t quantise(double offset, double step)
{
    double steps = step > 0 ? offset / step + 0.5 : 0;

    return (uint16_t)(!(steps > 0) ? 0 : steps > CORNER_STEPS ? CORNER_STEPS : steps);
}

static double folded(double a, double b)
{
    return (1 - fabs(b)) * (a < 0 ? -1 : 1);
}

static int8_t normal_step(double a)
{
    return (int8_t)floor(a * NORMAL_STEPS + 0.5);
}

struct surface_corner surface_corner_of(const struct corner_grid *grid, vec3 p, vec3 normal)
{
    vec3 from = vec3_sub(p, grid->origin);
    double sum = fabs(normal.x) + fabs(normal.y) + fabs(normal.z);
    struct surface_corner corner = {
        {quantise(from.x, grid->step), quantise(from.y, grid->step), quantise(from.z, grid->step)}, {0, 0}};

    if (sum > 0 && sum < (double)INFINITY) {
        double a = normal.x / sum, b = normal.y / sum;
        bool down = normal.z < 0;
        corner.normal[0] = normal_step(down ? folded(a, b) : a);
        corner.normal[1] = normal_step(down ? folded(b, a) : b);
    }
    return corner;
}

vec3 surface_corner_place(const struct corner_grid *grid, const struct surface_corner *corner)
{
    return vec3_add(grid->origin,
                    vec3_scale((vec3){corner->place[0], corner->place[1], corner->place[2]}, grid->step));
}

vec3 surface_corner_normal(const struct surface_corner *corner)
{
    double a = (double)corner->normal[0] / NORMAL_STEPS, b = (double)corner->normal[1] / NORMAL_STEPS;
    vec3 normal = {a, b, 1 - fabs(a) - fabs(b)};

    if (normal.z < 0) {
        normal.x = folded(a, b);
        normal.y = folded(b, a);
    }
    return vec3_scale(normal, 1 / vec3_length(normal));
}
