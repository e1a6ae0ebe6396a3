/* test_places.c - where two surfaces are far from each other, as places.
 *   level_*    what is far
 *   field_*    made-up distances on grids: which faces are one place, and what is told of it
 *   pair_*     two meshes measured: the defect that was put in is found, where it was put, and nothing else
 *   severity_* tolerances, certainty, words
 */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <string.h>

#include "measure/deviation_pair.h"
#include "measure/face_geometry.h"
#include "measure/places.h"
#include "support/fixture_measured.h"

/* ---- level ---- */

static double level_of(double tolerance, double median, double p95, double edge)
{
    struct deviation_settings settings = pair_settings();
    struct one_sided_deviation deviation = {.median = median, .p95 = p95};
    if (tolerance > 0) {
        settings.tolerance_count = 2;
        settings.tolerances[0] = tolerance;
        settings.tolerances[1] = 2 * tolerance;
    }
    return places_level(&settings, &deviation, edge, 100);
}

Test(places, level_is_the_smallest_tolerance_or_follows_the_field)
{
    const struct {
        const char *name;
        double tolerance, median, p95, edge, level;
    } cases[] = {
        {"the smallest tolerance", 0.125, 1, 4, 1, 0.125},
        {"a quarter of an edge", 0, 0, 0, 1, 0.25},
        {"twelve medians", 0, 0.125, 0.5, 1, 1.5},
        {"a fiftieth of the diagonal", 0, 1, 1.5, 1, 2},
        {"95 % where more than half is off", 0, 10, 30, 1, 30},
        {"the width of the interval", 0, 0, 0, 0.001, 0.01},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++)
        cr_expect(epsilon_eq(dbl, level_of(cases[i].tolerance, cases[i].median, cases[i].p95, cases[i].edge),
                             cases[i].level, 1e-15),
                  "%s", cases[i].name);
}

/* ---- made-up fields ---- */

/* A mesh of which every face's distance can be set. */
struct field {
    const struct measured *measured;
    struct face_distances distances;
    struct place_request request;
    struct arena keep, scratch;
};

static struct field field_on(struct mesh mesh)
{
    struct arena *arena = fixture_arena_of((size_t)64 << 20);
    struct field field = {.measured = fixture_measured(mesh), .request = {.level = 1, .gap = 0}};
    size_t count = mesh.face_count;
    field.distances = (struct face_distances){.count = count,
                                              .mesh = &field.measured->mesh,
                                              .lower = ARENA_ZERO(arena, float, count),
                                              .upper = ARENA_ZERO(arena, float, count),
                                              .peak = ARENA_ZERO(arena, float, count),
                                              .at = ARENA_ZERO(arena, uint32_t, count),
                                              .points = ARENA_ZERO(arena, vec3, count)};
    cr_assert(arena_split(arena, (size_t)16 << 20, &field.keep));
    cr_assert(arena_split(arena, (size_t)16 << 20, &field.scratch));
    return field;
}

static vec3 middle_of(const struct mesh *mesh, size_t f)
{
    vec3 sum = {0, 0, 0};
    for (size_t c = 0; c < mesh_face_size(mesh, f); c++)
        sum = vec3_add(sum, mesh->positions[mesh_face(mesh, f)[c]]);
    return vec3_scale(sum, 1.0 / (double)mesh_face_size(mesh, f));
}

static void set(struct field *field, size_t f, double peak)
{
    field->distances.lower[f] = (float)(peak / 2);
    field->distances.upper[f] = (float)(peak * 1.5);
    field->distances.peak[f] = (float)peak;
    field->distances.at[f] = FACE_AT_POINT + (uint32_t)f;
    field->distances.points[f] = middle_of(&field->measured->mesh, f);
}

static struct place_list find(struct field *field)
{
    struct place_list list;
    struct error err;
    cr_assert(places_find(&field->measured->input, &field->distances, &field->request, &list, &field->keep,
                          field->scratch, &err));
    return list;
}

/* Face (x, y) of fixture_grid(n, m). */
static size_t square(size_t n, size_t x, size_t y)
{
    return y * n + x;
}

Test(places, field_of_one_cone_is_one_place_with_its_size_peak_and_faces)
{
    struct field field = field_on(fixture_grid(fixture_arena(), 21, 21));
    const vec3 tip = {10.5, 10.5, 0};
    for (size_t f = 0; f < 441; f++)
        set(&field, f, fmax(0, 4 - vec3_distance(middle_of(&field.measured->mesh, f), tip)));
    struct place_list list = find(&field);
    /* the middles at integer offsets with x^2 + y^2 < 3.5^2 = 12.25: 37 of them */
    cr_assert(eq(sz, list.count, 1));
    cr_expect(eq(sz, list.total, 1));
    const struct place *place = &list.places[0];
    cr_expect(eq(dbl, place->lower, 4));
    cr_expect(eq(dbl, place->upper, 6));
    cr_expect(eq(dbl, list.peaks[0], 4));
    cr_expect(eq(sz, place->faces_total, 37));
    cr_expect(epsilon_eq(dbl, place->area, 37, 1e-12));
    cr_expect(eq(dbl, place->at.x, 10.5));
    cr_expect(eq(dbl, place->at.y, 10.5));
    cr_expect(eq(sz, place->faces[0], square(21, 10, 10)));
    cr_expect(epsilon_eq(dbl, place->nearest, (4 - sqrt(10)) / 2, 1e-6)); /* the farthest face: (3, 1) */
    cr_expect(epsilon_eq(dbl, place->radius, sqrt(3.5 * 3.5 + 1.5 * 1.5), 1e-12));
    cr_expect(not(place->is_shell));
    cr_expect(list.scores[0] > 0 && list.scores[0] <= 1);
}

Test(places, field_above_half_the_level_joins_what_is_above_it)
{
    const struct {
        const char *name;
        double between;
        size_t places, faces;
    } cases[] = {{"above half", 0.75, 1, 5}, {"below half", 0.4, 2, 1}};
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct field field = field_on(fixture_grid(fixture_arena(), 9, 1));
        for (size_t x = 2; x < 7; x++)
            set(&field, x, x == 2 || x == 6 ? 2 : cases[i].between);
        struct place_list list = find(&field);
        cr_expect(eq(sz, list.total, cases[i].places), "%s", cases[i].name);
        cr_expect(eq(sz, list.places[0].faces_total, cases[i].faces), "%s", cases[i].name);
    }
}

Test(places, field_below_the_level_is_no_place)
{
    uint64_t state = 7;
    struct field field = field_on(fixture_grid(fixture_arena(), 50, 50));
    for (size_t f = 0; f < 2500; f++)
        set(&field, f, fixture_random_unit(&state));
    cr_expect(eq(sz, find(&field).total, 0));
    set(&field, 1234, 1.01);
    struct place_list list = find(&field);
    cr_expect(eq(sz, list.total, 1));
    cr_expect(epsilon_eq(dbl, list.places[0].lower, 1.01, 1e-6)); /* kept as a float */
}

Test(places, field_across_a_gap_is_one_place_up_to_its_length)
{
    const struct {
        double gap;
        size_t places;
    } cases[] = {{0, 2}, {2.9, 2}, {3, 1}, {100, 1}};
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct field field = field_on(fixture_grid(fixture_arena(), 12, 4));
        set(&field, square(12, 2, 1), 2);
        set(&field, square(12, 6, 2), 3); /* from (3, 2) to (6, 2): three edges */
        field.request.gap = cases[i].gap;
        struct place_list list = find(&field);
        cr_expect(eq(sz, list.total, cases[i].places), "gap %g", cases[i].gap);
        cr_expect(eq(dbl, list.places[0].lower, 3), "gap %g", cases[i].gap);
        cr_expect(eq(sz, list.places[0].faces_total, cases[i].places == 1 ? 2 : 1));
    }
}

/* A strip of 40 squares bent into a U, whose ends are half an edge apart. */
Test(places, field_is_joined_along_the_mesh_and_not_through_space)
{
    struct arena *arena = fixture_arena();
    struct mesh strip = fixture_grid(arena, 41, 1);
    for (size_t v = 0; v < strip.vertex_count; v++) {
        double x = strip.positions[v].x;
        strip.positions[v].x = fmin(x, 41 - x);
        strip.positions[v].z = x > 20.5 ? 0.5 : 0;
    }
    struct field field = field_on(strip);
    set(&field, 0, 2);
    set(&field, 40, 2);
    field.request.gap = 30;
    cr_expect(eq(sz, find(&field).total, 2));
    field.request.gap = 40;
    cr_expect(eq(sz, find(&field).total, 1));
}

Test(places, field_of_many_is_cut_at_200_and_counted_in_full)
{
    struct field field = field_on(fixture_grid(fixture_arena(), 99, 99));
    size_t count = 0;
    for (size_t y = 0; y < 99; y += 4)
        for (size_t x = 0; x < 99; x += 4)
            set(&field, square(99, x, y), 2 + (double)(count++ * 389 % 625) / 625);
    struct place_list list = find(&field);
    cr_assert(eq(sz, count, 625));
    cr_expect(eq(sz, list.total, 625));
    cr_assert(eq(sz, list.count, 200));
    for (size_t p = 0; p < 200; p++)
        cr_expect(epsilon_eq(dbl, list.places[p].lower, 2 + (double)(624 - p) / 625, 1e-6), "%zu",
                  p); /* a float */
}

Test(places, field_lists_64_faces_farthest_first)
{
    struct field field = field_on(fixture_grid(fixture_arena(), 10, 10));
    for (size_t f = 0; f < 100; f++)
        set(&field, f, 2 + (double)(f * 37 % 100 / 2)); /* each value twice */
    struct place_list list = find(&field);
    const struct place *place = &list.places[0];
    cr_expect(eq(sz, place->faces_total, 100));
    cr_assert(eq(sz, place->face_count, 64));
    for (size_t i = 0; i < 64; i++) {
        double peak = (double)field.distances.peak[place->faces[i]];
        cr_expect(eq(dbl, peak, 2 + (double)((99 - i) / 2)), "%zu", i);
        cr_expect(i % 2 == 0 || place->faces[i - 1] < place->faces[i], "%zu", i);
    }
    cr_expect(place->is_shell);
}

Test(places, field_takes_the_certified_maximum_as_its_own)
{
    struct field field = field_on(fixture_grid(fixture_arena(), 5, 5));
    const struct farthest_place farthest = {.distance = {3, 3.25}, .at = {2.75, 2.25, 0}, .face = 12};
    set(&field, 12, 2.5);
    set(&field, 13, 2.75);
    field.request.farthest = &farthest;
    const struct place place = find(&field).places[0];
    cr_expect(eq(dbl, place.lower, 3));
    cr_expect(eq(dbl, place.upper, 3.25));
    cr_expect(eq(dbl, place.at.x, 2.75));
    cr_expect(eq(sz, place.faces[0], 12));
}

Test(places, field_on_no_face_has_no_place)
{
    struct field field = field_on(fixture_room(fixture_arena(), 0, 0, 0));
    cr_expect(eq(sz, find(&field).total, 0));
}

Test(places, field_with_too_little_memory_is_refused)
{
    struct field field = field_on(fixture_grid(fixture_arena(), 20, 20));
    for (size_t f = 0; f < 400; f += 7)
        set(&field, f, 2);
    field.request.gap = 1.5;
    size_t bytes = 0;
    bool ok = false;
    for (; !ok && bytes < (size_t)1 << 20; bytes += 1000) {
        struct arena whole = field.scratch, keep = field.keep, part;
        struct place_list list;
        struct error err = {.text = ""};
        cr_assert(arena_split(&whole, bytes, &part));
        ok = places_find(&field.measured->input, &field.distances, &field.request, &list, &keep, part, &err);
        cr_expect(ok || err.code == ERROR_LIMIT, "%zu bytes: %s", bytes, err.text);
    }
    cr_expect(ok);
    cr_expect(bytes > 10000);
}

/* Slow and obvious: faces that share a vertex are one group; so are groups with vertices within the gap, by
 * the shortest ways between all pairs of vertices (R. W. Floyd 1962). label[f] is the lowest face of the
 * place of f, SIZE_MAX where there is none. */
static void partition_slowly(const struct field *field, const double *way, size_t *label)
{
    const struct mesh *mesh = &field->measured->mesh;
    const float *peak = field->distances.peak;
    for (size_t f = 0; f < mesh->face_count; f++)
        label[f] = peak[f] > 0.5f ? f : SIZE_MAX;
    for (int pass = 0; pass < 2;
         pass++) { /* first by vertices, then across gaps, each until nothing changes */
        for (bool changed = true; changed;) {
            changed = false;
            for (size_t f = 0; f < mesh->face_count; f++)
                for (size_t g = 0; g < mesh->face_count; g++) {
                    if (label[f] == SIZE_MAX || label[g] == SIZE_MAX || label[g] <= label[f])
                        continue;
                    double nearest = INFINITY;
                    for (size_t i = 0; i < 4; i++)
                        for (size_t j = 0; j < 4; j++)
                            nearest =
                                fmin(nearest,
                                     way[mesh_face(mesh, f)[i] * mesh->vertex_count + mesh_face(mesh, g)[j]]);
                    if (nearest <= (pass ? field->request.gap : 0)) {
                        label[g] = label[f];
                        changed = true;
                    }
                }
        }
        for (size_t f = 0; pass == 0 && f < mesh->face_count; f++) {
            bool is_far = false;
            for (size_t g = 0; g < mesh->face_count && label[f] != SIZE_MAX; g++)
                is_far = is_far || (label[g] == label[f] && peak[g] > 1);
            label[f] = is_far || label[f] == SIZE_MAX ? label[f] : SIZE_MAX - 1;
        }
        for (size_t f = 0; pass == 0 && f < mesh->face_count; f++)
            label[f] = label[f] == SIZE_MAX - 1 ? SIZE_MAX : label[f];
    }
}

static void find_ways(const struct mesh *mesh, double *way)
{
    size_t n = mesh->vertex_count;
    for (size_t i = 0; i < n * n; i++)
        way[i] = i % (n + 1) == 0 ? 0 : INFINITY;
    for (size_t f = 0; f < mesh->face_count; f++)
        for (size_t c = 0; c < 4; c++) {
            uint32_t a = mesh_face(mesh, f)[c], b = mesh_face(mesh, f)[(c + 1) % 4];
            way[a * n + b] = way[b * n + a] = vec3_distance(mesh->positions[a], mesh->positions[b]);
        }
    for (size_t k = 0; k < n; k++)
        for (size_t i = 0; i < n; i++)
            for (size_t j = 0; j < n; j++)
                way[i * n + j] = fmin(way[i * n + j], way[i * n + k] + way[k * n + j]);
}

Test(places, field_at_random_falls_into_the_places_of_a_slow_search)
{
    uint64_t state = 11;
    struct arena *arena = fixture_arena();
    struct mesh grid = fixture_grid(arena, 12, 9);
    for (size_t v = 0; v < grid.vertex_count; v++) /* no two ways of equal length */
        grid.positions[v].z = fixture_random_unit(&state);
    double *way = ARENA_NEW(arena, double, grid.vertex_count *grid.vertex_count);
    size_t label[108];
    find_ways(&grid, way);
    for (int trial = 0; trial < 40; trial++) {
        struct field field = field_on(grid);
        for (size_t f = 0; f < 108; f++)
            set(&field, f, fixture_random_unit(&state) < 0.2 ? 1.6 * fixture_random_unit(&state) : 0);
        field.request.gap = 3.5 * fixture_random_unit(&state);
        partition_slowly(&field, way, label);
        struct place_list list = find(&field);
        size_t total = 0, faces = 0;
        for (size_t f = 0; f < 108; f++)
            total += label[f] == f;
        cr_expect(eq(sz, list.total, total), "trial %d", trial);
        for (size_t p = 0; p < list.count; p++) {
            const struct place *place = &list.places[p];
            for (size_t i = 0; i < place->face_count; i++)
                cr_expect(eq(sz, label[place->faces[i]], label[place->faces[0]]), "trial %d", trial);
            faces += place->faces_total;
        }
        for (size_t f = 0; f < 108; f++)
            faces -= label[f] != SIZE_MAX;
        cr_expect(eq(sz, faces, 0), "trial %d", trial);
    }
}

/* Vertex v becomes count - 1 - v, face f of the new mesh is face order(f) of the old. */
static size_t order(size_t f, size_t count)
{
    return (f * 101 + 17) % count;
}
static struct mesh renumbered(struct arena *arena, const struct mesh *mesh)
{
    struct mesh other = fixture_room(arena, mesh->vertex_count, mesh->face_count, mesh_corner_count(mesh));
    for (size_t v = 0; v < mesh->vertex_count; v++)
        other.positions[mesh->vertex_count - 1 - v] = mesh->positions[v];
    for (size_t f = 0; f < mesh->face_count; f++) {
        uint32_t corners[4];
        for (size_t c = 0; c < 4; c++)
            corners[c] = (uint32_t)mesh->vertex_count - 1 - mesh_face(mesh, order(f, mesh->face_count))[c];
        fixture_add_face(&other, corners, 4);
    }
    return other;
}

Test(places, field_gives_the_same_places_whatever_the_numbering_and_scale)
{
    uint64_t state = 5;
    struct arena *arena = fixture_arena();
    struct mesh grid = fixture_grid(arena, 20, 20);
    for (size_t v = 0; v < grid.vertex_count; v++)
        grid.positions[v].z = fixture_random_unit(&state);
    struct mesh other = renumbered(arena, &grid);
    other = fixture_moved(arena, &other, 1024, (vec3){1 << 20, 0, -(1 << 19)});
    struct field field = field_on(grid), changed = field_on(other);
    for (size_t f = 0; f < 400; f++)
        set(&field, f, fixture_random_unit(&state) < 0.1 ? 2 * fixture_random_unit(&state) : 0);
    for (size_t f = 0; f < 400; f++)
        set(&changed, f, 1024 * (double)field.distances.peak[order(f, 400)]);
    field.request.gap = 1.75;
    changed.request = (struct place_request){.level = 1024, .gap = 1.75 * 1024};
    struct place_list first = find(&field), second = find(&changed);
    cr_assert(first.total > 5);
    cr_assert(eq(sz, first.total, second.total));
    for (size_t p = 0; p < first.count; p++) {
        const struct place *a = &first.places[p], *b = &second.places[p];
        cr_expect(epsilon_eq(dbl, first.scores[p], second.scores[p], 1e-12));
        cr_expect(eq(dbl, b->lower, 1024 * a->lower));
        cr_expect(epsilon_eq(dbl, b->area, 1048576 * a->area, 1e-4));
        cr_expect(epsilon_eq(dbl, b->radius, 1024 * a->radius, 1e-4));
        cr_expect(eq(sz, order(b->faces[0], 400), a->faces[0]));
        cr_expect(eq(sz, a->faces_total, b->faces_total));
    }
}

/* ---- two meshes ---- */

struct compared {
    const struct measured *subject, *reference;
    struct deviation_settings settings;
    struct finding_list findings;
};

/* Compares, with inputs that have let go of their topology; an ascending list of tolerances ends with a 0. */
static struct compared compare(struct mesh subject, struct mesh reference, const double *tolerances,
                               size_t threads)
{
    struct compared c = {
        fixture_measured(subject), fixture_measured_as(reference, MESH_SCAN), pair_settings(), {0}};
    struct arena *keep = fixture_arena_of((size_t)64 << 20), scratch = pair_arena(1);
    struct deviation deviation;
    struct deviation_faces faces;
    struct error err = {.text = ""};
    c.settings.certify = 1e-3;
    c.settings.threads = threads;
    for (; tolerances && *tolerances > 0; tolerances++)
        c.settings.tolerances[c.settings.tolerance_count++] = *tolerances;
    struct measure_input subject_input = c.subject->input, reference_input = c.reference->input;
    const struct finding_distances distances = {
        .subject = &subject_input,
        .reference = &reference_input,
        .median_edge = c.subject->report.edge_length.median,
        .settings = &c.settings,
        .deviation = &deviation,
        .of_subject = &faces.of_subject,
        .of_reference = &faces.of_reference,
        .length_unit = "mm",
    };
    cr_assert(measure_input_let_go(&subject_input, keep, &err)
                  && measure_input_let_go(&reference_input, keep, &err)
                  && deviation_measure(&subject_input, &reference_input, &c.settings, NULL, &deviation, NULL,
                                       &faces, NULL, NULL, keep, scratch, &err)
                  && findings_build(&c.subject->own, &c.reference->own, &distances, &c.findings, keep,
                                    scratch, &err),
              "%s", err.text);
    return c;
}

static size_t total_of(const struct compared *c, enum finding_kind kind)
{
    return c->findings.total_by_kind[FINDING_SUBJECT][kind]
           + c->findings.total_by_kind[FINDING_REFERENCE][kind];
}

/* The i-th finding of a kind. */
static const struct finding *nth_of(const struct compared *c, enum finding_kind kind, size_t i)
{
    for (size_t k = 0; k < c->findings.count; k++)
        if (c->findings.entries[k].kind == kind && i-- == 0)
            return &c->findings.entries[k];
    cr_assert(false, "there is no such finding");
    return NULL;
}

static void expect_no_places(const struct compared *c)
{
    cr_expect(eq(sz, total_of(c, FINDING_LOST), 0));
    cr_expect(eq(sz, total_of(c, FINDING_INVENTED), 0));
}

static size_t vertex_at(const struct mesh *mesh, double x, double y)
{
    for (size_t v = 0; v < mesh->vertex_count; v++)
        if (mesh->positions[v].x == x && mesh->positions[v].y == y)
            return v;
    cr_assert(false);
    return 0;
}

/* A grid with a pyramid of one vertex raised at each place. */
static struct mesh bumpy_grid(size_t bump_count, const vec3 *bumps)
{
    struct mesh grid = fixture_grid(fixture_arena(), 24, 24);
    for (size_t i = 0; i < bump_count; i++)
        grid.positions[vertex_at(&grid, bumps[i].x, bumps[i].y)].z = bumps[i].z;
    return grid;
}

Test(places, pair_with_a_bump_in_the_reference_has_lost_it)
{
    const vec3 bumps[] = {{8, 8, 2}};
    struct compared c = compare(fixture_grid(fixture_arena(), 24, 24), bumpy_grid(1, bumps), NULL, 1);
    cr_assert(eq(sz, total_of(&c, FINDING_LOST), 1));
    const struct finding *got = nth_of(&c, FINDING_LOST, 0);
    cr_expect(eq(int, got->mesh, FINDING_REFERENCE));
    cr_expect(got->distance.lower <= 2 && got->distance.upper >= 2);
    cr_expect(got->distance.upper - got->distance.lower < 0.05);
    cr_expect(epsilon_eq(dbl, got->at.x, 8, 1e-6));
    cr_expect(epsilon_eq(dbl, got->at.z, 2, 1e-6));
    cr_expect(eq(sz, got->faces_total, 4));
    for (size_t i = 0; i < 4; i++) {
        size_t f = got->faces[i], x = f % 24, y = f / 24;
        bool is_beside = (x == 7 || x == 8) && (y == 7 || y == 8);
        cr_expect(is_beside, "face %zu", f);
    }
    cr_expect(eq(str, (char *)got->unit, "area"));
    const struct measure_input *input = &c.reference->input;
    double area = 0;
    for (size_t i = 0; i < 4; i++)
        area += face_geometry(input, got->faces[i]).area * input->unit * input->unit;
    cr_expect(epsilon_eq(dbl, got->size, area, 1e-12));
    cr_expect(eq(int, got->severity, FINDING_WARNING));
    cr_expect(not(got->certain));
    cr_expect(got->score > 0 && got->score < 1);
}

Test(places, pair_with_a_bump_in_the_subject_has_invented_it)
{
    const vec3 bumps[] = {{8, 8, 2}};
    struct compared c = compare(bumpy_grid(1, bumps), fixture_grid(fixture_arena(), 24, 24), NULL, 1);
    cr_assert(eq(sz, total_of(&c, FINDING_INVENTED), 1));
    const struct finding *got = nth_of(&c, FINDING_INVENTED, 0);
    cr_expect(eq(int, got->mesh, FINDING_SUBJECT));
    cr_expect(epsilon_eq(dbl, got->at.z, 2, 1e-6));
    cr_expect(eq(sz, got->faces_total, 4));
}

Test(places, pair_with_two_bumps_has_two_places_higher_first)
{
    const vec3 bumps[] = {{4, 4, 1}, {18, 18, 3}};
    struct compared c = compare(fixture_grid(fixture_arena(), 24, 24), bumpy_grid(2, bumps), NULL, 1);
    cr_assert(eq(sz, total_of(&c, FINDING_LOST), 2));
    cr_expect(epsilon_eq(dbl, nth_of(&c, FINDING_LOST, 0)->at.x, 18, 1e-6));
    cr_expect(epsilon_eq(dbl, nth_of(&c, FINDING_LOST, 1)->at.x, 4, 1e-6));
}

Test(places, pair_that_is_equal_has_none)
{
    struct mesh sphere = fixture_cubed_sphere(fixture_arena(), 8);
    struct compared c = compare(sphere, sphere, NULL, 1);
    expect_no_places(&c);
}

Test(places, pair_of_a_good_remesh_has_none)
{
    struct compared c = compare(fixture_cubed_sphere(fixture_arena(), 8),
                                fixture_uv_sphere(fixture_arena(), 64, 32), NULL, 1);
    expect_no_places(&c);
}

Test(places, pair_that_differs_by_noise_has_none)
{
    uint64_t state = 3;
    struct mesh smooth = fixture_grid(fixture_arena(), 40, 40), noisy = fixture_grid(fixture_arena(), 40, 40);
    for (size_t v = 0; v < noisy.vertex_count; v++) { /* the sum of four: nearly normal, of deviation 0.17 */
        double noise = 0;
        for (int i = 0; i < 4; i++)
            noise += fixture_random_unit(&state) - 0.5;
        noisy.positions[v].z = 0.3 * noise;
    }
    struct compared lost = compare(smooth, noisy, NULL, 1), invented = compare(noisy, smooth, NULL, 1);
    expect_no_places(&lost);
    expect_no_places(&invented);
}

/* The sphere without the faces that have a corner at or above z. */
static struct mesh sphere_below(double z)
{
    struct mesh sphere = fixture_cubed_sphere(fixture_arena(), 12);
    struct mesh rest =
        fixture_room(fixture_arena(), sphere.vertex_count, sphere.face_count, mesh_corner_count(&sphere));
    memcpy(rest.positions, sphere.positions, sphere.vertex_count * sizeof *sphere.positions);
    for (size_t f = 0; f < sphere.face_count; f++) {
        bool is_below = true;
        for (size_t c = 0; c < 4; c++)
            is_below = is_below && sphere.positions[mesh_face(&sphere, f)[c]].z < z;
        if (is_below)
            fixture_add_face(&rest, mesh_face(&sphere, f), 4);
    }
    return rest;
}

Test(places, pair_with_a_hole_in_the_cage_has_lost_what_was_there)
{
    struct compared c = compare(sphere_below(0.9), fixture_cubed_sphere(fixture_arena(), 12), NULL, 1);
    cr_assert(eq(sz, total_of(&c, FINDING_LOST), 1));
    cr_expect(eq(sz, total_of(&c, FINDING_INVENTED), 0));
    const struct finding *got = nth_of(&c, FINDING_LOST, 0);
    cr_expect(got->at.z > 0.99);
    cr_expect(eq(int, got->form, FINDING_HOLE));
    cr_expect(strstr(got->text, "the cage is open here, ") == got->text, "%s", got->text);
    cr_expect(strstr(got->text, " mm from the scan") != NULL, "%s", got->text);
}

Test(places, pair_with_a_hole_in_the_scan_has_invented_what_closes_it)
{
    struct compared c = compare(fixture_cubed_sphere(fixture_arena(), 12), sphere_below(0.9), NULL, 1);
    cr_assert(eq(sz, total_of(&c, FINDING_INVENTED), 1));
    cr_expect(eq(sz, total_of(&c, FINDING_LOST), 0));
    const struct finding *got = nth_of(&c, FINDING_INVENTED, 0);
    cr_expect(eq(int, got->form, FINDING_HOLE));
    cr_expect(strstr(got->text, "where the scan is open") != NULL, "%s", got->text);
}

Test(places, pair_with_a_stray_shell_has_invented_a_whole_shell)
{
    struct arena *arena = fixture_arena();
    struct mesh sphere = fixture_cubed_sphere(arena, 8), cube = fixture_cube(arena, 0.25);
    cube = fixture_moved(arena, &cube, 1, (vec3){3, 0, 0});
    struct compared c = compare(fixture_joined(arena, &sphere, &cube), sphere, NULL, 1);
    cr_assert(eq(sz, total_of(&c, FINDING_INVENTED), 1));
    const struct finding *got = nth_of(&c, FINDING_INVENTED, 0);
    cr_expect(eq(sz, got->faces_total, 6));
    cr_expect(epsilon_eq(dbl, got->size, 6 * 0.25 * 0.25, 1e-12));
    /* the far corners of the cube from the sphere of radius 1, which its faces cut by less than 0.01 */
    double corner = sqrt(3.125 * 3.125 + 2 * 0.125 * 0.125) - 1;
    cr_expect(got->distance.lower <= corner + 0.01 && got->distance.upper >= corner);
    cr_expect(eq(int, got->form, FINDING_SHELL));
    cr_expect(strstr(got->text, "a whole shell of the cage has nothing of the scan near it") == got->text,
              "%s", got->text);
}

Test(places, pair_with_a_missing_shell_has_lost_a_whole_shell)
{
    struct arena *arena = fixture_arena();
    struct mesh sphere = fixture_cubed_sphere(arena, 8), cube = fixture_cube(arena, 0.25);
    cube = fixture_moved(arena, &cube, 1, (vec3){3, 0, 0});
    struct compared c = compare(sphere, fixture_joined(arena, &sphere, &cube), NULL, 1);
    cr_assert(eq(sz, total_of(&c, FINDING_LOST), 1));
    cr_expect(strstr(nth_of(&c, FINDING_LOST, 0)->text, "a whole shell of the scan is missing from the cage")
              != NULL);
}

/* A square sheet that stands on an edge of the grid, 1 by 2. */
Test(places, pair_with_a_flap_has_invented_it)
{
    struct arena *arena = fixture_arena();
    struct mesh grid = fixture_grid(arena, 24, 24);
    struct mesh flap = fixture_grid(arena, 1, 2);
    for (size_t v = 0; v < flap.vertex_count; v++)
        flap.positions[v] = (vec3){12 + flap.positions[v].x, 12, flap.positions[v].y};
    struct mesh both = fixture_joined(arena, &grid, &flap);
    struct compared c = compare(fixture_welded(arena, &both), grid, NULL, 1);
    cr_assert(eq(sz, total_of(&c, FINDING_INVENTED), 1));
    const struct finding *got = nth_of(&c, FINDING_INVENTED, 0);
    cr_expect(eq(sz, got->faces_total, 2));
    cr_expect(epsilon_eq(dbl, got->size, 2, 1e-12));
    cr_expect(got->distance.lower <= 2 && got->distance.upper >= 2);
    cr_expect(eq(int, got->form, FINDING_PATCH));
    cr_expect(strstr(got->text, "a flap, a bridge or a bulge") != NULL, "%s", got->text);
}

/* A pyramid over a square of side 2, 8 high, and the same cut at half its height. */
Test(places, pair_with_a_blunt_tip_has_lost_the_tip)
{
    struct arena *arena = fixture_arena();
    const vec3 tip[] = {{-1, -1, 0}, {1, -1, 0}, {1, 1, 0}, {-1, 1, 0}, {0, 0, 8}};
    const uint32_t tip_faces[] = {4, 3, 2, 1, 0, 3, 0, 1, 4, 3, 1, 2, 4, 3, 2, 3, 4, 3, 3, 0, 4, 0};
    const vec3 cut[] = {{-1, -1, 0},     {1, -1, 0},     {1, 1, 0},     {-1, 1, 0},
                        {-0.5, -0.5, 4}, {0.5, -0.5, 4}, {0.5, 0.5, 4}, {-0.5, 0.5, 4}};
    const uint32_t cut_faces[] = {4, 3, 2, 1, 0, 4, 4, 5, 6, 7, 4, 0, 1, 5, 4, 4,
                                  1, 2, 6, 5, 4, 2, 3, 7, 6, 4, 3, 0, 4, 7, 0};
    struct compared c =
        compare(fixture_listed(arena, cut, 8, cut_faces), fixture_listed(arena, tip, 5, tip_faces), NULL, 1);
    cr_assert(eq(sz, total_of(&c, FINDING_LOST), 1));
    cr_expect(eq(sz, total_of(&c, FINDING_INVENTED), 0));
    const struct finding *got = nth_of(&c, FINDING_LOST, 0);
    cr_expect(eq(dbl, got->at.z, 8));
    cr_expect(got->distance.lower <= 4 && got->distance.upper >= 4);
    cr_expect(strstr(got->text, "a tip, an edge") != NULL, "%s", got->text);
}

Test(places, pair_far_apart_is_told_to_be_so)
{
    struct arena *arena = fixture_arena();
    struct mesh sphere = fixture_cubed_sphere(arena, 6);
    struct compared c = compare(fixture_moved(arena, &sphere, 1, (vec3){50, 0, 0}), sphere, NULL, 1);
    cr_assert(eq(sz, total_of(&c, FINDING_LOST), 1));
    cr_assert(eq(sz, total_of(&c, FINDING_INVENTED), 1));
    cr_expect(eq(int, nth_of(&c, FINDING_LOST, 0)->form, FINDING_EVERYTHING));
    cr_expect(strstr(nth_of(&c, FINDING_LOST, 0)->text, "check unit and position of both files") != NULL);
}

Test(places, pair_gives_the_same_findings_for_any_number_of_threads)
{
    struct mesh subject = sphere_below(0.8), reference = fixture_uv_sphere(fixture_arena(), 64, 32);
    struct compared one = compare(subject, reference, NULL, 1);
    for (size_t threads = 2; threads <= 3; threads++) {
        struct compared more = compare(subject, reference, NULL, threads);
        cr_assert(eq(sz, more.findings.count, one.findings.count));
        for (size_t i = 0; i < one.findings.count; i++) {
            const struct finding *a = &one.findings.entries[i], *b = &more.findings.entries[i];
            cr_expect(a->score == b->score && a->size == b->size && a->radius == b->radius
                      && a->at.x == b->at.x && a->faces_total == b->faces_total);
            cr_expect(eq(str, (char *)a->text, (char *)b->text));
        }
    }
}

/* ---- severity ---- */

Test(places, severity_follows_the_tolerances)
{
    const vec3 bumps[] = {{4, 4, 0.5}, {18, 18, 3}, {4, 18, 0.1}};
    const double tolerances[] = {0.2, 1, 0};
    struct compared c = compare(fixture_grid(fixture_arena(), 24, 24), bumpy_grid(3, bumps), tolerances, 1);
    cr_expect(eq(dbl, c.findings.level_lost, 0.2));
    cr_assert(eq(sz, total_of(&c, FINDING_LOST), 2));
    const struct finding *high = nth_of(&c, FINDING_LOST, 0), *low = nth_of(&c, FINDING_LOST, 1);
    cr_expect(eq(int, high->severity, FINDING_FAULT));
    cr_expect(eq(int, low->severity, FINDING_WARNING));
    cr_expect(high->certain && low->certain);
    cr_expect(eq(sz, c.findings.total_by_severity[FINDING_REFERENCE][FINDING_FAULT], 1));
}

Test(places, severity_without_tolerance_is_a_note_near_the_level)
{
    const vec3 bumps[] = {{8, 8, 0.3}, {18, 18, 0.45}}; /* the level is a quarter of an edge of 1 */
    struct compared c = compare(fixture_grid(fixture_arena(), 24, 24), bumpy_grid(2, bumps), NULL, 1);
    cr_expect(eq(dbl, c.findings.level_lost, 0.25));
    cr_assert(eq(sz, total_of(&c, FINDING_LOST), 2));
    cr_expect(eq(int, nth_of(&c, FINDING_LOST, 0)->severity, FINDING_WARNING));
    cr_expect(eq(int, nth_of(&c, FINDING_LOST, 1)->severity, FINDING_NOTE));
}

Test(places, severity_is_counted_of_places_that_are_not_listed)
{
    struct mesh bumpy = fixture_grid(fixture_arena(), 80, 80);
    for (size_t x = 2; x < 80; x += 5)
        for (size_t y = 2; y < 80; y += 5)
            bumpy.positions[vertex_at(&bumpy, (double)x, (double)y)].z = 1;
    const double tolerances[] = {0.5, 0};
    struct compared c = compare(fixture_grid(fixture_arena(), 80, 80), bumpy, tolerances, 1);
    size_t listed = 0;
    for (size_t i = 0; i < c.findings.count; i++)
        listed += c.findings.entries[i].kind == FINDING_LOST;
    cr_expect(eq(sz, listed, 200));
    cr_expect(eq(sz, total_of(&c, FINDING_LOST), 256));
    cr_expect(eq(sz, c.findings.total_by_severity[FINDING_REFERENCE][FINDING_FAULT], 256));
}
