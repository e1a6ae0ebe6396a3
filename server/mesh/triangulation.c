/* triangulation.c - faces become triangles: quads by their diagonals, polygons by the sweep or a fan. */
#include "mesh/triangulation.h"

#include "mesh/polygon_cut.h"

#include <assert.h>
#include <math.h>
#include <string.h>

struct polygon_room {
    struct polygon_cutter cutter;
    vec3 *local;           /* corners about the first, scaled to at most 1 */
    polygon_point *points; /* the same, projected */
    uint32_t *listed;      /* corners in canonical order */
    uint32_t (*cut)[3];
};

/* a - b, halved so that it cannot overflow. */
static vec3 half_difference(vec3 a, vec3 b)
{
    return vec3_sub(vec3_scale(a, 0.5), vec3_scale(b, 0.5));
}

static double largest_part(vec3 a)
{
    return fmax(fabs(a.x), fmax(fabs(a.y), fabs(a.z)));
}

/* The power of two that brings `size` below 1, exactly; 1 for a size of 0. */
static double scale_to_one(double size)
{
    int exponent = 0;

    frexp(size, &exponent);
    return size > 0 ? ldexp(1, exponent > -1000 ? -exponent : 1000) : 1;
}

/* True when the quad is to be cut from corner 1 to corner 3 instead of from corner 0 to corner 2. */
static bool cut_from_second(const vec3 *positions, const uint32_t *corner)
{
    vec3 p[4], d[2], side[4];
    double size = 0, inside[4];

    for (int i = 0; i < 4; i++) {
        side[i] = half_difference(positions[corner[(i + 1) & 3]], positions[corner[i]]);
        size = fmax(size, largest_part(side[i]));
    }
    for (int i = 0; i < 2; i++) {
        d[i] = half_difference(positions[corner[i + 2]], positions[corner[i]]);
        size = fmax(size, largest_part(d[i]));
    }
    double scale = scale_to_one(size);
    for (int i = 0; i < 4; i++)
        p[i] = vec3_scale(side[i], scale);
    vec3 first = vec3_scale(d[0], scale), second = vec3_scale(d[1], scale);
    vec3 normal = vec3_cross(first, second); /* twice the vector area: Newell's normal of a quad */
    for (int i = 0; i < 4; i++)              /* negative where the corner is reflex */
        inside[i] = vec3_dot(vec3_cross(p[i], vec3_scale(p[(i + 3) & 3], -1)), normal);

    bool first_inside = inside[1] >= 0 && inside[3] >= 0, second_inside = inside[0] >= 0 && inside[2] >= 0;
    if (first_inside != second_inside)
        return second_inside;
    return vec3_length_sq(second) < vec3_length_sq(first);
}

static int compare_positions(vec3 a, vec3 b)
{
    if (a.x != b.x)
        return a.x < b.x ? -1 : 1;
    if (a.y != b.y)
        return a.y < b.y ? -1 : 1;
    return (a.z > b.z) - (a.z < b.z);
}

/* The corners again, beginning with the one of smallest coordinates, so that rounding does not depend on
 * which is listed first. */
static void list_canonically(const vec3 *positions, const uint32_t *corners, size_t count, uint32_t *listed)
{
    size_t first = 0;

    for (size_t i = 1; i < count; i++)
        if (compare_positions(positions[corners[i]], positions[corners[first]]) < 0)
            first = i;
    for (size_t i = 0; i < count; i++)
        listed[i] = corners[(first + i) % count];
}

/* Projects along Newell's normal onto the coordinate plane that faces it most; counter-clockwise stays so.
 * False when the polygon has no area. */
static bool project(const vec3 *positions, size_t count, struct polygon_room *room)
{
    vec3 normal = {0, 0, 0};
    double size = 0;

    for (size_t i = 0; i < count; i++) {
        room->local[i] = half_difference(positions[room->listed[i]], positions[room->listed[0]]);
        size = fmax(size, largest_part(room->local[i]));
    }
    for (size_t i = 0; i < count; i++)
        room->local[i] = vec3_scale(room->local[i], scale_to_one(size));
    for (size_t i = 1; i + 1 < count; i++)
        normal = vec3_add(normal, vec3_cross(room->local[i], room->local[i + 1]));

    double n[3] = {normal.x, normal.y, normal.z};
    int axis = fabs(n[0]) >= fabs(n[1]) && fabs(n[0]) >= fabs(n[2]) ? 0 : fabs(n[1]) >= fabs(n[2]) ? 1 : 2;
    int u = (axis + 1) % 3, v = (axis + 2) % 3;
    if (!(fabs(n[axis]) > 0))
        return false;
    for (size_t i = 0; i < count; i++) {
        double p[3] = {room->local[i].x, room->local[i].y, room->local[i].z}, depth = p[axis] / n[axis];
        double x = p[u] - n[u] * depth, y = p[v] - n[v] * depth;
        room->points[i] = n[axis] > 0 ? (polygon_point){x, y} : (polygon_point){y, x};
    }
    return true;
}

static void add_triangle(struct triangulation *triangulation, uint32_t a, uint32_t b, uint32_t c, size_t face)
{
    uint32_t *corners = triangulation->corners[triangulation->triangle_count];

    corners[0] = a;
    corners[1] = b;
    corners[2] = c;
    triangulation->faces[triangulation->triangle_count++] = (uint32_t)face;
}

static void cut_polygon(const struct mesh *mesh, size_t f, struct polygon_room *room,
                        struct triangulation *triangulation)
{
    size_t count = mesh_face_size(mesh, f);
    const uint32_t *listed = room->listed;

    list_canonically(mesh->positions, mesh_face(mesh, f), count, room->listed);
    if (project(mesh->positions, count, room) && polygon_cut(&room->cutter, room->points, count, room->cut)) {
        for (size_t t = 0; t + 2 < count; t++)
            add_triangle(triangulation, listed[room->cut[t][0]], listed[room->cut[t][1]],
                         listed[room->cut[t][2]], f);
        return;
    }
    if (triangulation->fan_count++ == 0)
        triangulation->first_fan = f;
    for (size_t i = 1; i + 1 < count; i++)
        add_triangle(triangulation, listed[0], listed[i], listed[i + 1], f);
}

static void cut_face(const struct mesh *mesh, size_t f, struct polygon_room *room,
                     struct triangulation *triangulation)
{
    const uint32_t *corner = mesh_face(mesh, f);

    switch (mesh_face_size(mesh, f)) {
    case 3:
        add_triangle(triangulation, corner[0], corner[1], corner[2], f);
        break;
    case 4:
        if (cut_from_second(mesh->positions, corner)) {
            add_triangle(triangulation, corner[0], corner[1], corner[3], f);
            add_triangle(triangulation, corner[1], corner[2], corner[3], f);
        } else {
            add_triangle(triangulation, corner[0], corner[1], corner[2], f);
            add_triangle(triangulation, corner[0], corner[2], corner[3], f);
        }
        break;
    default:
        cut_polygon(mesh, f, room, triangulation);
    }
}

/* 0 where it is more than the limit. */
static size_t largest_face(const struct mesh *mesh, struct error *err)
{
    size_t largest = 3;

    for (size_t f = 0; f < mesh->face_count; f++) {
        size_t size = mesh_face_size(mesh, f);
        if (size > MESH_MAX_FACE_CORNERS) {
            error_set(err, ERROR_LIMIT,
                      "face %zu has %zu corners, more than the limit of %zu; split it before uploading", f,
                      size, MESH_MAX_FACE_CORNERS);
            return 0;
        }
        largest = size > largest ? size : largest;
    }
    return largest;
}

bool triangulation_build(const struct mesh *mesh, struct triangulation *triangulation, struct arena *keep,
                         struct arena scratch, struct error *err)
{
    const size_t triangle_count = mesh_corner_count(mesh) - 2 * mesh->face_count;
    struct polygon_room room = {0};

    memset(triangulation, 0, sizeof *triangulation);
    if (triangle_count == mesh->face_count) { /* no face has fewer corners than three: all are triangles */
        triangulation->triangle_count = triangle_count;
        triangulation->corners = (uint32_t(*)[3])mesh->face_vertices;
        return true;
    }
    const size_t largest = largest_face(mesh, err);
    if (largest == 0)
        return false;
    triangulation->corners = arena_alloc(keep, triangle_count, sizeof *triangulation->corners, 4);
    triangulation->faces = ARENA_NEW(keep, uint32_t, triangle_count);
    if (!triangulation->corners || !triangulation->faces)
        return arena_error(err);
    room.local = ARENA_NEW(&scratch, vec3, largest);
    room.points = ARENA_NEW(&scratch, polygon_point, largest);
    room.listed = ARENA_NEW(&scratch, uint32_t, largest);
    room.cut = arena_alloc(&scratch, largest, sizeof *room.cut, 4);
    if (!polygon_cutter_open(&room.cutter, largest, &scratch) || !room.local || !room.points || !room.listed
        || !room.cut)
        return arena_error(err);
    for (size_t f = 0; f < mesh->face_count; f++)
        cut_face(mesh, f, &room, triangulation);
    assert(triangulation->triangle_count == triangle_count);
    return true;
}

bool triangulation_is_valid(const struct triangulation *triangulation, const struct mesh *mesh)
{
    for (size_t t = 0; t < triangulation->triangle_count; t++) {
        if (triangulation_face(triangulation, t) >= mesh->face_count)
            return false;
        for (int i = 0; i < 3; i++)
            if (triangulation->corners[t][i] >= mesh->vertex_count)
                return false;
    }
    return true;
}
