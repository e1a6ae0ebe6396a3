/* pairs.c - writes the meshes that `make bench` measures; the same bytes on every run and machine with this
 * libm.
 *
 *   bench-pairs FOLDER TRIANGLES [CLASS...]
 *
 * makes a scan of about so many triangles (a dense surface net of a coiled shell, cut into triangles and
 * roughened) and one pair for each class; then prints a line "CLASS SUBJECT REFERENCE" of file names for
 * each:
 *
 *   scan          the scan alone, as binary PLY, OBJ, STL and OFF (for the readers)
 *   cage:QUADS    an all-quad net of the same shape of about so many faces
 *   decimated     a net of a tenth of the triangles
 *   rescan        the same shape sampled again, two thirds as densely, with other noise
 *   near6, near7  the scan with noise of 1e-6, 1e-7 of its diagonal
 *   hole, bridge, tip  the scan with a patch taken out, with a bridge added, with its farthest tip blunted
 *   mend          the scan with a dent in it, against the scan with eight patches taken out
 *   smoothed      the scan after three rounds of averaging
 *   relisted      the same, its vertices and faces listed from the last to the first
 *   midpoint      every triangle of the scan cut into four at the midpoints of its sides: the same surface
 *   plate, cube   a plate and the same plate cut into needles; a cube and the same cube cut otherwise
 *   limit         a cage refined twice by Catmull-Clark steps, and the cage itself
 *   spheres       two concentric spheres: every point is as far as any other
 *   tube          a tube and a thin prism along its axis: every point of the tube's wall is as near as any
 *                 other
 * Files are PLY, binary, with doubles: near7 would drown in the rounding of floats. */
#include "fixtures/mesh_write.h"
#include "fixtures/rng.h"
#include "fixtures/surface_net.h"
#include "subdiv/refine.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#define ARENA_BYTES ((size_t)48 << 30) /* reserved, not used: pages cost memory only when touched */
#define NET_QUADS_MAX ((size_t)60000)  /* of a net that is sampled, not refined */
#define SHELL_FACES 5476.0             /* quads of the shell's net at a cell of 1 mm */
#define TWO_PI 6.283185307179586

struct making {
    const char *folder;
    size_t triangles;
    struct shape shell;
    struct draft scan;
    char scan_file[64];
    double diagonal; /* of the scan */
};

static bool write_mesh(const char *folder, const char *name, const struct draft *draft, struct error *err)
{
    char path[1024];
    FILE *file;

    snprintf(path, sizeof path, "%s/%s", folder, name);
    file = fopen(path, "wb");
    if (!file)
        return error_set(err, ERROR_MACHINE, "%s: %s", name, strerror(errno));
    fprintf(file,
            "ply\nformat binary_little_endian 1.0\nelement vertex %zu\nproperty double x\nproperty double y\n"
            "property double z\nelement face %zu\nproperty list uchar uint vertex_indices\nend_header\n",
            draft->vertex_count, draft->face_count);
    fwrite(draft->positions, sizeof *draft->positions, draft->vertex_count, file);
    for (size_t f = 0; f < draft->face_count; f++) {
        size_t size = draft_face_size(draft, f);
        fputc((int)size, file);
        fwrite(draft->faces[f].corner, sizeof draft->faces[f].corner[0], size, file);
    }
    bool written = !ferror(file);
    if (fclose(file) != 0 || !written)
        return error_set(err, ERROR_MACHINE, "%s: %s", name, strerror(errno));
    return true;
}

static double box_diagonal(const struct draft *draft)
{
    aabb box = aabb_empty();

    for (size_t v = 0; v < draft->vertex_count; v++)
        box = aabb_include(box, draft->positions[v]);
    return vec3_distance(box.min, box.max);
}

static bool mesh_of_draft(const struct draft *draft, struct mesh *mesh, struct arena *keep, struct error *err)
{
    *mesh = (struct mesh){.vertex_count = draft->vertex_count,
                          .face_count = draft->face_count,
                          .positions = draft->positions,
                          .face_offsets = ARENA_NEW(keep, uint32_t, draft->face_count + 1),
                          .face_vertices = ARENA_NEW(keep, uint32_t, 4 * draft->face_count)};
    if (!mesh->face_offsets || !mesh->face_vertices)
        return arena_error(err);
    for (size_t f = 0; f <= draft->face_count; f++)
        mesh->face_offsets[f] = 4 * (uint32_t)f;
    for (size_t f = 0; f < draft->face_count; f++)
        memcpy(mesh->face_vertices + 4 * f, draft->faces[f].corner, sizeof draft->faces[f].corner);
    return true;
}

/* Catmull-Clark steps: four quads for one in each. */
static bool refine(const struct draft *net, int steps, struct draft *fine, struct arena *keep,
                   struct arena scratch, struct error *err)
{
    struct mesh mesh;
    struct cage cage, refined;

    if (!mesh_of_draft(net, &mesh, keep, err)
        || !cage_build(&mesh, NULL, BOUNDARY_EDGE_AND_CORNER, &cage, keep, scratch, err))
        return false;
    for (int step = 0; step < steps; step++) {
        if (!refine_build(&cage, &refined, keep, scratch, err))
            return false;
        cage = refined;
    }
    if (!draft_new(fine, cage.mesh.vertex_count, cage.mesh.face_count, keep, err))
        return false;
    memcpy(fine->positions, cage.mesh.positions, cage.mesh.vertex_count * sizeof *fine->positions);
    fine->vertex_count = cage.mesh.vertex_count;
    for (size_t f = 0; f < cage.mesh.face_count; f++) {
        const uint32_t *q = mesh_face(&cage.mesh, f);
        draft_add_quad(fine, q[0], q[1], q[2], q[3]);
    }
    return true;
}

/* A net of about so many quads, given how many a cell of 1 mm makes. A large one is a smaller one refined:
 * the shape's formula is slow. */
static bool make_net(const struct shape *shape, double faces_at_1, size_t quads, struct draft *net,
                     struct arena *keep, struct arena scratch, struct error *err)
{
    struct draft coarse;
    int steps = 0;

    while (quads >> 2 * steps > NET_QUADS_MAX)
        steps++;
    return surface_net_make(shape, sqrt(faces_at_1 / (double)(quads >> 2 * steps)), NET_MANIFOLD, &coarse,
                            keep, scratch, err)
           && refine(&coarse, steps, net, keep, scratch, err);
}

/* Moves every vertex by chance across its faces: what a refined net has too much of is order. */
static bool shuffle(struct draft *net, uint64_t seed, struct arena scratch, struct error *err)
{
    vec3 *moves = ARENA_ZERO(&scratch, vec3, net->vertex_count);

    if (!moves)
        return arena_error(err);
    for (size_t f = 0; f < net->face_count; f++)
        for (int c = 0; c < 4; c++) {
            uint32_t v = net->faces[f].corner[c], opposite = net->faces[f].corner[(c + 2) % 4];
            vec3 across = vec3_sub(net->positions[opposite], net->positions[v]);
            moves[v] = vec3_add(moves[v], vec3_scale(across, 0.2 * rng_uniform(seed, 4 * f + (size_t)c)));
        }
    for (size_t v = 0; v < net->vertex_count; v++)
        net->positions[v] = vec3_add(net->positions[v], moves[v]);
    return true;
}

/* The same shuffled and as triangles, with noise along the normals as a share of the cell. */
static bool make_triangles(const struct shape *shape, double faces_at_1, size_t triangles, double noise,
                           uint64_t seed, struct draft *draft, struct arena *keep, struct arena scratch,
                           struct error *err)
{
    struct draft net;
    struct arena net_keep;
    double cell = sqrt(2 * faces_at_1 / (double)triangles);

    if (!arena_split(&scratch, arena_left(&scratch) / 2, &net_keep))
        return arena_error(err);
    if (!make_net(shape, faces_at_1, triangles / 2, &net, &net_keep, scratch, err)
        || (noise > 0 && !shuffle(&net, seed + 1, scratch, err)) || !draft_triangulate(&net, draft, keep, err)
        || !draft_add_noise(draft, noise * cell, seed, scratch, err))
        return false;
    draft_round(draft, ROUND_FLOAT32);
    return true;
}

/* Writes one mesh, or two, and prints the pair. The subject's name is that of the class. */
static bool write_pair(const struct making *making, const char *class, const struct draft *subject,
                       const struct draft *reference, struct error *err)
{
    char subject_file[64], reference_file[64];

    snprintf(subject_file, sizeof subject_file, "%s-%zu.ply", class, making->triangles);
    snprintf(reference_file, sizeof reference_file, "%s-%zu-reference.ply", class, making->triangles);
    if (!write_mesh(making->folder, subject_file, subject, err)
        || (reference && !write_mesh(making->folder, reference_file, reference, err)))
        return false;
    printf("%s %s %s\n", class, subject_file, reference ? reference_file : making->scan_file);
    return true;
}

static bool write_formats(struct making *making, struct arena scratch, struct error *err)
{
    static const char *const forms[] = {"obj", "ply", "stl", "off"};
    struct draft copy;

    if (!draft_copy(&making->scan, 0, &copy, &scratch, err))
        return false;
    for (int i = 0; i < 4; i++) {
        char name[64];
        snprintf(name, sizeof name, "format-%zu.%s", making->triangles, forms[i]);
        draft_round(&copy, mesh_rounding(name));
        if (!mesh_write(&copy, making->folder, name, err))
            return false;
        printf("scan %s %s\n", name, making->scan_file);
    }
    return true;
}

static bool write_cage(const struct making *making, size_t quads, struct arena scratch, struct error *err)
{
    struct draft net;
    struct arena keep;
    char name[64];

    if (!arena_split(&scratch, arena_left(&scratch) / 4, &keep))
        return arena_error(err);
    snprintf(name, sizeof name, "cage-%zu.ply", quads);
    if (!make_net(&making->shell, SHELL_FACES, quads, &net, &keep, scratch, err)
        || !write_mesh(making->folder, name, &net, err))
        return false;
    printf("cage:%zu %s %s\n", quads, name, making->scan_file);
    return true;
}

static bool write_resampled(const struct making *making, const char *class, size_t triangles, double noise,
                            struct arena scratch, struct error *err)
{
    struct draft draft;
    struct arena keep;

    if (!arena_split(&scratch, arena_left(&scratch) / 4, &keep))
        return arena_error(err);
    return make_triangles(&making->shell, SHELL_FACES, triangles, noise, 77, &draft, &keep, scratch, err)
           && write_pair(making, class, &draft, NULL, err);
}

static bool write_decimated(struct making *making, struct arena scratch, struct error *err)
{
    return write_resampled(making, "decimated", making->triangles / 10, 0, scratch, err);
}

static bool write_rescan(struct making *making, struct arena scratch, struct error *err)
{
    return write_resampled(making, "rescan", making->triangles * 2 / 3, 0.1, scratch, err);
}

static bool write_noisy(const struct making *making, const char *class, double share, struct arena scratch,
                        struct error *err)
{
    struct draft copy;

    return draft_copy(&making->scan, 0, &copy, &scratch, err)
           && draft_add_noise(&copy, share * making->diagonal, 5, scratch, err)
           && write_pair(making, class, &copy, NULL, err);
}

static bool write_near6(struct making *making, struct arena scratch, struct error *err)
{
    return write_noisy(making, "near6", 1e-6, scratch, err);
}

static bool write_near7(struct making *making, struct arena scratch, struct error *err)
{
    return write_noisy(making, "near7", 1e-7, scratch, err);
}

static void take_patch_out(struct draft *draft, vec3 centre, double radius)
{
    for (size_t f = 0; f < draft->face_count; f++)
        if (draft_face_size(draft, f) > 0
            && vec3_distance(draft->positions[draft->faces[f].corner[0]], centre) < radius)
            draft_remove_face(draft, f);
}

static bool write_hole(struct making *making, struct arena scratch, struct error *err)
{
    struct draft copy;

    if (!draft_copy(&making->scan, 0, &copy, &scratch, err))
        return false;
    vec3 centre = copy.positions[rng_bits(11, 0) % copy.vertex_count];
    take_patch_out(&copy, centre, 0.03 * making->diagonal);
    return draft_compact(&copy, scratch, err) && write_pair(making, "hole", &copy, NULL, err);
}

#define MEND_HOLES 8
#define MEND_RADIUS_REL 0.01

/* Moves what is near a centre towards a point far away. */
static void dent(struct draft *draft, vec3 centre, vec3 towards, double radius)
{
    vec3 way = vec3_scale(vec3_sub(towards, centre), 0.2 * radius / vec3_distance(towards, centre));

    for (size_t v = 0; v < draft->vertex_count; v++) {
        double share = 1 - vec3_distance(draft->positions[v], centre) / radius;
        if (share > 0)
            draft->positions[v] = vec3_add(draft->positions[v], vec3_scale(way, share));
    }
}

static vec3 mean_position(const struct draft *draft)
{
    vec3 sum = {0, 0, 0};

    for (size_t v = 0; v < draft->vertex_count; v++)
        sum = vec3_add(sum, draft->positions[v]);
    return vec3_scale(sum, 1.0 / (double)draft->vertex_count);
}

/* Places are drawn anew until they are apart. */
static void choose_apart(const struct draft *draft, double apart, size_t count, vec3 *places)
{
    size_t chosen = 0;

    for (size_t draw = 0; chosen < count; draw++) {
        bool near = false;
        places[chosen] = draft->positions[rng_bits(13, draw) % draft->vertex_count];
        for (size_t i = 0; i < chosen; i++)
            near |= vec3_distance(places[i], places[chosen]) < apart;
        chosen += !near;
    }
}

static bool write_mend(struct making *making, struct arena scratch, struct error *err)
{
    struct draft before, mended;
    const double radius = MEND_RADIUS_REL * making->diagonal;
    vec3 places[MEND_HOLES + 1];

    if (!draft_copy(&making->scan, 0, &before, &scratch, err)
        || !draft_copy(&making->scan, 0, &mended, &scratch, err))
        return false;
    choose_apart(&before, 4 * radius, MEND_HOLES + 1, places);
    for (size_t i = 0; i < MEND_HOLES; i++)
        take_patch_out(&before, places[i], radius);
    dent(&mended, places[MEND_HOLES], mean_position(&mended), radius);
    return draft_compact(&before, scratch, err) && write_pair(making, "mend", &mended, &before, err);
}

#define BRIDGE_SIDES 12
#define BRIDGE_RINGS 24

/* Rings of a pipe from one point to another, about a tenth as thick as long. */
static void add_pipe(struct draft *draft, vec3 from, vec3 to)
{
    vec3 along = vec3_sub(to, from);
    vec3 u = vec3_cross(along, (vec3){0.3, -0.5, 0.81});
    u = vec3_scale(u, 0.1 * vec3_length(along) / vec3_length(u));
    vec3 v = vec3_scale(vec3_cross(along, u), 1 / vec3_length(along));
    uint32_t first = (uint32_t)draft->vertex_count;

    for (uint32_t ring = 0; ring <= BRIDGE_RINGS; ring++)
        for (uint32_t side = 0; side < BRIDGE_SIDES; side++) {
            double turn = TWO_PI * side / BRIDGE_SIDES;
            vec3 centre = vec3_lerp(from, to, (double)ring / BRIDGE_RINGS);
            draft_add_vertex(draft,
                             vec3_add(centre, vec3_add(vec3_scale(u, cos(turn)), vec3_scale(v, sin(turn)))));
        }
    for (uint32_t ring = 0; ring < BRIDGE_RINGS; ring++)
        for (uint32_t side = 0; side < BRIDGE_SIDES; side++) {
            uint32_t a = first + ring * BRIDGE_SIDES + side;
            uint32_t b = first + ring * BRIDGE_SIDES + (side + 1) % BRIDGE_SIDES;
            draft_add_triangle(draft, a, b, b + BRIDGE_SIDES);
            draft_add_triangle(draft, a, b + BRIDGE_SIDES, a + BRIDGE_SIDES);
        }
}

static bool write_bridge(struct making *making, struct arena scratch, struct error *err)
{
    struct draft copy;
    size_t from = rng_bits(12, 0) % making->scan.vertex_count, to = from;

    if (!draft_copy(&making->scan, 2 * BRIDGE_SIDES * (BRIDGE_RINGS + 1), &copy, &scratch, err))
        return false;
    while (vec3_distance(copy.positions[from], copy.positions[to]) < 0.1 * making->diagonal)
        to = (to + 1) % copy.vertex_count;
    add_pipe(&copy, copy.positions[from], copy.positions[to]);
    return write_pair(making, "bridge", &copy, NULL, err);
}

/* What lies beyond a plane across the farthest tip is pressed onto that plane. */
static bool write_tip(struct making *making, struct arena scratch, struct error *err)
{
    struct draft copy;
    vec3 centre = mean_position(&making->scan), tip = centre;

    if (!draft_copy(&making->scan, 0, &copy, &scratch, err))
        return false;
    for (size_t v = 0; v < copy.vertex_count; v++)
        if (vec3_distance(copy.positions[v], centre) > vec3_distance(tip, centre))
            tip = copy.positions[v];
    double length = vec3_distance(tip, centre), kept = length - 0.02 * making->diagonal;
    vec3 axis = vec3_scale(vec3_sub(tip, centre), 1 / length);
    for (size_t v = 0; v < copy.vertex_count; v++) {
        double beyond = vec3_dot(vec3_sub(copy.positions[v], centre), axis) - kept;
        if (beyond > 0)
            copy.positions[v] = vec3_sub(copy.positions[v], vec3_scale(axis, beyond));
    }
    return write_pair(making, "tip", &copy, NULL, err);
}

static bool average(struct draft *draft, struct arena scratch, struct error *err)
{
    vec3 *sums = ARENA_ZERO(&scratch, vec3, draft->vertex_count);
    uint32_t *counts = ARENA_ZERO(&scratch, uint32_t, draft->vertex_count);

    if (!sums || !counts)
        return arena_error(err);
    for (size_t f = 0; f < draft->face_count; f++)
        for (int c = 0; c < 3; c++) {
            uint32_t a = draft->faces[f].corner[c], b = draft->faces[f].corner[(c + 1) % 3];
            sums[a] = vec3_add(sums[a], draft->positions[b]);
            counts[a]++;
        }
    for (size_t v = 0; v < draft->vertex_count; v++)
        if (counts[v] > 0)
            draft->positions[v] = vec3_lerp(draft->positions[v], vec3_scale(sums[v], 1.0 / counts[v]), 0.5);
    return true;
}

static bool smooth(const struct making *making, struct draft *copy, struct arena *keep, struct error *err)
{
    if (!draft_copy(&making->scan, 0, copy, keep, err))
        return false;
    for (int round = 0; round < 3; round++)
        if (!average(copy, *keep, err))
            return false;
    return true;
}

static bool write_smoothed(struct making *making, struct arena scratch, struct error *err)
{
    struct draft copy;

    return smooth(making, &copy, &scratch, err) && write_pair(making, "smoothed", &copy, NULL, err);
}

static bool write_relisted(struct making *making, struct arena scratch, struct error *err)
{
    struct draft smoothed, copy;

    if (!smooth(making, &smoothed, &scratch, err) || !draft_copy(&smoothed, 0, &copy, &scratch, err))
        return false;
    const uint32_t last = (uint32_t)smoothed.vertex_count - 1;
    for (size_t v = 0; v < copy.vertex_count; v++)
        copy.positions[v] = smoothed.positions[last - v];
    for (size_t f = 0; f < copy.face_count; f++)
        for (int c = 0; c < 3; c++)
            copy.faces[f].corner[c] = last - smoothed.faces[copy.face_count - 1 - f].corner[c];
    return write_pair(making, "relisted", &copy, NULL, err);
}

/* Midpoints by the numbers of their ends: an open table, at most half full. */
struct midpoints {
    uint64_t *ends; /* 0: free; else the ends, each plus one */
    uint32_t *vertices;
    size_t mask;
};

static uint32_t midpoint_of(struct midpoints *table, struct draft *draft, uint32_t a, uint32_t b)
{
    uint64_t ends = a < b ? (uint64_t)(a + 1) << 32 | (b + 1) : (uint64_t)(b + 1) << 32 | (a + 1);
    size_t slot = rng_bits(0, ends) & table->mask;

    while (table->ends[slot] && table->ends[slot] != ends)
        slot = (slot + 1) & table->mask;
    if (!table->ends[slot]) {
        table->ends[slot] = ends;
        table->vertices[slot] =
            draft_add_vertex(draft, vec3_lerp(draft->positions[a], draft->positions[b], 0.5));
    }
    return table->vertices[slot];
}

static bool write_midpoint(struct making *making, struct arena scratch, struct error *err)
{
    const struct draft *scan = &making->scan;
    struct draft fine;
    struct midpoints table = {.mask = 1};

    while (table.mask < 4 * scan->face_count)
        table.mask *= 2;
    table.ends = ARENA_ZERO(&scratch, uint64_t, table.mask);
    table.vertices = ARENA_NEW(&scratch, uint32_t, table.mask--);
    if (!table.ends || !table.vertices
        || !draft_new(&fine, scan->vertex_count + 3 * scan->face_count, 4 * scan->face_count, &scratch, err))
        return arena_error(err);
    memcpy(fine.positions, scan->positions, scan->vertex_count * sizeof *scan->positions);
    fine.vertex_count = scan->vertex_count;
    for (size_t f = 0; f < scan->face_count; f++) {
        const uint32_t *q = scan->faces[f].corner;
        uint32_t m[3];
        for (int c = 0; c < 3; c++)
            m[c] = midpoint_of(&table, &fine, q[c], q[(c + 1) % 3]);
        for (int c = 0; c < 3; c++)
            draft_add_triangle(&fine, q[c], m[c], m[(c + 2) % 3]);
        draft_add_triangle(&fine, m[0], m[1], m[2]);
    }
    return write_pair(making, "midpoint", &fine, NULL, err);
}

/* A flat rectangle from corner, of columns x rows quads, each cut into two triangles. */
static void add_rectangle(struct draft *draft, vec3 corner, vec3 u, vec3 v, size_t columns, size_t rows)
{
    uint32_t first = (uint32_t)draft->vertex_count, stride = (uint32_t)columns + 1;

    for (size_t row = 0; row <= rows; row++)
        for (size_t column = 0; column <= columns; column++)
            draft_add_vertex(draft, vec3_add(corner, vec3_add(vec3_scale(u, (double)column / (double)columns),
                                                              vec3_scale(v, (double)row / (double)rows))));
    for (uint32_t row = 0; row < rows; row++)
        for (uint32_t column = 0; column < columns; column++) {
            uint32_t a = first + row * stride + column;
            draft_add_triangle(draft, a, a + 1, a + stride + 1);
            draft_add_triangle(draft, a, a + stride + 1, a + stride);
        }
}

static bool new_rectangles(struct draft *draft, size_t count, size_t columns, size_t rows,
                           struct arena *scratch, struct error *err)
{
    return draft_new(draft, count * (columns + 1) * (rows + 1), 2 * count * columns * rows, scratch, err);
}

/* Turned, so that no coordinate is constant and rounding keeps neither mesh flat. */
static bool write_plate(struct making *making, struct arena scratch, struct error *err)
{
    struct frame frame = making->shell.frame;
    struct draft plate, needles;
    size_t side = (size_t)sqrt((double)making->triangles / 2);
    vec3 corner = frame_to_world(&frame, (vec3){-50, -50, 0});
    vec3 u = frame_to_world_direction(&frame, (vec3){100, 0, 0});
    vec3 v = frame_to_world_direction(&frame, (vec3){0, 100, 0});

    if (!new_rectangles(&plate, 1, side, side, &scratch, err)
        || !new_rectangles(&needles, 1, making->triangles / 16, 1, &scratch, err))
        return false;
    add_rectangle(&plate, corner, u, v, side, side);
    add_rectangle(&needles, corner, u, v, making->triangles / 16, 1);
    return write_pair(making, "plate", &needles, &plate, err);
}

/* Six rectangles that do not share vertices; the second cube's are not squares. */
static void add_cube(struct draft *draft, const struct frame *frame, size_t columns, size_t rows)
{
    for (int axis = 0; axis < 3; axis++)
        for (int side = 0; side < 2; side++) {
            double corner[3] = {-25, -25, -25}, u[3] = {0, 0, 0}, v[3] = {0, 0, 0};
            corner[axis] = side ? 25 : -25;
            u[(axis + (side ? 1 : 2)) % 3] = 50;
            v[(axis + (side ? 2 : 1)) % 3] = 50;
            add_rectangle(draft, frame_to_world(frame, (vec3){corner[0], corner[1], corner[2]}),
                          frame_to_world_direction(frame, (vec3){u[0], u[1], u[2]}),
                          frame_to_world_direction(frame, (vec3){v[0], v[1], v[2]}), columns, rows);
        }
}

static bool write_cube(struct making *making, struct arena scratch, struct error *err)
{
    struct draft fine, coarse;
    size_t n = (size_t)sqrt((double)making->triangles / 12), columns = n / 3 + 1, rows = n / 2 + 1;

    if (!new_rectangles(&fine, 6, n, n, &scratch, err)
        || !new_rectangles(&coarse, 6, columns, rows, &scratch, err))
        return false;
    add_cube(&fine, &making->shell.frame, n, n);
    add_cube(&coarse, &making->shell.frame, columns, rows);
    return write_pair(making, "cube", &coarse, &fine, err);
}

static bool write_limit(struct making *making, struct arena scratch, struct error *err)
{
    struct draft net, quads, fine;
    struct arena keep;

    if (!arena_split(&scratch, arena_left(&scratch) / 2, &keep))
        return arena_error(err);
    return make_net(&making->shell, SHELL_FACES, making->triangles / 32, &net, &keep, scratch, err)
           && refine(&net, 2, &quads, &keep, scratch, err) && draft_triangulate(&quads, &fine, &keep, err)
           && write_pair(making, "limit", &net, &fine, err);
}

static double sphere_value(const void *radius, vec3 p)
{
    return vec3_length(p) - *(const double *)radius;
}

static struct shape sphere(const double *radius)
{
    double r = *radius;

    return (struct shape){.value = sphere_value,
                          .params = radius,
                          .slope = 1,
                          .box = {{-r, -r, -r}, {r, r, r}},
                          .frame = frame_turned((vec3){1, 2, 3}, 0.7, (vec3){3, -1, 2})};
}

/* A net has 6 pi r^2 quads at a cell of 1: a grid edge for each unit of the three projections' areas, twice.
 */
static bool write_spheres(struct making *making, struct arena scratch, struct error *err)
{
    static const double radii[2] = {20, 21};
    struct draft inner, outer;
    struct arena keep;
    struct shape shapes[2] = {sphere(&radii[0]), sphere(&radii[1])};

    if (!arena_split(&scratch, arena_left(&scratch) / 2, &keep))
        return arena_error(err);
    return make_triangles(&shapes[0], 7540, making->triangles / 3, 0, 1, &inner, &keep, scratch, err)
           && make_triangles(&shapes[1], 8313, making->triangles, 0, 1, &outer, &keep, scratch, err)
           && write_pair(making, "spheres", &inner, &outer, err);
}

#define TUBE_RADIUS 5.0
#define TUBE_HALF 20.0

static double tube_value(const void *params, vec3 p)
{
    (void)params;
    return fmax(hypot(p.x, p.y) - TUBE_RADIUS, fabs(p.z) - TUBE_HALF);
}

/* The prism's three sides are a millionth of the radius off the axis. */
static void add_axis(struct draft *draft, const struct frame *frame)
{
    vec3 up = frame_to_world_direction(frame, (vec3){0, 0, 2 * TUBE_HALF});

    for (int side = 0; side < 3; side++) {
        double a = TWO_PI * side / 3, b = TWO_PI * (side + 1) / 3, r = 1e-6 * TUBE_RADIUS;
        vec3 from = {r * cos(a), r * sin(a), -TUBE_HALF}, to = {r * cos(b), r * sin(b), -TUBE_HALF};
        add_rectangle(draft, frame_to_world(frame, from), frame_to_world_direction(frame, vec3_sub(to, from)),
                      up, 1, 64);
    }
}

static bool write_tube(struct making *making, struct arena scratch, struct error *err)
{
    struct shape shape = {
        .value = tube_value,
        .slope = 1.5,
        .box = {{-TUBE_RADIUS, -TUBE_RADIUS, -TUBE_HALF}, {TUBE_RADIUS, TUBE_RADIUS, TUBE_HALF}},
        .frame = making->shell.frame};
    struct draft axis, wall;
    struct arena keep;

    if (!arena_split(&scratch, arena_left(&scratch) / 2, &keep)
        || !new_rectangles(&axis, 3, 1, 64, &keep, err))
        return arena_error(err);
    add_axis(&axis, &shape.frame);
    return make_triangles(&shape, 2000, making->triangles, 0, 1, &wall, &keep, scratch, err)
           && write_pair(making, "tube", &axis, &wall, err);
}

static bool write_class(struct making *making, const char *class, struct arena scratch, struct error *err)
{
    static const struct {
        const char *name;
        bool (*write)(struct making *making, struct arena scratch, struct error *err);
    } classes[] = {{"scan", write_formats},      {"decimated", write_decimated},
                   {"rescan", write_rescan},     {"near6", write_near6},
                   {"near7", write_near7},       {"hole", write_hole},
                   {"bridge", write_bridge},     {"tip", write_tip},
                   {"smoothed", write_smoothed}, {"midpoint", write_midpoint},
                   {"plate", write_plate},       {"cube", write_cube},
                   {"limit", write_limit},       {"spheres", write_spheres},
                   {"tube", write_tube},         {"mend", write_mend},
                   {"relisted", write_relisted}};

    if (strncmp(class, "cage:", 5) == 0)
        return write_cage(making, strtoul(class + 5, NULL, 10), scratch, err);
    for (size_t i = 0; i < sizeof classes / sizeof *classes; i++)
        if (strcmp(class, classes[i].name) == 0)
            return classes[i].write(making, scratch, err);
    return error_set(err, ERROR_NOT_FOUND, "there is no class '%s'", class);
}

static bool make_scan(struct making *making, struct arena *keep, struct arena scratch, struct error *err)
{
    if (!make_triangles(&making->shell, SHELL_FACES, making->triangles, 0.1, 1, &making->scan, keep, scratch,
                        err))
        return false;
    making->diagonal = box_diagonal(&making->scan);
    snprintf(making->scan_file, sizeof making->scan_file, "scan-%zu.ply", making->triangles);
    return write_mesh(making->folder, making->scan_file, &making->scan, err);
}

int main(int argc, char **argv)
{
    static const struct gastropod shell = {2, 1.5, 12, 0.545, 2.25, 0.9, 0.3, 0.42, 0.25, 17, 0.018};
    const struct frame frame = frame_turned((vec3){0.31, -0.82, 0.47}, 0.93, (vec3){4.3, -2.7, 11.9});
    struct making making = {0};
    struct arena arena = {0}, keep;
    struct error err = {0};
    bool ok = false;

    if (argc < 3) {
        fputs("usage: bench-pairs FOLDER TRIANGLES [CLASS...]\n", stderr);
        return 2;
    }
    making.folder = argv[1];
    making.triangles = strtoul(argv[2], NULL, 10);
    gastropod_make(&shell, &frame, &making.shell);
    if (mkdir(making.folder, 0777) != 0 && errno != EEXIST) {
        error_set(&err, ERROR_MACHINE, "%s: %s", making.folder, strerror(errno));
        goto out;
    }
    if (!arena_open(&arena, ARENA_BYTES, &err))
        goto out;
    if (!arena_split(&arena, ARENA_BYTES / 4, &keep) || !make_scan(&making, &keep, arena, &err))
        goto out;
    for (int i = 3; i < argc; i++)
        if (!write_class(&making, argv[i], arena, &err))
            goto out;
    ok = true;

out:
    arena_close(&arena);
    if (!ok)
        fprintf(stderr, "bench-pairs: %s\n", err.text);
    return ok ? 0 : 5;
}
