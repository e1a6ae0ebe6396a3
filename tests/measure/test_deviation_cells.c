/* test_deviation_cells.c - scans that were mended: most triangles are in both surfaces, and indices hold few.
 *   twins_*    the triangles that both have
 *   held_*     what an index of a part must hold
 *   part_*     what is measured with it
 */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "geom/point_triangle.h"
#include "measure/deviation_pair.h"
#include "measure/deviation_surface.h"

#define PIECES 5 /* along each side of a triangle */

enum change {
    NOTHING,
    HOLE,
    MOVED,
    ADDED_SHELL,
    REMOVED_SHELL,
    BLOCK,
    SCATTERED,
    SHUFFLED,
    TURNED,
    FAR_TRIANGLE,
    CHANGES
};
static const char *const names[CHANGES] = {"nothing", "hole",      "moved",    "added shell", "removed shell",
                                           "block",   "scattered", "shuffled", "turned",      "far triangle"};

/* A torus of triangles and the same with a change; twins as the change tells them. */
struct mended {
    struct mesh meshes[2];
    uint32_t *twins[2];
};

static vec3 middle_of(const struct mesh *mesh, size_t f)
{
    const uint32_t *c = mesh_face(mesh, f);

    return vec3_scale(vec3_add(vec3_add(mesh->positions[c[0]], mesh->positions[c[1]]), mesh->positions[c[2]]),
                      1.0 / 3);
}

static bool is_near(vec3 p)
{
    return vec3_distance(p, (vec3){-4, 0, 0}) < 0.8;
}

static bool is_kept(const struct mesh *mesh, size_t f, enum change change)
{
    if (change == HOLE || change == SHUFFLED || change == TURNED)
        return !is_near(middle_of(mesh, f));
    if (change == BLOCK)
        return f < mesh->face_count / 3 || f >= mesh->face_count / 3 + mesh->face_count / 8;
    return change != SCATTERED || f % 40 != 7;
}

static void add_shell(struct mesh *mesh, vec3 at, double size)
{
    size_t v = mesh->vertex_count;

    mesh->positions[v] = at;
    for (size_t i = 0; i < 3; i++)
        mesh->positions[v + 1 + i] =
            vec3_add(at, (vec3){i == 0 ? size : 0, i == 1 ? size : 0, i == 2 ? size : 0});
    mesh->vertex_count += 4;
    fixture_add_triangle(mesh, v, v + 2, v + 1);
    fixture_add_triangle(mesh, v, v + 1, v + 3);
    fixture_add_triangle(mesh, v, v + 3, v + 2);
    fixture_add_triangle(mesh, v + 1, v + 2, v + 3);
}

/* 0, 1, ..., or some order of them. */
static uint32_t *order_of(struct arena *arena, size_t count, bool shuffled)
{
    uint32_t *order = ARENA_NEW(arena, uint32_t, count);
    uint64_t state = 5;

    for (size_t i = 0; i < count; i++) {
        size_t j = shuffled ? fixture_random_below(&state, i + 1) : i;
        order[i] = order[j];
        order[j] = (uint32_t)i;
    }
    return order;
}

static struct mended make_mended(struct arena *arena, enum change change, size_t n, size_t m)
{
    struct mesh quads = fixture_torus(arena, n, m, 3, 1), raw = fixture_fanned(arena, &quads),
                made = fixture_room(arena, raw.vertex_count + 8, raw.face_count + 8, 3 * raw.face_count + 24);
    uint32_t *twins[2] = {ARENA_NEW(arena, uint32_t, raw.face_count + 8),
                          ARENA_NEW(arena, uint32_t, raw.face_count + 8)},
             *vertices = order_of(arena, raw.vertex_count, change == SHUFFLED),
             *faces = order_of(arena, raw.face_count, change == SHUFFLED);

    memset(twins[0], 0xff, (raw.face_count + 8) * sizeof *twins[0]);
    memset(twins[1], 0xff, (raw.face_count + 8) * sizeof *twins[1]);
    made.vertex_count = raw.vertex_count;
    for (size_t v = 0; v < raw.vertex_count; v++) {
        vec3 p = raw.positions[v];
        made.positions[vertices[v]] = change == MOVED && is_near(p) ? vec3_scale(p, 1.01) : p;
    }
    for (size_t i = 0; i < raw.face_count; i++) {
        size_t f = faces[i], turn = change == TURNED ? f % 6 : 0;
        const uint32_t *c = mesh_face(&raw, f);
        if (!is_kept(&raw, f, change))
            continue;
        bool moved =
            change == MOVED
            && (is_near(raw.positions[c[0]]) || is_near(raw.positions[c[1]]) || is_near(raw.positions[c[2]]));
        if (!moved) {
            twins[0][made.face_count] = (uint32_t)f;
            twins[1][f] = (uint32_t)made.face_count;
        }
        size_t second = turn < 3 ? 1 : 2;
        fixture_add_triangle(&made, vertices[c[turn % 3]], vertices[c[(turn + second) % 3]],
                             vertices[c[(turn + 3 - second) % 3]]);
    }
    if (change == ADDED_SHELL || change == REMOVED_SHELL)
        add_shell(&made, (vec3){0.1, 0.2, 0.3}, 0.4);
    if (change == FAR_TRIANGLE)
        fixture_add_triangle(&made, 0, made.vertex_count / 3, made.vertex_count / 2);
    if (change == REMOVED_SHELL)
        return (struct mended){{raw, made}, {twins[1], twins[0]}};
    return (struct mended){{made, raw}, {twins[0], twins[1]}};
}

struct indexed {
    struct measure_input inputs[2];
    struct deviation_surface surfaces[2];
};

static void index_pair(const struct mended *mended, size_t threads, struct indexed *indexed,
                       struct arena *arena)
{
    const struct measure_input *const of[2] = {&indexed->inputs[0], &indexed->inputs[1]};
    struct deviation_surface *const made[2] = {&indexed->surfaces[0], &indexed->surfaces[1]};
    struct error err = {.text = ""};

    for (int k = 0; k < 2; k++)
        cr_assert(measure_input_build(&mended->meshes[k], MESH_SCAN, NULL, &indexed->inputs[k], arena,
                                      pair_arena(1), &err));
    struct deviation_frame frame = deviation_frame_of(of[0], of[1]);
    cr_assert(deviation_surface_build_pair(of, &frame, threads, made, arena, pair_arena(1), &err), "%s",
              err.text);
}

static void expect_twins(const struct indexed *indexed, const struct mended *mended, int k, const char *name)
{
    const struct deviation_surface *own = &indexed->surfaces[k], *other = &indexed->surfaces[1 - k];
    size_t wrong = 0, shared = 0;

    cr_assert(bvh_is_valid(&own->bvh), "%s", name);
    for (size_t slot = 0; slot < own->bvh.triangle_count; slot++) {
        uint32_t want = mended->twins[k][own->bvh.triangles[slot]],
                 twin = own->twins ? own->twins[slot] : BVH_NONE;
        wrong += own->shared[slot] != (want != BVH_NONE);
        if (own->twins)
            wrong += twin == BVH_NONE ? want != BVH_NONE : other->bvh.triangles[twin] != want;
        shared += want != BVH_NONE;
    }
    cr_expect(wrong == 0, "%s: %zu of %zu", name, wrong, own->bvh.triangle_count);
    cr_expect(eq(sz, own->shared_count, shared));
}

/* The larger one has more triangles than are walked over in a row, in several chunks. */
Test(deviation_cells, twins_are_those_that_the_change_leaves)
{
    for (enum change change = NOTHING; change < CHANGES; change++)
        for (size_t size = 1; size <= 3; size += 2) {
            struct arena arena = pair_arena(0);
            struct mended mended = make_mended(&arena, change, 40 * size, 30 * size);
            struct indexed indexed;
            index_pair(&mended, size, &indexed, &arena);
            bool differs_here = change == NOTHING || change == HOLE || change == MOVED || change == SHUFFLED
                                || change == TURNED,
                 is_part = indexed.surfaces[0].twins != NULL;
            cr_expect(is_part || !differs_here, "%s", names[change]);
            cr_expect(change != SCATTERED || !is_part, "%s", names[change]);
            expect_twins(&indexed, &mended, 0, names[change]);
            expect_twins(&indexed, &mended, 1, names[change]);
        }
}

/* Loose triangles of random points, of which the first `common` are those of seed 1; and points without any.
 */
static struct mesh loose(struct arena *arena, size_t count, size_t common, size_t unused, uint64_t seed)
{
    struct mesh mesh = fixture_room(arena, 3 * count + unused, count, 3 * count);
    uint64_t first = 1;

    for (size_t v = 0; v < mesh.vertex_count; v++) {
        uint64_t *state = v < 3 * common ? &first : &seed;
        mesh.positions[v] =
            (vec3){fixture_random_unit(state), fixture_random_unit(state), fixture_random_unit(state)};
    }
    for (size_t f = 0; f < count; f++) {
        uint32_t corners[3] = {(uint32_t)(3 * f), (uint32_t)(3 * f + 1), (uint32_t)(3 * f + 2)};
        fixture_add_face(&mesh, corners, 3);
    }
    return mesh;
}

/* In lists that begin and end otherwise; of one triangle no more than its three points are in both. */
Test(deviation_cells, twins_of_a_few_triangles_in_common)
{
    const size_t fews[] = {3, 40, 20000}, manys[] = {5, 5000, 20000}, unused[] = {0, 1, 70000};

    for (size_t i = 0; i < 27; i++)
        for (size_t common = 0; common <= 3; common++) {
            struct arena arena = pair_arena(0);
            const size_t counts[2] = {fews[i / 3 % 3], manys[i % 3]};
            struct mended mended = {.meshes = {loose(&arena, counts[0], common, unused[i / 9], 7),
                                               loose(&arena, counts[1], common, 1, 8)}};
            char name[64];
            snprintf(name, sizeof name, "%zu of %zu and %zu, %zu unused", common, counts[0], counts[1],
                     unused[i / 9]);
            for (int k = 0; k < 2; k++) {
                struct mesh *mesh = &mended.meshes[k];
                mended.twins[k] = ARENA_NEW(&arena, uint32_t, mesh->face_count);
                cr_assert(mended.twins[k] != NULL);
                for (size_t f = 0; f < mesh->face_count; f++)
                    mended.twins[k][f] = f < common ? (uint32_t)f : BVH_NONE;
                if (k == 1) /* backwards, so that no walk along both finds them */
                    for (size_t f = 0; f < common; f++) {
                        size_t last = mesh->face_count - 1 - f - mesh->face_count / 2;
                        for (int c = 0; c < 3; c++) {
                            uint32_t *corners = mesh->face_vertices, kept = corners[3 * f + c];
                            corners[3 * f + c] = corners[3 * last + c];
                            corners[3 * last + c] = kept;
                        }
                    }
            }
            for (size_t f = 0; f < mended.meshes[1].face_count; f++) {
                uint32_t triangle = mended.meshes[1].face_vertices[3 * f] / 3;
                mended.twins[1][f] = triangle < common ? triangle : BVH_NONE;
                if (triangle < common)
                    mended.twins[0][triangle] = (uint32_t)f;
            }
            struct indexed indexed;
            index_pair(&mended, 2, &indexed, &arena);
            expect_twins(&indexed, &mended, 0, name);
            expect_twins(&indexed, &mended, 1, name);
        }
}

static double nearest_of_all(const struct bvh *bvh, vec3 p)
{
    double best = INFINITY;

    for (uint32_t slot = 0; slot < bvh->triangle_count; slot++)
        best = fmin(best, bvh_distance_sq(bvh, p, slot));
    return best;
}

/* Returns how many points were asked. */
static size_t expect_nearest(const struct deviation_surface *from, const struct deviation_surface *to,
                             const char *name)
{
    static const double weights[][3] = {{1, 0, 0},     {0, 1, 0},     {0, 0, 1},
                                        {0.5, 0.5, 0}, {0, 0.5, 0.5}, {1.0 / 3, 1.0 / 3, 1.0 / 3}};
    size_t asked = 0, wrong = 0, work = 0;

    for (uint32_t slot = 0; slot < from->bvh.triangle_count; slot++)
        for (size_t i = 0; i < sizeof weights / sizeof *weights && !from->shared[slot]; i++) {
            vec3 p = {0, 0, 0};
            for (int c = 0; c < 3; c++)
                p = vec3_add(p, vec3_scale(deviation_surface_corner(from, slot, c), weights[i][c]));
            double want = nearest_of_all(&to->bvh, p);
            wrong += bvh_nearest(&to->bvh, p, BVH_NONE, &work).distance_sq != want;
            wrong += sqrt(want) > from->reach + DEVIATION_SLACK;
            asked++;
        }
    cr_expect(wrong == 0, "%s: %zu of %zu", name, wrong, asked);
    return asked;
}

Test(deviation_cells, held_is_whatever_can_be_nearest)
{
    for (enum change change = NOTHING; change < CHANGES; change++) {
        struct arena arena = pair_arena(0);
        struct mended mended = make_mended(&arena, change, 40, 30);
        struct indexed indexed;
        index_pair(&mended, 2, &indexed, &arena);
        size_t asked = expect_nearest(&indexed.surfaces[0], &indexed.surfaces[1], names[change])
                       + expect_nearest(&indexed.surfaces[1], &indexed.surfaces[0], names[change]);
        cr_expect(eq(int, asked > 0, change != NOTHING));
        if (change == NOTHING || change == HOLE)
            cr_expect(indexed.surfaces[0].bvh.held_count < mended.meshes[0].face_count / 2);
    }
}

/* Nothing that is left out has a corner within the reach of an own triangle. */
static void expect_all_within_reach(const struct deviation_surface *from, const struct deviation_surface *to,
                                    const char *name)
{
    size_t wrong = 0;

    for (size_t left = to->bvh.held_count; left < to->bvh.triangle_count; left++)
        for (uint32_t slot = 0; slot < from->bvh.held_count; slot++)
            for (int c = 0; c < 3 && !from->shared[slot]; c++)
                wrong +=
                    sqrt(bvh_distance_sq(&from->bvh, deviation_surface_corner(to, (uint32_t)left, c), slot))
                    <= from->reach;
    cr_expect(wrong == 0, "%s: %zu", name, wrong);
}

Test(deviation_cells, held_is_all_within_reach)
{
    static const enum change some[] = {HOLE, MOVED, ADDED_SHELL, FAR_TRIANGLE};

    for (size_t i = 0; i < sizeof some / sizeof *some; i++) {
        struct arena arena = pair_arena(0);
        struct mended mended = make_mended(&arena, some[i], 80, 60); /* triangles of less than two cells */
        struct indexed indexed;
        index_pair(&mended, 2, &indexed, &arena);
        expect_all_within_reach(&indexed.surfaces[0], &indexed.surfaces[1], names[some[i]]);
        expect_all_within_reach(&indexed.surfaces[1], &indexed.surfaces[0], names[some[i]]);
    }
}

/* Mean and largest distance of the centroids of small pieces of a mesh from the faces of another, each looked
 * at in turn; *piece is the largest way from a centroid to a corner of its piece, and *error how far the mean
 * may be off by such ways. */
static void look_at_all(const struct mesh *from, const uint32_t *twins, const struct mesh *to, double *mean,
                        double *largest, double *piece, double *error)
{
    double area = 0, sum = 0, ways = 0;

    *largest = *piece = 0;
    for (size_t f = 0; f < from->face_count; f++) {
        const uint32_t *corners = mesh_face(from, f);
        vec3 a = from->positions[corners[0]], b = from->positions[corners[1]],
             c = from->positions[corners[2]];
        area += triangle_area(a, b, c);
        if (twins[f] != BVH_NONE)
            continue;
        double way = (vec3_distance(a, b) + vec3_distance(b, c) + vec3_distance(c, a)) / PIECES / 2;
        *piece = fmax(*piece, way);
        ways += way * triangle_area(a, b, c);
        for (int i = 0; i < PIECES; i++)
            for (int k = 0; k < 2 * (PIECES - i) - 1; k++) {
                double u = (i + (k % 2 ? 2.0 : 1.0) / 3) / PIECES,
                       v = (k / 2 + (k % 2 ? 2.0 : 1.0) / 3) / PIECES;
                vec3 p = vec3_add(a, vec3_add(vec3_scale(vec3_sub(b, a), u), vec3_scale(vec3_sub(c, a), v)));
                double distance = pair_distance(to, p);
                *largest = fmax(*largest, distance);
                sum += distance * triangle_area(a, b, c) / (PIECES * PIECES);
            }
    }
    *mean = sum / area;
    *error = ways / area;
}

static void expect_like(const struct one_sided_deviation *part, const struct mended *mended, int from,
                        const char *name)
{
    const double width = 1e-4 * sqrt(8 * 8 + 8 * 8 + 2 * 2);
    double mean, largest, piece, error;

    look_at_all(&mended->meshes[from], mended->twins[from], &mended->meshes[1 - from], &mean, &largest,
                &piece, &error);
    cr_expect(part->max.distance.upper - part->max.distance.lower <= width, "%s", name);
    cr_expect(part->max.distance.upper >= largest && part->max.distance.lower <= largest + piece,
              "%s: [%g, %g], found %g", name, part->max.distance.lower, part->max.distance.upper, largest);
    cr_expect(fabs(part->mean - mean) <= part->halfwidth.mean + error, "%s: %g and %g", name, part->mean,
              mean);
    cr_expect(pair_distance(&mended->meshes[1 - from], part->max.at) >= part->max.distance.lower - 1e-9, "%s",
              name);
}

static const struct deviation_field *field_of(const struct deviation_fields *fields, const char *name)
{
    for (size_t i = 0; i < fields->count; i++)
        if (strcmp(fields->fields[i].name, name) == 0)
            return &fields->fields[i];
    cr_fatal("no field %s", name);
}

static double distance_to_face(const struct mesh *mesh, size_t f, vec3 p)
{
    vec3 c[3];

    for (int i = 0; i < 3; i++)
        c[i] = mesh->positions[mesh_face(mesh, f)[i]];
    return sqrt(triangle_distance_sq(p, c[0], c[1], c[2]));
}

/* Distances are those found by looking at every face. */
Test(deviation_cells, part_gives_what_all_faces_give, .timeout = 3000)
{
    for (enum change change = NOTHING; change < CHANGES; change++) {
        struct arena arena = pair_arena(3);
        struct mended mended = make_mended(&arena, change, 40, 30);
        const struct mesh *subject = &mended.meshes[0], *reference = &mended.meshes[1];
        struct deviation_settings settings = pair_settings();
        struct deviation_fields fields;
        struct deviation part = pair_measure_fields(subject, reference, &settings, &fields);
        const double *distances = field_of(&fields, "distance")->values,
                     *nearest = field_of(&fields, "nearest_face")->values;
        size_t wrong = 0;

        expect_like(&part.subject_to_reference, &mended, 0, names[change]);
        expect_like(&part.reference_to_subject, &mended, 1, names[change]);
        for (size_t v = 0; v < subject->vertex_count; v++) {
            if (isnan(distances[v])) /* of no face */
                continue;
            double want = pair_distance(reference, subject->positions[v]);
            wrong += !(fabs(distances[v] - want) <= 1e-12);
            wrong += !(fabs(distance_to_face(reference, (size_t)nearest[v], subject->positions[v]) - want)
                       <= 1e-12);
        }
        cr_expect(wrong == 0, "%s: %zu of %zu", names[change], wrong, subject->vertex_count);
    }
}

Test(deviation_cells, part_is_the_same_for_any_number_of_threads)
{
    for (enum change change = NOTHING; change < CHANGES; change++) {
        struct arena arena = pair_arena(3);
        struct mended mended = make_mended(&arena, change, 90, 60);
        struct deviation_settings settings = pair_settings();
        struct deviation first = {0};
        for (size_t threads = 1; threads <= 3; threads++) {
            settings.threads = threads;
            struct deviation found = pair_measure(&mended.meshes[0], &mended.meshes[1], &settings);
            if (threads == 1)
                first = found;
            cr_expect(memcmp(&first.hausdorff, &found.hausdorff, sizeof found.hausdorff) == 0, "%s",
                      names[change]);
            const struct one_sided_deviation *a[2] = {&first.subject_to_reference,
                                                      &first.reference_to_subject},
                                             *b[2] = {&found.subject_to_reference,
                                                      &found.reference_to_subject};
            for (int k = 0; k < 2; k++)
                cr_expect(
                    memcmp(&a[k]->max, &b[k]->max, sizeof a[k]->max) == 0
                        && memcmp(&a[k]->mean, &b[k]->mean, 6 * sizeof(double)) == 0
                        && memcmp(&a[k]->normal_angle.mean, &b[k]->normal_angle.mean, 3 * sizeof(double))
                               == 0,
                    "%s, %zu threads", names[change], threads);
        }
    }
}
