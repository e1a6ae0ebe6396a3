/* test_incidence.c - the faces at each vertex against looking at every corner. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>

#include "support/fixture_shapes.h"
#include "topology/incidence.h"

enum { FACES = 200, VERTICES = 40, SIZE_MAX_OF_FACE = 6 };

static size_t below(size_t end, uint64_t *state)
{
    return (size_t)(fixture_random_unit(state) * (double)end);
}

static void expect_all(const struct incidence_faces *of, size_t threads)
{
    struct arena keep;
    struct error err;
    struct incidence incidence;

    cr_assert(arena_open(&keep, 1 << 16, &err));
    cr_assert(incidence_build(of, threads, &incidence, &keep, &err));
    for (uint32_t v = 0; v < of->vertex_count; v++) {
        uint32_t at = incidence.begin[v];
        for (size_t f = 0; f < of->face_count; f++) {
            const size_t begin = of->offsets ? of->offsets[f] : 3 * f,
                         end = of->offsets ? of->offsets[f + 1] : 3 * f + 3;
            for (size_t c = begin; c < end; c++)
                if (of->vertices[c] == v)
                    cr_assert(incidence.faces[at++] == f, "vertex %u, face %zu", v, f);
        }
        cr_assert(eq(u32, at, incidence.begin[v + 1]));
    }
    arena_close(&keep);
}

Test(incidence, agrees_with_every_corner_for_polygons_and_triangles)
{
    uint32_t vertices[FACES * SIZE_MAX_OF_FACE], offsets[FACES + 1] = {0};
    uint64_t state = 1;

    for (size_t round = 0; round < 200; round++) {
        const size_t count = below(FACES + 1, &state);
        for (size_t f = 0; f < count; f++)
            offsets[f + 1] = offsets[f] + 3 + (uint32_t)below(SIZE_MAX_OF_FACE - 2, &state);
        for (size_t c = 0; c < FACES * SIZE_MAX_OF_FACE; c++)
            vertices[c] = (uint32_t)below(VERTICES, &state);
        for (size_t threads = 1; threads <= 5; threads++) {
            expect_all(&(struct incidence_faces){VERTICES, count, vertices, offsets}, threads);
            expect_all(&(struct incidence_faces){VERTICES, count, vertices, NULL}, threads);
        }
    }
}

Test(incidence, refused_where_memory_ends)
{
    const uint32_t vertices[3] = {0, 1, 2};
    struct arena keep;
    struct error err;
    struct incidence incidence;

    cr_assert(arena_open(&keep, 1, &err)); /* a page */
    cr_expect(not(
        incidence_build(&(struct incidence_faces){1 << 20, 1, vertices, NULL}, 1, &incidence, &keep, &err)));
    cr_expect(eq(int, (int)err.code, (int)ERROR_LIMIT));
    arena_close(&keep);
}
