/* surface.c - quantises, simplifies where there is too much, and writes the sections one after another. */
#include "picture/surface.h"

#include "measure/deviation.h"
#include "picture/picture_file.h"
#include "picture/simplify.h"
#include "picture/surface_clusters.h"
#include "picture/surface_corner.h"
#include "picture/surface_form.h"

#include <string.h>

_Static_assert(__BYTE_ORDER__ == __ORDER_LITTLE_ENDIAN__, "arrays are written as they are");

#define ERROR_WIDTH 1e-3 /* of the diagonal: of the interval that tells the error of simplifying */

enum { FLAG_SIMPLIFIED = 1, FLAG_FACES = 2, FLAG_SOURCES = 4 };
enum {
    VERTICES,
    COARSEST,
    COARSE,
    TRIANGLES,
    FACES,
    SOURCES,
    ASPECTS,
    SHELLS,
    EDGES,
    CLUSTERS,
    END,
    SECTIONS
};

/* The head of the file, as it is written. */
struct head {
    char magic[8];
    uint32_t head_bytes, flags, vertex_count, triangle_count, coarse_count, coarsest_count, cluster_count,
        zero;
    double origin[3], step, quantisation_error, simplification_error;
    uint64_t face_count, sections[SECTIONS];
};
_Static_assert(sizeof(struct head) == SURFACE_HEADER_BYTES, "no padding");

/* Fewer triangles over the vertices that are drawn. */
struct level {
    size_t count;
    uint32_t (*triangles)[3];
};

/* What the page gets, over the vertices of the mesh until `compact`. */
struct drawn {
    size_t vertex_count, triangle_count;
    uint32_t (*triangles)[3];
    struct level coarse, coarsest;
    const uint32_t *faces;            /* [triangle_count], or, simplified, [vertex_count], or NULL */
    const uint32_t *sources;          /* [vertex_count] or NULL */
    size_t element_count;             /* of aspects and shells */
    const uint16_t *aspects, *shells; /* [element_count]; shells may be NULL */
    const uint8_t *edges;             /* [vertex_count] */
};

struct making {
    const struct surface_request *request;
    const struct mesh *mesh;
    struct triangulation triangulation;
    aabb box;             /* of what the faces have */
    float (*near_one)[3]; /* [mesh vertex count] from -1 to 1 */
    float (*normals)[3];  /* [mesh vertex count] of any length */
    struct surface_form form;
    bool many_shells;
    struct drawn drawn;
    double simplification_error;
    int fd;
};

struct surface_request surface_request_default(void)
{
    return (struct surface_request){
        SURFACE_WHOLE_MAX, SURFACE_SIMPLIFIED, SURFACE_COARSE, SURFACE_COARSEST, 1, NULL};
}

static bool tell(const struct making *making, double fraction, struct error *err)
{
    return progress_tell(making->request->progress, "picture", fraction)
           || error_set(err, ERROR_CANCELLED, "measuring was stopped");
}

static void put(float *to, vec3 p)
{
    to[0] = (float)p.x;
    to[1] = (float)p.y;
    to[2] = (float)p.z;
}

/* Places from -1 to 1 within the box, and normals weighted by the areas of the faces. */
static bool look_at_mesh(struct making *making, struct arena *arena, struct error *err)
{
    const struct mesh *mesh = making->mesh;
    const struct triangulation *triangulation = &making->triangulation;

    making->near_one = arena_calloc(arena, mesh->vertex_count, sizeof *making->near_one, _Alignof(float));
    making->normals = arena_calloc(arena, mesh->vertex_count, sizeof *making->normals, _Alignof(float));
    if (!making->near_one || !making->normals)
        return arena_error(err);
    making->box = aabb_empty();
    for (size_t t = 0; t < triangulation->triangle_count; t++)
        for (int i = 0; i < 3; i++)
            making->box = aabb_include(making->box, mesh->positions[triangulation->corners[t][i]]);
    struct corner_grid grid = corner_grid_about(making->box);
    double half = grid.step > 0 ? grid.step * (0.5 * CORNER_STEPS) : 1;
    for (size_t v = 0; v < mesh->vertex_count; v++)
        put(making->near_one[v],
            vec3_sub(vec3_scale(vec3_sub(mesh->positions[v], grid.origin), 1 / half), (vec3){1, 1, 1}));
    for (size_t t = 0; t < triangulation->triangle_count; t++) {
        const uint32_t *corners = triangulation->corners[t];
        vec3 p[3];
        for (int i = 0; i < 3; i++) {
            const float *near = making->near_one[corners[i]];
            p[i] = (vec3){(double)near[0], (double)near[1], (double)near[2]};
        }
        vec3 normal = vec3_cross(vec3_sub(p[1], p[0]), vec3_sub(p[2], p[0]));
        for (int i = 0; i < 3; i++) {
            float *sum = making->normals[corners[i]];
            put(sum, vec3_add((vec3){(double)sum[0], (double)sum[1], (double)sum[2]}, normal));
        }
    }
    return true;
}

static bool look_at_form(struct making *making, struct arena *arena, struct arena scratch, struct error *err)
{
    const struct mesh *mesh = making->mesh;

    if (!surface_form_build(mesh, making->request->threads, &making->form, arena, scratch, err))
        return false;
    for (size_t f = 0; f < mesh->face_count; f++)
        making->many_shells = making->many_shells || making->form.face_shell[f] > 0;
    arena_release(&scratch);
    return true;
}

/* Keeps the vertices that the simplified triangles have. */
static bool compact(struct making *making, struct arena *arena, struct arena scratch, struct error *err)
{
    struct drawn *drawn = &making->drawn;
    size_t vertex_count = making->mesh->vertex_count, kept = 0;
    uint32_t *numbers = ARENA_ZERO(&scratch, uint32_t, vertex_count);
    uint32_t *sources = ARENA_NEW(arena, uint32_t, 3 * drawn->triangle_count);

    if (!numbers || !sources)
        return arena_error(err);
    for (size_t t = 0; t < drawn->triangle_count; t++)
        for (int i = 0; i < 3; i++)
            numbers[drawn->triangles[t][i]] = 1;
    for (size_t v = 0; v < vertex_count; v++)
        if (numbers[v]) {
            sources[kept] = (uint32_t)v;
            numbers[v] = (uint32_t)kept++;
        }
    for (size_t t = 0; t < drawn->triangle_count; t++)
        for (int i = 0; i < 3; i++)
            drawn->triangles[t][i] = numbers[drawn->triangles[t][i]];
    drawn->sources = sources;
    drawn->vertex_count = kept;
    return true;
}

/* Of each vertex of the mesh, the greatest aspect ratio that is defined and the largest shell. */
static void look_at_vertices(const struct making *making, uint16_t *aspects, uint16_t *shells)
{
    const struct mesh *mesh = making->mesh;
    const struct surface_form *form = &making->form;

    for (size_t v = 0; v < mesh->vertex_count; v++) {
        aspects[v] = FORM_ASPECT_NONE;
        shells[v] = FORM_SHELL_MAX;
    }
    for (size_t f = 0; f < mesh->face_count; f++)
        for (size_t c = 0; c < mesh_face_size(mesh, f); c++) {
            uint32_t v = mesh_face(mesh, f)[c];
            uint16_t aspect = form->face_aspect[f];
            if (aspect != FORM_ASPECT_NONE && (aspects[v] == FORM_ASPECT_NONE || aspect > aspects[v]))
                aspects[v] = aspect;
            if (form->face_shell[f] < shells[v])
                shells[v] = form->face_shell[f];
        }
}

/* What the simplified vertices are part of in the mesh. */
static bool take_simplified_form(struct making *making, struct arena *arena, struct arena scratch,
                                 struct error *err)
{
    struct drawn *drawn = &making->drawn;
    size_t all = making->mesh->vertex_count, count = drawn->vertex_count;
    uint16_t *all_aspects = ARENA_NEW(&scratch, uint16_t, all),
             *all_shells = ARENA_NEW(&scratch, uint16_t, all);
    uint16_t *aspects = ARENA_NEW(arena, uint16_t, count), *shells = ARENA_NEW(arena, uint16_t, count);
    uint8_t *edges = ARENA_NEW(arena, uint8_t, count);
    uint32_t *faces = ARENA_NEW(arena, uint32_t, count);

    if (scratch.failed || arena->failed)
        return arena_error(err);
    look_at_vertices(making, all_aspects, all_shells);
    for (size_t v = 0; v < count; v++) {
        uint32_t source = drawn->sources[v];
        aspects[v] = all_aspects[source];
        shells[v] = all_shells[source];
        edges[v] = making->form.vertex_edges[source];
        faces[v] = making->form.vertex_face[source];
    }
    drawn->element_count = count;
    drawn->aspects = aspects;
    drawn->shells = making->many_shells ? shells : NULL;
    drawn->edges = edges;
    drawn->faces = faces;
    return true;
}

/* The simplified triangles as a mesh. */
static bool drawn_mesh(const struct making *making, struct mesh *mesh, struct arena *arena, struct error *err)
{
    const struct drawn *drawn = &making->drawn;

    *mesh = (struct mesh){.vertex_count = drawn->vertex_count,
                          .face_count = drawn->triangle_count,
                          .positions = ARENA_NEW(arena, vec3, drawn->vertex_count),
                          .face_offsets = ARENA_NEW(arena, uint32_t, drawn->triangle_count + 1),
                          .face_vertices = &drawn->triangles[0][0]};
    if (!mesh->positions || !mesh->face_offsets)
        return arena_error(err);
    for (size_t v = 0; v < drawn->vertex_count; v++)
        mesh->positions[v] = making->mesh->positions[drawn->sources[v]];
    for (size_t f = 0; f <= drawn->triangle_count; f++)
        mesh->face_offsets[f] = (uint32_t)(3 * f);
    return true;
}

/* How far the simplified triangles are from the mesh, both ways, as an upper bound. */
static bool find_error(struct making *making, struct arena scratch, struct error *err)
{
    struct measure_input whole, simple;
    struct farthest_place there, back;
    struct arena keep;
    struct mesh mesh;

    if (!arena_split(&scratch, arena_left(&scratch) / 2, &keep))
        return arena_error(err);
    if (!drawn_mesh(making, &mesh, &keep, err)
        || !measure_input_build_threaded(making->mesh, MESH_SCAN, making->request->threads, NULL, &whole,
                                         &keep, &keep, scratch, err)
        || !measure_input_build_threaded(&mesh, MESH_SCAN, making->request->threads, NULL, &simple, &keep,
                                         &keep, scratch, err))
        return false;
    double width = ERROR_WIDTH * whole.diagonal;
    if (!deviation_farthest(&whole, &simple, width, making->request->threads, NULL, &there, scratch, err)
        || !deviation_farthest(&simple, &whole, width, making->request->threads, NULL, &back, scratch, err))
        return false;
    making->simplification_error = fmax(there.distance.upper, back.distance.upper);
    return true;
}

static bool simplify_mesh(struct making *making, struct arena *arena, struct arena scratch, struct error *err)
{
    struct drawn *drawn = &making->drawn;
    size_t count = making->triangulation.triangle_count;

    drawn->triangles = arena_alloc(arena, count, sizeof *drawn->triangles, _Alignof(uint32_t));
    if (!drawn->triangles)
        return arena_error(err);
    drawn->triangle_count =
        simplify((const float(*)[3])making->near_one, making->mesh->vertex_count,
                 (const uint32_t(*)[3])making->triangulation.corners, count, making->request->simplified,
                 making->request->simplified / 2 * 3, drawn->triangles);
    if (drawn->triangle_count == 0) /* nothing but needles and points: the first of them stand for all */
        memcpy(drawn->triangles, making->triangulation.corners,
               (drawn->triangle_count = making->request->simplified) * sizeof *drawn->triangles);
    arena_trim(arena, drawn->triangles, drawn->triangle_count, sizeof *drawn->triangles);
    return tell(making, 0.4, err) && compact(making, arena, scratch, err)
           && take_simplified_form(making, arena, scratch, err) && find_error(making, scratch, err);
}

static bool take_whole(struct making *making)
{
    const struct triangulation *triangulation = &making->triangulation;

    making->drawn.vertex_count = making->mesh->vertex_count;
    making->drawn.triangle_count = triangulation->triangle_count;
    making->drawn.triangles = triangulation->corners;
    making->drawn.faces = triangulation->faces;
    making->drawn.element_count = making->mesh->face_count;
    making->drawn.aspects = making->form.face_aspect;
    making->drawn.shells = making->many_shells ? making->form.face_shell : NULL;
    making->drawn.edges = making->form.vertex_edges;
    return true;
}

/* The places of the vertices that are drawn. */
static const float (*drawn_places(const struct making *making, struct arena *arena))[3]
{
    const struct drawn *drawn = &making->drawn;

    if (!drawn->sources)
        return (const float(*)[3])making->near_one;
    float(*places)[3] = arena_alloc(arena, drawn->vertex_count, sizeof *places, _Alignof(float));
    for (size_t v = 0; places && v < drawn->vertex_count; v++)
        memcpy(places[v], making->near_one[drawn->sources[v]], sizeof *places);
    return (const float(*)[3])places;
}

/* About `wanted` of the triangles `from`; none where there are no more. */
static bool make_level(const float (*places)[3], size_t vertex_count, struct level from, size_t wanted,
                       struct level *level, struct arena *arena, struct error *err)
{
    if (from.count <= wanted)
        return true;
    level->triangles = arena_alloc(arena, from.count, sizeof *level->triangles, _Alignof(uint32_t));
    if (!level->triangles)
        return arena_error(err);
    level->count = simplify(places, vertex_count, (const uint32_t(*)[3])from.triangles, from.count, wanted,
                            wanted / 25 * 26, level->triangles);
    arena_trim(arena, level->triangles, level->count, sizeof *level->triangles);
    return true;
}

/* The coarsest is made of the coarse one, where there is one. */
static bool make_levels(struct making *making, struct arena *arena, struct arena scratch, struct error *err)
{
    struct drawn *drawn = &making->drawn;
    struct level whole = {drawn->triangle_count, drawn->triangles};
    const float(*places)[3] = drawn_places(making, &scratch);

    return (places || arena_error(err))
           && make_level(places, drawn->vertex_count, whole, making->request->coarse, &drawn->coarse, arena,
                         err)
           && make_level(places, drawn->vertex_count, drawn->coarse.count ? drawn->coarse : whole,
                         making->request->coarsest, &drawn->coarsest, arena, err);
}

static bool write_vertices(const struct making *making, struct head *head, struct arena scratch,
                           struct error *err)
{
    const struct drawn *drawn = &making->drawn;
    struct corner_grid grid = corner_grid_about(making->box);
    struct surface_corner *corners = ARENA_NEW(&scratch, struct surface_corner, drawn->vertex_count);
    bool *used = ARENA_ZERO(&scratch, bool, drawn->vertex_count);

    if (!corners || !used)
        return arena_error(err);
    memcpy(head->origin, &grid.origin, sizeof head->origin);
    head->step = grid.step;
    for (size_t t = 0; t < drawn->triangle_count; t++)
        for (int i = 0; i < 3; i++)
            used[drawn->triangles[t][i]] = true;
    for (size_t v = 0; v < drawn->vertex_count; v++) {
        uint32_t source = drawn->sources ? drawn->sources[v] : (uint32_t)v;
        const float *normal = making->normals[source];
        corners[v] = surface_corner_of(&grid, making->mesh->positions[source],
                                       (vec3){(double)normal[0], (double)normal[1], (double)normal[2]});
        if (used[v])
            head->quantisation_error =
                fmax(head->quantisation_error, vec3_distance(surface_corner_place(&grid, &corners[v]),
                                                             making->mesh->positions[source]));
    }
    return picture_write_at(making->fd, corners, drawn->vertex_count * sizeof *corners,
                            head->sections[VERTICES], err);
}

static bool write_all(const struct making *making, struct arena scratch, struct error *err)
{
    const struct drawn *drawn = &making->drawn;
    size_t all = making->triangulation.triangle_count;
    bool simplified = drawn->sources != NULL;
    struct head head = {
        .magic = "fettleS3",
        .head_bytes = sizeof head,
        .flags = (simplified ? FLAG_SIMPLIFIED | FLAG_SOURCES : 0) | (drawn->faces ? FLAG_FACES : 0),
        .vertex_count = (uint32_t)drawn->vertex_count,
        .triangle_count = (uint32_t)drawn->triangle_count,
        .coarse_count = (uint32_t)drawn->coarse.count,
        .coarsest_count = (uint32_t)drawn->coarsest.count,
        .cluster_count =
            simplified ? (uint32_t)(all / CLUSTER_TRIANGLES + (all % CLUSTER_TRIANGLES != 0)) : 0,
        .simplification_error = making->simplification_error,
        .face_count = making->mesh->face_count,
    };
    const struct {
        const void *bytes;
        size_t count;
    } sections[] = {
        [VERTICES] = {NULL, drawn->vertex_count * sizeof(struct surface_corner)},
        [COARSEST] = {drawn->coarsest.triangles, drawn->coarsest.count * sizeof *drawn->coarsest.triangles},
        [COARSE] = {drawn->coarse.triangles, drawn->coarse.count * sizeof *drawn->coarse.triangles},
        [TRIANGLES] = {drawn->triangles, drawn->triangle_count * sizeof *drawn->triangles},
        [FACES] = {drawn->faces, !drawn->faces ? 0
                                               : (simplified ? drawn->vertex_count : drawn->triangle_count)
                                                     * sizeof *drawn->faces},
        [SOURCES] = {drawn->sources, simplified ? drawn->vertex_count * sizeof *drawn->sources : 0},
        [ASPECTS] = {drawn->aspects, drawn->element_count * sizeof *drawn->aspects},
        [SHELLS] = {drawn->shells, drawn->shells ? drawn->element_count * sizeof *drawn->shells : 0},
        [EDGES] = {drawn->edges, drawn->vertex_count * sizeof *drawn->edges},
    };

    head.sections[VERTICES] = sizeof head;
    for (int s = VERTICES; s < CLUSTERS; s++)
        head.sections[s + 1] = picture_align(head.sections[s] + sections[s].count);
    if (!picture_write_end(making->fd, head.sections[CLUSTERS], err))
        return false;
    for (int s = COARSEST; s < CLUSTERS; s++)
        if (sections[s].count
            && !picture_write_at(making->fd, sections[s].bytes, sections[s].count, head.sections[s], err))
            return false;
    head.sections[END] = head.sections[CLUSTERS];
    return write_vertices(making, &head, scratch, err)
           && (!simplified
               || surface_clusters_write(making->mesh, &making->triangulation, making->box, &making->form,
                                         (const float(*)[3])making->normals, making->fd,
                                         head.sections[CLUSTERS], &head.sections[END], scratch, err))
           && picture_write_at(making->fd, &head, sizeof head, 0, err);
}

bool surface_write(const struct mesh *mesh, const struct surface_request *request, int fd,
                   struct arena scratch, struct error *err)
{
    struct making making = {.request = request, .mesh = mesh, .fd = fd};
    struct arena keep;

    if (!arena_split(&scratch, arena_left(&scratch) / 2, &keep))
        return arena_error(err);
    return tell(&making, 0, err) && triangulation_build(mesh, &making.triangulation, &keep, scratch, err)
           && look_at_mesh(&making, &keep, err) && look_at_form(&making, &keep, scratch, err)
           && (making.triangulation.triangle_count > request->whole_max
                   ? simplify_mesh(&making, &keep, scratch, err)
                   : take_whole(&making))
           && tell(&making, 0.7, err) && make_levels(&making, &keep, scratch, err) && tell(&making, 0.9, err)
           && write_all(&making, scratch, err);
}
