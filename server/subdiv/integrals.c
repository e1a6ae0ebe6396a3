/* integrals.c - sums over the quads of refined meshes, and their extrapolation. */
#include "subdiv/integrals.h"

#include <string.h>

#include "geom/point_triangle.h"
#include "subdiv/limit.h"
#include "subdiv/refine.h"

#define LEVEL_LEAST 3
#define LEVEL_MOST 9

/* Twice an area, and six times a volume. */
struct part {
    double area, volume;
};

static struct part triangle_part(vec3 a, vec3 b, vec3 c)
{
    return (struct part){vec3_length(triangle_normal(a, b, c)), vec3_dot(a, vec3_cross(b, c))};
}

static struct part quad_part(const vec3 *positions, vec3 origin, const uint32_t *quad)
{
    struct part sum = {0};
    vec3 p[4];

    for (unsigned j = 0; j < 4; j++)
        p[j] = vec3_sub(positions[quad[j]], origin);
    for (unsigned j = 0; j < 4; j++) { /* both triangles of both diagonals */
        struct part part = triangle_part(p[j], p[(j + 1) & 3], p[(j + 2) & 3]);
        sum.area += part.area;
        sum.volume += part.volume;
    }
    return sum;
}

/* Adds value, keeping what rounding takes from the sum (A. Neumaier, ZAMM 54, 1974). */
static void add_exactly(double *sum, double *carry, double value)
{
    double total = *sum + value;
    *carry += fabs(*sum) >= fabs(value) ? (*sum - total) + value : (value - total) + *sum;
    *sum = total;
}

void quads_measure(const struct mesh *mesh, const vec3 *positions, double *area, double *volume)
{
    double areas = 0, area_carry = 0, volumes = 0, volume_carry = 0;

    for (size_t f = 0; f < mesh->face_count; f++) {
        struct part part = quad_part(positions, positions[0], mesh_face(mesh, f));
        add_exactly(&areas, &area_carry, part.area);
        add_exactly(&volumes, &volume_carry, part.volume);
    }
    *area = (areas + area_carry) / 4;
    *volume = (volumes + volume_carry) / 12;
}

struct level {
    double area[2], volume[2]; /* refined, moved */
};

static bool measure_level(const struct cage *cage, struct level *level, struct arena scratch,
                          struct error *err)
{
    vec3 *limits = ARENA_NEW(&scratch, vec3, cage->mesh.vertex_count);

    if (!limits)
        return arena_error(err);
    if (!limit_positions(cage, limits, scratch, err))
        return false;
    quads_measure(&cage->mesh, cage->mesh.positions, &level->area[0], &level->volume[0]);
    quads_measure(&cage->mesh, limits, &level->area[1], &level->volume[1]);
    return true;
}

/* From three levels, coarsest first, to a value and its error. */
static double extrapolated(const double coarse[2], const double middle[2], const double fine[2],
                           double *error)
{
    double before[2], now[2];

    for (unsigned way = 0; way < 2; way++) {
        before[way] = (4 * middle[way] - coarse[way]) / 3;
        now[way] = (4 * fine[way] - middle[way]) / 3;
    }
    double value = (now[0] + now[1]) / 2;
    *error = fabs(now[0] - now[1]) + fabs(value - (before[0] + before[1]) / 2);
    return value;
}

static void fill(const struct level levels[3], bool closed, struct limit_integrals *integrals)
{
    integrals->area_refined = levels[2].area[0];
    integrals->area_moved = levels[2].area[1];
    integrals->area = extrapolated(levels[0].area, levels[1].area, levels[2].area, &integrals->area_error);
    integrals->volume_refined = closed ? levels[2].volume[0] : NAN;
    integrals->volume_moved = closed ? levels[2].volume[1] : NAN;
    integrals->volume =
        extrapolated(levels[0].volume, levels[1].volume, levels[2].volume, &integrals->volume_error);
    if (!closed)
        integrals->volume = integrals->volume_error = NAN;
}

bool limit_integrals_build(const struct cage *cage, size_t quad_max, struct limit_integrals *integrals,
                           struct arena scratch, struct error *err)
{
    const struct edges *edges = &cage->edges;
    struct level levels[3] = {0};
    struct arena more_scratch;
    struct cage now = *cage, next;
    unsigned level = 0;

    if (cage->mesh.face_count == 0)
        return error_set(err, ERROR_EMPTY, "there is no face to refine; give a mesh with faces");
    if (!arena_split(&scratch, arena_left(&scratch) / 4, &more_scratch))
        return arena_error(err);
    while (level < LEVEL_LEAST || (level < LEVEL_MOST && now.edges.corner_count <= quad_max)) {
        if (!refine_build(&now, &next, &scratch, more_scratch, err))
            return false;
        now = next;
        level++;
        memmove(levels, levels + 1, 2 * sizeof *levels);
        if (!measure_level(&now, &levels[2], more_scratch, err))
            return false;
    }
    integrals->level = level;
    fill(levels, edges->open_count + edges->nonmanifold_count + edges->inconsistent_count == 0, integrals);
    return true;
}
