/* bezier.c - bicubic pieces, row by row and column by column. */
#include "subdiv/bezier.h"

/* Four points a, b, c, d of one row or column, `step` apart. */
static void curve_from_net(const vec3 *p, int step, vec3 *out)
{
    vec3 a = p[0], b = p[step], c = p[2 * step], d = p[3 * step];
    vec3 first = vec3_scale(vec3_add(vec3_add(b, b), c), 1.0 / 3);
    vec3 second = vec3_scale(vec3_add(vec3_add(c, c), b), 1.0 / 3);

    out[0] = vec3_scale(vec3_add(vec3_add(a, c), vec3_scale(b, 4)), 1.0 / 6);
    out[step] = first;
    out[2 * step] = second;
    out[3 * step] = vec3_scale(vec3_add(vec3_add(b, d), vec3_scale(c, 4)), 1.0 / 6);
}

void bezier_from_net(const vec3 net[16], vec3 bezier[16])
{
    vec3 rows[16];

    for (int j = 0; j < 4; j++)
        curve_from_net(net + 4 * j, 1, rows + 4 * j);
    for (int i = 0; i < 4; i++)
        curve_from_net(rows + i, 4, bezier + i);
}

void bezier_corners(const vec3 bezier[16], vec3 corners[4])
{
    corners[0] = bezier[0];
    corners[1] = bezier[3];
    corners[2] = bezier[15];
    corners[3] = bezier[12];
}

void bezier_cut(const vec3 bezier[16], bool along_u, double t, vec3 low[16], vec3 high[16])
{
    int step = along_u ? 1 : 4, across = along_u ? 4 : 1;

    for (int k = 0; k < 4; k++) {
        const vec3 *p = bezier + k * across;
        vec3 *l = low + k * across, *h = high + k * across;
        vec3 first = p[0], ab = vec3_lerp(p[0], p[step], t), bc = vec3_lerp(p[step], p[2 * step], t);
        vec3 end = p[3 * step], cd = vec3_lerp(p[2 * step], end, t), abc = vec3_lerp(ab, bc, t);
        vec3 bcd = vec3_lerp(bc, cd, t), at = vec3_lerp(abc, bcd, t);
        l[0] = first;
        l[step] = ab;
        l[2 * step] = abc;
        l[3 * step] = h[0] = at;
        h[step] = bcd;
        h[2 * step] = cd;
        h[3 * step] = end;
    }
}

/* Weights that are exactly 1 and 0 at the ends. */
static void weights_at(double t, double weights[4])
{
    double s = 1 - t;

    weights[0] = s * s * s;
    weights[1] = 3 * s * s * t;
    weights[2] = 3 * s * t * t;
    weights[3] = t * t * t;
}

static vec3 blend(const vec3 *p, int step, const double weights[4])
{
    vec3 low = vec3_add(vec3_scale(p[0], weights[0]), vec3_scale(p[step], weights[1]));
    return vec3_add(low, vec3_add(vec3_scale(p[2 * step], weights[2]), vec3_scale(p[3 * step], weights[3])));
}

vec3 bezier_at(const vec3 bezier[16], double u, double v)
{
    double along[4], across[4];
    vec3 rows[4];

    weights_at(u, along);
    weights_at(v, across);
    for (int j = 0; j < 4; j++)
        rows[j] = blend(bezier + 4 * j, 1, along);
    return blend(rows, 1, across);
}
