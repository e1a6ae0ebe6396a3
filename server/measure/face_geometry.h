/* face_geometry.h - area and volume of single faces, safe from overflow and underflow of any finite input.
 *
 * A face is cut as a fan from its first corner; the volume under a quad is the mean over both diagonals,
 * which is the volume under its bilinear patch. Volumes are of the cone from the box centre: (p - centre) . n
 * / 6 with n twice the vector area (C. Zhang, T. Chen, "Efficient feature extraction for 2D/3D objects in
 * mesh representation", ICIP 2001). */
#ifndef MEASURE_FACE_GEOMETRY_H
#define MEASURE_FACE_GEOMETRY_H

#include "base/ahead.h"
#include "measure/measure_input.h"

struct face_geometry {
    double area;    /* in unit^2 */
    double volume;  /* signed, in unit^3 */
    bool zero_area; /* every triangle of the fan, and of a quad's other cut, has an area of exactly 0 */
};

struct face_geometry face_geometry(const struct measure_input *input, size_t f);

/* The same as below for what is far from 1. */
double safe_length_far(vec3 v);
double element_scale_far(double largest);

/* Length of a vector whose squares may overflow or vanish. */
static inline double safe_length(vec3 v)
{
    double squared = vec3_length_sq(v);
    return squared > 0x1p-900 && squared < 0x1p900 ? sqrt(squared) : safe_length_far(v);
}

/* A power of two that brings a length near 1 where its square or product could leave the range of doubles,
 * else exactly 1: multiplying by it changes no bit of any result but the exponent. */
static inline double element_scale(double largest)
{
    return largest > 0x1p-250 && largest < 0x1p250 ? 1 : element_scale_far(largest);
}

/* Of two numbers that are not NaN; fmin and fmax are calls into the library for the sake of NaN. */
static inline double smaller(double a, double b)
{
    return a < b ? a : b;
}
static inline double larger(double a, double b)
{
    return a > b ? a : b;
}

static inline double largest_component(vec3 v)
{
    return larger(fabs(v.x), larger(fabs(v.y), fabs(v.z)));
}

/* (position of b - position of a) * input->guard: never overflows. */
static inline vec3 guarded_difference(const struct measure_input *input, uint32_t a, uint32_t b)
{
    vec3 p = input->mesh->positions[a], q = input->mesh->positions[b];
    return vec3_sub(vec3_scale(q, input->guard), vec3_scale(p, input->guard));
}

/* Position relative to the centre, in units. */
static inline vec3 centred_position(const struct measure_input *input, uint32_t v)
{
    return vec3_scale(vec3_sub(input->mesh->positions[v], input->centre), 1 / input->unit);
}

/* Asks memory for the corners of a face; of one after the last, for nothing. */
static inline void face_geometry_ask(const struct measure_input *input, size_t f)
{
    const struct mesh *mesh = input->mesh;

    for (size_t i = 0; f < mesh->face_count && i < mesh_face_size(mesh, f); i++)
        ahead_ask(&mesh->positions[mesh_face(mesh, f)[i]]);
}

/* Distance of two vertices in units. */
double unit_distance(const struct measure_input *input, uint32_t a, uint32_t b);

/* The value, or NaN where it is infinite: what a record calls not defined. */
static inline double finite_or_nan(double value)
{
    return isfinite(value) ? value : NAN;
}

#endif
