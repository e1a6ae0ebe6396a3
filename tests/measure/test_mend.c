/* test_mend.c
 *   same_*      meshes that differ in their listing alone
 *   filled_*    holes closed, with volumes known on paper
 *   replaced_*  faces exchanged inside an unchanged border
 *   shells_*    faces added and removed that hang on nothing
 *   borders_*   open edges that move, and regions that touch several
 *   odd_*       copies, flipped faces, loose corners, no face in common
 *   whole_*     sums over all regions, lists, threads, memory, cancellation
 */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <string.h>

#include "measure/deviation_pair.h"
#include "measure/mend.h"

static struct mend mend_threaded(const struct mesh *subject, const struct mesh *reference, size_t threads)
{
    struct arena inputs = pair_arena(0), keep = pair_arena(2);
    struct measure_input a, b;
    struct mend mend;
    struct error err = {.text = ""};

    cr_assert(measure_input_build_threaded(subject, MESH_SCAN, threads, NULL, &a, &inputs, &inputs,
                                           pair_arena(1), &err)
                  && measure_input_build_threaded(reference, MESH_SCAN, threads, NULL, &b, &inputs, &inputs,
                                                  pair_arena(1), &err)
                  && mend_build(&a, &b, 1e-4, NULL, &mend, &keep, pair_arena(1), &err),
              "%s", err.text);
    return mend;
}

/* Its regions live until the next call. */
static struct mend mend_of(const struct mesh *subject, const struct mesh *reference)
{
    return mend_threaded(subject, reference, 2);
}

/* The faces of a mesh for which keep_face says so, on the same vertices. */
static struct mesh without_faces(struct arena *arena, const struct mesh *mesh, const bool *drop)
{
    struct mesh left = fixture_room(arena, mesh->vertex_count, mesh->face_count, mesh_corner_count(mesh));

    memcpy(left.positions, mesh->positions, mesh->vertex_count * sizeof *mesh->positions);
    for (size_t f = 0; f < mesh->face_count; f++)
        if (!drop[f])
            fixture_add_face(&left, mesh_face(mesh, f), mesh_face_size(mesh, f));
    return left;
}

/* The mesh and more faces on its own vertices and `extra` others. */
static struct mesh with_faces(struct arena *arena, const struct mesh *mesh, const vec3 *extra,
                              size_t extra_count, const uint32_t (*triangles)[3], size_t triangle_count)
{
    struct mesh more =
        fixture_room(arena, mesh->vertex_count + extra_count, mesh->face_count + triangle_count,
                     mesh_corner_count(mesh) + 3 * triangle_count);

    memcpy(more.positions, mesh->positions, mesh->vertex_count * sizeof *mesh->positions);
    for (size_t i = 0; i < extra_count; i++)
        more.positions[mesh->vertex_count + i] = extra[i];
    for (size_t f = 0; f < mesh->face_count; f++)
        fixture_add_face(&more, mesh_face(mesh, f), mesh_face_size(mesh, f));
    for (size_t t = 0; t < triangle_count; t++)
        fixture_add_face(&more, triangles[t], 3);
    return more;
}

/* Vertices and faces in another order, and each face from another corner. */
static struct mesh shuffled(struct arena *arena, const struct mesh *mesh, uint64_t seed)
{
    struct mesh other = fixture_room(arena, mesh->vertex_count, mesh->face_count, mesh_corner_count(mesh));
    uint32_t *name = ARENA_NEW(arena, uint32_t, mesh->vertex_count),
             *order = ARENA_NEW(arena, uint32_t, mesh->face_count);

    cr_assert(name && order);
    for (size_t i = 0; i < mesh->vertex_count; i++)
        name[i] = (uint32_t)i;
    for (size_t i = 0; i < mesh->face_count; i++)
        order[i] = (uint32_t)i;
    for (size_t i = mesh->vertex_count; i-- > 1;) {
        size_t j = fixture_random_below(&seed, i + 1);
        uint32_t swap = name[i];
        name[i] = name[j];
        name[j] = swap;
    }
    for (size_t i = mesh->face_count; i-- > 1;) {
        size_t j = fixture_random_below(&seed, i + 1);
        uint32_t swap = order[i];
        order[i] = order[j];
        order[j] = swap;
    }
    for (size_t v = 0; v < mesh->vertex_count; v++)
        other.positions[name[v]] = mesh->positions[v];
    for (size_t i = 0; i < mesh->face_count; i++) {
        uint32_t corners[16];
        size_t size = mesh_face_size(mesh, order[i]), turn = fixture_random_below(&seed, size);
        cr_assert(size <= 16);
        for (size_t k = 0; k < size; k++)
            corners[k] = name[mesh_face(mesh, order[i])[(k + turn) % size]];
        fixture_add_face(&other, corners, size);
    }
    return other;
}

static void expect_unchanged(const struct mend *mend, size_t face_count, const char *name)
{
    cr_expect(mend->shared_faces == face_count && mend->added_faces == 0 && mend->removed_faces == 0,
              "%s: %zu", name, mend->shared_faces);
    cr_expect(mend->subject_share == 1 && mend->reference_share == 1, "%s", name);
    cr_expect(mend->region_total == 0 && mend->holes_filled == 0 && mend->filled_volume == 0, "%s", name);
}

Test(mend, same_mesh_in_any_listing_is_unchanged)
{
    struct arena *arena = fixture_arena();
    struct mesh torus = fixture_torus(arena, 30, 20, 2, 0.5), fanned = fixture_fanned(arena, &torus),
                cylinder = fixture_cylinder(arena, 12, 4, 1, true);
    const struct {
        const char *name;
        const struct mesh *mesh;
    } cases[] = {{"quads", &torus}, {"triangles", &fanned}, {"polygons", &cylinder}};

    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct mesh other = shuffled(arena, cases[i].mesh, 7 + i), soup = fixture_soup(arena, cases[i].mesh);
        struct mend mend = mend_of(cases[i].mesh, cases[i].mesh);
        expect_unchanged(&mend, cases[i].mesh->face_count, cases[i].name);
        cr_expect(mend.moves.defined && mend.moves.count == 0 && mend.moves.largest == 0);
        mend = mend_of(&other, cases[i].mesh);
        expect_unchanged(&mend, cases[i].mesh->face_count, cases[i].name);
        cr_expect(not(mend.moves.defined));
        cr_expect(eq(sz, mend.turned_faces, 0));
        mend = mend_of(&soup, cases[i].mesh);
        expect_unchanged(&mend, cases[i].mesh->face_count, cases[i].name);
    }
}

Test(mend, same_faces_turned_over_are_counted_and_are_no_change)
{
    struct arena *arena = fixture_arena();
    struct mesh torus = fixture_torus(arena, 30, 20, 2, 0.5), reversed = fixture_reversed(arena, &torus),
                some = fixture_moved(arena, &torus, 1, (vec3){0, 0, 0});
    struct mend mend = mend_of(&reversed, &torus);

    expect_unchanged(&mend, 600, "whole");
    cr_expect(eq(sz, mend.turned_faces, 600));
    cr_expect(lt(dbl, fabs(mend.volume_change), 1e-12), "both enclose the same");
    for (size_t f = 17; f < 23; f++) /* two corners of a quad exchanged: the cycle runs backwards */
        for (size_t k = 0; k < 2; k++) {
            uint32_t *face = some.face_vertices + 4 * f, swap = face[k];
            face[k] = face[3 - k];
            face[3 - k] = swap;
        }
    mend = mend_of(&some, &torus);
    expect_unchanged(&mend, 600, "some");
    cr_expect(eq(sz, mend.turned_faces, 6));
}

Test(mend, same_corners_joined_in_another_order_are_another_face)
{
    struct arena *arena = fixture_arena();
    const vec3 corners[] = {{0, 0, 0}, {1, 0, 0}, {1, 1, 0}, {0, 1, 0}, {0, 0, 1}};
    struct mesh quad = fixture_listed(arena, corners, 5, (uint32_t[]){4, 0, 1, 2, 3, 3, 0, 1, 4, 0}),
                crossed = fixture_listed(arena, corners, 5, (uint32_t[]){4, 0, 2, 1, 3, 3, 0, 1, 4, 0});
    struct mend mend = mend_of(&crossed, &quad);

    cr_expect(eq(sz, mend.shared_faces, 1));
    cr_expect(eq(sz, mend.added_faces, 1));
    cr_expect(eq(sz, mend.removed_faces, 1));
}

Test(mend, same_negative_zero_is_zero)
{
    struct arena *arena = fixture_arena();
    struct mesh grid = fixture_grid(arena, 3, 3), other = fixture_moved(arena, &grid, 1, (vec3){0, 0, 0});

    for (size_t v = 0; v < other.vertex_count; v++)
        other.positions[v].z = -0.0;
    struct mend mend = mend_of(&other, &grid);
    expect_unchanged(&mend, 9, "grid");
    cr_expect(mend.moves.defined && mend.moves.count == 0);
}

/* A cube of 6 quads from 0 to side, moved by shift; its last two faces are x = side and z = side. */
static struct mesh open_box(struct arena *arena, double side, vec3 shift, int faces)
{
    const vec3 p[] = {{0, 0, 0},    {side, 0, 0},    {side, side, 0},    {0, side, 0},
                      {0, 0, side}, {side, 0, side}, {side, side, side}, {0, side, side}};
    vec3 moved[8];
    const uint32_t all[] = {4, 0, 3, 2, 1, 4, 0, 1, 5, 4, 4, 2, 3, 7, 6, 4,
                            3, 0, 4, 7, 4, 1, 2, 6, 5, 4, 4, 5, 6, 7, 0};
    uint32_t listed[31];

    for (size_t i = 0; i < 8; i++)
        moved[i] = vec3_add(p[i], shift);
    memcpy(listed, all, sizeof all);
    listed[5 * faces] = 0;
    return fixture_listed(arena, moved, 8, listed);
}

static void expect_close(double value, double want, double error, const char *name)
{
    cr_expect(fabs(value - want) <= error, "%s: %.17g, not %.17g", name, value, want);
}

Test(mend, filled_hole_has_the_volume_above_the_cone_of_its_rim)
{
    struct arena *arena = fixture_arena();
    /* the lid of a box of side 2: flat; a pyramid of height 3 on it; one into it, of depth 1; far away; all
     * inward */
    const struct {
        const char *name;
        double height;
        vec3 shift;
        bool inward;
    } cases[] = {{"flat", 0, {0, 0, 0}, false},
                 {"outward", 3, {0, 0, 0}, false},
                 {"dented", -1, {0, 0, 0}, false},
                 {"far", 3, {0x1p30, -0x1p30, 0x1p31}, false},
                 {"inward", 3, {0, 0, 0}, true}};
    const uint32_t sides[4][3] = {{4, 5, 8}, {5, 6, 8}, {6, 7, 8}, {7, 4, 8}};

    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        const vec3 tip = vec3_add((vec3){1, 1, 2 + cases[i].height}, cases[i].shift);
        struct mesh raw = open_box(arena, 2, cases[i].shift, 5),
                    mended = with_faces(arena, &raw, &tip, 1, sides, 4);
        if (cases[i].inward) {
            raw = fixture_reversed(arena, &raw);
            mended = fixture_reversed(arena, &mended);
        }
        struct mend mend = mend_of(&mended, &raw);
        const struct mend_region *region = &mend.regions[0];
        double height = cases[i].height, area = 4 * sqrt(1 + height * height);
        cr_assert(mend.region_total == 1 && mend.holes_filled == 1, "%s: %zu", cases[i].name,
                  mend.region_total);
        cr_expect(region->kind == MEND_FILLED && region->holes_filled == 1, "%s", cases[i].name);
        cr_expect(region->open_edges_gone == 4 && region->open_edges_new == 0, "%s", cases[i].name);
        cr_expect(region->added_faces == 4 && region->removed_faces == 0, "%s", cases[i].name);
        expect_close(region->volume, 4 * height / 3, 1e-14, cases[i].name);
        expect_close(mend.filled_volume, 4 * height / 3, 1e-14, cases[i].name);
        expect_close(region->added_area, area, 1e-13, cases[i].name);
        expect_close(region->outline, 8, 1e-14, cases[i].name);
        expect_close(vec3_distance(region->centre, vec3_add((vec3){1, 1, 2 + height / 3}, cases[i].shift)), 0,
                     i == 3 ? 1e-6 : 1e-14, cases[i].name);
        cr_expect(region->first_added == 5 && region->first_removed == MEASURE_UNDEFINED, "%s",
                  cases[i].name);
        cr_expect(isnan(mend.volume_change), "%s: the raw box is open", cases[i].name);
        expect_close(mend.reference_share, 1, 0, cases[i].name);
        expect_close(mend.subject_share, 20 / (20 + area), 1e-15, cases[i].name);
    }
}

Test(mend, filled_hole_does_not_depend_on_numbering)
{
    struct arena *arena = fixture_arena();
    struct mesh sphere = fixture_uv_sphere(arena, 24, 12), whole = fixture_fanned(arena, &sphere);
    bool *drop = ARENA_ZERO(arena, bool, whole.face_count);
    double first = 0;

    cr_assert(drop != NULL);
    for (size_t f = 0; f < whole.face_count; f++)
        for (size_t k = 0; k < 3; k++)
            drop[f] = drop[f] || whole.positions[mesh_face(&whole, f)[k]].z > 0.8;
    struct mesh raw = without_faces(arena, &whole, drop);
    for (uint64_t seed = 1; seed < 6; seed++) {
        struct mesh a = shuffled(arena, &whole, seed), b = shuffled(arena, &raw, seed + 100);
        struct mend mend = mend_of(&a, &b);
        cr_assert(eq(sz, mend.region_total, 1));
        cr_assert(mend.regions[0].kind == MEND_FILLED && mend.holes_filled == 1);
        first = seed == 1 ? mend.regions[0].volume : first;
        cr_expect(gt(dbl, mend.regions[0].volume, 0.05), "a cap");
        expect_close(mend.regions[0].volume, first, 1e-14, "seed");
    }
}

Test(mend, filled_hole_with_its_rim_trimmed_is_one_region)
{
    struct arena *arena = fixture_arena();
    /* 3 x 3 squares; the raw scan lacks the middle and the mend replaces the ring of eight by one fan of 12
     */
    struct mesh grid = fixture_grid(arena, 5, 5);
    bool middle[25] = {false}, ring[25] = {false};
    const vec3 tip = {2.5, 2.5, 1};
    const uint32_t rim[] = {7, 8, 9, 10, 16, 22, 28, 27, 26, 25, 19, 13};
    uint32_t fan[12][3];

    for (size_t f = 0; f < 25; f++) {
        ring[f] = f / 5 >= 1 && f / 5 <= 3 && f % 5 >= 1 && f % 5 <= 3;
        middle[f] = f == 12;
    }
    for (uint32_t i = 0; i < 12; i++)
        memcpy(fan[i], (uint32_t[]){rim[i], rim[(i + 1) % 12], 36}, sizeof fan[i]);
    struct mesh raw = without_faces(arena, &grid, middle), trimmed = without_faces(arena, &grid, ring),
                mended = with_faces(arena, &trimmed, &tip, 1, fan, 12);
    struct mend mend = mend_of(&mended, &raw);
    const struct mend_region *region = &mend.regions[0];
    cr_assert(eq(sz, mend.region_total, 1));
    cr_expect(eq(sz, mend.shared_faces, 16));
    cr_expect(region->kind == MEND_FILLED && region->added_faces == 12 && region->removed_faces == 8);
    cr_expect(region->open_edges_gone == 4 && region->open_edges_new == 0 && region->holes_filled == 1);
    expect_close(region->volume, 3, 1e-14, "a pyramid over 9 squares, of height 1");
    expect_close(region->removed_area, 8, 1e-14, "ring");
    expect_close(region->outline, 12, 1e-14, "outline");
}

Test(mend, filled_two_holes_by_one_patch)
{
    struct arena *arena = fixture_arena();
    /* the box lacks its floor z = 0 and its lid: a tunnel's walls join both holes */
    struct mesh cube = open_box(arena, 3, (vec3){0, 0, 0}, 6);
    bool drop[6] = {true, false, false, false, false, true};
    struct mesh raw = without_faces(arena, &cube, drop);
    const vec3 inner[] = {{1, 1, 0}, {2, 1, 0}, {2, 2, 0}, {1, 2, 0},
                          {1, 1, 3}, {2, 1, 3}, {2, 2, 3}, {1, 2, 3}};
    uint32_t patch[24][3];
    size_t count = 0;

    for (uint32_t i = 0; i < 4; i++) {
        uint32_t j = (i + 1) % 4, o = i, p = j, a = 8 + i, b = 8 + j;
        memcpy(patch[count++], (uint32_t[]){o, a, p}, sizeof *patch); /* floor, seen from below */
        memcpy(patch[count++], (uint32_t[]){p, a, b}, sizeof *patch);
        memcpy(patch[count++], (uint32_t[]){o + 4, p + 4, a + 4}, sizeof *patch); /* lid */
        memcpy(patch[count++], (uint32_t[]){p + 4, b + 4, a + 4}, sizeof *patch);
        memcpy(patch[count++], (uint32_t[]){a, a + 4, b}, sizeof *patch); /* wall, seen from the axis */
        memcpy(patch[count++], (uint32_t[]){b, a + 4, b + 4}, sizeof *patch);
    }
    struct mesh mended = with_faces(arena, &raw, inner, 8, (const uint32_t(*)[3])patch, count);
    struct mend mend = mend_of(&mended, &raw);
    cr_assert(eq(sz, mend.region_total, 1));
    cr_expect(mend.regions[0].kind == MEND_FILLED && mend.holes_filled == 2);
    cr_expect(eq(sz, mend.regions[0].open_edges_gone, 8));
    expect_close(mend.regions[0].volume, -3, 1e-13, "the tunnel of 1 x 1 x 3 takes from the closed box");
}

Test(mend, filled_by_a_patch_turned_over_has_no_volume)
{
    struct arena *arena = fixture_arena();
    struct mesh raw = open_box(arena, 2, (vec3){0, 0, 0}, 5);
    const vec3 tip = {1, 1, 3};
    const uint32_t sides[4][3] = {{5, 4, 8}, {6, 5, 8}, {7, 6, 8}, {4, 7, 8}};
    struct mesh mended = with_faces(arena, &raw, &tip, 1, sides, 4);
    struct mend mend = mend_of(&mended, &raw);

    cr_assert(eq(sz, mend.region_total, 1));
    cr_expect(mend.regions[0].kind == MEND_FILLED);
    cr_expect(isnan(mend.regions[0].volume) && isnan(mend.filled_volume));
}

Test(mend, filled_and_the_whole_file_turned_over_keeps_the_sign)
{
    struct arena *arena = fixture_arena();
    struct mesh raw = open_box(arena, 2, (vec3){0, 0, 0}, 5);
    const vec3 tip = {1, 1, 3};
    const uint32_t sides[4][3] = {{4, 5, 8}, {5, 6, 8}, {6, 7, 8}, {7, 4, 8}};
    struct mesh filled = with_faces(arena, &raw, &tip, 1, sides, 4),
                mended = fixture_reversed(arena, &filled);
    struct mend mend = mend_of(&mended, &raw);

    cr_assert(eq(sz, mend.region_total, 1));
    cr_expect(eq(sz, mend.turned_faces, 5));
    expect_close(mend.regions[0].volume, 4.0 / 3, 1e-14, "pyramid");
}

Test(mend, replaced_faces_around_a_moved_vertex)
{
    struct arena *arena = fixture_arena();
    struct mesh flat = fixture_grid(arena, 6, 6), raw = fixture_fanned(arena, &flat),
                mended = fixture_moved(arena, &raw, 1, (vec3){0, 0, 0});

    mended.positions[24].z = 0.75; /* column 3, row 3 of 7: six triangles around it, of area 3 */
    struct mend mend = mend_of(&mended, &raw);
    const struct mend_region *region = &mend.regions[0];
    cr_assert(eq(sz, mend.region_total, 1));
    cr_expect(region->kind == MEND_REPLACED && region->added_faces == 6 && region->removed_faces == 6);
    cr_expect(region->open_edges_gone == 0 && region->open_edges_new == 0);
    expect_close(region->volume, 0.75, 1e-15, "a pyramid of height 0.75 over an area of 3");
    expect_close(region->removed_area, 3, 1e-15, "area");
    expect_close(region->outline, 4 + 2 * sqrt(2), 1e-14, "outline");
    cr_expect(mend.moves.defined && mend.moves.count == 1 && mend.moves.vertex == 24);
    cr_expect(eq(dbl, mend.moves.largest, 0.75));
    /* the tip is nearest to the flat faces below it */
    expect_interval(region->move.distance, 0.75, 0, 1.1e-4, "move");
    expect_close(vec3_distance(region->move.at, (vec3){3, 3, 0.75}), 0, 1e-4, "tip");
    cr_expect(mend.largest_move.distance.upper == region->move.distance.upper);
    cr_expect(mend.holes_filled == 0 && mend.by_kind[MEND_REPLACED] == 1);
}

Test(mend, replaced_cut_of_the_same_flat_place_has_no_volume)
{
    struct arena *arena = fixture_arena();
    struct mesh raw = fixture_grid(arena, 5, 5);
    bool drop[25] = {[7] = true, [12] = true};
    struct mesh left = without_faces(arena, &raw, drop);
    const uint32_t cut[4][3] = {{8, 9, 14}, {9, 15, 14}, {14, 15, 20}, {15, 21, 20}};
    struct mesh mended = with_faces(arena, &left, NULL, 0, cut, 4);
    struct mend mend = mend_of(&mended, &raw);

    cr_assert(eq(sz, mend.region_total, 1));
    cr_expect(mend.regions[0].kind == MEND_REPLACED && mend.regions[0].added_faces == 4);
    cr_expect(eq(dbl, mend.regions[0].volume, 0));
    cr_expect(eq(dbl, mend.regions[0].added_area, mend.regions[0].removed_area));
    expect_interval(mend.regions[0].move.distance, 0, 0, 1.1e-4, "move");
}

Test(mend, shells_added_and_removed_have_their_own_volume)
{
    struct arena *arena = fixture_arena();
    struct mesh torus = fixture_torus(arena, 20, 12, 5, 1), body = fixture_fanned(arena, &torus),
                stray = open_box(arena, 0.5, (vec3){9, 0, 0}, 6),
                fresh = open_box(arena, 0.25, (vec3){0, 9, 0}, 6), raw = fixture_joined(arena, &body, &stray),
                mended = fixture_joined(arena, &body, &fresh);
    struct mend mend = mend_of(&mended, &raw);

    cr_assert(eq(sz, mend.region_total, 2));
    cr_expect(mend.regions[0].kind == MEND_REMOVED && mend.regions[0].removed_faces == 6, "most area first");
    expect_close(mend.regions[0].volume, -0.125, 1e-15, "stray");
    cr_expect(mend.regions[0].outline == 0 && mend.regions[0].open_edges_new == 0);
    cr_expect(mend.regions[1].kind == MEND_ADDED && mend.regions[1].added_faces == 6);
    expect_close(mend.regions[1].volume, 0.015625, 1e-15, "fresh");
    expect_close(vec3_distance(mend.regions[0].centre, (vec3){9.25, 0.25, 0.25}), 0, 1e-14, "centre");
    cr_expect(eq(dbl, mend.regions[1].bounds.min.y, 9));
    expect_close(mend.volume_change, 0.015625 - 0.125, 1e-12, "both are closed");
    cr_expect(isnan(mend.regions[0].move.distance.upper) && isnan(mend.largest_move.distance.upper));
    cr_expect(mend.holes_filled == 0 && mend.holes_opened == 0);
}

Test(mend, shells_removed_that_were_open_close_no_hole)
{
    struct arena *arena = fixture_arena();
    struct mesh torus = fixture_torus(arena, 20, 12, 5, 1), stray = open_box(arena, 0.5, (vec3){9, 0, 0}, 5),
                raw = fixture_joined(arena, &torus, &stray);
    struct mend mend = mend_of(&torus, &raw);

    cr_assert(eq(sz, mend.region_total, 1));
    cr_expect(mend.regions[0].kind == MEND_REMOVED && mend.regions[0].open_edges_gone == 4);
    cr_expect(mend.holes_filled == 0 && mend.holes_opened == 0);
    expect_close(mend.regions[0].volume, -0.125, 1e-15, "closed by the cone of its rim");
    mend = mend_of(&raw, &torus);
    cr_expect(mend.by_kind[MEND_ADDED] == 1 && mend.holes_opened == 0);
}

Test(mend, borders_opened_by_removing_faces)
{
    struct arena *arena = fixture_arena();
    struct mesh box = open_box(arena, 2, (vec3){0, 0, 0}, 6), open = open_box(arena, 2, (vec3){0, 0, 0}, 5);
    struct mend mend = mend_of(&open, &box);

    cr_assert(eq(sz, mend.region_total, 1));
    cr_expect(mend.regions[0].kind == MEND_REMOVED && mend.holes_opened == 1);
    cr_expect(mend.regions[0].open_edges_new == 4 && mend.regions[0].volume == 0);
    cr_expect(isnan(mend.volume_change));
}

Test(mend, borders_of_a_hole_closed_in_part)
{
    struct arena *arena = fixture_arena();
    struct mesh raw = open_box(arena, 2, (vec3){0, 0, 0}, 5);
    const uint32_t half[1][3] = {{4, 5, 6}};
    struct mesh mended = with_faces(arena, &raw, NULL, 0, half, 1);
    struct mend mend = mend_of(&mended, &raw);

    cr_assert(eq(sz, mend.region_total, 1));
    cr_expect(mend.regions[0].kind == MEND_EXTENDED && mend.holes_filled == 0);
    cr_expect(mend.regions[0].open_edges_gone == 2 && mend.regions[0].open_edges_new == 1);
    cr_expect(eq(dbl, mend.regions[0].volume, 0));
}

Test(mend, borders_moved_are_replaced)
{
    struct arena *arena = fixture_arena();
    struct mesh raw = fixture_grid(arena, 4, 4), mended = fixture_moved(arena, &raw, 1, (vec3){0, 0, 0});

    mended.positions[2].y = -0.5; /* on the open side y = 0 */
    struct mend mend = mend_of(&mended, &raw);
    cr_assert(eq(sz, mend.region_total, 1));
    cr_expect(mend.regions[0].kind == MEND_REPLACED && mend.regions[0].added_faces == 2);
    cr_expect(mend.regions[0].open_edges_gone == 2 && mend.regions[0].open_edges_new == 2);
    cr_expect(mend.holes_filled == 0 && mend.holes_opened == 0 && mend.regions[0].volume == 0);
}

Test(mend, borders_of_holes_that_touch_at_a_vertex_are_filled_apart)
{
    struct arena *arena = fixture_arena();
    struct mesh grid = fixture_grid(arena, 4, 4);
    bool drop[16] = {[5] = true, [10] = true};
    struct mesh raw = without_faces(arena, &grid, drop);
    struct mend mend = mend_of(&grid, &raw);

    cr_assert(eq(sz, mend.region_total, 2));
    cr_expect(mend.by_kind[MEND_FILLED] == 2 && mend.holes_filled == 2 && mend.filled_volume == 0);
}

Test(mend, odd_copies_count_one_by_one)
{
    struct arena *arena = fixture_arena();
    struct mesh grid = fixture_grid(arena, 3, 3);
    const uint32_t copies[5][3] = {{0, 1, 5}, {1, 5, 0}, {5, 1, 0}, {0, 1, 5}, {0, 5, 1}};
    struct mesh five = with_faces(arena, &grid, NULL, 0, copies, 5),
                two = with_faces(arena, &grid, NULL, 0, copies + 2, 2);
    struct mend mend = mend_of(&two, &five);

    cr_expect(eq(sz, mend.shared_faces, 11));
    cr_expect(eq(sz, mend.turned_faces, 0), "each finds one of its own direction");
    cr_expect(eq(sz, mend.removed_faces, 3));
    mend = mend_of(&five, &two);
    cr_expect(mend.shared_faces == 11 && mend.added_faces == 3 && mend.turned_faces == 0);
}

Test(mend, odd_copies_by_the_thousand_are_quick)
{
    struct arena *arena = fixture_arena();
    const vec3 corners[] = {{0, 0, 0}, {1, 0, 0}, {0, 1, 0}};
    struct mesh many = fixture_room(arena, 3, 60000, 180000), more = fixture_room(arena, 3, 70000, 210000);

    memcpy(many.positions, corners, sizeof corners);
    memcpy(more.positions, corners, sizeof corners);
    for (size_t i = 0; i < 60000; i++)
        fixture_add_triangle(&many, i % 3, (i + 1) % 3, (i + 2) % 3);
    for (size_t i = 0; i < 70000; i++)
        fixture_add_triangle(&more, i % 2, (i + 1) % 2, 2);
    struct mend mend = mend_of(&more, &many);
    cr_expect(eq(sz, mend.shared_faces, 60000));
    cr_expect(eq(sz, mend.turned_faces, 25000), "35000 in the same direction are taken first");
    cr_expect(eq(sz, mend.added_faces, 10000));
}

Test(mend, odd_repeated_corners_and_polygons_do_not_confuse)
{
    struct arena *arena = fixture_arena();
    const vec3 p[] = {{0, 0, 0}, {1, 0, 0}, {1, 1, 0}, {0, 1, 0}};
    /* periodic outlines, a needle, a point */
    struct mesh a = fixture_listed(
                    arena, p, 4, (uint32_t[]){6, 0, 1, 0, 1, 0, 2, 3, 1, 1, 2, 3, 3, 3, 3, 4, 0, 1, 2, 3, 0}),
                b = fixture_listed(
                    arena, p, 4, (uint32_t[]){3, 3, 3, 3, 6, 0, 1, 0, 2, 0, 1, 4, 3, 0, 1, 2, 3, 2, 1, 1, 0});
    struct mend mend = mend_of(&a, &b);

    expect_unchanged(&mend, 4, "periodic");
    cr_expect(eq(sz, mend.turned_faces, 0));
}

Test(mend, odd_nothing_in_common_lists_no_region)
{
    struct arena *arena = fixture_arena();
    struct mesh sphere = fixture_cubed_sphere(arena, 6),
                other = fixture_moved(arena, &sphere, 1.5, (vec3){0, 0, 0});
    struct mend mend = mend_of(&other, &sphere);

    cr_expect(mend.shared_faces == 0 && mend.subject_share == 0 && mend.reference_share == 0);
    cr_expect(mend.region_total == 0 && mend.holes_filled == MEASURE_UNDEFINED);
    cr_expect(mend.by_kind[MEND_ADDED] == MEASURE_UNDEFINED && isnan(mend.filled_volume));
    cr_expect(mend.moves.defined && mend.moves.count == sphere.vertex_count, "the numbering still tells");
    expect_close(mend.moves.largest, 0.5, 1e-15, "radius 1 to 1.5");
    cr_expect(gt(dbl, mend.volume_change, 0));
}

Test(mend, odd_single_face_in_common_among_thousands_is_found)
{
    struct arena *arena = fixture_arena();
    const vec3 corners[] = {{9, 9, 9}, {10, 9, 9}, {9, 10, 9}};
    struct mesh sphere = fixture_cubed_sphere(arena, 60),
                other = fixture_moved(arena, &sphere, 1.5, (vec3){0, 0, 0});
    uint32_t n = (uint32_t)sphere.vertex_count;
    const uint32_t before[1][3] = {{n, n + 1, n + 2}}, after[1][3] = {{n + 1, n, n + 2}};
    struct mesh raw = with_faces(arena, &sphere, corners, 3, before, 1),
                mended = with_faces(arena, &other, corners, 3, after, 1);
    struct mend mend = mend_of(&mended, &raw);

    cr_expect(eq(sz, mend.shared_faces, 1));
    cr_expect(eq(sz, mend.turned_faces, 1));
    expect_close(mend.shared_area, 0.5, 1e-15, "half a square");
}

Test(mend, odd_positions_in_common_alone_share_no_face)
{
    struct arena *arena = fixture_arena();
    const vec3 p[] = {{0, 0, 0}, {1, 0, 0}, {1, 1, 0}, {0, 1, 0}};
    struct mesh a = fixture_listed(arena, p, 4, (uint32_t[]){3, 0, 1, 2, 3, 0, 2, 3, 0}),
                b = fixture_listed(arena, p, 4, (uint32_t[]){3, 0, 1, 3, 3, 1, 2, 3, 0});
    struct mend mend = mend_of(&b, &a);

    cr_expect(eq(sz, mend.shared_faces, 0));
    cr_expect(eq(sz, mend.added_faces, 2));
    expect_close(mend.added_area, 1, 1e-15, "a square");
}

Test(mend, odd_fin_on_a_closed_edge_is_added)
{
    struct arena *arena = fixture_arena();
    struct mesh raw = open_box(arena, 2, (vec3){0, 0, 0}, 6);
    const vec3 tip = {3, 3, 3};
    const uint32_t fin[1][3] = {{5, 6, 8}};
    struct mesh mended = with_faces(arena, &raw, &tip, 1, fin, 1);
    struct mend mend = mend_of(&mended, &raw);

    cr_assert(eq(sz, mend.region_total, 1));
    cr_expect(mend.regions[0].kind == MEND_ADDED && mend.regions[0].open_edges_new == 2);
    cr_expect(mend.regions[0].volume == 0 && mend.holes_opened == 0);
    expect_close(mend.regions[0].outline, 2, 0, "one edge");
}

/* Many places of a closed mesh moved at once: what it encloses changes by the sum over the regions. */
Test(mend, whole_volume_change_is_the_sum_over_regions)
{
    struct arena *arena = fixture_arena();
    uint64_t seed = 5;

    for (int round = 0; round < 20; round++) {
        struct arena here = *arena;
        struct mesh sphere = fixture_cubed_sphere(&here, 12),
                    raw = round % 2 ? sphere : fixture_fanned(&here, &sphere),
                    mended = fixture_moved(&here, &raw, 1, (vec3){0, 0, 0});
        for (size_t i = 0; i < 40; i++) {
            vec3 *p = &mended.positions[fixture_random_below(&seed, mended.vertex_count)];
            *p = vec3_scale(*p, 0.9 + 0.2 * fixture_random_unit(&seed));
        }
        mended = round % 3 ? mended : shuffled(&here, &mended, seed);
        mended = round % 4 < 2 ? mended : fixture_reversed(&here, &mended);
        struct mend mend = mend_of(&mended, &raw);
        double sum = 0;
        cr_assert(gt(sz, mend.region_total, 5));
        for (size_t i = 0; i < mend.region_count; i++) {
            cr_expect(mend.regions[i].kind == MEND_REPLACED, "round %d", round);
            sum += mend.regions[i].volume;
        }
        expect_close(sum, mend.volume_change, 1e-13, "sum");
    }
}

Test(mend, whole_list_keeps_the_largest_thousand)
{
    struct arena *arena = fixture_arena();
    struct mesh flat = fixture_grid(arena, 120, 120);
    bool *drop = ARENA_ZERO(arena, bool, 14400);

    cr_assert(drop != NULL);
    for (size_t f = 0; f < 14400; f++)
        drop[f] = f / 120 % 3 == 1 && f % 120 % 3 == 1;
    struct mesh raw = without_faces(arena, &flat, drop);
    struct mend mend = mend_of(&flat, &raw);
    cr_expect(mend.region_total == 1600 && mend.region_count == 1000);
    cr_expect(mend.by_kind[MEND_FILLED] == 1600 && mend.holes_filled == 1600);
}

Test(mend, whole_is_the_same_for_any_number_of_threads)
{
    struct arena *arena = fixture_arena();
    struct mesh torus = fixture_torus(arena, 300, 120, 2, 0.5), raw = fixture_fanned(arena, &torus),
                mended = fixture_moved(arena, &raw, 1, (vec3){0, 0, 0});
    uint64_t seed = 3;

    for (size_t i = 0; i < 300; i++)
        mended.positions[fixture_random_below(&seed, mended.vertex_count)].z += 0.01;
    mended = shuffled(arena, &mended, 9);
    struct mend one = mend_threaded(&mended, &raw, 1);
    struct mend_region regions[1000];
    cr_assert(one.region_count <= 1000);
    memcpy(regions, one.regions, one.region_count * sizeof *regions);
    for (size_t threads = 2; threads < 8; threads += 3) {
        struct mend other = mend_threaded(&mended, &raw, threads);
        cr_assert(other.region_count == one.region_count && other.shared_faces == one.shared_faces);
        cr_expect(memcmp(&other.added_area, &one.added_area, sizeof one.added_area) == 0);
        for (size_t i = 0; i < one.region_count; i++) {
            cr_expect(memcmp(&other.regions[i].volume, &regions[i].volume, sizeof regions[i].volume) == 0);
            cr_expect(memcmp(&other.regions[i].centre, &regions[i].centre, sizeof regions[i].centre) == 0);
            cr_expect(other.regions[i].first_added == regions[i].first_added);
        }
    }
}

static bool refuse(void *context, const char *stage, double fraction)
{
    (void)context;
    return !(strcmp(stage, "mend") == 0 && fraction > 0.5);
}

Test(mend, whole_ends_with_an_error_where_memory_or_patience_does)
{
    struct arena inputs = pair_arena(0), shapes = pair_arena(4);
    struct mesh flat = fixture_grid(&shapes, 40, 40),
                mended = fixture_moved(&shapes, &flat, 1, (vec3){0, 0, 0});
    struct measure_input a, b;
    struct error err = {.text = ""};
    struct mend mend;
    bool ok = false;
    size_t refused = 0;

    mended.positions[900].z = 1;
    cr_assert(measure_input_build(&mended, MESH_SCAN, NULL, &a, &inputs, pair_arena(1), &err)
              && measure_input_build(&flat, MESH_SCAN, NULL, &b, &inputs, pair_arena(1), &err));
    for (size_t bytes = 64; !ok; bytes += bytes / 4) {
        struct arena scratch, keep = pair_arena(2), whole = pair_arena(1);
        cr_assert(arena_split(&whole, bytes, &scratch));
        ok = mend_build(&a, &b, 1e-4, NULL, &mend, &keep, scratch, &err);
        refused += !ok;
        cr_expect(ok || err.code == ERROR_LIMIT);
    }
    cr_expect(gt(sz, refused, 10));
    struct arena keep = pair_arena(2);
    struct progress progress = {refuse, NULL};
    cr_expect(not(mend_build(&a, &b, 1e-4, &progress, &mend, &keep, pair_arena(1), &err)));
    cr_expect(err.code == ERROR_CANCELLED);
}
