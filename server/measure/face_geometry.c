/* face_geometry.c - area and volume of single faces. */
#include "measure/face_geometry.h"

double element_scale_far(double largest)
{
    int exponent;
    if (largest == 0)
        return 1;
    frexp(largest, &exponent);
    return ldexp(1, exponent < -1000 ? 1000 : exponent > 1000 ? -1000 : -exponent);
}

double safe_length_far(vec3 v)
{
    double largest = largest_component(v);
    if (largest == 0)
        return 0;
    int exponent;
    frexp(largest, &exponent);
    /* in two steps: a subnormal's own scale is beyond the largest double */
    vec3 near_one = vec3_scale(vec3_scale(v, ldexp(1, -exponent / 2)), ldexp(1, -exponent - -exponent / 2));
    return ldexp(vec3_length(near_one), exponent);
}

double unit_distance(const struct measure_input *input, uint32_t a, uint32_t b)
{
    return safe_length(guarded_difference(input, a, b)) / (input->guard * input->unit);
}

/* Adds the triangle with corners a, b, c. */
static void add_triangle(const struct measure_input *input, uint32_t a, uint32_t b, uint32_t c,
                         struct face_geometry *sum)
{
    vec3 ab = guarded_difference(input, a, b), ac = guarded_difference(input, a, c);
    double scale = element_scale(larger(largest_component(ab), largest_component(ac)));
    vec3 twice_area = vec3_cross(vec3_scale(ab, scale), vec3_scale(ac, scale));
    if (twice_area.x == 0 && twice_area.y == 0 && twice_area.z == 0)
        return;
    double to_unit = 1 / scale / input->guard / input->unit;
    sum->zero_area = false;
    sum->area += safe_length(twice_area) * to_unit * to_unit / 2;
    sum->volume +=
        vec3_dot(centred_position(input, a), vec3_scale(vec3_scale(twice_area, to_unit), to_unit)) / 6;
}

struct face_geometry face_geometry(const struct measure_input *input, size_t f)
{
    const uint32_t *face = mesh_face(input->mesh, f);
    size_t size = mesh_face_size(input->mesh, f);
    struct face_geometry fan = {.zero_area = true};
    for (size_t i = 2; i < size; i++)
        add_triangle(input, face[0], face[i - 1], face[i], &fan);
    if (size == 4) {
        struct face_geometry other = {.zero_area = true};
        add_triangle(input, face[1], face[2], face[3], &other);
        add_triangle(input, face[1], face[3], face[0], &other);
        fan.volume = (fan.volume + other.volume) / 2;
        fan.zero_area = fan.zero_area && other.zero_area;
    }
    return fan;
}
