/* test_finding.c - places that somebody may want to mend.
 *   clean_*     a sound solid has none, and no warning
 *   place_*     each kind: where, how large, which faces, how severe, what to do
 *   groups_*    what touches is one place, what does not is several; worst first
 *   both_*      subject and reference together
 *   warning_*   size, place and proportions of the whole mesh
 */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <string.h>

#include "support/fixture_measured.h"

static const struct finding *first_of(const struct measured *m, enum finding_kind kind)
{
    for (size_t i = 0; i < m->findings.count; i++)
        if (m->findings.entries[i].kind == kind)
            return &m->findings.entries[i];
    return NULL;
}

/* A mesh without some of its faces. */
static struct mesh without(struct arena *arena, const struct mesh *mesh, size_t begin, size_t end)
{
    struct mesh rest = fixture_room(arena, mesh->vertex_count, mesh->face_count, mesh_corner_count(mesh));
    memcpy(rest.positions, mesh->positions, mesh->vertex_count * sizeof *mesh->positions);
    for (size_t f = 0; f < mesh->face_count; f++)
        if (f < begin || f >= end)
            fixture_add_face(&rest, mesh_face(mesh, f), mesh_face_size(mesh, f));
    return rest;
}

Test(finding, clean_solid_has_none)
{
    const struct measured *m = fixture_measured(fixture_cubed_sphere(fixture_arena(), 4));
    cr_expect(eq(sz, m->findings.total, 0));
    cr_expect(eq(sz, m->findings.count, 0));
    cr_expect(eq(sz, m->warnings.count, 0));
}

Test(finding, place_of_an_open_loop)
{
    struct arena *arena = fixture_arena();
    struct mesh cube = fixture_cube(arena, 2), open = without(arena, &cube, 0, 1); /* no bottom at z = -1 */
    const struct measured *cage = fixture_measured(open), *scan = fixture_measured_as(open, MESH_SCAN);
    const struct finding *got = first_of(cage, FINDING_OPEN_LOOP);
    cr_assert(got != NULL);
    cr_expect(eq(sz, cage->findings.total, 1));
    cr_expect(eq(int, got->severity, FINDING_FAULT));
    cr_expect(eq(int, first_of(scan, FINDING_OPEN_LOOP)->severity, FINDING_WARNING));
    cr_expect(got->certain);
    cr_expect(eq(dbl, got->size, 8));
    cr_expect(eq(str, (char *)got->unit, "length"));
    cr_expect(eq(dbl, got->at.x, 0));
    cr_expect(eq(dbl, got->at.z, -1));
    cr_expect(epsilon_eq(dbl, got->radius, sqrt(2), 1e-15));
    cr_expect(eq(sz, got->faces_total, 4));
    cr_expect(eq(sz, got->edges, 4));
    cr_expect(eq(str, (char *)got->text,
                 "the surface is open along 4 edges; close it, or check that it is meant to be open"));
}

Test(finding, place_of_flipped_faces_is_the_smaller_side)
{
    struct arena *arena = fixture_arena();
    struct mesh sphere = fixture_cubed_sphere(arena, 4);
    for (size_t f = 10; f < 12; f++) {
        uint32_t *corner = sphere.face_vertices + sphere.face_offsets[f], second = corner[1];
        corner[1] = corner[3];
        corner[3] = second;
    }
    const struct measured *m = fixture_measured(sphere);
    const struct finding *got = first_of(m, FINDING_FLIPPED_FACES);
    cr_assert(got != NULL);
    cr_expect(eq(sz, m->findings.total, 1));
    cr_expect(eq(sz, got->faces_total, 2));
    cr_expect(eq(sz, got->faces[0], 10));
    cr_expect(eq(sz, got->faces[1], 11));
    cr_expect(eq(int, got->severity, FINDING_FAULT));
    cr_expect(eq(int, got->form, FINDING_TWO_SIDED));
    cr_expect(eq(str, (char *)got->text, "2 faces run against the faces around them; reverse them"));
}

Test(finding, place_of_flipped_faces_of_a_one_sided_surface)
{
    const struct measured *m = fixture_measured(fixture_moebius(fixture_arena(), 9));
    const struct finding *got = first_of(m, FINDING_FLIPPED_FACES);
    cr_assert(got != NULL);
    cr_expect(eq(sz, got->faces_total, 2), "those at the inconsistent edge");
    cr_expect(eq(int, got->form, FINDING_ONE_SIDED));
    cr_expect(strstr(got->text, "one-sided") != NULL);
}

Test(finding, place_of_a_pinched_vertex_and_a_stray_shell)
{
    struct arena *arena = fixture_arena();
    struct mesh cube = fixture_cube(arena, 2), small = fixture_moved(arena, &cube, 0.05, (vec3){5, 0, 0});
    const struct measured *m = fixture_measured(fixture_joined(arena, &cube, &small));
    const struct finding *got = first_of(m, FINDING_STRAY_SHELL);
    cr_assert(got != NULL);
    cr_expect(eq(sz, m->findings.total, 1));
    cr_expect(eq(int, got->severity, FINDING_WARNING));
    cr_expect(not(got->certain));
    cr_expect(epsilon_eq(dbl, got->size, 24 * 0.0025, 1e-15));
    cr_expect(eq(str, (char *)got->unit, "area"));
    cr_expect(epsilon_eq(dbl, got->at.x, 5, 1e-14));
    cr_expect(eq(sz, got->faces_total, 6));
    cr_expect(eq(sz, got->faces[0], 6));

    struct mesh pair = fixture_joined(arena, &cube, &cube);
    for (size_t c = 0; c < mesh_corner_count(&pair); c++)
        if (pair.face_vertices[c] == 8)
            pair.face_vertices[c] = 7;
    const struct measured *pinched = fixture_measured(pair);
    got = first_of(pinched, FINDING_NONMANIFOLD_VERTEX);
    cr_assert(got != NULL);
    cr_expect(eq(dbl, got->at.x, 1));
    cr_expect(eq(dbl, got->radius, 0));
    cr_expect(eq(sz, got->faces_total, 6));
    cr_expect(eq(sz, got->fans, 2));
    cr_expect(eq(sz, got->vertex, 7));
    cr_expect(
        eq(str, (char *)got->text,
           "2 separate fans of faces meet at vertex 7 alone; split the vertex or join the fans by faces"));
    cr_expect(first_of(pinched, FINDING_STRAY_SHELL) == NULL, "two of one size: neither is stray");
}

Test(finding, groups_of_holes_come_longest_first)
{
    struct arena *arena = fixture_arena();
    struct mesh sphere = fixture_cubed_sphere(arena, 8), mesh = without(arena, &sphere, 9, 10);
    mesh = without(arena, &mesh, 129, 133);
    const struct measured *m = fixture_measured(mesh);
    const struct finding *got = m->findings.entries;
    cr_assert(eq(sz, m->findings.total, 2));
    cr_expect(eq(sz, m->findings.total_by_kind[FINDING_SUBJECT][FINDING_OPEN_LOOP], 2));
    cr_expect(got[0].size > got[1].size && got[0].score > got[1].score);
    cr_expect(eq(sz, got[1].faces_total, 4));
}

Test(finding, groups_of_nonmanifold_edges_that_do_not_touch)
{
    /* two upright fins on a flat grid, three edges and one edge long */
    struct arena *arena = fixture_arena();
    struct mesh grid = fixture_grid(arena, 8, 3), mesh = fixture_room(arena, 36 + 8, 24 + 4, 4 * 28);
    memcpy(mesh.positions, grid.positions, 36 * sizeof(vec3));
    for (size_t f = 0; f < 24; f++)
        fixture_add_face(&mesh, mesh_face(&grid, f), 4);
    for (size_t i = 0; i < 4; i++) {
        size_t v = 9 + 1 + (i < 3 ? i : 5);
        mesh.positions[36 + 2 * i] = vec3_add(grid.positions[v], (vec3){0, 0, 1});
        mesh.positions[37 + 2 * i] = vec3_add(grid.positions[v + 1], (vec3){0, 0, 1});
        fixture_add_quad(&mesh, v, v + 1, 37 + 2 * i, 36 + 2 * i);
    }
    const struct measured *m = fixture_measured(mesh);
    cr_assert(eq(sz, m->findings.total_by_kind[FINDING_SUBJECT][FINDING_NONMANIFOLD_EDGE], 2));
    cr_expect(eq(dbl, m->findings.entries[0].size, 3));
    cr_expect(eq(dbl, m->findings.entries[0].at.x, 2.5));
    cr_expect(eq(dbl, m->findings.entries[0].radius, 1.5));
    cr_expect(eq(sz, m->findings.entries[0].faces_total, 9));
    cr_expect(eq(dbl, m->findings.entries[1].size, 1));
    cr_expect(eq(str, (char *)m->findings.entries[1].text,
                 "1 edge has more than two faces; delete the faces that are not surface"));
}

Test(finding, both_meshes_are_told_apart_and_the_subject_is_never_crowded_out)
{
    struct arena *arena = fixture_arena();
    struct mesh grid = fixture_grid(arena, 20, 20), many = fixture_soup(arena, &grid);
    struct mesh cube = fixture_cube(arena, 0.001), open = without(arena, &cube, 0, 1);
    const struct measured *subject = fixture_measured(open),
                          *reference = fixture_measured_as(many, MESH_SCAN);
    struct finding_list got;
    struct error err;
    struct arena keep = *arena, scratch;
    cr_assert(arena_split(&keep, 16 << 20, &scratch));
    cr_assert(findings_build(&subject->own, &reference->own, NULL, &got, &keep, scratch, &err));
    size_t of_subject = 0;
    for (size_t i = 0; i < got.count; i++)
        if (got.entries[i].mesh == FINDING_SUBJECT) {
            of_subject++;
            cr_expect(eq(int, got.entries[i].severity, FINDING_FAULT));
        } else {
            cr_expect(eq(int, got.entries[i].severity, FINDING_WARNING));
        }
    for (size_t i = 1; i < got.count; i++)
        cr_expect(got.entries[i - 1].kind < got.entries[i].kind
                  || got.entries[i - 1].score >= got.entries[i].score);
    cr_expect(eq(sz, got.total, 401));
    cr_expect(eq(sz, got.count, FINDING_PER_KIND_MAX));
    cr_expect(eq(sz, of_subject, 1));
}

struct warning_case {
    const char *name, *code; /* code NULL: no warning at all */
    struct mesh mesh;
};

Test(finding, warning_of_size_place_and_proportions)
{
    struct arena *arena = fixture_arena();
    struct mesh cube = fixture_cube(arena, 2), grid = fixture_grid(arena, 3, 3);
    struct mesh stretched = fixture_moved(arena, &cube, 1, (vec3){0, 0, 0});
    struct mesh needle = fixture_moved(arena, &cube, 1, (vec3){0, 0, 0});
    struct mesh five = fixture_cylinder(arena, 5, 1, 2, true);
    five.positions[0].z = -1;
    for (size_t v = 0; v < 8; v++) {
        stretched.positions[v].x *= 1e9;
        needle.positions[v].x *= 2e6;
    }
    const struct warning_case cases[] = {
        {"cube", NULL, cube},
        {"cube at a hundred sizes", NULL, fixture_moved(arena, &cube, 1, (vec3){100, 100, 100})},
        {"cube far away", "far_from_origin", fixture_moved(arena, &cube, 0.001, (vec3){1e7, -1e7, 1e7})},
        {"grid", "flat_extent", grid},
        {"stretched cube", "anisotropic_extent", stretched},
        {"needle cube", "needle_faces", needle},
        {"huge cube", "extreme_coordinates", fixture_moved(arena, &cube, 1e200, (vec3){0, 0, 0})},
        {"hugest cube", "extreme_coordinates", fixture_moved(arena, &cube, 1.7e308, (vec3){0, 0, 0})},
        {"tiny cube", "extreme_coordinates", fixture_moved(arena, &cube, 1e-200, (vec3){0, 0, 0})},
        {"subnormal cube", "extreme_coordinates", fixture_moved(arena, &cube, 0x1p-1070, (vec3){0, 0, 0})},
        {"cap with a corner pulled out", "nonplanar_polygons", five},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        const struct measured *m = fixture_measured(cases[i].mesh);
        if (cases[i].code)
            cr_expect(fixture_has_warning(&m->warnings, cases[i].code), "%s", cases[i].name);
        else
            cr_expect(eq(sz, m->warnings.count, 0), "%s: %s", cases[i].name, m->warnings.entries[0].code);
    }
}

Test(finding, warning_sizes_leave_no_number_infinite)
{
    struct arena *arena = fixture_arena();
    struct mesh cube = fixture_cube(arena, 2);
    static const double scales[] = {1e200, 1.7e308, 1e-200, 0x1p-1070};
    for (size_t i = 0; i < 4; i++) {
        const struct measured *m = fixture_measured(fixture_moved(arena, &cube, scales[i], (vec3){0, 0, 0}));
        const struct mesh_report *got = &m->report;
        cr_expect(isinf(got->area) + isinf(got->volume) + isinf(got->diagonal) == 0);
        cr_expect(isinf(got->edge_length.max) + isinf(got->edge_length.mean) == 0);
        cr_expect(eq(dbl, got->quality.quad[0].max, 1), "a cube's faces are squares at any size");
        cr_expect(eq(dbl, got->quality.quad[1].max, 1));
        cr_expect(eq(sz, got->counts.degenerate_faces, 0));
        cr_expect(eq(i64, got->topology.genus, 0));
        cr_expect(eq(int, m->input.face_side[0], 1));
    }
}
