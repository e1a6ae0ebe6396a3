/* test_sample_facts.c - five real meshes against facts that were counted by other libraries.
 *   facts_*     vertices, edges, faces, loops, shells, valences, area, volume, edge lengths
 *   verdict_*   least, mean and largest of eight Verdict metrics
 *
 * Two printed digits of the README are off (skew and warpage of spot_control_mesh): here stand the values of
 * VTK 9.1, which agrees with fettle to 1e-12 on every face (tests/oracle/verdict.test.mjs).
 *
 * Source: README.md beside the sample meshes: topology by VTK 9.1, CGAL 5.5.1 and libigl, quality values from
 * the Verdict library (2026 source); see support/fixture_sample.h for where they are looked for. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>

#include "measure/quality_quad.h"
#include "measure/quality_triangle.h"
#include "support/fixture_measured.h"
#include "support/fixture_sample.h"

struct facts {
    const char *name;
    size_t vertices, edges, faces, triangles, quads, ngons, unreferenced;
    size_t open_edges, pinch_vertices, shells;
    int64_t loops, chi, genus;
    double area, volume, diagonal, edge_min, edge_mean, edge_max;
    uint32_t interior[8][2], boundary[3][2]; /* valence, how many */
};

/* Areas and volumes are printed to twelve decimals, lengths to eight. */
static void expect_facts(const struct facts *want)
{
    const struct measured *m = fixture_measured(fixture_sample(want->name));
    const struct mesh_report *got = &m->report;
    cr_expect(eq(sz, got->counts.vertices, want->vertices));
    cr_expect(eq(sz, got->counts.edges, want->edges));
    cr_expect(eq(sz, got->counts.faces, want->faces));
    cr_expect(eq(sz, got->counts.triangles, want->triangles));
    cr_expect(eq(sz, got->counts.quads, want->quads));
    cr_expect(eq(sz, got->counts.ngons, want->ngons));
    cr_expect(eq(sz, got->counts.unreferenced_vertices, want->unreferenced));
    cr_expect(eq(sz, got->topology.open_edges, want->open_edges));
    cr_expect(eq(i64, got->topology.open_loops, want->loops));
    cr_expect(eq(sz, got->topology.nonmanifold_edges, 0));
    cr_expect(eq(sz, got->topology.nonmanifold_vertices, want->pinch_vertices));
    cr_expect(eq(sz, got->topology.shells, want->shells));
    cr_expect(eq(i64, got->topology.euler_characteristic, want->chi));
    cr_expect(eq(i64, got->topology.genus, want->genus));
    cr_expect(epsilon_eq(dbl, got->area, want->area, 2e-12));
    if (want->open_edges == 0) {
        /* the fact is of fan triangles; ours of quads is the mean over both diagonals */
        struct mesh fanned = fixture_fanned(fixture_arena(), &m->mesh);
        cr_expect(epsilon_eq(dbl, fixture_measured(fanned)->report.volume, want->volume, 2e-12));
    } else
        cr_expect(isnan(got->volume));
    cr_expect(epsilon_eq(dbl, got->diagonal, want->diagonal, 2e-12));
    cr_expect(epsilon_eq(dbl, got->edge_length.min, want->edge_min, 1e-8));
    cr_expect(epsilon_eq(dbl, got->edge_length.mean, want->edge_mean, 1e-8));
    cr_expect(epsilon_eq(dbl, got->edge_length.max, want->edge_max, 1e-8));
    for (size_t i = 0; i < 8 && want->interior[i][0]; i++)
        cr_expect(eq(sz, fixture_bin(&got->valence.interior, want->interior[i][0]), want->interior[i][1]));
    for (size_t i = 0; i < 3 && want->boundary[i][0]; i++)
        cr_expect(eq(sz, fixture_bin(&got->valence.boundary, want->boundary[i][0]), want->boundary[i][1]));
}

Test(sample_facts, facts_spot_control_mesh)
{
    expect_facts(&(struct facts){.name = "spot_control_mesh.obj",
                                 .vertices = 188,
                                 .edges = 366,
                                 .faces = 180,
                                 .triangles = 4,
                                 .quads = 160,
                                 .ngons = 16,
                                 .shells = 1,
                                 .chi = 2,
                                 .area = 8.249578471610,
                                 .volume = 0.844791062190,
                                 .diagonal = 2.749367271473,
                                 .edge_min = 0.00361741,
                                 .edge_mean = 0.20499576,
                                 .edge_max = 0.54017124,
                                 .interior = {{3, 52}, {4, 108}, {5, 24}, {6, 4}}});
}

Test(sample_facts, facts_spot_quadrangulated)
{
    expect_facts(&(struct facts){.name = "spot_quadrangulated.obj",
                                 .vertices = 2930,
                                 .edges = 5856,
                                 .faces = 2928,
                                 .quads = 2928,
                                 .shells = 1,
                                 .chi = 2,
                                 .area = 5.713070002745,
                                 .volume = 0.717886510471,
                                 .diagonal = 2.588090043255,
                                 .edge_min = 0.00434454,
                                 .edge_mean = 0.04309158,
                                 .edge_max = 0.11202371,
                                 .interior = {{3, 56}, {4, 2830}, {5, 40}, {6, 4}}});
}

Test(sample_facts, facts_fish)
{
    expect_facts(
        &(struct facts){.name = "fish.obj",
                        .vertices = 10786,
                        .edges = 32352,
                        .faces = 21568,
                        .triangles = 21568,
                        .shells = 1,
                        .chi = 2,
                        .area = 9.106764777753,
                        .volume = 1.352890024277,
                        .diagonal = 3.578313640510,
                        .edge_min = 0.00393900,
                        .edge_mean = 0.03186559,
                        .edge_max = 0.10501351,
                        .interior = {{4, 20}, {5, 463}, {6, 9830}, {7, 459}, {8, 11}, {9, 2}, {10, 1}}});
}

Test(sample_facts, facts_catmark_rook)
{
    expect_facts(&(struct facts){.name = "catmark_rook.obj",
                                 .vertices = 768,
                                 .edges = 1544,
                                 .faces = 777,
                                 .triangles = 44,
                                 .quads = 733,
                                 .open_edges = 24,
                                 .loops = 1,
                                 .shells = 1,
                                 .chi = 1,
                                 .area = 1.051369327287,
                                 .diagonal = 0.874771398709,
                                 .edge_min = 0.00130448,
                                 .edge_mean = 0.03989929,
                                 .edge_max = 0.28657773,
                                 .interior = {{3, 33}, {4, 655}, {5, 44}, {6, 7}, {7, 5}},
                                 .boundary = {{3, 24}}});
}

Test(sample_facts, facts_catmark_nonman_verts)
{
    expect_facts(&(struct facts){.name = "catmark_nonman_verts.obj",
                                 .vertices = 49,
                                 .edges = 64,
                                 .faces = 20,
                                 .triangles = 1,
                                 .quads = 19,
                                 .unreferenced = 1,
                                 .open_edges = 49,
                                 .loops = 8,
                                 .pinch_vertices = 4,
                                 .shells = 8,
                                 .chi = 4,
                                 .area = 6.129841296138,
                                 .diagonal = 3.674234614175,
                                 .edge_min = 0.35355339,
                                 .edge_mean = 0.54566115,
                                 .edge_max = 0.70710678,
                                 .boundary = {{2, 29}, {3, 15}}});
}

struct metric_facts {
    size_t metric;
    double min, mean, max;
};

/* Printed to eight decimals; metrics are compared to one unit of the last. */
static void expect_metrics(const struct metric_report *got, const struct metric_facts *want, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        const struct metric_report *metric = &got[want[i].metric];
        cr_expect(epsilon_eq(dbl, metric->min, want[i].min, 1e-8), "%s", metric->name);
        cr_expect(epsilon_eq(dbl, metric->mean, want[i].mean, 1e-8), "%s", metric->name);
        cr_expect(epsilon_eq(dbl, metric->max, want[i].max, 1e-8), "%s", metric->name);
        cr_expect(eq(sz, metric->undefined + metric->degenerate, 0), "%s", metric->name);
    }
}

Test(sample_facts, verdict_spot_quadrangulated)
{
    static const struct metric_facts want[] = {
        {QUAD_EDGE_RATIO, 1.01013273, 1.62263407, 5.85042624},
        {QUAD_ASPECT_RATIO, 1.01522171, 1.35531216, 3.60350197},
        {QUAD_SKEW, 0.00026640, 0.17531754, 0.94890659},
        {QUAD_TAPER, 0.00143984, 0.09082404, 0.73517139},
        {QUAD_WARPAGE, 0.02939234, 0.97644955, 1},
        {QUAD_SCALED_JACOBIAN, 0.28670837, 0.93722624, 0.99999268},
        {QUAD_MIN_ANGLE, 16.66331746, 76.12812645, 89.79820879},
        {QUAD_MAX_ANGLE, 90.12585152, 104.54223353, 162.87703242},
    };
    expect_metrics(fixture_measured(fixture_sample("spot_quadrangulated.obj"))->report.quality.quad, want, 8);
}

Test(sample_facts, verdict_spot_control_mesh)
{
    static const struct metric_facts want[] = {
        {QUAD_EDGE_RATIO, 1.10791462, 3.54134767, 38.43208671},
        {QUAD_ASPECT_RATIO, 1.06001988, 2.47158221, 25.50187314},
        {QUAD_SKEW, 0.00359896, 0.20593723, 0.99699501}, /* least: the README prints 0.00359886 */
        {QUAD_TAPER, 0.00163886, 0.37428896, 1.73334660},
        {QUAD_WARPAGE, -0.98552036, 0.64899455, 1}, /* mean: the README prints 0.64899459 */
        {QUAD_SCALED_JACOBIAN, -0.79174820, 0.74967214, 0.99939770},
        {QUAD_MIN_ANGLE, 2.48000440, 66.05142765, 88.16266996},
        {QUAD_MAX_ANGLE, 85.34362148, 119.37022020, 283.60022698},
    };
    expect_metrics(fixture_measured(fixture_sample("spot_control_mesh.obj"))->report.quality.quad, want, 8);
}

Test(sample_facts, verdict_catmark_rook)
{
    static const struct metric_facts want[] = {
        {QUAD_EDGE_RATIO, 1.13426026, 7.12109824, 134.15371921},
        {QUAD_ASPECT_RATIO, 1.07432193, 1.98086217, 5.89192475},
        {QUAD_SKEW, 0, 0.04650900, 0.88418292},
        {QUAD_TAPER, 0, 0.16098381, 1.73204717},
        {QUAD_WARPAGE, 0.99999997, 1, 1},
        {QUAD_SCALED_JACOBIAN, 0.01557727, 0.96007388, 1},
        {QUAD_MIN_ANGLE, 14.60464074, 81.42639999, 90},
        {QUAD_MAX_ANGLE, 90, 98.70670064, 179.10745203},
    };
    expect_metrics(fixture_measured(fixture_sample("catmark_rook.obj"))->report.quality.quad, want, 8);
}

Test(sample_facts, verdict_fish)
{
    static const struct metric_facts want[] = {
        {TRIANGLE_EDGE_RATIO, 1.00883901, 1.96613907, 8.40590388},
        {TRIANGLE_ASPECT_RATIO, 1.00333714, 1.58625068, 5.46861050},
        {TRIANGLE_SCALED_JACOBIAN, 0.13211293, 0.64827352, 0.99447815},
        {TRIANGLE_MIN_ANGLE, 6.56977801, 34.87521724, 59.45647296},
        {TRIANGLE_MAX_ANGLE, 60.32595620, 84.43177303, 147.53385684},
    };
    expect_metrics(fixture_measured(fixture_sample("fish.obj"))->report.quality.triangle, want, 5);
}
