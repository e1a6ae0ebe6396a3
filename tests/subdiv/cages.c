/* cages.c - control meshes for the tests of subdivision. */
#include "subdiv/cages.h"

#include <criterion/criterion.h>
#include <math.h>

#include "subdiv/limit.h"

struct arena cage_scratch(void)
{
    static struct arena *scratch;
    if (!scratch)
        scratch = fixture_arena_of((size_t)512 << 20);
    return *scratch;
}

/* Rings 1 and 2 of a fan: spoke i has the points (1, i) and (2, i), sector i the points between. */
struct mesh cage_fan(struct arena *arena, size_t n, bool open)
{
    size_t spokes = open ? n + 1 : n;
    struct mesh mesh = fixture_room(arena, 1 + 2 * spokes + 4 * n, 4 * n, 16 * n);
    double turn = (open ? M_PI : 2 * M_PI) / (double)n;
    size_t spoke = 1, sector = 1 + 2 * spokes;

    mesh.positions[0] = (vec3){0};
    for (size_t i = 0; i < spokes; i++)
        for (size_t r = 0; r < 2; r++) {
            double a = turn * (double)i, d = (double)(r + 1);
            mesh.positions[spoke + 2 * i + r] = (vec3){d * cos(a), d * sin(a), 0.1 * d * d};
        }
    for (size_t i = 0; i < n; i++) {
        static const double PLACES[4][2] = {{1.2, 0.5}, {2, 0.25}, {2.5, 0.5}, {2, 0.75}};
        size_t next = open ? i + 1 : (i + 1) % n, s = sector + 4 * i, a = spoke + 2 * i, b = spoke + 2 * next;
        for (size_t k = 0; k < 4; k++) {
            double angle = turn * ((double)i + PLACES[k][1]), d = PLACES[k][0];
            mesh.positions[s + k] = (vec3){d * cos(angle), d * sin(angle), 0.1 * d * d};
        }
        fixture_add_quad(&mesh, 0, a, s, b);
        fixture_add_quad(&mesh, a, a + 1, s + 1, s);
        fixture_add_quad(&mesh, s, s + 1, s + 2, s + 3);
        fixture_add_quad(&mesh, b, s, s + 3, b + 1);
    }
    return mesh;
}

void cage_shake(struct mesh *mesh, double amount, uint64_t *state)
{
    for (size_t v = 0; v < mesh->vertex_count; v++) {
        mesh->positions[v].x += amount * (2 * fixture_random_unit(state) - 1);
        mesh->positions[v].y += amount * (2 * fixture_random_unit(state) - 1);
        mesh->positions[v].z += amount * (2 * fixture_random_unit(state) - 1);
    }
}

struct creases cage_creases(struct arena *arena, const struct mesh *mesh, size_t every, uint64_t *state)
{
    static const double SHARPNESS[5] = {0.5, 1, 1.75, 2.5, 10};
    size_t corner_count = mesh_corner_count(mesh);
    struct creases creases = {0};

    creases.edges =
        (uint32_t(*)[2])arena_alloc(arena, corner_count, sizeof *creases.edges, _Alignof(uint32_t));
    creases.sharpness = ARENA_NEW(arena, double, corner_count);
    cr_assert(!arena->failed);
    for (size_t f = 0; f < mesh->face_count; f++)
        for (size_t i = 0; i < mesh_face_size(mesh, f); i++) {
            if (fixture_random_below(state, every) != 0)
                continue;
            creases.edges[creases.count][0] = mesh_face(mesh, f)[i];
            creases.edges[creases.count][1] = mesh_face(mesh, f)[(i + 1) % mesh_face_size(mesh, f)];
            creases.sharpness[creases.count++] = SHARPNESS[fixture_random_below(state, 5)];
        }
    return creases;
}

struct cage cage_at(struct arena *arena, const struct mesh *mesh, const struct creases *creases,
                    enum boundary_rule rule, unsigned levels)
{
    struct cage cage, refined;
    struct error err;

    cr_assert(cage_build(mesh, creases, rule, &cage, arena, cage_scratch(), &err), "%s", err.text);
    for (unsigned level = 0; level < levels; level++) {
        cr_assert(refine_build(&cage, &refined, arena, cage_scratch(), &err), "%s", err.text);
        cage = refined;
    }
    return cage;
}

vec3 *cage_limits(struct arena *arena, const struct cage *cage)
{
    vec3 *limits = ARENA_NEW(arena, vec3, cage->mesh.vertex_count);
    struct error err;

    cr_assert(limits != NULL);
    cr_assert(limit_positions(cage, limits, cage_scratch(), &err), "%s", err.text);
    return limits;
}
