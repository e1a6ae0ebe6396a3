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

static vec3 middle(vec3 a, vec3 b)
{
    return vec3_scale(vec3_add(a, b), 0.5);
}

void bezier_halve(const vec3 bezier[16], bool along_u, vec3 low[16], vec3 high[16])
{
    int step = along_u ? 1 : 4, across = along_u ? 4 : 1;

    for (int k = 0; k < 4; k++) {
        const vec3 *p = bezier + k * across;
        vec3 *l = low + k * across, *h = high + k * across;
        vec3 ab = middle(p[0], p[step]), bc = middle(p[step], p[2 * step]);
        vec3 cd = middle(p[2 * step], p[3 * step]), abc = middle(ab, bc), bcd = middle(bc, cd);
        vec3 end = p[3 * step];
        l[0] = p[0];
        l[step] = ab;
        l[2 * step] = abc;
        l[3 * step] = h[0] = middle(abc, bcd);
        h[step] = bcd;
        h[2 * step] = cd;
        h[3 * step] = end;
    }
}

double bezier_bend_sq(const vec3 bezier[16], bool along_u)
{
    int step = along_u ? 1 : 4, across = along_u ? 4 : 1;
    double most = 0;

    for (int k = 0; k < 4; k++) {
        const vec3 *row = bezier + k * across;
        vec3 chord = vec3_sub(row[3 * step], row[0]);
        double chord_sq = vec3_length_sq(chord);
        for (int i = 1; i < 3; i++) {
            const vec3 *p = row + i * step;
            vec3 bend = vec3_sub(vec3_add(p[-step], p[step]), vec3_add(p[0], p[0]));
            double along = vec3_dot(bend, chord);
            double size = vec3_length_sq(bend) - (chord_sq > 0 ? along * along / chord_sq : 0);
            most = size > most ? size : most;
        }
    }
    return most;
}
