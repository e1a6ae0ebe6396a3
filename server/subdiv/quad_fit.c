/* quad_fit.c - largest deviations from a quad, along its normal, in its plane and over its sides. */
#include "subdiv/quad_fit.h"

#include "subdiv/bezier.h"

#include <stdint.h>

static vec3 twist(const vec3 corners[4])
{
    return vec3_sub(vec3_add(corners[0], corners[2]), vec3_add(corners[1], corners[3]));
}

static vec3 in_plane(const struct quad_fit *fit, vec3 d)
{
    return vec3_sub(d, vec3_scale(fit->normal, vec3_dot(fit->normal, d)));
}

/* The larger slope of the two triangles over the plane; INFINITY where one stands upright. */
static double largest_slope(const struct quad_fit *fit)
{
    double most = 0;

    for (unsigned k = 0; k < 4; k++) { /* the triangle that the diagonal from k + 1 cuts off at k */
        if (fit->cut == (k % 2 ? QUAD_CUT_FROM_1 : QUAD_CUT_FROM_0))
            continue;
        vec3 a = vec3_sub(fit->corners[(k + 1) & 3], fit->corners[k]);
        vec3 b = vec3_sub(fit->corners[(k + 3) & 3], fit->corners[k]);
        vec3 cross = vec3_cross(a, b);
        double up = vec3_dot(cross, fit->normal);
        double slope = up > 0 ? vec3_length(in_plane(fit, cross)) / up : INFINITY;
        most = slope > most ? slope : most;
    }
    return most;
}

static bool set_plane(struct quad_fit *fit)
{
    const vec3 *c = fit->corners;
    vec3 cross = vec3_cross(vec3_sub(c[2], c[0]), vec3_sub(c[3], c[1]));
    double size = vec3_length(cross);

    if (!(size > 0) || !isfinite(size))
        return false;
    fit->normal = vec3_scale(cross, 1 / size);
    for (unsigned k = 0; k < 4; k++) {
        vec3 side = in_plane(fit, vec3_sub(c[(k + 1) & 3], c[k]));
        fit->length[k] = vec3_length(side);
        if (!(fit->length[k] > 0))
            return false;
        fit->along[k] = vec3_scale(side, 1 / fit->length[k]);
        fit->inward[k] = vec3_cross(fit->normal, fit->along[k]);
    }
    for (unsigned k = 0; k < 4; k++) /* convex: each side turns left into the next */
        if (!(vec3_dot(fit->inward[k], fit->along[(k + 1) & 3]) > 0))
            return false;
    fit->slope = largest_slope(fit);
    return isfinite(fit->slope);
}

void quad_fit_begin(struct quad_fit *fit, const vec3 corners[4], enum quad_cut cut)
{
    for (unsigned k = 0; k < 4; k++)
        fit->corners[k] = corners[k];
    fit->cut = cut;
    fit->twist = twist(corners);
    fit->off_sq = fit->off_normal_sq = fit->off_plane_sq = fit->outside_sq = fit->side_sq = 0;
    fit->has_plane = set_plane(fit);
}

enum quad_cut quad_fit_choose(const vec3 corners[4], vec3 middle)
{
    vec3 one = vec3_lerp(corners[0], corners[2], 0.5), other = vec3_lerp(corners[1], corners[3], 0.5);

    return vec3_length_sq(vec3_sub(middle, other)) < vec3_length_sq(vec3_sub(middle, one)) ? QUAD_CUT_FROM_1
                                                                                           : QUAD_CUT_FROM_0;
}

/* --- parts --- */

struct quad_part quad_fit_whole(const struct quad_fit *fit)
{
    struct quad_part whole = {.share = 1, .aligned = fit->cut != QUAD_CUT_EITHER, .sides = {0, 1, 2, 3}};

    for (unsigned k = 0; k < 4; k++)
        whole.corners[k] = fit->corners[k];
    return whole;
}

/* Whether the diagonal goes through corner i of a part. */
static bool is_at_diagonal(const struct quad_fit *fit, const struct quad_part *part, unsigned i)
{
    return (i % 2 == (unsigned)part->odd) == (fit->cut == QUAD_CUT_FROM_0);
}

/* Where T is over the middle of a part, or F, where the diagonal does not go on from corner to corner. */
static vec3 middle_of(const struct quad_fit *fit, const struct quad_part *part)
{
    const vec3 *c = part->corners;
    unsigned i = is_at_diagonal(fit, part, 0) ? 0 : 1;

    if (part->aligned)
        return vec3_lerp(c[i], c[i + 2], 0.5);
    return vec3_lerp(vec3_lerp(c[0], c[2], 0.5), vec3_lerp(c[1], c[3], 0.5), 0.5);
}

struct quad_part quad_fit_quarter(const struct quad_fit *fit, const struct quad_part *part, unsigned i)
{
    const unsigned after = (i + 1) & 3, across = (i + 2) & 3, before = (i + 3) & 3;
    struct quad_part quarter = *part;

    quarter.corners[after] = vec3_lerp(part->corners[i], part->corners[after], 0.5);
    quarter.corners[before] = vec3_lerp(part->corners[i], part->corners[before], 0.5);
    quarter.corners[across] = middle_of(fit, part);
    quarter.sides[after] = quarter.sides[across] = QUAD_FIT_NO_SIDE;
    if (part->aligned)
        quarter.share = is_at_diagonal(fit, part, i) ? 0.5 * part->share : 0;
    return quarter;
}

struct quad_part quad_fit_half(const struct quad_part *part, unsigned side, bool second)
{
    const unsigned a = side & 3, b = (a + 1) & 3, c = (a + 2) & 3, d = (a + 3) & 3;
    struct quad_part half = *part;

    half.corners[second ? b : c] = vec3_lerp(part->corners[b], part->corners[c], 0.5);
    half.corners[second ? a : d] = vec3_lerp(part->corners[d], part->corners[a], 0.5);
    half.sides[second ? a : c] = QUAD_FIT_NO_SIDE;
    half.aligned = !(part->share > 0);
    return half;
}

struct quad_part quad_fit_turned(const struct quad_part *part, unsigned turns)
{
    struct quad_part turned = *part;

    for (unsigned j = 0; j < 4; j++) {
        turned.corners[j] = part->corners[(j + turns) & 3];
        turned.sides[j] = part->sides[(j + turns) & 3];
    }
    turned.odd = part->odd != (turns % 2 == 1);
    return turned;
}

/* --- what is met --- */

static void raise(double *most, double value)
{
    *most = value > *most ? value : *most;
}

static double side_distance_sq(const struct quad_fit *fit, unsigned k, vec3 p)
{
    vec3 d = vec3_sub(p, fit->corners[k]);
    double across = vec3_dot(fit->inward[k], d), along = vec3_dot(fit->along[k], d);
    double beyond = along < 0 ? along : along > fit->length[k] ? along - fit->length[k] : 0;
    return across * across + beyond * beyond;
}

/* 0 inside of Q, else the squared distance to the nearest side. */
static double outside_sq(const struct quad_fit *fit, vec3 p)
{
    double nearest = INFINITY;
    bool inside = true;

    for (unsigned k = 0; k < 4; k++)
        inside = inside && vec3_dot(fit->inward[k], vec3_sub(p, fit->corners[k])) >= 0;
    if (inside)
        return 0;
    for (unsigned k = 0; k < 4; k++) {
        double d = side_distance_sq(fit, k, p);
        nearest = d < nearest ? d : nearest;
    }
    return nearest;
}

/* The ends of the range of s w for a part: what T is moved by from its bilinear part. */
struct moves {
    unsigned count;
    vec3 by[2];
};

static struct moves moves_of(const struct quad_fit *fit, const struct quad_part *part)
{
    const vec3 most = vec3_scale(fit->twist, 0.25 * part->share);
    struct moves moves = {1, {{0, 0, 0}, {0, 0, 0}}};

    if (!(part->share > 0))
        return moves;
    moves.count = 2;
    if (fit->cut != QUAD_CUT_FROM_1)
        moves.by[0] = most;
    if (fit->cut != QUAD_CUT_FROM_0)
        moves.by[1] = vec3_scale(most, -1);
    return moves;
}

/* --- Bezier points, two at once: each value is what one point alone gives --- */

typedef double pair __attribute__((vector_size(2 * sizeof(double))));
typedef int64_t pair_mask __attribute__((vector_size(2 * sizeof(double))));

struct pair3 {
    pair x, y, z;
};

static inline pair pair_of(double a)
{
    return (pair){a, a};
}

static inline pair select_pair(pair_mask mask, pair a, pair b)
{
    return (pair)((mask & (pair_mask)a) | (~mask & (pair_mask)b));
}

static inline pair larger(pair a, pair b)
{
    return select_pair(a > b, a, b);
}

static inline struct pair3 less(const struct pair3 *p, vec3 q)
{
    return (struct pair3){p->x - q.x, p->y - q.y, p->z - q.z};
}

static inline pair dot(const struct pair3 *p, vec3 q)
{
    return p->x * q.x + p->y * q.y + p->z * q.z;
}

static inline pair length_sq(const struct pair3 *p)
{
    return p->x * p->x + p->y * p->y + p->z * p->z;
}

/* The largest values met, squared. */
struct met {
    pair off, normal, plane, outside;
};

static inline void meet_difference(const struct quad_fit *fit, const struct pair3 *off, struct met *met)
{
    met->off = larger(length_sq(off), met->off);
    if (!fit->has_plane)
        return;
    pair up = dot(off, fit->normal);
    struct pair3 flat = {off->x - fit->normal.x * up, off->y - fit->normal.y * up,
                         off->z - fit->normal.z * up};
    met->normal = larger(up * up, met->normal);
    met->plane = larger(length_sq(&flat), met->plane);
}

/* As outside_sq. */
static inline void meet_outside(const struct quad_fit *fit, const struct pair3 *p, struct met *met)
{
    pair across[4], nearest = pair_of(INFINITY);
    pair_mask inside = ~(pair_mask){0};

    for (unsigned k = 0; k < 4; k++) {
        struct pair3 d = less(p, fit->corners[k]);
        across[k] = dot(&d, fit->inward[k]);
        inside &= across[k] >= 0;
    }
    if (inside[0] & inside[1])
        return;
    for (unsigned k = 0; k < 4; k++) {
        struct pair3 d = less(p, fit->corners[k]);
        pair along = dot(&d, fit->along[k]), length = pair_of(fit->length[k]),
             past = select_pair(along > length, along - length, pair_of(0)),
             beyond = select_pair(along < 0, along, past);
        nearest = -larger(-(across[k] * across[k] + beyond * beyond), -nearest);
    }
    met->outside = larger(select_pair(inside, pair_of(0), nearest), met->outside);
}

static void raise_to_pair(double *most, pair values)
{
    raise(most, values[0]);
    raise(most, values[1]);
}

void quad_fit_add_bezier(struct quad_fit *fit, const vec3 points[16], const struct quad_part *part)
{
    static const int SIDE_POINTS[4][4] = {{0, 1, 2, 3}, {3, 7, 11, 15}, {15, 14, 13, 12}, {12, 8, 4, 0}};
    const vec3 *c = part->corners;
    const struct moves moves = moves_of(fit, part);
    struct met met = {{0, 0}, {0, 0}, {0, 0}, {0, 0}};

    for (int j = 0; j < 4; j++) {
        vec3 left = vec3_lerp(c[0], c[3], j / 3.0);
        vec3 step = vec3_scale(vec3_sub(vec3_lerp(c[1], c[2], j / 3.0), left), 1.0 / 3);
        for (int i = 0; i < 4; i += 2) {
            const vec3 *p = &points[4 * j + i];
            const pair steps = {i, i + 1};
            const struct pair3 both = {{p[0].x, p[1].x}, {p[0].y, p[1].y}, {p[0].z, p[1].z}},
                               off = {both.x - (left.x + step.x * steps), both.y - (left.y + step.y * steps),
                                      both.z - (left.z + step.z * steps)};
            for (unsigned k = 0; k < moves.count; k++) {
                struct pair3 moved = less(&off, moves.by[k]);
                meet_difference(fit, &moved, &met);
            }
            if (fit->has_plane)
                meet_outside(fit, &both, &met);
        }
    }
    raise_to_pair(&fit->off_sq, met.off);
    raise_to_pair(&fit->off_normal_sq, met.normal);
    raise_to_pair(&fit->off_plane_sq, met.plane);
    raise_to_pair(&fit->outside_sq, met.outside);
    for (int k = 0; k < 4 && fit->has_plane; k++)
        for (int i = 0; i < 4 && part->sides[k] != QUAD_FIT_NO_SIDE; i++)
            raise(&fit->side_sq, side_distance_sq(fit, (unsigned)part->sides[k], points[SIDE_POINTS[k][i]]));
}

void quad_fit_add_quarters(struct quad_fit *fit, const vec3 points[16], const struct quad_part *part)
{
    vec3 rows[2][16], quarters[4][16];

    bezier_cut(points, false, 0.5, rows[0], rows[1]);
    bezier_cut(rows[0], true, 0.5, quarters[0], quarters[1]);
    bezier_cut(rows[1], true, 0.5, quarters[3], quarters[2]);
    for (unsigned i = 0; i < 4; i++) {
        struct quad_part quarter = quad_fit_quarter(fit, part, i);
        quad_fit_add_bezier(fit, quarters[i], &quarter);
    }
}

static void raise_by_radius(double *most_sq, double distance_sq, double radius)
{
    double distance = sqrt(distance_sq) + radius;
    raise(most_sq, distance * distance);
}

static void add_ball_difference(struct quad_fit *fit, vec3 off, double radius)
{
    raise_by_radius(&fit->off_sq, vec3_length_sq(off), radius);
    if (!fit->has_plane)
        return;
    double up = vec3_dot(fit->normal, off);
    raise_by_radius(&fit->off_normal_sq, up * up, radius);
    raise_by_radius(&fit->off_plane_sq, vec3_length_sq(in_plane(fit, off)), radius);
}

void quad_fit_add_ball(struct quad_fit *fit, vec3 centre, double radius, const struct quad_part *part)
{
    const struct moves moves = moves_of(fit, part);

    for (unsigned k = 0; k < 4; k++) {
        vec3 off = vec3_sub(centre, part->corners[k]);
        for (unsigned i = 0; i < moves.count; i++)
            add_ball_difference(fit, vec3_sub(off, moves.by[i]), radius);
        if (fit->has_plane && part->sides[k] != QUAD_FIT_NO_SIDE)
            raise_by_radius(&fit->side_sq, side_distance_sq(fit, (unsigned)part->sides[k], centre), radius);
    }
    if (fit->has_plane)
        raise_by_radius(&fit->outside_sq, outside_sq(fit, centre), radius);
}

bool quad_fit_is_over(const struct quad_fit *fit, double most_sq)
{
    bool over = fit->off_sq > most_sq;

    return over
           && (!fit->has_plane || fit->off_normal_sq > most_sq || fit->outside_sq > most_sq
               || fit->side_sq > most_sq);
}

/* r of quad_fit.h, for b. */
static double way_inwards(const struct quad_fit *fit, double b)
{
    double most = 0, cotangents[4];

    for (unsigned k = 0; k < 4; k++) {
        double cosine = -vec3_dot(fit->along[(k + 3) & 3], fit->along[k]);
        double sine = sqrt(fmax(0, 0.5 * (1 - cosine)));
        if (!(sine > 0.5))
            return 2 * b;
        cotangents[k] = sqrt(fmax(0, 0.5 * (1 + cosine))) / sine;
        raise(&most, b / sine);
    }
    for (unsigned k = 0; k < 4; k++)
        if (!(b * (cotangents[k] + cotangents[(k + 1) & 3]) < fit->length[k] * (1 - 0x1p-40)))
            return 2 * b;
    return most;
}

double quad_fit_eps(const struct quad_fit *fit)
{
    double by_parameters = sqrt(fit->off_sq);

    if (!fit->has_plane)
        return by_parameters;
    double up = sqrt(fit->off_normal_sq) + fit->slope * sqrt(fit->off_plane_sq),
           side = way_inwards(fit, sqrt(fit->side_sq));
    double s_to_t = sqrt(fit->outside_sq + up * up);
    double t_to_s = sqrt(side * side + (up + fit->slope * side) * (up + fit->slope * side));
    double by_projection = s_to_t > t_to_s ? s_to_t : t_to_s;
    return by_projection < by_parameters ? by_projection : by_parameters;
}
