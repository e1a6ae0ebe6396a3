/* quad_fit.c - largest deviations from a quad, along its normal, in its plane and over its sides. */
#include "subdiv/quad_fit.h"

static vec3 twist(const vec3 corners[4])
{
    return vec3_sub(vec3_add(corners[0], corners[2]), vec3_add(corners[1], corners[3]));
}

static vec3 in_plane(const struct quad_fit *fit, vec3 d)
{
    return vec3_sub(d, vec3_scale(fit->normal, vec3_dot(fit->normal, d)));
}

/* The larger slope of the two triangles of either diagonal over the plane; INFINITY where one stands upright.
 */
static double largest_slope(const struct quad_fit *fit)
{
    double most = 0;

    for (unsigned k = 0; k < 4; k++) {
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

void quad_fit_begin(struct quad_fit *fit, const vec3 corners[4])
{
    for (unsigned k = 0; k < 4; k++)
        fit->corners[k] = corners[k];
    fit->off_sq = fit->off_normal_sq = fit->off_plane_sq = fit->outside_sq = fit->side_sq = 0;
    fit->has_plane = set_plane(fit);
}

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

static void add_point(struct quad_fit *fit, vec3 p, vec3 flat)
{
    vec3 off = vec3_sub(p, flat);

    raise(&fit->off_sq, vec3_length_sq(off));
    if (!fit->has_plane)
        return;
    double up = vec3_dot(fit->normal, off);
    raise(&fit->off_normal_sq, up * up);
    raise(&fit->off_plane_sq, vec3_length_sq(in_plane(fit, off)));
    raise(&fit->outside_sq, outside_sq(fit, p));
}

void quad_fit_add_bezier(struct quad_fit *fit, const vec3 points[16], const vec3 part[4], const int sides[4])
{
    static const int SIDE_POINTS[4][4] = {{0, 1, 2, 3}, {3, 7, 11, 15}, {15, 14, 13, 12}, {12, 8, 4, 0}};

    for (int j = 0; j < 4; j++) {
        vec3 left = vec3_lerp(part[0], part[3], j / 3.0);
        vec3 step = vec3_scale(vec3_sub(vec3_lerp(part[1], part[2], j / 3.0), left), 1.0 / 3);
        for (int i = 0; i < 4; i++)
            add_point(fit, points[4 * j + i], vec3_add(left, vec3_scale(step, i)));
    }
    for (int k = 0; k < 4 && fit->has_plane; k++)
        for (int i = 0; i < 4 && sides[k] != QUAD_FIT_NO_SIDE; i++)
            raise(&fit->side_sq, side_distance_sq(fit, (unsigned)sides[k], points[SIDE_POINTS[k][i]]));
}

static void raise_by_radius(double *most_sq, double distance_sq, double radius)
{
    double distance = sqrt(distance_sq) + radius;
    raise(most_sq, distance * distance);
}

void quad_fit_add_ball(struct quad_fit *fit, vec3 centre, double radius, const vec3 part[4],
                       const int sides[4])
{
    for (unsigned k = 0; k < 4; k++) {
        vec3 off = vec3_sub(centre, part[k]);
        raise_by_radius(&fit->off_sq, vec3_length_sq(off), radius);
        if (!fit->has_plane)
            continue;
        double up = vec3_dot(fit->normal, off);
        raise_by_radius(&fit->off_normal_sq, up * up, radius);
        raise_by_radius(&fit->off_plane_sq, vec3_length_sq(in_plane(fit, off)), radius);
        if (sides[k] != QUAD_FIT_NO_SIDE)
            raise_by_radius(&fit->side_sq, side_distance_sq(fit, (unsigned)sides[k], centre), radius);
    }
    if (fit->has_plane)
        raise_by_radius(&fit->outside_sq, outside_sq(fit, centre), radius);
}

/* Either bound is at least E1 along n. */
bool quad_fit_is_over(const struct quad_fit *fit, double most_sq)
{
    if (!fit->has_plane)
        return fit->off_sq > most_sq;
    return fit->off_normal_sq > most_sq;
}

double quad_fit_eps_by_parameters(const struct quad_fit *fit)
{
    return sqrt(fit->off_sq) + vec3_length(twist(fit->corners)) / 4;
}

double quad_fit_eps(const struct quad_fit *fit)
{
    double by_parameters = quad_fit_eps_by_parameters(fit);

    if (!fit->has_plane)
        return by_parameters;
    vec3 turned = twist(fit->corners);
    double z = fabs(vec3_dot(fit->normal, turned)) / 4;
    double t = sqrt(fit->off_plane_sq) + vec3_length(in_plane(fit, turned)) / 4;
    double up = sqrt(fit->off_normal_sq) + z + fit->slope * t, side = 2 * sqrt(fit->side_sq);
    double s_to_t = sqrt(fit->outside_sq + up * up);
    double t_to_s = sqrt(side * side + (up + fit->slope * side) * (up + fit->slope * side));
    double by_projection = s_to_t > t_to_s ? s_to_t : t_to_s;
    return by_projection < by_parameters ? by_projection : by_parameters;
}
