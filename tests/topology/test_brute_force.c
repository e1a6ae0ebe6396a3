/* test_brute_force.c - the linear algorithms against slow, obvious ones on small random polygon soups.
 *   agrees_*   thousands of soups of up to 12 faces over up to 9 vertices, with repeated indices, copies,
 * edges of many faces and faces that run either way, so that every rare case comes up often; and of triangles
 * alone, for which there are shorter ways
 *   counts_*   of meshes so large that threads share them
 *
 * The slow versions compare every pair and follow the definitions word for word: an edge is a pair of
 * different vertices consecutive in some face; fans join the faces at a vertex that share an edge there;
 * shells join faces that share an edge; a shell is orientable when one of all 2^F ways to turn its faces
 * leaves no inconsistent edge; open loops follow the pairing of open edges through the faces around each
 * vertex. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>

#include "support/fixture_shapes.h"
#include "topology/duplicates.h"
#include "topology/genus.h"

enum { FACE_MAX = 12, VERTEX_MAX = 9, CORNER_MAX = FACE_MAX * 6 };

struct topology {
    struct edges edges;
    struct fans fans;
    struct shells shells;
    struct open_loops loops;
    struct genus genus;
    struct duplicates duplicates;
};

static struct topology topology_of(const struct mesh *mesh, struct arena keep, struct arena scratch)
{
    struct topology t;
    struct error err;
    cr_assert(edges_build(mesh, 1 + mesh->face_count % 2, &t.edges, &keep, scratch, &err));
    cr_assert(fans_build(mesh, &t.edges, &t.fans, &keep, scratch, &err));
    cr_assert(shells_build(mesh, &t.edges, &t.shells, &keep, scratch, &err));
    cr_assert(open_loops_build(mesh, &t.edges, &t.fans, &t.shells, &t.loops, &keep, scratch, &err));
    cr_assert(genus_build(mesh, &t.edges, &t.fans, &t.shells, &t.loops, &t.genus, &keep, scratch, &err));
    cr_assert(
        duplicates_build(mesh, &t.edges, 1 + mesh->face_count % 2, &t.duplicates, &keep, scratch, &err));
    return t;
}

/* Faces of three to `largest` corners. */
static struct mesh random_soup(struct arena *arena, uint64_t *state, bool repeats, size_t largest)
{
    size_t vertex_count = 3 + fixture_random_below(state, VERTEX_MAX - 2);
    size_t face_count = 1 + fixture_random_below(state, FACE_MAX);
    struct mesh mesh = fixture_room(arena, vertex_count, FACE_MAX, CORNER_MAX);
    for (size_t f = 0; f < face_count; f++) {
        uint32_t corners[6];
        size_t size = 3 + fixture_random_below(state, largest - 2), kept = 0;
        while (kept < size) {
            uint32_t v = (uint32_t)fixture_random_below(state, vertex_count);
            bool seen = false;
            for (size_t i = 0; i < kept; i++)
                seen = seen || corners[i] == v;
            if (!seen || repeats)
                corners[kept++] = v;
            else if (kept >= vertex_count || fixture_random_below(state, 8) == 0)
                break;
        }
        if (kept >= 3)
            fixture_add_face(&mesh, corners, kept);
    }
    if (mesh.face_count == 0)
        fixture_add_triangle(&mesh, 0, 1, 2);
    return mesh;
}

/* How often face f runs from a to b. */
static int runs(const struct mesh *mesh, size_t f, uint32_t a, uint32_t b)
{
    int times = 0;
    for (size_t i = 0; i < mesh_face_size(mesh, f); i++)
        times += mesh_face(mesh, f)[i] == a && mesh_face(mesh, f)[(i + 1) % mesh_face_size(mesh, f)] == b;
    return times;
}
static int sides(const struct mesh *mesh, uint32_t a, uint32_t b)
{
    int count = 0;
    for (size_t f = 0; f < mesh->face_count; f++)
        count += runs(mesh, f, a, b) + runs(mesh, f, b, a);
    return count;
}
static bool on_edge(const struct mesh *mesh, size_t f, uint32_t a, uint32_t b)
{
    return runs(mesh, f, a, b) + runs(mesh, f, b, a) > 0;
}
static bool uses(const struct mesh *mesh, size_t f, uint32_t v)
{
    for (size_t i = 0; i < mesh_face_size(mesh, f); i++)
        if (mesh_face(mesh, f)[i] == v)
            return true;
    return false;
}

/* Labels spread until nothing changes: label[i] becomes the lowest of its class. */
static size_t classes(bool adjacent[FACE_MAX][FACE_MAX], const bool member[FACE_MAX], size_t label[FACE_MAX])
{
    size_t count = 0;
    for (size_t f = 0; f < FACE_MAX; f++)
        label[f] = f;
    for (size_t round = 0; round < FACE_MAX; round++)
        for (size_t f = 0; f < FACE_MAX; f++)
            for (size_t g = 0; g < FACE_MAX; g++)
                if (member[f] && member[g] && adjacent[f][g] && label[g] < label[f])
                    label[f] = label[g];
    for (size_t f = 0; f < FACE_MAX; f++)
        count += member[f] && label[f] == f;
    return count;
}

struct slow {
    size_t edges, open, nonmanifold, inconsistent, referenced, nonmanifold_vertices, shells, extra_copies;
    size_t shell[FACE_MAX];
    bool orientable[FACE_MAX]; /* of the shell whose lowest face this is */
};

static void count_edges_slowly(const struct mesh *mesh, struct slow *slow)
{
    for (uint32_t a = 0; a < mesh->vertex_count; a++)
        for (uint32_t b = a + 1; b < mesh->vertex_count; b++) {
            int incidence = sides(mesh, a, b), forward = 0;
            for (size_t f = 0; f < mesh->face_count; f++)
                forward += runs(mesh, f, a, b);
            slow->edges += incidence > 0;
            slow->open += incidence == 1;
            slow->nonmanifold += incidence > 2;
            slow->inconsistent += incidence == 2 && forward != 1;
        }
}

static void count_fans_slowly(const struct mesh *mesh, struct slow *slow)
{
    for (uint32_t v = 0; v < mesh->vertex_count; v++) {
        bool adjacent[FACE_MAX][FACE_MAX] = {{false}}, member[FACE_MAX] = {false};
        size_t label[FACE_MAX], members = 0;
        for (size_t f = 0; f < mesh->face_count; f++)
            members += member[f] = uses(mesh, f, v);
        for (size_t f = 0; f < mesh->face_count; f++)
            for (size_t g = 0; g < mesh->face_count; g++)
                for (uint32_t w = 0; w < mesh->vertex_count; w++)
                    adjacent[f][g] =
                        adjacent[f][g] || (w != v && on_edge(mesh, f, v, w) && on_edge(mesh, g, v, w));
        slow->referenced += members > 0;
        slow->nonmanifold_vertices += classes(adjacent, member, label) > 1;
    }
}

static void find_shells_slowly(const struct mesh *mesh, struct slow *slow)
{
    bool adjacent[FACE_MAX][FACE_MAX] = {{false}}, member[FACE_MAX] = {false};
    for (size_t f = 0; f < mesh->face_count; f++) {
        member[f] = true;
        for (size_t g = 0; g < mesh->face_count; g++)
            for (uint32_t a = 0; a < mesh->vertex_count; a++)
                for (uint32_t b = a + 1; b < mesh->vertex_count; b++)
                    adjacent[f][g] = adjacent[f][g] || (on_edge(mesh, f, a, b) && on_edge(mesh, g, a, b));
    }
    slow->shells = classes(adjacent, member, slow->shell);
}

/* Some choice of turned faces leaves every edge of two sides of the shell consistent. */
static bool is_orientable_slowly(const struct mesh *mesh, const struct slow *slow, size_t shell)
{
    struct {
        size_t f, g;
        bool against;
    } pairs[VERTEX_MAX * VERTEX_MAX];
    size_t pair_count = 0;
    for (uint32_t a = 0; a < mesh->vertex_count; a++)
        for (uint32_t b = a + 1; b < mesh->vertex_count; b++) {
            size_t on[2], found = 0;
            int forward = 0;
            if (sides(mesh, a, b) != 2)
                continue;
            for (size_t f = 0; f < mesh->face_count; f++) {
                for (int i = 0; i < runs(mesh, f, a, b) + runs(mesh, f, b, a); i++)
                    on[found++] = f;
                forward += runs(mesh, f, a, b);
            }
            if (slow->shell[on[0]] == shell) {
                pairs[pair_count].f = on[0];
                pairs[pair_count].g = on[1];
                pairs[pair_count++].against = forward != 1;
            }
        }
    for (uint32_t turned = 0; turned < 1u << mesh->face_count; turned++) {
        bool fits = true;
        for (size_t i = 0; i < pair_count && fits; i++)
            fits = ((turned >> pairs[i].f ^ turned >> pairs[i].g) & 1) == pairs[i].against;
        if (fits)
            return true;
    }
    return false;
}

static size_t times_used(const struct mesh *mesh, size_t f, uint32_t v)
{
    size_t times = 0;
    for (size_t i = 0; i < mesh_face_size(mesh, f); i++)
        times += mesh_face(mesh, f)[i] == v;
    return times;
}

static size_t first_copy_slowly(const struct mesh *mesh, size_t f)
{
    for (size_t g = 0; g < f; g++) {
        bool same = mesh_face_size(mesh, f) == mesh_face_size(mesh, g);
        for (uint32_t v = 0; v < mesh->vertex_count; v++)
            same = same && times_used(mesh, f, v) == times_used(mesh, g, v);
        if (same)
            return g;
    }
    return f;
}

static size_t count_copies_slowly(const struct mesh *mesh)
{
    size_t extra = 0;
    for (size_t f = 0; f < mesh->face_count; f++)
        extra += first_copy_slowly(mesh, f) != f;
    return extra;
}

static void compare(const struct mesh *mesh, const struct topology *fast, uint64_t seed)
{
    struct slow slow = {0};
    count_edges_slowly(mesh, &slow);
    count_fans_slowly(mesh, &slow);
    find_shells_slowly(mesh, &slow);
    cr_assert(eq(sz, fast->edges.count, slow.edges), "seed %llu", (unsigned long long)seed);
    cr_assert(eq(sz, fast->edges.open_count, slow.open), "seed %llu", (unsigned long long)seed);
    cr_assert(eq(sz, fast->edges.nonmanifold_count, slow.nonmanifold), "seed %llu", (unsigned long long)seed);
    cr_assert(eq(sz, fast->edges.inconsistent_count, slow.inconsistent), "seed %llu",
              (unsigned long long)seed);
    cr_assert(eq(sz, fast->fans.referenced_count, slow.referenced), "seed %llu", (unsigned long long)seed);
    cr_assert(eq(sz, fast->fans.nonmanifold_count, slow.nonmanifold_vertices), "seed %llu",
              (unsigned long long)seed);
    cr_assert(eq(sz, fast->shells.count, slow.shells), "seed %llu", (unsigned long long)seed);
    for (size_t f = 0; f < mesh->face_count; f++)
        cr_assert(eq(sz, fast->duplicates.first_copy[f], first_copy_slowly(mesh, f)), "seed %llu",
                  (unsigned long long)seed);
    cr_assert(eq(sz, fast->duplicates.extra_count, count_copies_slowly(mesh)), "seed %llu",
              (unsigned long long)seed);
    cr_assert(eq(i64, fast->genus.euler_characteristic,
                 (int64_t)slow.referenced - (int64_t)slow.edges + (int64_t)mesh->face_count),
              "seed %llu", (unsigned long long)seed);
    for (size_t f = 0; f < mesh->face_count; f++) {
        for (size_t g = 0; g < f; g++)
            cr_assert(eq(int, fast->shells.face_shell[f] == fast->shells.face_shell[g],
                         slow.shell[f] == slow.shell[g]),
                      "seed %llu", (unsigned long long)seed);
        if (slow.shell[f] == f)
            cr_assert(eq(int, fast->shells.orientable[fast->shells.face_shell[f]],
                         is_orientable_slowly(mesh, &slow, f)),
                      "seed %llu", (unsigned long long)seed);
    }
}

Test(brute_force, agrees_on_soups_without_repeated_indices)
{
    struct arena *meshes = fixture_arena_of(1 << 20), *keep = fixture_arena_of(1 << 20);
    struct arena *scratch = fixture_arena_of(1 << 20);
    for (uint64_t seed = 1; seed <= 3000; seed++) {
        uint64_t state = seed;
        struct arena room = *meshes;
        struct mesh mesh = random_soup(&room, &state, false, 6);
        struct topology fast = topology_of(&mesh, *keep, *scratch);
        compare(&mesh, &fast, seed);
    }
}

Test(brute_force, agrees_on_soups_with_repeated_indices)
{
    struct arena *meshes = fixture_arena_of(1 << 20), *keep = fixture_arena_of(1 << 20);
    struct arena *scratch = fixture_arena_of(1 << 20);
    for (uint64_t seed = 1; seed <= 3000; seed++) {
        uint64_t state = seed + 1000000;
        struct arena room = *meshes;
        struct mesh mesh = random_soup(&room, &state, true, 6);
        struct topology fast = topology_of(&mesh, *keep, *scratch);
        compare(&mesh, &fast, seed);
    }
}

Test(brute_force, agrees_on_soups_of_triangles)
{
    struct arena *meshes = fixture_arena_of(1 << 20), *keep = fixture_arena_of(1 << 20);
    struct arena *scratch = fixture_arena_of(1 << 20);
    size_t copies_across_edges = 0;
    for (uint64_t seed = 1; seed <= 4000; seed++) {
        uint64_t state = seed + 2000000;
        struct arena room = *meshes;
        struct mesh mesh = random_soup(&room, &state, seed % 2 == 0, 3);
        struct topology fast = topology_of(&mesh, *keep, *scratch);
        compare(&mesh, &fast, seed);
        copies_across_edges += fast.edges.incidence_max == 2 && fast.duplicates.extra_count > 0;
    }
    cr_expect(copies_across_edges > 50, "only %zu soups have copies that meet in twos", copies_across_edges);
}

/* So many that threads share them: face 2i + 1 has the vertices of face 2i, in another order. */
Test(brute_force, counts_copies_of_very_many_faces)
{
    enum { PAIRS = 30000 };
    struct arena *arena = fixture_arena(), *keep = fixture_arena(), *scratch = fixture_arena();
    struct mesh mesh = fixture_room(arena, 3 * PAIRS, 2 * PAIRS, 6 * PAIRS);
    struct error err;

    for (size_t v = 0; v < 3 * PAIRS; v++)
        mesh.positions[v] = (vec3){(double)v, (double)(v % 3 == 1), (double)(v % 7)};
    for (size_t i = 0; i < PAIRS; i++) {
        fixture_add_triangle(&mesh, 3 * i, 3 * i + 1, 3 * i + 2);
        fixture_add_triangle(&mesh, 3 * i + 1, 3 * i, 3 * i + 2);
    }
    for (size_t threads = 1; threads <= 3; threads++) {
        struct arena room = *keep;
        struct edges edges;
        struct duplicates duplicates;
        cr_assert(edges_build(&mesh, threads, &edges, &room, *scratch, &err));
        cr_assert(duplicates_build(&mesh, &edges, threads, &duplicates, &room, *scratch, &err));
        cr_expect(eq(sz, duplicates.extra_count, PAIRS), "%zu threads", threads);
        for (size_t f = 0; f < mesh.face_count; f++)
            cr_assert(eq(sz, duplicates.first_copy[f], f / 2 * 2), "%zu threads", threads);
    }
}

/* Open loops of a random open quad surface against a walk that is written otherwise: at each vertex, open
 * edges are paired when they bound one connected run of faces there. */
static size_t count_loops_slowly(const struct mesh *mesh)
{
    uint32_t ends[256][2];
    size_t loop[256], count = 0, loops = 0;
    for (uint32_t a = 0; a < mesh->vertex_count; a++)
        for (uint32_t b = a + 1; b < mesh->vertex_count; b++)
            if (sides(mesh, a, b) == 1) {
                ends[count][0] = a;
                ends[count][1] = b;
                loop[count] = count;
                count++;
            }
    for (size_t round = 0; round < count; round++)
        for (size_t i = 0; i < count; i++)
            for (size_t j = 0; j < count; j++)
                for (uint32_t v = 0; v < mesh->vertex_count; v++) {
                    uint32_t w = ends[i][0] == v ? ends[i][1] : ends[i][0];
                    uint32_t x = ends[j][0] == v ? ends[j][1] : ends[j][0];
                    if (i == j || (ends[i][0] != v && ends[i][1] != v)
                        || (ends[j][0] != v && ends[j][1] != v))
                        continue;
                    bool reached[64] = {false}, grew = true, meets = false;
                    for (size_t f = 0; f < mesh->face_count; f++)
                        reached[f] = on_edge(mesh, f, v, w);
                    while (grew) {
                        grew = false;
                        for (size_t f = 0; f < mesh->face_count; f++)
                            for (size_t g = 0; g < mesh->face_count; g++)
                                for (uint32_t u = 0; u < mesh->vertex_count && reached[f] && !reached[g]; u++)
                                    if (u != v && on_edge(mesh, f, v, u) && on_edge(mesh, g, v, u))
                                        reached[g] = grew = true;
                    }
                    for (size_t f = 0; f < mesh->face_count; f++)
                        meets = meets || (reached[f] && on_edge(mesh, f, v, x));
                    if (meets && loop[j] < loop[i])
                        loop[i] = loop[j];
                }
    for (size_t i = 0; i < count; i++)
        loops += loop[i] == i;
    return loops;
}

Test(brute_force, agrees_on_open_loops_of_grids_with_holes_that_touch)
{
    struct arena *meshes = fixture_arena_of(1 << 20), *keep = fixture_arena_of(1 << 20);
    struct arena *scratch = fixture_arena_of(1 << 20);
    for (uint64_t seed = 1; seed <= 12; seed++) {
        uint64_t state = seed;
        struct arena room = *meshes;
        struct mesh grid = fixture_grid(&room, 4, 4), mesh = fixture_room(&room, 25, 16, 64);
        for (size_t f = 0; f < grid.face_count; f++)
            if (fixture_random_below(&state, 3) > 0)
                fixture_add_face(&mesh, mesh_face(&grid, f), 4);
        struct topology fast = topology_of(&mesh, *keep, *scratch);
        cr_expect(eq(i64, fast.genus.open_loops, (int64_t)count_loops_slowly(&mesh)), "seed %llu",
                  (unsigned long long)seed);
    }
}
