/* test_topology_cases.c - small meshes that are hard to get right, with numbers derived on paper.
 *   touching_*    shells that meet in a vertex, an edge or a face
 *   copies_*      the same face twice, the same position twice
 *   vertices_*    unreferenced vertices, degenerate faces
 *   stacked_*     thousands of faces on one edge, at one vertex, in one place: linear, so they end at once
 *   genus_*       when a shell has a genus and when not
 *   index_*       the index identity on random quad meshes
 *   arena_*       smaller and smaller memory ends in ERROR_LIMIT, never in a crash
 */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <string.h>

#include "support/fixture_measured.h"

/* Two tetrahedra that share vertex 0. */
static struct mesh two_tetrahedra(struct arena *arena)
{
    const vec3 positions[] = {{0, 0, 0}, {1, 0, 0}, {0, 1, 0}, {0, 0, 1}, {-1, 0, 0}, {0, -1, 0}, {0, 0, -1}};
    return fixture_listed(arena, positions, 7, (uint32_t[]){3, 0, 2, 1, 3, 0, 1, 3, 3, 0, 3, 2, 3, 1, 2, 3, 3,
                                                            0, 4, 5, 3, 0, 6, 4, 3, 0, 5, 6, 3, 4, 6, 5, 0});
}

Test(topology_cases, touching_tetrahedra_share_a_vertex)
{
    const struct measured *m = fixture_measured(two_tetrahedra(fixture_arena()));
    const struct topology_report *got = &m->report.topology;
    cr_expect(eq(sz, got->shells, 2));
    cr_expect(eq(sz, got->nonmanifold_vertices, 1));
    cr_expect(eq(i64, got->euler_characteristic, 3));
    cr_expect(eq(i64, got->shell_list[0].euler_characteristic, 2));
    cr_expect(eq(i64, got->shell_list[1].euler_characteristic, 2));
    cr_expect(eq(i64, got->genus, 0), "a vertex where two shells touch spoils neither");
    cr_expect(eq(sz, got->open_edges, 0));
    cr_expect(got->closed && got->oriented && !got->manifold && !got->closed_manifold);
    cr_expect(eq(sz, m->report.valence.nonmanifold, 1));
}

Test(topology_cases, touching_three_quads_on_one_edge)
{
    const vec3 positions[] = {{0, 0, 0},  {0, 0, 1},  {1, 0, 0},   {1, 0, 1},
                              {-1, 1, 0}, {-1, 1, 1}, {-1, -1, 0}, {-1, -1, 1}};
    const struct measured *m = fixture_measured(fixture_listed(
        fixture_arena(), positions, 8, (uint32_t[]){4, 0, 1, 3, 2, 4, 0, 1, 5, 4, 4, 0, 1, 7, 6, 0}));
    const struct topology_report *got = &m->report.topology;
    cr_expect(eq(sz, fixture_bin(&got->edge_incidence, 3), 1));
    cr_expect(eq(sz, got->nonmanifold_edges, 1));
    cr_expect(eq(sz, got->open_edges, 9));
    cr_expect(eq(sz, m->report.counts.edges, 10));
    cr_expect(eq(i64, got->euler_characteristic, 1));
    cr_expect(eq(sz, got->shells, 1));
    cr_expect(eq(sz, m->input.shells.sheet_count, 3), "manifold-edge components");
    cr_expect(eq(i64, got->open_loops, MEASURE_UNDEFINED));
    cr_expect(eq(i64, got->genus, MEASURE_UNDEFINED));
    cr_expect(eq(sz, got->open_loop_list_total, 1), "the open edges form one group");
    cr_expect(eq(sz, got->nonmanifold_vertices, 0), "one fan through the shared edge");
    cr_expect(eq(sz, m->report.valence.nonmanifold, 2));
    cr_assert(eq(sz, m->findings.total_by_kind[FINDING_SUBJECT][FINDING_NONMANIFOLD_EDGE], 1));
    cr_expect(eq(sz, m->findings.entries[0].faces_total, 3));
    cr_expect(eq(dbl, m->findings.entries[0].at.z, 0.5));
    cr_expect(eq(dbl, m->findings.entries[0].radius, 0.5));
}

Test(topology_cases, touching_cubes_with_a_coincident_face)
{
    struct arena *arena = fixture_arena();
    struct mesh left = fixture_cube(arena, 1), right = fixture_moved(arena, &left, 1, (vec3){1, 0, 0});
    struct mesh apart = fixture_joined(arena, &left, &right), welded = fixture_welded(arena, &apart);
    const struct measured *before = fixture_measured(apart), *after = fixture_measured(welded);

    cr_expect(eq(sz, before->report.topology.shells, 2));
    cr_expect(eq(sz, before->report.counts.vertices, 16));
    cr_expect(eq(sz, before->report.counts.edges, 24));
    cr_expect(eq(i64, before->report.topology.euler_characteristic, 4));
    cr_expect(before->report.topology.closed_manifold);
    cr_expect(eq(sz, before->report.counts.coincident_vertices, 4));
    cr_expect(eq(dbl, before->report.volume, 2));

    cr_expect(eq(sz, after->report.counts.vertices, 12));
    cr_expect(eq(sz, after->report.counts.edges, 20));
    cr_expect(eq(sz, after->report.counts.faces, 12));
    cr_expect(eq(i64, after->report.topology.euler_characteristic, 4));
    cr_expect(eq(sz, after->report.topology.shells, 1));
    cr_expect(eq(sz, after->input.shells.sheet_count, 4));
    cr_expect(eq(sz, fixture_bin(&after->report.topology.edge_incidence, 4), 4));
    cr_expect(eq(sz, after->report.counts.duplicate_faces, 1));
    cr_expect(eq(sz, after->report.topology.inconsistent_edges, 0));
}

Test(topology_cases, touching_quads_at_a_t_junction)
{
    const vec3 positions[] = {{0, 0, 0}, {2, 0, 0},  {2, 1, 0},  {0, 1, 0},
                              {1, 0, 0}, {0, -1, 0}, {1, -1, 0}, {2, -1, 0}};
    const struct measured *m = fixture_measured(fixture_listed(
        fixture_arena(), positions, 8, (uint32_t[]){4, 0, 1, 2, 3, 4, 5, 6, 4, 0, 4, 6, 7, 1, 4, 0}));
    const struct topology_report *got = &m->report.topology;
    cr_expect(eq(sz, got->open_edges, 10));
    cr_expect(eq(sz, m->report.counts.edges, 11));
    cr_expect(eq(i64, got->euler_characteristic, 0));
    cr_expect(eq(sz, got->shells, 2));
    cr_expect(eq(sz, got->nonmanifold_vertices, 2));
    cr_expect(eq(i64, got->open_loops, 2), "a vertex where two loops touch does not merge them");
    cr_expect(eq(i64, got->genus, 0));
}

Test(topology_cases, copies_of_one_triangle)
{
    const vec3 positions[] = {{0, 0, 0}, {1, 0, 0}, {0, 1, 0}};
    struct arena *arena = fixture_arena();
    const struct measured *same =
        fixture_measured(fixture_listed(arena, positions, 3, (uint32_t[]){3, 0, 1, 2, 3, 1, 2, 0, 0}));
    const struct measured *back =
        fixture_measured(fixture_listed(arena, positions, 3, (uint32_t[]){3, 0, 1, 2, 3, 2, 1, 0, 0}));
    cr_expect(eq(sz, same->report.counts.duplicate_faces, 1));
    cr_expect(eq(sz, fixture_bin(&same->report.topology.edge_incidence, 2), 3));
    cr_expect(eq(sz, same->report.topology.inconsistent_edges, 3));
    cr_expect(isnan(same->report.volume), "closed, but not oriented");
    cr_expect(eq(sz, back->report.counts.duplicate_faces, 1));
    cr_expect(eq(sz, back->report.topology.inconsistent_edges, 0));
    cr_expect(back->report.topology.closed);
    cr_expect(eq(i64, back->report.topology.euler_characteristic, 2));
    cr_expect(eq(i64, back->report.topology.genus, 0));
    cr_expect(eq(dbl, back->report.volume, 0));
    cr_expect(eq(int, back->input.face_side[0], 0), "it encloses nothing");
    cr_expect(eq(sz, back->findings.total_by_kind[FINDING_SUBJECT][FINDING_DUPLICATE_FACES], 1));
}

Test(topology_cases, copies_soup_of_a_triangulated_cube)
{
    struct arena *arena = fixture_arena();
    struct mesh cube = fixture_cube(arena, 1), triangles = fixture_fanned(arena, &cube);
    struct mesh soup = fixture_soup(arena, &triangles), welded = fixture_welded(arena, &soup);
    const struct measured *before = fixture_measured(soup), *after = fixture_measured(welded);
    cr_expect(eq(sz, before->report.counts.vertices, 36));
    cr_expect(eq(i64, before->report.topology.euler_characteristic, 12));
    cr_expect(eq(sz, before->report.topology.shells, 12));
    cr_expect(eq(sz, before->report.topology.open_edges, 36));
    cr_expect(eq(sz, before->report.counts.coincident_vertices, 28));
    cr_expect(eq(sz, after->report.counts.vertices, 8));
    cr_expect(eq(sz, after->report.counts.edges, 18));
    cr_expect(eq(i64, after->report.topology.euler_characteristic, 2));
    cr_expect(eq(sz, after->report.topology.shells, 1));
    cr_expect(after->report.topology.closed_manifold);
}

Test(topology_cases, copies_of_positions_are_exact_and_ignore_the_sign_of_zero)
{
    const vec3 positions[] = {{0.0, 0, 0}, {1, 0, 0}, {0, 1, 0}, {-0.0, -0.0, 0}, {1, 0x1p-60, 0}, {0, 0, 1}};
    const struct measured *m = fixture_measured(
        fixture_listed(fixture_arena(), positions, 6, (uint32_t[]){3, 0, 1, 2, 3, 3, 4, 5, 0}));
    cr_expect(eq(sz, m->report.counts.coincident_vertices, 1));
}

Test(topology_cases, vertices_without_faces_are_left_out)
{
    struct arena *arena = fixture_arena();
    struct mesh cube = fixture_cube(arena, 1), one = fixture_room(arena, 1, 0, 0);
    one.positions[0] = (vec3){100, 100, 100};
    const struct measured *m = fixture_measured(fixture_joined(arena, &one, &cube));
    cr_expect(eq(sz, m->report.counts.vertices, 9));
    cr_expect(eq(sz, m->report.counts.unreferenced_vertices, 1));
    cr_expect(eq(i64, m->report.topology.euler_characteristic, 2));
    cr_expect(eq(dbl, m->report.bounds.max.x, 0.5));
}

Test(topology_cases, vertices_named_twice_make_degenerate_faces_but_no_edges)
{
    struct arena *arena = fixture_arena();
    struct mesh cube = fixture_cube(arena, 1), mesh = fixture_room(arena, 8, 9, 64);
    memcpy(mesh.positions, cube.positions, 8 * sizeof(vec3));
    for (size_t f = 0; f < 6; f++)
        fixture_add_face(&mesh, mesh_face(&cube, f), 4);
    fixture_add_triangle(&mesh, 3, 3, 3);
    fixture_add_face(&mesh, (uint32_t[]){1, 1, 3, 3, 1, 1}, 6);
    const struct measured *m = fixture_measured(mesh);
    cr_expect(eq(sz, m->report.counts.degenerate_repeated, 2));
    cr_expect(eq(sz, m->report.counts.degenerate_faces, 2));
    cr_expect(eq(sz, m->report.counts.edges, 12));
    cr_expect(eq(sz, fixture_bin(&m->report.topology.edge_incidence, 4), 1), "1-3 is run through twice more");
    cr_expect(eq(sz, m->report.quality.quad[0].count, 6));
    cr_expect(eq(sz, m->findings.total_by_kind[FINDING_SUBJECT][FINDING_DEGENERATE_FACES], 1),
              "they touch: one place");
}

Test(topology_cases, vertices_on_a_line_make_faces_without_area)
{
    const vec3 positions[] = {{0, 0, 0}, {1, 0, 0}, {2, 0, 0}, {1, 1, 0}, {1, 0, 0}, {1, 1e-13, 0}};
    const struct measured *m = fixture_measured(fixture_listed(
        fixture_arena(), positions, 6, (uint32_t[]){3, 0, 1, 2, 3, 0, 2, 3, 3, 1, 4, 3, 3, 0, 2, 5, 0}));
    cr_expect(eq(sz, m->report.counts.degenerate_zero_area, 2));
    cr_expect(eq(sz, m->report.counts.degenerate_zero_side, 1));
    cr_expect(eq(sz, m->report.counts.degenerate_near_zero, 1));
    cr_expect(eq(sz, m->report.quality.triangle[0].degenerate, 2));
    cr_expect(eq(sz, m->report.quality.triangle[0].count, 2), "near zero stays in");
}

Test(topology_cases, stacked_faces_on_one_edge, .timeout = 20)
{
    enum { N = 20000 };
    struct mesh mesh = fixture_room(fixture_arena(), N + 2, N, 3 * N);
    for (size_t i = 0; i < N; i++) {
        mesh.positions[i + 2] = (vec3){1, (double)i, 0};
        fixture_add_triangle(&mesh, 0, 1, i + 2);
    }
    mesh.positions[1] = (vec3){0, 0, 1};
    const struct measured *m = fixture_measured(mesh);
    cr_expect(eq(sz, fixture_bin(&m->report.topology.edge_incidence, N), 1));
    cr_expect(eq(sz, m->report.topology.shells, 1));
    cr_expect(eq(sz, m->report.topology.open_edges, 2 * N));
    cr_expect(eq(sz, m->report.topology.nonmanifold_vertices, 0));
    cr_expect(eq(sz, m->report.counts.duplicate_faces, 0));
    cr_expect(eq(sz, m->report.topology.open_loop_list_total, 1),
              "all open edges meet at the two ends' one fan");
}

Test(topology_cases, stacked_faces_at_one_vertex, .timeout = 20)
{
    enum { N = 20000 };
    struct mesh mesh = fixture_room(fixture_arena(), N + 1, N, 3 * N);
    for (size_t i = 0; i < N; i++) {
        double a = 2 * 3.14159265358979323846 * (double)i / N;
        mesh.positions[i + 1] = (vec3){cos(a), sin(a), 0};
        fixture_add_triangle(&mesh, 0, i + 1, 1 + (i + 1) % N);
    }
    const struct measured *m = fixture_measured(mesh);
    cr_expect(eq(sz, m->report.valence.max, N));
    cr_expect(eq(i64, m->report.topology.open_loops, 1));
    cr_expect(eq(i64, m->report.topology.genus, 0));
}

Test(topology_cases, stacked_pairs_of_faces_at_one_vertex_are_that_many_fans, .timeout = 20)
{
    enum { N = 20000 };
    struct mesh mesh = fixture_room(fixture_arena(), 2 * N + 1, N, 3 * N);
    for (size_t i = 0; i < N; i++) {
        mesh.positions[2 * i + 1] = (vec3){1, (double)i, 0};
        mesh.positions[2 * i + 2] = (vec3){1, (double)i + 0.5, 0};
        fixture_add_triangle(&mesh, 0, 2 * i + 1, 2 * i + 2);
    }
    const struct measured *m = fixture_measured(mesh);
    cr_expect(eq(sz, m->report.topology.nonmanifold_vertices, 1));
    cr_expect(eq(sz, m->input.fans.vertex_class_count[0], N));
    cr_expect(eq(sz, m->report.topology.shells, N));
    cr_expect(eq(i64, m->report.topology.open_loops, N));
    cr_expect(eq(sz, m->report.topology.shell_list_count, MEASURE_LIST_MAX));
    cr_expect(eq(sz, m->report.topology.shell_list_total, N));
    cr_expect(eq(sz, m->findings.total_by_kind[FINDING_SUBJECT][FINDING_OPEN_LOOP], N));
    cr_expect(eq(sz, m->findings.count, FINDING_PER_KIND_MAX + 1));
}

Test(topology_cases, stacked_copies_of_one_face, .timeout = 20)
{
    enum { N = 20000 };
    struct mesh mesh = fixture_room(fixture_arena(), 4, N, 4 * N);
    memcpy(mesh.positions, (const vec3[]){{0, 0, 0}, {1, 0, 0}, {1, 1, 0}, {0, 1, 0}}, 4 * sizeof(vec3));
    for (size_t i = 0; i < N; i++)
        fixture_add_quad(&mesh, i % 4, (i + 1) % 4, (i + 2) % 4, (i + 3) % 4);
    const struct measured *m = fixture_measured(mesh);
    cr_expect(eq(sz, m->report.counts.duplicate_faces, N - 1));
    cr_expect(eq(sz, m->findings.total_by_kind[FINDING_SUBJECT][FINDING_DUPLICATE_FACES], 1));
    cr_expect(eq(sz, m->findings.entries[1].faces_total, N));
    cr_expect(eq(sz, m->findings.entries[1].face_count, FINDING_FACES_MAX));
    cr_expect(eq(dbl, m->findings.entries[1].size, N - 1));
}

Test(topology_cases, stacked_corners_of_one_face, .timeout = 20)
{
    enum { N = 300000 };
    struct mesh mesh = fixture_room(fixture_arena(), 3, 2, 2 * N);
    uint32_t *corners = ARENA_NEW(fixture_arena(), uint32_t, N);
    memcpy(mesh.positions, (const vec3[]){{0, 0, 0}, {1, 0, 0}, {1, 1, 0}}, 3 * sizeof(vec3));
    for (size_t i = 0; i < N; i++)
        corners[i] = i < N - 2 ? 0 : (uint32_t)(i - (N - 3));
    fixture_add_face(&mesh, corners, N);
    fixture_add_face(&mesh, corners, N);
    const struct measured *m = fixture_measured(mesh);
    cr_expect(eq(sz, m->report.counts.edges, 3));
    cr_expect(eq(sz, m->report.counts.duplicate_faces, 1));
    cr_expect(eq(sz, m->report.counts.degenerate_repeated, 2));
}

Test(topology_cases, genus_of_a_shell_pinched_at_one_vertex_is_undefined)
{
    /* a torus of 6 x 6 quads, two far vertices of which are made one: chi falls from 0 to -1 */
    struct arena *arena = fixture_arena();
    struct mesh torus = fixture_torus(arena, 6, 6, 3, 1);
    for (size_t c = 0; c < mesh_corner_count(&torus); c++)
        if (torus.face_vertices[c] == 21)
            torus.face_vertices[c] = 0;
    const struct topology_report *got = &fixture_measured(torus)->report.topology;
    cr_expect(eq(sz, got->nonmanifold_vertices, 1));
    cr_expect(eq(i64, got->euler_characteristic, -1));
    cr_expect(eq(i64, got->genus, MEASURE_UNDEFINED));
    cr_expect(not(got->shell_list[0].manifold));
    cr_expect(got->closed && got->oriented && !got->closed_manifold);
}

Test(topology_cases, genus_adds_over_shells_and_is_undefined_where_one_has_none)
{
    struct arena *arena = fixture_arena();
    struct mesh torus = fixture_torus(arena, 8, 6, 3, 1), sphere = fixture_uv_sphere(arena, 6, 4);
    struct mesh both = fixture_joined(arena, &torus, &torus), band = fixture_moebius(arena, 8);
    struct mesh three = fixture_joined(arena, &both, &sphere), spoilt = fixture_joined(arena, &three, &band);
    const struct topology_report *sound = &fixture_measured(three)->report.topology;
    const struct topology_report *mixed = &fixture_measured(spoilt)->report.topology;
    cr_expect(eq(i64, sound->genus, 2));
    cr_expect(eq(i64, sound->euler_characteristic, 2));
    cr_expect(eq(i64, sound->shell_list[2].genus, 0), "the sphere has fewest faces");
    cr_expect(eq(i64, mixed->genus, MEASURE_UNDEFINED));
    cr_expect(eq(i64, mixed->shell_list[0].genus, 1));
    cr_expect(eq(i64, mixed->shell_list[3].genus, MEASURE_UNDEFINED));
}

Test(topology_cases, genus_does_not_depend_on_the_listed_direction_of_faces)
{
    struct arena *arena = fixture_arena();
    struct mesh torus = fixture_torus(arena, 8, 6, 3, 1);
    for (size_t f = 0; f < torus.face_count; f += 3) {
        uint32_t *corner = torus.face_vertices + torus.face_offsets[f], second = corner[1];
        corner[1] = corner[3];
        corner[3] = second;
    }
    const struct measured *m = fixture_measured(torus);
    cr_expect(eq(i64, m->report.topology.genus, 1));
    cr_expect(not(m->report.topology.oriented));
    cr_expect(m->input.closed_orientable);
    cr_expect(isnan(m->report.volume));
    cr_expect(m->findings.total_by_kind[FINDING_SUBJECT][FINDING_FLIPPED_FACES] > 0);
    for (size_t f = 0; f < torus.face_count; f++)
        cr_expect(eq(int, m->input.face_side[f], f % 3 == 0 ? -1 : 1));
}

/* sum over interior v of (1 - f/4) + sum over boundary v of (1/2 - f/4) + sum over faces of (1 - k/4) = chi,
 * in quarters so that it is exact. */
static int64_t index_sum_in_quarters(const struct measured *m)
{
    const struct mesh *mesh = &m->mesh;
    int64_t *faces_at = ARENA_ZERO(fixture_arena(), int64_t, 2 * mesh->vertex_count), sum = 0;
    int64_t *is_boundary = faces_at + mesh->vertex_count;
    for (size_t c = 0; c < mesh_corner_count(mesh); c++)
        faces_at[mesh->face_vertices[c]]++;
    for (size_t e = 0; e < m->input.edges.count; e++)
        if (edges_incidence(&m->input.edges, e) == 1)
            is_boundary[m->input.edges.low[e]] = is_boundary[m->input.edges.high[e]] = 1;
    for (size_t v = 0; v < mesh->vertex_count; v++)
        if (faces_at[v] > 0)
            sum += (is_boundary[v] ? 2 : 4) - faces_at[v];
    for (size_t f = 0; f < mesh->face_count; f++)
        sum += 4 - (int64_t)mesh_face_size(mesh, f);
    return sum;
}

Test(topology_cases, index_identity_on_random_manifold_meshes)
{
    struct arena *arena = fixture_arena_of((size_t)200 << 20);
    size_t tried = 0;
    for (uint64_t seed = 1; seed <= 400; seed++) {
        struct arena room = *arena;
        uint64_t state = seed;
        struct mesh whole = seed % 3 == 0   ? fixture_torus(&room, 8, 6, 3, 1)
                            : seed % 3 == 1 ? fixture_cubed_sphere(&room, 3)
                                            : fixture_cylinder(&room, 8, 5, 2, true);
        struct mesh mesh =
            fixture_room(&room, whole.vertex_count, whole.face_count, 4 * whole.face_count + 16);
        for (size_t f = 0; f < whole.face_count; f++)
            if (fixture_random_below(&state, 12) > 0)
                fixture_add_face(&mesh, mesh_face(&whole, f), mesh_face_size(&whole, f));
        const struct measured *m = fixture_measured(mesh);
        if (m->report.topology.manifold) {
            tried++;
            cr_expect(eq(i64, index_sum_in_quarters(m), 4 * m->report.topology.euler_characteristic),
                      "seed %d", (int)seed);
        }
    }
    cr_expect(tried > 40, "only %zu manifold meshes", tried);
}

Test(topology_cases, arena_too_small_is_a_limit_at_every_size)
{
    struct mesh mesh = two_tetrahedra(fixture_arena());
    bool refused = false, measured = false;
    for (size_t bytes = 4096; bytes <= (size_t)8 << 20; bytes = bytes * 5 / 4 / 4096 * 4096 + 4096) {
        struct arena *keep = fixture_arena_of(bytes), *scratch = fixture_arena_of(bytes);
        struct measure_input input;
        struct mesh_report report;
        struct warning_list warnings = {0};
        struct mesh_findings own;
        struct finding_list findings;
        struct error err = {.code = ERROR_NONE};
        bool ok = measure_input_build(&mesh, MESH_SCAN, NULL, &input, keep, *scratch, &err)
                  && mesh_report_begin(&input, &report, keep, *scratch, &err)
                  && mesh_findings_build(&input, &report, &own, keep, *scratch, &err)
                  && measure_input_let_go(&input, keep, &err)
                  && mesh_report_finish(&input, NULL, &report, &warnings, keep, *scratch, &err)
                  && findings_build(&own, NULL, NULL, &findings, keep, *scratch, &err);
        cr_expect(ok || err.code == ERROR_LIMIT);
        refused = refused || !ok;
        measured = measured || ok;
    }
    cr_expect(refused && measured);
}

static bool stop(void *context, const char *stage, double fraction)
{
    (void)stage;
    (void)fraction;
    return --*(int *)context > 0;
}

/* Two cubes, one without a face. */
static struct mesh cube_and_open_cube(struct arena *arena)
{
    struct mesh cube = fixture_cube(arena, 1), other = fixture_moved(arena, &cube, 1, (vec3){5, 0, 0});
    struct mesh both = fixture_joined(arena, &cube, &other);
    both.face_count--;
    return both;
}

Test(topology_cases, arena_of_topology_can_go_before_what_places_need)
{
    struct mesh mesh = cube_and_open_cube(fixture_arena());
    struct arena *keep = fixture_arena(), topology, scratch;
    struct measure_input whole, input;
    struct error err = {.text = ""};
    cr_assert(arena_open(&topology, 1 << 20, &err) && arena_open(&scratch, 1 << 20, &err));
    cr_assert(measure_input_build(&mesh, MESH_CAGE, NULL, &whole, keep, scratch, &err));
    cr_assert(measure_input_build_threaded(&mesh, MESH_CAGE, 2, NULL, &input, keep, &topology, scratch, &err)
              && measure_input_let_go(&input, keep, &err));
    arena_close(&topology);
    arena_close(&scratch);

    cr_assert(input.shells.count == 2 && input.loops.count == 1 && input.edges.open_count == 4);
    for (size_t f = 0; f < mesh.face_count; f++)
        cr_expect(eq(u32, shells_of_face(&input.shells, f), f < 6 ? 0 : 1));
    cr_expect(input.shells.face_total[0] == 6 && input.shells.face_total[1] == 5);
    cr_expect(input.loops.edge_begin[0] == 0 && input.loops.edge_begin[1] == 4);
    for (size_t i = 0; i < 4; i++)
        for (size_t end = 0; end < 2; end++)
            cr_expect(eq(u32, input.loops.ends[i][end], whole.loops.ends[i][end]));
    for (size_t v = 0; v < mesh.vertex_count; v++)
        cr_expect(eq(u32, input.fans.vertex_class_count[v], 1));
    cr_expect(input.edges.low == NULL && input.duplicates.first_copy == NULL);
}

Test(topology_cases, arena_and_progress_stop_ends_every_stage_as_cancelled)
{
    struct arena *arena = fixture_arena();
    struct mesh mesh = two_tetrahedra(arena);
    for (int calls = 1; calls < 12; calls++) {
        int left = calls;
        struct progress progress = {stop, &left};
        struct measure_input input;
        struct mesh_report report;
        struct warning_list warnings = {0};
        struct error err = {.code = ERROR_NONE};
        struct arena keep = *arena, scratch;
        cr_assert(arena_split(&keep, 8 << 20, &scratch));
        bool ok = measure_input_build(&mesh, MESH_SCAN, &progress, &input, &keep, scratch, &err)
                  && mesh_report_build(&input, &progress, &report, &warnings, &keep, scratch, &err);
        cr_expect(not(ok));
        cr_expect(eq(int, err.code, ERROR_CANCELLED));
    }
}
