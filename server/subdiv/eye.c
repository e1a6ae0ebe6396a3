/* eye.c - the points around one extraordinary corner: gathering, one step, limits.
 *
 * Away from the corner the points form a grid, on which a step is the product of the cubic B-spline's two
 * rules along each direction: (a + 6 b + c) / 8 at an old point, (a + b) / 2 between two. */
#include "subdiv/net.h"

#define AT(x, y) (4 * ((y) + 1) + (x) + 1)   /* in the 4 x 4 points, x and y from -1 to 2 */
#define FINE(x, y) (5 * ((y) + 1) + (x) + 1) /* in the 5 x 5 points after a step, from -1 to 3 */

/* The points of the net that are in the fan. */
static void copy_fan_to_net(struct eye *eye, vec3 vertex)
{
    size_t n = eye->valence;

    eye->net[AT(0, 0)] = vertex;
    eye->net[AT(1, 0)] = eye->ends[0];
    eye->net[AT(0, 1)] = eye->ends[1];
    eye->net[AT(1, 1)] = eye->opposites[0];
    eye->net[AT(-1, 1)] = eye->opposites[1];
    eye->net[AT(-1, 0)] = eye->ends[2 % n];
    eye->net[AT(1, -1)] = eye->opposites[n - 1];
    eye->net[AT(0, -1)] = eye->ends[n - 1];
    eye->net[AT(-1, -1)] = vertex; /* not used */
}

static uint32_t opposite(const struct cage *cage, uint32_t c)
{
    return cage->mesh.face_vertices[cage_next(cage, cage_next(cage, c))];
}

void eye_gather(const struct cage *cage, uint32_t f, unsigned corner, struct eye *eye)
{
    const vec3 *p = cage->mesh.positions;
    uint32_t begin = cage->mesh.face_offsets[f], at[4];
    struct spoke s = {begin + corner, begin + ((corner + 3) & 3)};
    uint32_t v = cage->mesh.face_vertices[s.corner];

    for (unsigned k = 0; k < 4; k++)
        at[k] = begin + ((corner + k) & 3);
    eye->valence = cage->corner_begin[v + 1] - cage->corner_begin[v];
    eye->ends[0] = p[cage->mesh.face_vertices[at[1]]];
    for (size_t i = 0; i < eye->valence; i++) {
        eye->opposites[i] = p[opposite(cage, s.corner)];
        if (i + 1 < eye->valence)
            eye->ends[i + 1] = p[cage_spoke_end(cage, s)];
        s = cage_turn(cage, s);
    }
    copy_fan_to_net(eye, p[v]);

    /* The rows beyond the sides that do not touch v: each corner there is regular. */
    s = cage_turn(cage, (struct spoke){at[1], at[1]}); /* the face right of the side from (1, 0) to (1, 1) */
    eye->net[AT(2, 0)] = p[cage_spoke_end(cage, s)];
    eye->net[AT(2, 1)] = p[opposite(cage, s.corner)];
    s = cage_turn(cage, s); /* below that one */
    eye->net[AT(2, -1)] = p[opposite(cage, s.corner)];
    s = cage_turn(cage, (struct spoke){at[2], at[2]}); /* the face above the side from (1, 1) to (0, 1) */
    eye->net[AT(1, 2)] = p[cage_spoke_end(cage, s)];
    eye->net[AT(0, 2)] = p[opposite(cage, s.corner)];
    s = cage_turn(cage, s);
    eye->net[AT(2, 2)] = p[opposite(cage, s.corner)];
    s = cage_turn(cage, (struct spoke){at[3], at[2]}); /* the same face from (0, 1), then left of it */
    s = cage_turn(cage, s);
    eye->net[AT(-1, 2)] = p[opposite(cage, s.corner)];
}

/* One direction of the rules: three points `step` apart around an old point, or two around a new one. */
static vec3 rule_at(const vec3 *p, int step, bool old)
{
    if (!old)
        return vec3_scale(vec3_add(p[0], p[step]), 0.5);
    return vec3_scale(vec3_add(vec3_add(p[-step], p[step]), vec3_scale(p[0], 6)), 0.125);
}

static int half_down(int x)
{
    return x < 0 ? -1 : x / 2;
}

/* The fine point (x, y) of the grid; x or y is 2 or more. */
static vec3 fine_point(const vec3 net[16], int x, int y)
{
    int i = half_down(x), j = half_down(y);
    bool old_x = x % 2 == 0, old_y = y % 2 == 0;
    const vec3 *p = net + AT(i, j);
    vec3 rows[3];

    if (!old_y) {
        rows[0] = rule_at(p, 1, old_x);
        rows[1] = rule_at(p + 4, 1, old_x);
        return rule_at(rows, 1, false);
    }
    for (int k = 0; k < 3; k++)
        rows[k] = rule_at(p + 4 * (k - 1), 1, old_x);
    return rule_at(rows + 1, 1, true);
}

/* The vertex and its fan after a step; returns the new vertex. Face points replace opposite corners. */
static vec3 refine_fan(struct eye *eye)
{
    size_t n = eye->valence;
    vec3 v = eye->net[AT(0, 0)];
    struct vertex_sums sums = {0};

    for (size_t i = 0; i < n; i++) {
        vec3 ends = vec3_add(eye->ends[i], eye->ends[i + 1 == n ? 0 : i + 1]);
        vertex_sums_add_edge(&sums, eye->ends[i], 0);
        eye->opposites[i] = vec3_scale(vec3_add(vec3_add(v, eye->opposites[i]), ends), 0.25);
        vertex_sums_add_face(&sums, eye->opposites[i]);
    }
    for (size_t i = 0; i < n; i++) {
        vec3 faces = vec3_add(eye->opposites[i], eye->opposites[i ? i - 1 : n - 1]);
        eye->ends[i] = edge_point(v, eye->ends[i], faces, 0);
    }
    return vertex_point(v, &sums);
}

void eye_refine(struct eye *eye, vec3 nets[3][16])
{
    static const int CHILDREN[3][2] = {{1, 0}, {1, 1}, {0, 1}};
    vec3 fine[25];

    for (int y = -1; y <= 3; y++)
        for (int x = y < 2 ? 2 : -1; x <= 3; x++)
            fine[FINE(x, y)] = fine_point(eye->net, x, y);
    copy_fan_to_net(eye, refine_fan(eye));
    for (int y = -1; y < 2; y++)
        for (int x = -1; x < 2; x++)
            fine[FINE(x, y)] = eye->net[AT(x, y)];
    for (int k = 0; k < 3; k++)
        for (int y = -1; y <= 2; y++)
            for (int x = -1; x <= 2; x++)
                nets[k][AT(x, y)] = fine[FINE(x + CHILDREN[k][0], y + CHILDREN[k][1])];
    for (int y = -1; y <= 2; y++)
        for (int x = -1; x <= 2; x++)
            eye->net[AT(x, y)] = fine[FINE(x, y)];
}

/* The limit of a grid point: (1, 4, 1) / 6 along both directions. */
static vec3 grid_limit(const vec3 *p)
{
    vec3 edges = vec3_add(vec3_add(p[-1], p[1]), vec3_add(p[-4], p[4]));
    vec3 corners = vec3_add(vec3_add(p[-5], p[5]), vec3_add(p[-3], p[3]));
    return vec3_scale(vec3_add(vec3_add(vec3_scale(p[0], 16), vec3_scale(edges, 4)), corners), 1.0 / 36);
}

void eye_limits(const struct eye *eye, vec3 limits[4])
{
    double n = (double)eye->valence;
    vec3 edges = {0}, corners = {0};

    for (size_t i = 0; i < eye->valence; i++) {
        edges = vec3_add(edges, eye->ends[i]);
        corners = vec3_add(corners, eye->opposites[i]);
    }
    vec3 sum = vec3_add(vec3_scale(eye->net[AT(0, 0)], n * n), vec3_add(vec3_scale(edges, 4), corners));
    limits[0] = vec3_scale(sum, 1 / (n * (n + 5)));
    limits[1] = grid_limit(eye->net + AT(1, 0));
    limits[2] = grid_limit(eye->net + AT(1, 1));
    limits[3] = grid_limit(eye->net + AT(0, 1));
}

void eye_ball(const struct eye *eye, vec3 *centre, double *radius)
{
    aabb box = aabb_empty();
    double most = 0;

    for (size_t i = 0; i < eye->valence; i++)
        box = aabb_include(aabb_include(box, eye->ends[i]), eye->opposites[i]);
    for (int i = 0; i < 16; i++)
        box = aabb_include(box, eye->net[i]);
    *centre = aabb_centre(box);
    for (size_t i = 0; i < eye->valence; i++) {
        most = fmax(most, vec3_length_sq(vec3_sub(eye->ends[i], *centre)));
        most = fmax(most, vec3_length_sq(vec3_sub(eye->opposites[i], *centre)));
    }
    for (int i = 0; i < 16; i++)
        most = fmax(most, vec3_length_sq(vec3_sub(eye->net[i], *centre)));
    *radius = sqrt(most);
}
