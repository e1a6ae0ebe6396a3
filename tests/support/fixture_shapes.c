/* fixture_shapes.c - meshes that tests build in code. */
#include "support/fixture_shapes.h"

#include <criterion/criterion.h>
#include <string.h>

#include "base/mix64.h"

static const double pi = 3.14159265358979323846;

struct arena *fixture_arena_of(size_t bytes)
{
    struct arena arena;
    struct error err;
    cr_assert(arena_open(&arena, bytes, &err), "no memory for the test");
    struct arena *inside = ARENA_NEW(&arena, struct arena, 1);
    *inside = arena;
    return inside;
}

struct arena *fixture_arena(void)
{
    return fixture_arena_of((size_t)64 << 20);
}

struct mesh fixture_room(struct arena *arena, size_t vertex_count, size_t face_max, size_t corner_max)
{
    struct mesh mesh = {.vertex_count = vertex_count,
                        .positions = ARENA_ZERO(arena, vec3, vertex_count),
                        .face_offsets = ARENA_ZERO(arena, uint32_t, face_max + 1),
                        .face_vertices = ARENA_ZERO(arena, uint32_t, corner_max)};
    cr_assert(!arena->failed, "the test's arena is too small");
    return mesh;
}

void fixture_add_face(struct mesh *mesh, const uint32_t *corners, size_t size)
{
    uint32_t begin = mesh->face_offsets[mesh->face_count];
    memcpy(mesh->face_vertices + begin, corners, size * sizeof *corners);
    mesh->face_offsets[++mesh->face_count] = begin + (uint32_t)size;
}

void fixture_add_quad(struct mesh *mesh, size_t a, size_t b, size_t c, size_t d)
{
    fixture_add_face(mesh, (uint32_t[]){(uint32_t)a, (uint32_t)b, (uint32_t)c, (uint32_t)d}, 4);
}

void fixture_add_triangle(struct mesh *mesh, size_t a, size_t b, size_t c)
{
    fixture_add_face(mesh, (uint32_t[]){(uint32_t)a, (uint32_t)b, (uint32_t)c}, 3);
}

struct mesh fixture_listed(struct arena *arena, const vec3 *positions, size_t vertex_count,
                           const uint32_t *faces)
{
    size_t face_count = 0, corner_count = 0;
    for (const uint32_t *at = faces; *at; at += *at + 1) {
        face_count++;
        corner_count += *at;
    }
    struct mesh mesh = fixture_room(arena, vertex_count, face_count, corner_count);
    if (positions)
        memcpy(mesh.positions, positions, vertex_count * sizeof *positions);
    for (const uint32_t *at = faces; *at; at += *at + 1)
        fixture_add_face(&mesh, at + 1, *at);
    cr_assert(mesh_is_valid(&mesh));
    return mesh;
}

struct mesh fixture_grid(struct arena *arena, size_t n, size_t m)
{
    struct mesh mesh = fixture_room(arena, (n + 1) * (m + 1), n * m, 4 * n * m);
    for (size_t j = 0; j <= m; j++)
        for (size_t i = 0; i <= n; i++)
            mesh.positions[j * (n + 1) + i] = (vec3){(double)i, (double)j, 0};
    for (size_t j = 0; j < m; j++)
        for (size_t i = 0; i < n; i++) {
            size_t v = j * (n + 1) + i;
            fixture_add_quad(&mesh, v, v + 1, v + n + 2, v + n + 1);
        }
    return mesh;
}

struct mesh fixture_torus(struct arena *arena, size_t n, size_t m, double ring_radius, double tube_radius)
{
    struct mesh mesh = fixture_room(arena, n * m, n * m, 4 * n * m);
    for (size_t i = 0; i < n; i++)
        for (size_t j = 0; j < m; j++) {
            double a = 2 * pi * (double)i / (double)n, b = 2 * pi * (double)j / (double)m;
            double p = ring_radius + tube_radius * cos(b);
            mesh.positions[i * m + j] = (vec3){p * cos(a), p * sin(a), tube_radius * sin(b)};
        }
    for (size_t i = 0; i < n; i++)
        for (size_t j = 0; j < m; j++) {
            size_t i1 = (i + 1) % n, j1 = (j + 1) % m;
            fixture_add_quad(&mesh, i * m + j, i1 * m + j, i1 * m + j1, i * m + j1);
        }
    return mesh;
}

struct mesh fixture_uv_sphere(struct arena *arena, size_t n, size_t m)
{
    size_t vertex_count = n * (m - 1) + 2, south = vertex_count - 1;
    struct mesh mesh = fixture_room(arena, vertex_count, n * m, 4 * n * m);
    mesh.positions[0] = (vec3){0, 0, 1};
    mesh.positions[south] = (vec3){0, 0, -1};
    for (size_t j = 1; j < m; j++)
        for (size_t i = 0; i < n; i++) {
            double a = 2 * pi * (double)i / (double)n, b = pi * (double)j / (double)m;
            mesh.positions[1 + (j - 1) * n + i] = (vec3){sin(b) * cos(a), sin(b) * sin(a), cos(b)};
        }
    for (size_t i = 0; i < n; i++) {
        size_t i1 = (i + 1) % n;
        fixture_add_triangle(&mesh, 0, 1 + i, 1 + i1);
        for (size_t j = 1; j + 1 < m; j++) {
            size_t upper = 1 + (j - 1) * n, lower = upper + n;
            fixture_add_quad(&mesh, upper + i, lower + i, lower + i1, upper + i1);
        }
        fixture_add_triangle(&mesh, south, 1 + (m - 2) * n + i1, 1 + (m - 2) * n + i);
    }
    return mesh;
}

struct mesh fixture_cube(struct arena *arena, double side)
{
    double h = side / 2;
    static const uint32_t faces[] = {4, 0, 2, 3, 1, 4, 4, 5, 7, 6, 4, 0, 1, 5, 4, 4,
                                     2, 6, 7, 3, 4, 0, 4, 6, 2, 4, 1, 3, 7, 5, 0};
    vec3 positions[8];
    for (size_t v = 0; v < 8; v++)
        positions[v] = (vec3){v & 1 ? h : -h, v & 2 ? h : -h, v & 4 ? h : -h};
    return fixture_listed(arena, positions, 8, faces);
}

struct mesh fixture_cubed_sphere(struct arena *arena, size_t k)
{
    struct mesh cube = fixture_cube(arena, 2);
    struct mesh patches = fixture_room(arena, 6 * (k + 1) * (k + 1), 6 * k * k, 24 * k * k);
    for (size_t f = 0; f < 6; f++) {
        const uint32_t *corner = mesh_face(&cube, f);
        size_t first = f * (k + 1) * (k + 1);
        for (size_t j = 0; j <= k; j++)
            for (size_t i = 0; i <= k; i++) {
                /* whole numbers until the last division, so that patches meet bit for bit */
                double u = (double)i, v = (double)j, n = (double)k;
                vec3 p = vec3_add(vec3_add(vec3_scale(cube.positions[corner[0]], (n - u) * (n - v)),
                                           vec3_scale(cube.positions[corner[1]], u * (n - v))),
                                  vec3_add(vec3_scale(cube.positions[corner[2]], u * v),
                                           vec3_scale(cube.positions[corner[3]], (n - u) * v)));
                double length = sqrt(p.x * p.x + (p.y * p.y + p.z * p.z));
                patches.positions[first + j * (k + 1) + i] = (vec3){p.x / length, p.y / length, p.z / length};
            }
        for (size_t j = 0; j < k; j++)
            for (size_t i = 0; i < k; i++) {
                size_t v = first + j * (k + 1) + i;
                fixture_add_quad(&patches, v, v + 1, v + k + 2, v + k + 1);
            }
    }
    return fixture_welded(arena, &patches);
}

struct mesh fixture_cylinder(struct arena *arena, size_t n, size_t k, double height, bool capped)
{
    struct mesh mesh = fixture_room(arena, n * (k + 1), n * k + 2, 4 * n * k + 2 * n);
    for (size_t j = 0; j <= k; j++)
        for (size_t i = 0; i < n; i++) {
            double a = 2 * pi * (double)i / (double)n;
            mesh.positions[j * n + i] = (vec3){cos(a), sin(a), height * (double)j / (double)k};
        }
    for (size_t j = 0; j < k; j++)
        for (size_t i = 0; i < n; i++) {
            size_t i1 = (i + 1) % n;
            fixture_add_quad(&mesh, j * n + i, j * n + i1, (j + 1) * n + i1, (j + 1) * n + i);
        }
    if (capped) {
        uint32_t *bottom = ARENA_NEW(arena, uint32_t, n), *top = ARENA_NEW(arena, uint32_t, n);
        for (size_t i = 0; i < n; i++) {
            bottom[i] = (uint32_t)(n - 1 - i);
            top[i] = (uint32_t)(k * n + i);
        }
        fixture_add_face(&mesh, bottom, n);
        fixture_add_face(&mesh, top, n);
    }
    return mesh;
}

struct mesh fixture_moebius(struct arena *arena, size_t n)
{
    struct mesh mesh = fixture_room(arena, 2 * n, n, 4 * n);
    for (size_t i = 0; i < n; i++) {
        double a = 2 * pi * (double)i / (double)n;
        vec3 outward = {cos(a), sin(a), 0};
        vec3 across = vec3_add(vec3_scale(outward, 0.3 * cos(a / 2)), (vec3){0, 0, 0.3 * sin(a / 2)});
        mesh.positions[2 * i] = vec3_sub(outward, across);
        mesh.positions[2 * i + 1] = vec3_add(outward, across);
    }
    for (size_t i = 0; i + 1 < n; i++)
        fixture_add_quad(&mesh, 2 * i, 2 * i + 1, 2 * i + 3, 2 * i + 2);
    fixture_add_quad(&mesh, 2 * n - 2, 2 * n - 1, 0, 1);
    return mesh;
}

/* The dodecahedron as the dual of the icosahedron: one vertex per face, one face per vertex. */
static struct mesh dual_of_icosahedron(struct arena *arena, const struct mesh *icosahedron)
{
    struct mesh dual = fixture_room(arena, 20, 12, 60);
    for (size_t f = 0; f < 20; f++) {
        const uint32_t *c = mesh_face(icosahedron, f);
        vec3 sum = vec3_add(icosahedron->positions[c[0]],
                            vec3_add(icosahedron->positions[c[1]], icosahedron->positions[c[2]]));
        /* the sum of an icosahedron face's corners (0, +-1, +-phi) is phi^2 times a corner of the
         * dodecahedron that has cube corners (+-1, +-1, +-1) */
        double phi = (1 + sqrt(5)) / 2;
        dual.positions[f] = vec3_scale(sum, 1 / (phi * phi));
    }
    for (uint32_t v = 0; v < 12; v++) {
        uint32_t corners[5];
        size_t size = 0;
        uint32_t next = UINT32_MAX; /* go from face to face around v */
        for (size_t f = 0; f < 20 && size == 0; f++)
            for (size_t i = 0; i < 3; i++)
                if (mesh_face(icosahedron, f)[i] == v) {
                    corners[size++] = (uint32_t)f;
                    next = mesh_face(icosahedron, f)[(i + 2) % 3];
                }
        while (size < 5)
            for (size_t f = 0; f < 20; f++)
                for (size_t i = 0; i < 3; i++)
                    if (mesh_face(icosahedron, f)[i] == v && mesh_face(icosahedron, f)[(i + 1) % 3] == next
                        && size < 5) {
                        corners[size++] = (uint32_t)f;
                        next = mesh_face(icosahedron, f)[(i + 2) % 3];
                        f = 20, i = 3;
                    }
        fixture_add_face(&dual, corners, 5);
    }
    return dual;
}

static struct mesh icosahedron(struct arena *arena)
{
    const double phi = (1 + sqrt(5)) / 2;
    const vec3 positions[12] = {{0, -1, -phi}, {0, 1, -phi}, {0, -1, phi}, {0, 1, phi},
                                {-1, -phi, 0}, {1, -phi, 0}, {-1, phi, 0}, {1, phi, 0},
                                {-phi, 0, -1}, {-phi, 0, 1}, {phi, 0, -1}, {phi, 0, 1}};
    struct mesh mesh = fixture_room(arena, 12, 20, 60);
    memcpy(mesh.positions, positions, sizeof positions);
    /* faces are the triples at mutual distance 2, turned outward */
    for (uint32_t a = 0; a < 12; a++)
        for (uint32_t b = a + 1; b < 12; b++)
            for (uint32_t c = b + 1; c < 12; c++) {
                vec3 p = positions[a], q = positions[b], r = positions[c];
                if (vec3_distance(p, q) > 2.1 || vec3_distance(q, r) > 2.1 || vec3_distance(p, r) > 2.1)
                    continue;
                bool outward = vec3_dot(vec3_cross(vec3_sub(q, p), vec3_sub(r, p)), p) > 0;
                fixture_add_triangle(&mesh, a, outward ? b : c, outward ? c : b);
            }
    return mesh;
}

struct mesh fixture_platonic(struct arena *arena, int faces)
{
    static const vec3 tetrahedron[] = {{1, 1, 1}, {1, -1, -1}, {-1, 1, -1}, {-1, -1, 1}};
    static const vec3 octahedron[] = {{1, 0, 0}, {-1, 0, 0}, {0, 1, 0}, {0, -1, 0}, {0, 0, 1}, {0, 0, -1}};
    switch (faces) {
    case 4:
        return fixture_listed(arena, tetrahedron, 4,
                              (uint32_t[]){3, 0, 1, 2, 3, 0, 3, 1, 3, 0, 2, 3, 3, 1, 3, 2, 0});
    case 6:
        return fixture_cube(arena, 2);
    case 8:
        return fixture_listed(arena, octahedron, 6,
                              (uint32_t[]){3, 0, 2, 4, 3, 2, 1, 4, 3, 1, 3, 4, 3, 3, 0, 4, 3,
                                           2, 0, 5, 3, 1, 2, 5, 3, 3, 1, 5, 3, 0, 3, 5, 0});
    case 12: {
        struct mesh inner = icosahedron(arena);
        return dual_of_icosahedron(arena, &inner);
    }
    default:
        return icosahedron(arena);
    }
}

static struct mesh copy_with_room(struct arena *arena, const struct mesh *mesh, size_t vertex_count)
{
    struct mesh copy = fixture_room(arena, vertex_count, mesh->face_count, mesh_corner_count(mesh));
    copy.face_count = mesh->face_count;
    memcpy(copy.face_offsets, mesh->face_offsets, (mesh->face_count + 1) * sizeof *mesh->face_offsets);
    return copy;
}

struct mesh fixture_fanned(struct arena *arena, const struct mesh *mesh)
{
    size_t corner_count = mesh_corner_count(mesh);
    struct mesh fanned = fixture_room(arena, mesh->vertex_count, corner_count, 3 * corner_count);
    memcpy(fanned.positions, mesh->positions, mesh->vertex_count * sizeof *mesh->positions);
    for (size_t f = 0; f < mesh->face_count; f++)
        for (size_t i = 2; i < mesh_face_size(mesh, f); i++)
            fixture_add_triangle(&fanned, mesh_face(mesh, f)[0], mesh_face(mesh, f)[i - 1],
                                 mesh_face(mesh, f)[i]);
    return fanned;
}

struct mesh fixture_soup(struct arena *arena, const struct mesh *mesh)
{
    struct mesh soup = copy_with_room(arena, mesh, mesh_corner_count(mesh));
    for (size_t c = 0; c < mesh_corner_count(mesh); c++) {
        soup.positions[c] = mesh->positions[mesh->face_vertices[c]];
        soup.face_vertices[c] = (uint32_t)c;
    }
    return soup;
}

struct mesh fixture_reversed(struct arena *arena, const struct mesh *mesh)
{
    struct mesh reversed = copy_with_room(arena, mesh, mesh->vertex_count);
    memcpy(reversed.positions, mesh->positions, mesh->vertex_count * sizeof *mesh->positions);
    for (size_t f = 0; f < mesh->face_count; f++)
        for (size_t i = 0; i < mesh_face_size(mesh, f); i++)
            reversed.face_vertices[mesh->face_offsets[f] + i] =
                mesh_face(mesh, f)[mesh_face_size(mesh, f) - 1 - i];
    return reversed;
}

struct mesh fixture_joined(struct arena *arena, const struct mesh *a, const struct mesh *b)
{
    struct mesh joined = fixture_room(arena, a->vertex_count + b->vertex_count, a->face_count + b->face_count,
                                      mesh_corner_count(a) + mesh_corner_count(b));
    memcpy(joined.positions, a->positions, a->vertex_count * sizeof *a->positions);
    memcpy(joined.positions + a->vertex_count, b->positions, b->vertex_count * sizeof *b->positions);
    for (size_t f = 0; f < a->face_count; f++)
        fixture_add_face(&joined, mesh_face(a, f), mesh_face_size(a, f));
    for (size_t f = 0; f < b->face_count; f++) {
        fixture_add_face(&joined, mesh_face(b, f), mesh_face_size(b, f));
        for (uint32_t c = joined.face_offsets[joined.face_count - 1];
             c < joined.face_offsets[joined.face_count]; c++)
            joined.face_vertices[c] += (uint32_t)a->vertex_count;
    }
    return joined;
}

struct mesh fixture_moved(struct arena *arena, const struct mesh *mesh, double scale, vec3 shift)
{
    struct mesh moved = copy_with_room(arena, mesh, mesh->vertex_count);
    memcpy(moved.face_vertices, mesh->face_vertices, mesh_corner_count(mesh) * sizeof *mesh->face_vertices);
    for (size_t v = 0; v < mesh->vertex_count; v++)
        moved.positions[v] = vec3_add(vec3_scale(mesh->positions[v], scale), shift);
    return moved;
}

struct mesh fixture_welded(struct arena *arena, const struct mesh *mesh)
{
    struct mesh welded = copy_with_room(arena, mesh, mesh->vertex_count);
    uint32_t *became = ARENA_NEW(arena, uint32_t, mesh->vertex_count);
    welded.vertex_count = 0;
    for (size_t v = 0; v < mesh->vertex_count; v++) {
        vec3 p = mesh->positions[v];
        size_t w = 0;
        while (w < welded.vertex_count
               && !(welded.positions[w].x == p.x && welded.positions[w].y == p.y
                    && welded.positions[w].z == p.z))
            w++;
        if (w == welded.vertex_count)
            welded.positions[welded.vertex_count++] = p;
        became[v] = (uint32_t)w;
    }
    for (size_t c = 0; c < mesh_corner_count(mesh); c++)
        welded.face_vertices[c] = became[mesh->face_vertices[c]];
    return welded;
}

uint64_t fixture_random(uint64_t *state)
{
    *state += 0x9e3779b97f4a7c15u;
    return mix64(*state);
}

size_t fixture_random_below(uint64_t *state, size_t limit)
{
    return (size_t)(fixture_random(state) % limit);
}

double fixture_random_unit(uint64_t *state)
{
    return (double)(fixture_random(state) >> 11) * 0x1p-53;
}

void fixture_random_piece(vec3 points[16], double amount, uint64_t *state)
{
    for (int i = 0; i < 16; i++)
        points[i] = (vec3){i % 4 / 3.0 + amount * (fixture_random_unit(state) - 0.5),
                           i / 4 / 3.0 + amount * (fixture_random_unit(state) - 0.5),
                           amount * (fixture_random_unit(state) - 0.5)};
}
