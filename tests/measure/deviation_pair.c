/* deviation_pair.c - measuring two meshes that a test built. */
#include "measure/deviation_pair.h"
#include "geom/point_triangle.h"

#include <criterion/criterion.h>
#include <math.h>

struct arena pair_arena(size_t number)
{
    static struct arena *arenas[8];

    if (!arenas[number])
        arenas[number] = fixture_arena_of((size_t)2 << 30);
    return *arenas[number];
}

struct deviation_settings pair_settings(void)
{
    return (struct deviation_settings){.certify = 1e-4, .threads = 2};
}

/* Of a length, told as value and half-width, to which samples add what rounding takes. */
static void expect_inside(struct interval certified, double value, double halfwidth, bool sampled)
{
    double rounding = (sampled ? 1e-3 : 0x1p-50) * certified.upper;

    if (isnan(value)) {
        cr_expect(isnan(certified.lower) && isnan(certified.upper));
        return;
    }
    cr_expect(certified.lower <= fmax(0, value - halfwidth) + rounding
                  && value + halfwidth <= certified.upper + rounding,
              "%.17g +- %g is told, %.17g to %.17g certified", value, halfwidth, certified.lower,
              certified.upper);
}

void expect_certified(const struct one_sided_deviation *side, size_t tolerance_count)
{
    const struct certified_statistics *certified = &side->certified;
    const bool sampled = side->sample_count > 0;

    expect_inside(certified->mean, side->mean, side->halfwidth.mean, sampled);
    expect_inside(certified->rms, side->rms, side->halfwidth.rms, sampled);
    expect_inside(certified->median, side->median, side->halfwidth.median, sampled);
    expect_inside(certified->p95, side->p95, side->halfwidth.p95, sampled);
    expect_inside(certified->p99, side->p99, side->halfwidth.p99, sampled);
    expect_inside(certified->p999, side->p999, side->halfwidth.p999, sampled);
    for (size_t t = 0; t < tolerance_count; t++)
        cr_expect(sampled
                  || (certified->coverage[t].lower == side->coverage[t].lower
                      && certified->coverage[t].upper == side->coverage[t].upper));
}

struct deviation pair_measure_fields(const struct mesh *subject, const struct mesh *reference,
                                     const struct deviation_settings *settings,
                                     struct deviation_fields *fields)
{
    struct arena inputs = pair_arena(0), keep = pair_arena(2);
    struct measure_input a, b;
    struct deviation deviation;
    struct error err = {.text = ""};

    cr_assert(measure_input_build(subject, MESH_SCAN, NULL, &a, &inputs, pair_arena(1), &err)
                  && measure_input_build(reference, MESH_SCAN, NULL, &b, &inputs, pair_arena(1), &err)
                  && deviation_measure(&a, &b, settings, NULL, &deviation, fields, NULL, NULL, NULL, &keep,
                                       pair_arena(1), &err),
              "%s", err.text);
    expect_certified(&deviation.reference_to_subject, settings->tolerance_count);
    expect_certified(&deviation.subject_to_reference, settings->tolerance_count);
    return deviation;
}

struct deviation pair_measure(const struct mesh *subject, const struct mesh *reference,
                              const struct deviation_settings *settings)
{
    return pair_measure_fields(subject, reference, settings, NULL);
}

static void bare_input(const struct mesh *mesh, struct measure_input *input)
{
    *input = (struct measure_input){.mesh = mesh, .bounds = aabb_empty()};
    for (size_t c = 0; c < mesh_corner_count(mesh); c++)
        input->bounds = aabb_include(input->bounds, mesh->positions[mesh->face_vertices[c]]);
    input->centre = aabb_centre(input->bounds);
    input->diagonal = aabb_diagonal(input->bounds);
}

struct maximum pair_maximum(const struct mesh *subject, const struct mesh *reference, double width,
                            size_t budget)
{
    struct arena arena = pair_arena(3), scratch;
    struct measure_input inputs[2];
    struct deviation_surface surfaces[2];
    const struct measure_input *const of[2] = {&inputs[0], &inputs[1]};
    struct deviation_surface *const made[2] = {&surfaces[0], &surfaces[1]};
    struct maximum maximum;
    struct error err = {.text = ""};

    bare_input(subject, &inputs[0]);
    bare_input(reference, &inputs[1]);
    struct deviation_frame frame = deviation_frame_of(&inputs[0], &inputs[1]);
    struct maximum_settings settings = {
        .width = ldexp(width, -frame.exponent), .budget = budget, .threads = 1};
    cr_assert(arena_split(&arena, (size_t)128 << 20, &scratch)
                  && deviation_surface_build_pair(of, &frame, 1, made, &arena, scratch, &err)
                  && maximum_find(&surfaces[0], &surfaces[1], &settings, &maximum, scratch, &err),
              "%s", err.text);
    maximum.lower = deviation_frame_lower(&frame, maximum.lower);
    maximum.upper = deviation_frame_upper(&frame, maximum.upper);
    maximum.at = deviation_frame_leave(&frame, maximum.at);
    return maximum;
}

void expect_interval(struct interval interval, double value, double error, double width, const char *name)
{
    cr_expect(interval.lower <= value + error && value - error <= interval.upper,
              "%s: %.17g not in [%.17g, %.17g]", name, value, interval.lower, interval.upper);
    cr_expect(interval.upper - interval.lower <= width, "%s: [%.17g, %.17g] is wider than %g", name,
              interval.lower, interval.upper, width);
    cr_expect(interval.lower >= 0, "%s: lower %g", name, interval.lower);
}

struct mesh pair_soup(struct arena *arena, const vec3 *corners, size_t triangle_count)
{
    struct mesh mesh = fixture_room(arena, 3 * triangle_count, triangle_count, 3 * triangle_count);

    for (size_t i = 0; i < 3 * triangle_count; i++)
        mesh.positions[i] = corners[i];
    for (size_t t = 0; t < triangle_count; t++)
        fixture_add_triangle(&mesh, 3 * t, 3 * t + 1, 3 * t + 2);
    return mesh;
}

double pair_distance(const struct mesh *soup, vec3 p)
{
    double best = INFINITY;

    for (size_t f = 0; f < soup->face_count; f++) {
        const uint32_t *corner = mesh_face(soup, f);
        vec3 a = soup->positions[corner[0]], b = soup->positions[corner[1]], c = soup->positions[corner[2]];
        unsigned turn = triangle_longest_first(a, b, c);
        const vec3 turned[3] = {turn == 0   ? a
                                : turn == 1 ? b
                                            : c,
                                turn == 0   ? b
                                : turn == 1 ? c
                                            : a,
                                turn == 0   ? c
                                : turn == 1 ? a
                                            : b};
        best = fmin(best, triangle_distance_sq(p, turned[0], turned[1], turned[2]));
    }
    return sqrt(best);
}
