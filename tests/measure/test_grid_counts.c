/* test_grid_counts.c - closed forms of regular meshes: counts, loops, genus, valence, area, volume.
 *   counts_*     V, E, F, chi, loops, genus and valences of grids that are derived on paper
 *   geometry_*   area and volume of the same, from closed forms
 *   places_*     open loops with their length and centre
 */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>

#include "support/fixture_measured.h"

static const double pi = 3.14159265358979323846;

struct expected_counts {
    const char *name;
    struct mesh mesh;
    size_t vertices, edges, faces;
    int64_t chi, loops, genus;
    size_t open_edges;
};

Test(grid_counts, counts_of_regular_meshes)
{
    struct arena *arena = fixture_arena();
    enum { N = 7, M = 5, K = 4 };
    const struct expected_counts cases[] = {
        {"grid", fixture_grid(arena, N, M), (N + 1) * (M + 1), N * (M + 1) + M * (N + 1), N * M, 1, 1, 0,
         2 * N + 2 * M},
        {"torus", fixture_torus(arena, N, M, 3, 1), N * M, 2 * N * M, N * M, 0, 0, 1, 0},
        {"uv sphere", fixture_uv_sphere(arena, N, M), N * (M - 1) + 2, N * (2 * M - 1), N * M, 2, 0, 0, 0},
        {"cubed sphere", fixture_cubed_sphere(arena, K), 6 * K * K + 2, 12 * K * K, 6 * K * K, 2, 0, 0, 0},
        {"open cylinder", fixture_cylinder(arena, N, K, 2, false), N * (K + 1), N * (2 * K + 1), N * K, 0, 2,
         0, 2 * N},
        {"capped cylinder", fixture_cylinder(arena, N, K, 2, true), N * (K + 1), N * (2 * K + 1), N * K + 2,
         2, 0, 0, 0},
        {"moebius band", fixture_moebius(arena, N), 2 * N, 3 * N, N, 0, 1, MEASURE_UNDEFINED, 2 * N},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        const struct expected_counts *want = &cases[i];
        const struct mesh_report *got = &fixture_measured(want->mesh)->report;
        cr_expect(eq(sz, got->counts.vertices, want->vertices), "%s", want->name);
        cr_expect(eq(sz, got->counts.edges, want->edges), "%s", want->name);
        cr_expect(eq(sz, got->counts.faces, want->faces), "%s", want->name);
        cr_expect(eq(i64, got->topology.euler_characteristic, want->chi), "%s", want->name);
        cr_expect(eq(i64, got->topology.open_loops, want->loops), "%s", want->name);
        cr_expect(eq(i64, got->topology.genus, want->genus), "%s", want->name);
        cr_expect(eq(sz, got->topology.open_edges, want->open_edges), "%s", want->name);
        cr_expect(eq(sz, got->topology.shells, 1), "%s", want->name);
        cr_expect(got->topology.manifold, "%s", want->name);
        cr_expect(eq(int, got->topology.closed, want->open_edges == 0), "%s", want->name);
        cr_expect(eq(sz, fixture_bin(&got->topology.edge_incidence, 1), want->open_edges), "%s", want->name);
        cr_expect(eq(sz, fixture_bin(&got->topology.edge_incidence, 2), want->edges - want->open_edges), "%s",
                  want->name);
    }
}

Test(grid_counts, counts_valences_of_regular_meshes)
{
    struct arena *arena = fixture_arena();
    const struct valence_report *grid = &fixture_measured(fixture_grid(arena, 7, 5))->report.valence;
    const struct valence_report *torus = &fixture_measured(fixture_torus(arena, 7, 5, 3, 1))->report.valence;
    const struct valence_report *sphere =
        &fixture_measured_as(fixture_uv_sphere(arena, 7, 5), MESH_CAGE)->report.valence;
    const struct valence_report *cubed = &fixture_measured(fixture_cubed_sphere(arena, 4))->report.valence;
    const struct valence_report *cylinder =
        &fixture_measured(fixture_cylinder(arena, 7, 4, 2, false))->report.valence;
    const struct valence_report *capped =
        &fixture_measured(fixture_cylinder(arena, 7, 4, 2, true))->report.valence;

    cr_expect(eq(sz, grid->corners, 4));
    cr_expect(eq(sz, fixture_bin(&grid->interior, 4), 6 * 4));
    cr_expect(eq(sz, fixture_bin(&grid->boundary, 2), 4));
    cr_expect(eq(sz, fixture_bin(&grid->boundary, 3), 2 * 6 + 2 * 4));
    cr_expect(eq(sz, grid->irregular_interior + grid->irregular_boundary, 0));
    cr_expect(eq(dbl, grid->irregular_share, 0));
    cr_expect(eq(sz, fixture_bin(&torus->interior, 4), 35));
    cr_expect(eq(sz, torus->interior.bin_count, 1));
    cr_expect(eq(sz, fixture_bin(&sphere->interior, 7), 2));
    cr_expect(eq(sz, fixture_bin(&sphere->interior, 4), 28));
    cr_expect(eq(sz, sphere->irregular_interior, 2));
    cr_expect(eq(sz, sphere->max, 7));
    cr_expect(epsilon_eq(dbl, sphere->irregular_share, 2.0 / 30, 1e-15));
    cr_expect(eq(sz, fixture_bin(&cubed->interior, 3), 8));
    cr_expect(eq(sz, fixture_bin(&cubed->interior, 4), 6 * 16 + 2 - 8));
    cr_expect(eq(sz, fixture_bin(&cylinder->boundary, 3), 14));
    cr_expect(eq(sz, cylinder->corners, 0));
    cr_expect(eq(sz, fixture_bin(&capped->interior, 3), 14));
}

Test(grid_counts, counts_moebius_inconsistent_edges_are_odd_however_faces_are_turned)
{
    struct arena *arena = fixture_arena();
    uint64_t state = 11;
    cr_expect(eq(sz, fixture_measured(fixture_moebius(arena, 9))->report.topology.inconsistent_edges, 1));
    for (size_t round = 0; round < 40; round++) {
        struct mesh band = fixture_moebius(arena, 9);
        for (size_t f = 0; f < band.face_count; f++)
            if (fixture_random_below(&state, 2)) {
                uint32_t *corner = band.face_vertices + band.face_offsets[f], second = corner[1];
                corner[1] = corner[3];
                corner[3] = second;
            }
        const struct topology_report *got = &fixture_measured(band)->report.topology;
        cr_expect(eq(sz, got->inconsistent_edges % 2, 1));
        cr_expect(not(got->shell_list[0].orientable));
        cr_expect(eq(i64, got->genus, MEASURE_UNDEFINED));
    }
}

Test(grid_counts, geometry_torus_area_and_volume_follow_the_closed_form)
{
    struct arena *arena = fixture_arena();
    enum { N = 24, M = 12 };
    const double ring = 3, tube = 1;
    double area = 0, s = 2 * tube * sin(pi / M), big = sin(pi / N);
    for (int j = 0; j < M; j++) {
        double p = ring + tube * cos(2 * pi * j / M), q = ring + tube * cos(2 * pi * (j + 1) / M);
        area += N * big * (p + q) * sqrt(s * s - (q - p) * (q - p) * big * big);
    }
    double volume = N * sin(2 * pi / N) * ring * (M / 2.0) * tube * tube * sin(2 * pi / M);
    const struct mesh_report *got = &fixture_measured(fixture_torus(arena, N, M, ring, tube))->report;

    cr_expect(epsilon_eq(dbl, got->area, area, 1e-12 * area));
    cr_expect(epsilon_eq(dbl, got->area, 116.254006071706, 1e-12 * area));
    cr_expect(epsilon_eq(dbl, got->volume, volume, 1e-12 * volume));
    cr_expect(epsilon_eq(dbl, got->volume, 55.9049137421445, 1e-12 * volume));
}

Test(grid_counts, geometry_uv_sphere_volume_follows_the_closed_form)
{
    struct arena *arena = fixture_arena();
    enum { N = 24, M = 12 };
    double volume = 0;
    for (int j = 0; j < M; j++) {
        double z = cos(pi * j / M), z1 = cos(pi * (j + 1) / M), q = sin(pi * j / M),
               q1 = sin(pi * (j + 1) / M);
        volume += N / 2.0 * sin(2 * pi / N) * (z - z1) * (q * q + q * q1 + q1 * q1) / 3;
    }
    const struct mesh_report *got = &fixture_measured(fixture_uv_sphere(arena, N, M))->report;

    cr_expect(epsilon_eq(dbl, got->volume, volume, 1e-13 * volume));
    cr_expect(epsilon_eq(dbl, got->volume, 4.07055236082017, 1e-13));
    cr_expect(epsilon_eq(dbl, got->area, 12.3877412190458, 1e-12));
}

Test(grid_counts, geometry_cylinder_and_cube)
{
    struct arena *arena = fixture_arena();
    const struct mesh_report *open = &fixture_measured(fixture_cylinder(arena, 16, 3, 2, false))->report;
    const struct mesh_report *capped = &fixture_measured(fixture_cylinder(arena, 16, 3, 2, true))->report;
    struct mesh cube_mesh = fixture_cube(arena, 2);
    const struct mesh_report *cube = &fixture_measured(cube_mesh)->report;
    const struct mesh_report *inward = &fixture_measured(fixture_reversed(arena, &cube_mesh))->report;

    cr_expect(epsilon_eq(dbl, open->area, 2 * 16 * sin(pi / 16) * 2, 1e-13));
    cr_expect(epsilon_eq(dbl, open->area, 12.4857806090322, 1e-12));
    cr_expect(isnan(open->volume), "an open surface encloses nothing");
    cr_expect(epsilon_eq(dbl, capped->area, 18.6087155268736, 1e-12));
    cr_expect(epsilon_eq(dbl, capped->volume, 6.12293491784144, 1e-13));
    cr_expect(eq(dbl, cube->area, 24));
    cr_expect(eq(dbl, cube->volume, 8));
    cr_expect(eq(dbl, inward->volume, -8));
    /* two nested hypot calls round twice */
    cr_expect(epsilon_eq(dbl, cube->diagonal, sqrt(12), 1e-15));
    cr_expect(eq(dbl, cube->edge_length.min, 2));
    cr_expect(eq(dbl, cube->edge_length.mean, 2));
    cr_expect(eq(dbl, cube->edge_length.median, 2));
    cr_expect(epsilon_eq(dbl, cube->edge_length.relative_median, 1 / sqrt(3), 1e-15));
}

Test(grid_counts, geometry_volume_of_a_warped_cap_is_that_under_the_bilinear_patch)
{
    /* A unit cube whose top has heights a, b, c, d at its corners holds their mean: the integral of the
     * bilinear patch. Exact, whichever corner the top is listed from. */
    struct arena *arena = fixture_arena();
    for (uint32_t first = 0; first < 4; first++) {
        struct mesh cube = fixture_cube(arena, 1);
        const double heights[4] = {0.25, 0.5, 0.125, 1};
        for (uint32_t v = 0; v < 8; v++)
            cube.positions[v].z = v < 4 ? 0 : heights[v - 4];
        for (size_t f = 0; f < 6; f++)
            if (mesh_face(&cube, f)[0] == 4 && mesh_face(&cube, f)[1] == 5) {
                const uint32_t top[4] = {4, 5, 7, 6};
                for (uint32_t i = 0; i < 4; i++)
                    cube.face_vertices[cube.face_offsets[f] + i] = top[(first + i) % 4];
            }
        cr_expect(
            epsilon_eq(dbl, fixture_measured(cube)->report.volume, (0.25 + 0.5 + 0.125 + 1) / 4, 1e-15));
    }
}

Test(grid_counts, places_open_loops_have_length_and_centre)
{
    struct arena *arena = fixture_arena();
    enum { N = 16 };
    const struct mesh_report *got = &fixture_measured(fixture_cylinder(arena, N, 3, 2, false))->report;
    const struct open_loop_report *loops = got->topology.open_loop_list;

    cr_assert(eq(sz, got->topology.open_loop_list_count, 2));
    for (size_t i = 0; i < 2; i++) {
        cr_expect(eq(sz, loops[i].edges, N));
        cr_expect(epsilon_eq(dbl, loops[i].length, 2 * N * sin(pi / N), 1e-13));
        cr_expect(epsilon_eq(dbl, loops[i].centre.x, 0, 1e-15));
        cr_expect(epsilon_eq(dbl, loops[i].centre.y, 0, 1e-15));
        cr_expect(eq(sz, loops[i].shell, 0));
    }
    cr_expect(epsilon_eq(dbl, fabs(loops[0].centre.z - loops[1].centre.z), 2, 1e-15));
}
