/* test_platonic.c - the five regular solids against a handbook's table.
 *   solid_*   counts, area and volume of edge 1; in- and circumradius from faces and vertices
 *
 * Values for edge length 1: CRC Standard Mathematical Tables and Formulae, section "Polyhedra", table of the
 * regular polyhedra (surface area, volume, radius of the inscribed and of the circumscribed sphere), also H.
 * S. M. Coxeter, Regular Polytopes, 3rd edition, 1973, table I(i). Written down from memory as closed forms.
 */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>

#include "support/fixture_measured.h"

struct solid {
    const char *name;
    int faces;
    size_t vertices, edges;
    double area, volume, inradius, circumradius;
};

Test(platonic, solid_measures_of_edge_one)
{
    const double r2 = sqrt(2), r3 = sqrt(3), r5 = sqrt(5);
    const struct solid solids[] = {
        {"tetrahedron", 4, 4, 6, r3, r2 / 12, sqrt(6) / 12, sqrt(6) / 4},
        {"cube", 6, 8, 12, 6, 1, 0.5, r3 / 2},
        {"octahedron", 8, 6, 12, 2 * r3, r2 / 3, sqrt(6) / 6, r2 / 2},
        {"dodecahedron", 12, 20, 30, 3 * sqrt(25 + 10 * r5), (15 + 7 * r5) / 4, sqrt(250 + 110 * r5) / 20,
         (sqrt(15) + r3) / 4},
        {"icosahedron", 20, 12, 30, 5 * r3, 5 * (3 + r5) / 12, (3 * r3 + sqrt(15)) / 12,
         sqrt(10 + 2 * r5) / 4},
    };
    for (size_t i = 0; i < 5; i++) {
        const struct solid *want = &solids[i];
        const struct measured *m = fixture_measured(fixture_platonic(fixture_arena(), want->faces));
        const struct mesh_report *got = &m->report;
        double edge = got->edge_length.mean, circumradius = 0, inradius = INFINITY;
        for (size_t v = 0; v < m->mesh.vertex_count; v++)
            circumradius = fmax(circumradius, vec3_length(m->mesh.positions[v]));
        for (size_t f = 0; f < m->mesh.face_count; f++) {
            const uint32_t *corner = mesh_face(&m->mesh, f);
            const vec3 *p = m->mesh.positions;
            vec3 n = vec3_cross(vec3_sub(p[corner[1]], p[corner[0]]), vec3_sub(p[corner[2]], p[corner[0]]));
            inradius = fmin(inradius, vec3_dot(n, p[corner[0]]) / vec3_length(n));
        }
        cr_expect(eq(sz, got->counts.vertices, want->vertices), "%s", want->name);
        cr_expect(eq(sz, got->counts.edges, want->edges), "%s", want->name);
        cr_expect(eq(i64, got->topology.euler_characteristic, 2), "%s", want->name);
        cr_expect(got->topology.closed_manifold, "%s", want->name);
        cr_expect(epsilon_eq(dbl, got->edge_length.min, got->edge_length.max, 1e-14), "%s", want->name);
        cr_expect(epsilon_eq(dbl, got->area / (edge * edge), want->area, 1e-13), "%s", want->name);
        cr_expect(epsilon_eq(dbl, got->volume / (edge * edge * edge), want->volume, 1e-13), "%s", want->name);
        cr_expect(epsilon_eq(dbl, inradius / edge, want->inradius, 1e-14), "%s", want->name);
        cr_expect(epsilon_eq(dbl, circumradius / edge, want->circumradius, 1e-14), "%s", want->name);
    }
}
