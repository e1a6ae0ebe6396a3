/* test_deviation_triangles.c
 *   quick_*   a rough surface that is too large to be certified soon: bounds against every face in turn
 *   even_*    one as far away everywhere
 *   close_*   a surface near another: certified, however large
 *   trial_*   what a trial tells, and how little of it once there is no hope
 */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <math.h>
#include <string.h>

#include "measure/deviation_pair.h"
#include "measure/deviation_triangles.h"
#include "measure/places.h"
#include "support/fixture_share.h"

#define FACES_LOOKED_AT 150
#define POINTS_EACH 12

static struct mesh sphere(struct arena *arena, size_t k, double noise)
{
    struct mesh quads = fixture_cubed_sphere(arena, k), mesh = fixture_fanned(arena, &quads);
    uint64_t state = 3;

    for (size_t v = 0; v < mesh.vertex_count; v++)
        mesh.positions[v] = vec3_scale(mesh.positions[v], 1 + noise * (2 * fixture_random_unit(&state) - 1));
    return mesh;
}

static const double *field(const struct deviation_fields *fields, const char *name)
{
    for (size_t i = 0; i < fields->count; i++)
        if (strcmp(fields->fields[i].name, name) == 0)
            return fields->fields[i].values;
    cr_assert(false, "no field %s", name);
    return NULL;
}

static vec3 point_on(const struct mesh *mesh, size_t f, double u, double v)
{
    const uint32_t *face = mesh_face(mesh, f);
    const vec3 *p = mesh->positions;

    if (u + v > 1) {
        u = 1 - u;
        v = 1 - v;
    }
    return vec3_add(p[face[0]], vec3_add(vec3_scale(vec3_sub(p[face[1]], p[face[0]]), u),
                                         vec3_scale(vec3_sub(p[face[2]], p[face[0]]), v)));
}

/* Every point of a face is within its bounds, and no peak is told where none is. What a peak tells at least:
 * the distances of corners, and of a centroid that is farther than `middles`, but for the way from a point
 * asked instead. */
struct expected {
    bool of_reference;
    size_t
        farthest; /* the face of the farthest place of all, whose peak may be anywhere on it; SIZE_MAX: any */
    double middles;
    double way;
};

static void expect_bounds(const struct mesh *from, const struct mesh *to,
                          const struct deviation_fields *fields, struct expected expected)
{
    const bool r = expected.of_reference;
    const double *lower = field(fields, r ? "reference_face_distance_lower" : "face_distance_lower"),
                 *upper = field(fields, r ? "reference_face_distance_upper" : "face_distance_upper"),
                 *peak = field(fields, r ? "reference_face_distance_peak" : "face_distance_peak");
    const size_t faces = fixture_share(FACES_LOOKED_AT);
    uint64_t state = 11;

    for (size_t k = 0; k < faces; k++) {
        size_t f = from->face_count * k / faces;
        double most = 0, told = pair_distance(to, point_on(from, f, 1.0 / 3, 1.0 / 3));
        told = told > expected.middles ? told : 0;
        for (int i = 0; i < POINTS_EACH; i++) {
            vec3 p = i == 0 ? point_on(from, f, 1.0 / 3, 1.0 / 3)
                            : point_on(from, f, fixture_random_unit(&state), fixture_random_unit(&state));
            double d = pair_distance(to, p);
            cr_expect(lower[f] <= d + 1e-12 && d <= upper[f] + 1e-12, "face %zu: %g not in %g to %g", f, d,
                      lower[f], upper[f]);
            most = fmax(most, d);
        }
        for (int i = 0; i < 3; i++) {
            vec3 corner = from->positions[mesh_face(from, f)[i]];
            told = fmax(told, pair_distance(to, corner));
        }
        most = fmax(most, told);
        cr_expect(f == expected.farthest || expected.farthest == SIZE_MAX || peak[f] <= most + 1e-12,
                  "face %zu: peak %g, %g", f, peak[f], most);
        cr_expect(peak[f] <= upper[f] + 1e-12, "face %zu", f);
        cr_expect(peak[f] >= told - expected.way - 1e-6, "face %zu: %g is not %g", f, peak[f], told);
    }
}

Test(deviation_triangles, quick_bounds_hold_and_statistics_are_sampled)
{
    struct arena arena = pair_arena(4);
    struct mesh rough = sphere(&arena, 48, 0.02), round = sphere(&arena, 20, 0);
    struct deviation_settings settings = pair_settings();
    struct deviation_fields fields = {.count = 0};

    cr_assert(rough.face_count + round.face_count > (size_t)1 << 14);
    struct deviation got = pair_measure_fields(&rough, &round, &settings, &fields);
    cr_expect(gt(sz, got.subject_to_reference.sample_count, 0));
    cr_expect(gt(sz, got.reference_to_subject.sample_count, 0));
    expect_bounds(&rough, &round, &fields,
                  (struct expected){false, got.subject_to_reference.max.face, INFINITY, 0});
    expect_bounds(&round, &rough, &fields, (struct expected){true, SIZE_MAX, INFINITY, 0});
}

/* From the subject to the reference: without a tolerance, and with one. */
struct with_and_without {
    struct one_sided_deviation without, with;
};

static struct with_and_without measure_with_and_without(const struct mesh *subject,
                                                        const struct mesh *reference, double tolerance)
{
    struct deviation_settings settings = pair_settings();
    struct with_and_without got;

    got.without = pair_measure(subject, reference, &settings).subject_to_reference;
    settings.tolerance_count = 1;
    settings.tolerances[0] = tolerance;
    got.with = pair_measure(subject, reference, &settings).subject_to_reference;
    cr_assert(gt(sz, got.without.sample_count, 0));
    return got;
}

/* Spheres apart by much the same everywhere: few samples tell the mean within half a hundredth of itself, but
 * not a share of the area, for which there are more. Either mean is within both half-widths of the other. */
Test(deviation_triangles, even_distances_take_fewer_samples)
{
    struct arena arena = pair_arena(4);
    struct mesh rough = sphere(&arena, 48, 0.02), round = sphere(&arena, 20, 0);

    for (size_t v = 0; v < rough.vertex_count; v++)
        rough.positions[v] = vec3_scale(rough.positions[v], 1.5);
    const struct with_and_without got = measure_with_and_without(&rough, &round, 0.5);
    const struct one_sided_deviation few = got.without, many = got.with;
    cr_expect(gt(sz, many.sample_count, 2 * few.sample_count));
    cr_expect(lt(dbl, few.halfwidth.mean, 0.005 * few.mean));
    cr_expect(lt(dbl, fabs(few.mean - many.mean), few.halfwidth.mean + many.halfwidth.mean));
    cr_expect(lt(dbl, many.halfwidth.mean, few.halfwidth.mean));
}

static vec3 nearest_vertex(const struct mesh *mesh, vec3 p)
{
    vec3 nearest = mesh->positions[0];

    for (size_t v = 1; v < mesh->vertex_count; v++)
        if (vec3_distance(mesh->positions[v], p) < vec3_distance(nearest, p))
            nearest = mesh->positions[v];
    return nearest;
}

/* Vertices that are all on the other surface say nothing of what is between them, however even they are. */
Test(deviation_triangles, even_vertices_on_the_other_surface_take_as_many_samples)
{
    struct arena arena = pair_arena(4);
    struct mesh rough = sphere(&arena, 48, 0.02), cage = sphere(&arena, 20, 0);

    for (size_t v = 0; v < cage.vertex_count; v++)
        cage.positions[v] = nearest_vertex(&rough, cage.positions[v]);
    const struct with_and_without got = measure_with_and_without(&cage, &rough, 0.01);
    cr_expect(eq(sz, got.without.sample_count, got.with.sample_count));
}

Test(deviation_triangles, quick_results_are_the_same_for_any_threads)
{
    struct arena arena = pair_arena(4);
    struct mesh rough = sphere(&arena, 48, 0.02), round = sphere(&arena, 20, 0);
    struct deviation_settings settings = pair_settings();
    struct deviation_fields fields = {.count = 0};
    double kept[3][16];

    settings.threads = 1;
    struct deviation one = pair_measure_fields(&rough, &round, &settings, &fields);
    const char *const names[3] = {"face_distance_lower", "face_distance_upper", "face_distance_peak"};
    for (int n = 0; n < 3; n++)
        for (size_t i = 0; i < 16; i++)
            kept[n][i] = field(&fields, names[n])[rough.face_count * i / 16];
    settings.threads = 3;
    struct deviation more = pair_measure_fields(&rough, &round, &settings, &fields);
    cr_expect(memcmp(&one, &more, sizeof one) == 0);
    for (int n = 0; n < 3; n++)
        for (size_t i = 0; i < 16; i++)
            cr_expect(kept[n][i] == field(&fields, names[n])[rough.face_count * i / 16], "%s", names[n]);
}

/* One vertex pulled out: its faces are among the farthest, and so are bounded closely. */
Test(deviation_triangles, quick_bounds_are_close_where_it_is_far)
{
    struct arena arena = pair_arena(4);
    struct mesh rough = sphere(&arena, 48, 0.01), round = sphere(&arena, 20, 0);
    struct deviation_settings settings = pair_settings();
    struct deviation_fields fields = {.count = 0};
    const size_t pulled = 1000;

    rough.positions[pulled] = vec3_scale(rough.positions[pulled], 1.5);
    struct deviation got = pair_measure_fields(&rough, &round, &settings, &fields);
    cr_assert(gt(sz, got.subject_to_reference.sample_count, 0));
    const double *upper = field(&fields, "face_distance_upper"), *peak = field(&fields, "face_distance_peak");
    size_t looked_at = 0;
    for (size_t f = 0; f < rough.face_count; f++)
        for (int i = 0; i < 3; i++)
            if (mesh_face(&rough, f)[i] == pulled) {
                double d = pair_distance(&round, rough.positions[pulled]);
                looked_at++;
                cr_expect(peak[f] <= d + 1e-12 && d <= upper[f] + 1e-12, "face %zu", f);
                cr_expect(peak[f] > 0.8 * d && upper[f] < 1.1 * d, "face %zu: %g to %g, %g", f, peak[f],
                          upper[f], d);
            }
    cr_expect(ge(sz, looked_at, 4));
}

/* The coarser one has half as many triangles, and vertices pulled out: its centroids are asked where they may
 * matter to a place, so that peaks tell how far the middle of a face is, and every vertex of both, so that
 * they tell what sticks out. */
Test(deviation_triangles, quick_peaks_are_known_at_vertices_and_centroids)
{
    struct arena arena = pair_arena(6);
    struct mesh rough = sphere(&arena, fixture_size(90, 60), 0.02),
                cage = sphere(&arena, fixture_size(60, 40), 0.02);
    struct deviation_settings settings = pair_settings();
    struct deviation_fields fields = {.count = 0};
    size_t above = 0;

    for (size_t v = 0; v < cage.vertex_count; v += 400)
        cage.positions[v] = vec3_scale(cage.positions[v], 1.2);
    struct deviation got = pair_measure_fields(&cage, &rough, &settings, &fields);
    cr_assert(gt(sz, got.subject_to_reference.sample_count, 0));
    cr_assert(gt(sz, got.reference_to_subject.sample_count, 0));
    const double level =
        PLACE_LEAST * places_level(&settings, &got.subject_to_reference, 0, 2 * sqrt(3) * 1.05);
    expect_bounds(&cage, &rough, &fields, (struct expected){false, SIZE_MAX, level, 0});
    expect_bounds(&rough, &cage, &fields, (struct expected){true, SIZE_MAX, INFINITY, 0});
    const double *peak = field(&fields, "face_distance_peak");
    for (size_t f = 0; f < cage.face_count; f++)
        for (int i = 0; i < 3; i++)
            if (mesh_face(&cage, f)[i] % 400 == 0) {
                cr_expect(peak[f] > 0.1, "face %zu: %g", f, peak[f]);
                above++;
            }
    cr_expect(gt(sz, above, 4 * (cage.vertex_count / 400)));
}

/* Two triangles through a sphere, whose corners lie on it: the farthest place of all is in the middle of one;
 * that the other is far too its centroid alone tells. */
Test(deviation_triangles, quick_peak_of_a_bridge_is_in_its_middle)
{
    static const vec3 corners[6] = {{1, 0, 0},
                                    {0, 1, 0},
                                    {0, 0, 1},
                                    {1, 0, 0},
                                    {-0.5, 0.86602540378443864, 0},
                                    {-0.5, -0.86602540378443864, 0}};
    struct arena arena = pair_arena(4);
    struct mesh rough = sphere(&arena, fixture_size(90, 60), 0.02),
                cage = sphere(&arena, fixture_size(40, 30), 0.02), bridges = pair_soup(&arena, corners, 2),
                bridged = fixture_joined(&arena, &cage, &bridges);
    struct deviation_settings settings = pair_settings();
    struct deviation_fields fields = {.count = 0};
    struct deviation got = pair_measure_fields(&bridged, &rough, &settings, &fields);
    const double *peak = field(&fields, "face_distance_peak");
    const size_t near = cage.face_count, far = near + 1;

    cr_assert(eq(sz, got.subject_to_reference.max.face, far));
    cr_expect(peak[far] > 0.95, "%g", peak[far]);
    const double middle = pair_distance(&rough, point_on(&bridged, near, 1.0 / 3, 1.0 / 3));
    cr_expect(peak[near] >= middle - 1e-6 && peak[near] > 0.35, "%g, %g", peak[near], middle);
}

/* A grain in the middle of a ball, where every face may be the nearest: it ends soon, and holds. */
Test(deviation_triangles, quick_bounds_of_a_grain_in_a_ball_end_and_hold)
{
    struct arena arena = pair_arena(4);
    struct mesh rough = sphere(&arena, fixture_size(48, 38), 0.05),
                ball = sphere(&arena, fixture_size(20, 8), 0.02),
                grain = fixture_moved(&arena, &rough, 0.01, (vec3){0, 0, 0});
    struct deviation_settings settings = pair_settings();
    struct deviation_fields fields = {.count = 0};

    settings.certify = fixture_wider(1e-6);
    struct deviation got = pair_measure_fields(&grain, &ball, &settings, &fields);
    expect_bounds(&grain, &ball, &fields,
                  (struct expected){false, got.subject_to_reference.max.face, INFINITY, 0.03});
}

/* Radially off by at most 1e-6, so that every value is within 1e-6 of 0 and of the certified one. */
Test(deviation_triangles, close_surfaces_are_certified)
{
    struct arena arena = pair_arena(4);
    struct mesh near = sphere(&arena, 40, 1e-6), round = sphere(&arena, 40, 0);
    struct deviation_settings settings = pair_settings();

    cr_assert(near.face_count + round.face_count > (size_t)1 << 14);
    struct deviation got = pair_measure(&near, &round, &settings);
    cr_expect(eq(sz, got.subject_to_reference.sample_count, 0));
    cr_expect(eq(sz, got.reference_to_subject.sample_count, 0));
    cr_expect(got.subject_to_reference.mean <= 1e-6 + got.subject_to_reference.halfwidth.mean);
    cr_expect(got.subject_to_reference.halfwidth.mean <= 1e-4 * 2 * sqrt(3));
}

struct tried {
    double halfwidth;
    size_t stride, work;
};

static struct tried try_pair(const struct mesh *from, const struct mesh *to, double wanted, double enough,
                             size_t threads)
{
    struct arena keep = pair_arena(0), scratch = pair_arena(1);
    struct measure_input inputs[2];
    struct deviation_surface surfaces[2];
    struct surface_parts parts = {.from = &surfaces[0],
                                  .to = &surfaces[1],
                                  .reach = 4,
                                  .wanted = wanted,
                                  .threads = threads,
                                  .budget = (size_t)1 << 30};
    struct error err = {.text = ""};
    struct tried tried = {.halfwidth = NAN};

    cr_assert(measure_input_build(from, MESH_SCAN, NULL, &inputs[0], &keep, scratch, &err)
              && measure_input_build(to, MESH_SCAN, NULL, &inputs[1], &keep, scratch, &err));
    struct deviation_frame frame = deviation_frame_of(&inputs[0], &inputs[1]);
    cr_assert(deviation_surface_build(&inputs[0], &frame, threads, &surfaces[0], &keep, scratch, &err)
              && deviation_surface_build(&inputs[1], &frame, threads, &surfaces[1], &keep, scratch, &err)
              && triangles_try(&parts, NULL, 0, enough, &tried.halfwidth, &keep, &err));
    tried.stride = parts.trial_stride;
    tried.work = parts.work;
    return tried;
}

Test(deviation_triangles, trial_tells_all_that_is_not_too_much_and_ends_beyond)
{
    struct arena arena = pair_arena(4);
    struct mesh rough = sphere(&arena, 40, 0.05), round = sphere(&arena, 24, 0);
    const struct tried whole = try_pair(&rough, &round, 1e-4, INFINITY, 2),
                       hopeful = try_pair(&rough, &round, 1e-4, 1.01 * whole.halfwidth, 2);

    cr_assert(gt(sz, whole.stride, 1));
    cr_assert(gt(dbl, whole.halfwidth, 1e-3));
    cr_expect(eq(dbl, hopeful.halfwidth, whole.halfwidth));
    cr_expect(eq(sz, hopeful.work, whole.work));
    for (double enough = whole.halfwidth / 20; enough > whole.halfwidth / 5000; enough /= 4) {
        const struct tried beyond = try_pair(&rough, &round, 1e-4, enough, 2),
                           alone = try_pair(&rough, &round, 1e-4, enough, 1);
        cr_expect(beyond.halfwidth > enough && beyond.halfwidth <= whole.halfwidth, "%g of %g", enough,
                  whole.halfwidth);
        cr_expect(lt(sz, beyond.work, whole.work));
        cr_expect(alone.halfwidth == beyond.halfwidth && alone.work == beyond.work);
    }
}
