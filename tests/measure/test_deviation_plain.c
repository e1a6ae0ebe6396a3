/* test_deviation_plain.c - sides that just one other triangle has, against every pair of triangles.
 *   agrees_*   whether vertices are numbered so that one look tells (their last bits differ) or not
 */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>

#include <string.h>

#include "measure/deviation_pair.h"
#include "measure/deviation_plain.h"

/* How often a triangle has a side from a to b. */
static size_t runs(const uint32_t *corner, uint32_t a, uint32_t b)
{
    size_t count = 0;

    for (int i = 0; i < 3; i++)
        count += corner[i] == a && corner[(i + 1) % 3] == b;
    return count;
}

static uint32_t third_corner(const uint32_t *corner, uint32_t a, uint32_t b)
{
    for (int i = 0; i < 2; i++)
        if (corner[i] != a && corner[i] != b)
            return corner[i];
    return corner[2];
}

/* By the angle between what is across the side in each of both planes. */
static bool is_folded(const vec3 *points, uint32_t a, uint32_t b, uint32_t c, uint32_t d)
{
    vec3 along = vec3_sub(points[b], points[a]), across[2];

    for (int k = 0; k < 2; k++) {
        vec3 to = vec3_sub(points[k ? d : c], points[a]);
        across[k] = vec3_sub(to, vec3_scale(along, vec3_dot(to, along) / vec3_length_sq(along)));
    }
    return vec3_dot(across[0], across[1]) >= 0;
}

/* The definition (deviation_plain.h), word for word. */
static unsigned char expected_bits(const struct deviation_surface *surface, size_t slot)
{
    const uint32_t *corner = surface->bvh.corners[slot];
    unsigned char bits = OVERLAY_PLAIN | OVERLAY_ALIKE;

    if (corner[0] == corner[1] || corner[1] == corner[2] || corner[2] == corner[0])
        return 0;
    for (int i = 0; i < 3; i++) {
        const uint32_t a = corner[i], b = corner[(i + 1) % 3];
        size_t along = 0, against = 0, other = slot;
        for (size_t s = 0; s < surface->bvh.triangle_count; s++) {
            const uint32_t *its = surface->bvh.corners[s];
            along += runs(its, a, b);
            against += runs(its, b, a);
            other = s != slot && runs(its, a, b) + runs(its, b, a) > 0 ? s : other;
        }
        if (along + against != 2
            || is_folded(surface->points, a, b, third_corner(corner, a, b),
                         third_corner(surface->bvh.corners[other], a, b)))
            return 0;
        if (against != 1)
            bits = OVERLAY_PLAIN;
    }
    return bits;
}

/* Triangles of a bumpy sphere: some turned round, left out, copied, bent over or with a corner twice; each
 * vertex is number `stride` times what it was. */
static struct mesh spoiled(struct arena *arena, size_t stride, uint64_t *state)
{
    struct mesh quads = fixture_cubed_sphere(arena, 4), mesh = fixture_fanned(arena, &quads);
    vec3 *positions = ARENA_ZERO(arena, vec3, mesh.vertex_count * stride);

    for (size_t v = 0; v < mesh.vertex_count; v++)
        positions[v * stride] = vec3_scale(mesh.positions[v], 1 + 0.8 * fixture_random_unit(state));
    for (size_t c = 0; c < mesh_corner_count(&mesh); c++)
        mesh.face_vertices[c] *= (uint32_t)stride;
    for (size_t f = 0; f < mesh.face_count; f++) {
        uint32_t *face = mesh.face_vertices + 3 * f, last = face[2];
        const double dice = fixture_random_unit(state);
        if (dice < 0.1) {
            face[2] = face[1];
            face[1] = last;
        } else if (dice < 0.15) {
            memcpy(face, mesh_face(&mesh, (size_t)(fixture_random_unit(state) * (double)mesh.face_count)),
                   3 * sizeof *face);
        } else if (dice < 0.17) {
            face[2] = face[0];
        }
    }
    mesh.positions = positions;
    mesh.vertex_count *= stride;
    return mesh;
}

static void expect_agreement(size_t stride, uint64_t seed, size_t threads, size_t *met)
{
    struct arena arena = pair_arena(2), keep = pair_arena(0), scratch = pair_arena(1);
    uint64_t state = seed;
    struct mesh mesh = spoiled(&arena, stride, &state);
    struct measure_input input;
    struct deviation_surface surface;
    struct error err = {.text = ""};

    cr_assert(measure_input_build(&mesh, MESH_SCAN, NULL, &input, &keep, scratch, &err), "%s", err.text);
    struct deviation_frame frame = deviation_frame_of(&input, &input);
    cr_assert(deviation_surface_build(&input, &frame, threads, &surface, &keep, scratch, &err), "%s",
              err.text);
    const unsigned char *bits = plain_find(&surface, NULL, threads, &keep);
    cr_assert(bits != NULL);
    for (size_t slot = 0; slot < surface.bvh.triangle_count; slot++) {
        const unsigned char expected = expected_bits(&surface, slot);
        cr_assert(bits[slot] == expected, "stride %zu, seed %lu, slot %zu: %d, not %d", stride, seed, slot,
                  bits[slot], expected);
        met[expected]++;
    }
}

Test(deviation_plain, agrees_where_last_bits_differ_and_where_not)
{
    size_t met[4] = {0};

    for (uint64_t seed = 0; seed < 20; seed++)
        for (size_t stride = 1; stride <= 64; stride *= 8)
            expect_agreement(stride, seed, 1 + seed % 2, met);
    cr_expect(met[0] > 500 && met[OVERLAY_PLAIN] > 500 && met[OVERLAY_PLAIN | OVERLAY_ALIKE] > 500,
              "%zu %zu %zu", met[0], met[1], met[3]);
}
