/* surface_clusters.c - sorts by Morton code, then writes run by run. */
#include "picture/surface_clusters.h"

#include "picture/picture_file.h"
#include "picture/surface_corner.h"

#include <string.h>

#define AXIS_BITS 10
#define DIGIT_BITS 10
#define DIGITS (1u << DIGIT_BITS)
#define NO_CLUSTER UINT32_MAX

_Static_assert(3 * CLUSTER_TRIANGLES <= UINT16_MAX, "corners of a cluster fit its triangles");
_Static_assert(sizeof(struct surface_cluster) == 72, "no padding");

struct placed {
    uint32_t code, triangle;
};

/* Where the vertices of the mesh are in the cluster that is written. */
struct writing {
    const struct mesh *mesh;
    const struct triangulation *triangulation;
    const struct surface_form *form;
    const float (*normals)[3];
    const struct placed *placed;
    uint32_t *in_cluster; /* [vertex count] */
    uint16_t *local;      /* [vertex count] */
    uint32_t *vertices;   /* of the cluster */
    struct surface_corner *corners;
    uint16_t (*triangles)[3];
    uint32_t *faces;
    uint16_t *aspects, *shells;
    uint8_t *edges;
};

/* Every third bit. */
static uint32_t spread(uint32_t bits)
{
    bits = (bits | bits << 16) & 0x030000ff;
    bits = (bits | bits << 8) & 0x0300f00f;
    bits = (bits | bits << 4) & 0x030c30c3;
    return (bits | bits << 2) & 0x09249249;
}

static vec3 corner_of(const struct mesh *mesh, const struct triangulation *triangulation, size_t t, int i)
{
    return mesh->positions[triangulation->corners[t][i]];
}

static uint32_t code_of(const struct mesh *mesh, const struct triangulation *triangulation,
                        const struct corner_grid *grid, size_t t)
{
    uint32_t code = 0, place[3] = {0, 0, 0};

    for (int i = 0; i < 3; i++) {
        struct surface_corner corner =
            surface_corner_of(grid, corner_of(mesh, triangulation, t, i), (vec3){0, 0, 0});
        for (int axis = 0; axis < 3; axis++)
            place[axis] += corner.place[axis];
    }
    for (int axis = 0; axis < 3; axis++)
        code |= spread(place[axis] / 3 >> (16 - AXIS_BITS)) << axis;
    return code;
}

/* By radix, stable, so equals keep the order of triangles. */
static struct placed *sort(struct placed *from, struct placed *to, size_t count)
{
    for (int shift = 0; shift < 3 * AXIS_BITS; shift += DIGIT_BITS) {
        size_t begin[DIGITS] = {0}, sum = 0;
        for (size_t i = 0; i < count; i++)
            begin[from[i].code >> shift & (DIGITS - 1)]++;
        for (size_t digit = 0; digit < DIGITS; digit++) {
            size_t here = begin[digit];
            begin[digit] = sum;
            sum += here;
        }
        for (size_t i = 0; i < count; i++)
            to[begin[from[i].code >> shift & (DIGITS - 1)]++] = from[i];
        struct placed *sorted = to;
        to = from;
        from = sorted;
    }
    return from;
}

/* Gives the vertices of a cluster numbers of their own, and its triangles. */
static aabb gather(struct writing *writing, uint32_t number, size_t begin, struct surface_cluster *cluster)
{
    aabb box = aabb_empty();

    for (size_t k = 0; k < cluster->triangle_count; k++) {
        uint32_t t = writing->placed[begin + k].triangle;
        for (int i = 0; i < 3; i++) {
            uint32_t v = writing->triangulation->corners[t][i];
            if (writing->in_cluster[v] != number) {
                writing->in_cluster[v] = number;
                writing->local[v] = (uint16_t)cluster->vertex_count;
                writing->vertices[cluster->vertex_count++] = v;
                box = aabb_include(box, writing->mesh->positions[v]);
            }
            writing->triangles[k][i] = writing->local[v];
        }
        uint32_t f = writing->faces[k] = triangulation_face(writing->triangulation, t);
        writing->aspects[k] = writing->form->face_aspect[f];
        writing->shells[k] = writing->form->face_shell[f];
    }
    return box;
}

static void set_box(struct surface_cluster *cluster, aabb box)
{
    const double min[3] = {box.min.x, box.min.y, box.min.z}, max[3] = {box.max.x, box.max.y, box.max.z};

    for (int axis = 0; axis < 3; axis++) {
        cluster->min[axis] = nextafterf((float)min[axis], -INFINITY);
        cluster->max[axis] = nextafterf((float)max[axis], INFINITY);
    }
}

/* One after another, each at a multiple of 8. */
static bool write_parts(const struct writing *writing, const struct surface_cluster *cluster, int fd,
                        uint64_t *end, struct error *err)
{
    size_t vertices = cluster->vertex_count, triangles = cluster->triangle_count;
    const struct {
        const void *bytes;
        size_t count;
    } parts[] = {{writing->corners, vertices * sizeof *writing->corners},
                 {writing->triangles, triangles * sizeof *writing->triangles},
                 {writing->faces, triangles * sizeof *writing->faces},
                 {writing->vertices, vertices * sizeof *writing->vertices},
                 {writing->aspects, triangles * sizeof *writing->aspects},
                 {writing->shells, triangles * sizeof *writing->shells},
                 {writing->edges, vertices * sizeof *writing->edges}};

    *end = cluster->offset;
    for (size_t i = 0; i < sizeof parts / sizeof *parts; i++) {
        uint64_t at = *end;
        *end = picture_align(at + parts[i].count);
        if (!picture_write_end(fd, *end, err)
            || !picture_write_at(fd, parts[i].bytes, parts[i].count, at, err))
            return false;
    }
    return true;
}

static bool write_cluster(struct writing *writing, uint32_t number, size_t begin, int fd,
                          struct surface_cluster *cluster, uint64_t *end, struct error *err)
{
    aabb box = gather(writing, number, begin, cluster);
    struct corner_grid grid = corner_grid_about(box);

    set_box(cluster, box);
    memcpy(cluster->origin, &grid.origin, sizeof cluster->origin);
    cluster->step = grid.step;
    for (size_t v = 0; v < cluster->vertex_count; v++) {
        uint32_t source = writing->vertices[v];
        const float *normal = writing->normals[source];
        writing->corners[v] =
            surface_corner_of(&grid, writing->mesh->positions[source],
                              (vec3){(double)normal[0], (double)normal[1], (double)normal[2]});
        writing->edges[v] = writing->form->vertex_edges[source];
    }
    return write_parts(writing, cluster, fd, end, err);
}

bool surface_clusters_write(const struct mesh *mesh, const struct triangulation *triangulation, aabb box,
                            const struct surface_form *form, const float (*normals)[3], int fd,
                            uint64_t offset, uint64_t *end, struct arena scratch, struct error *err)
{
    size_t count = triangulation->triangle_count,
           cluster_count = count / CLUSTER_TRIANGLES + (count % CLUSTER_TRIANGLES != 0);
    struct corner_grid grid = corner_grid_about(box);
    struct placed *placed = ARENA_NEW(&scratch, struct placed, count),
                  *other = ARENA_NEW(&scratch, struct placed, count);
    struct surface_cluster *table = ARENA_ZERO(&scratch, struct surface_cluster, cluster_count);
    struct writing writing = {
        .mesh = mesh,
        .triangulation = triangulation,
        .form = form,
        .normals = normals,
        .in_cluster = ARENA_NEW(&scratch, uint32_t, mesh->vertex_count),
        .local = ARENA_NEW(&scratch, uint16_t, mesh->vertex_count),
        .vertices = ARENA_NEW(&scratch, uint32_t, 3 * CLUSTER_TRIANGLES),
        .corners = ARENA_NEW(&scratch, struct surface_corner, 3 * CLUSTER_TRIANGLES),
        .triangles = arena_alloc(&scratch, CLUSTER_TRIANGLES, sizeof *writing.triangles, _Alignof(uint16_t)),
        .faces = ARENA_NEW(&scratch, uint32_t, CLUSTER_TRIANGLES),
        .aspects = ARENA_NEW(&scratch, uint16_t, CLUSTER_TRIANGLES),
        .shells = ARENA_NEW(&scratch, uint16_t, CLUSTER_TRIANGLES),
        .edges = ARENA_NEW(&scratch, uint8_t, 3 * CLUSTER_TRIANGLES)};

    if (scratch.failed)
        return arena_error(err);
    memset(writing.in_cluster, 0xff, mesh->vertex_count * sizeof *writing.in_cluster);
    for (size_t t = 0; t < count; t++)
        placed[t] = (struct placed){code_of(mesh, triangulation, &grid, t), (uint32_t)t};
    writing.placed = sort(placed, other, count);
    *end = picture_align(offset + cluster_count * sizeof *table);
    for (size_t k = 0; k < cluster_count; k++) {
        size_t begin = k * CLUSTER_TRIANGLES, left = count - begin;
        table[k].offset = *end;
        table[k].triangle_count = (uint32_t)(left < CLUSTER_TRIANGLES ? left : CLUSTER_TRIANGLES);
        if (!write_cluster(&writing, (uint32_t)k, begin, fd, &table[k], end, err))
            return false;
    }
    return picture_write_at(fd, table, cluster_count * sizeof *table, offset, err);
}
