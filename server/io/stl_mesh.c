/* stl_mesh.c - facets become triangles over merged vertices; shared by both forms of STL. */
#include "io/stl.h"

#include <string.h>

bool stl_mesh_begin(struct stl_mesh *stl, const struct source *source, size_t most_facets, struct arena *keep,
                    struct arena *scratch, struct error *err)
{
    size_t limit = MESH_MAX_CORNERS / 3;
    size_t facets = most_facets < limit ? most_facets : limit;

    *stl = (struct stl_mesh){.source = source};
    stl->facet_room = source_room(scratch, facets, 3 * sizeof *stl->corners, 0.4);
    stl->corners = ARENA_NEW(scratch, uint32_t, 3 * stl->facet_room);
    size_t vertex_room = source_room(keep, 3 * facets, sizeof(vec3), 0.7);
    vec3 *positions = ARENA_NEW(keep, vec3, vertex_room);
    if (!stl->corners || !positions)
        return arena_error(err);
    /* a closed surface has about half as many vertices as triangles; the table grows where there are more */
    return weld_begin(&stl->weld, positions, vertex_room, facets / 2, source->seed, scratch, err);
}

/* Stored normals need not be unit vectors. Only those more than 120 degrees off the winding count as opposed:
 * slivers are rounded in the file, which turns their computed normal. Common practice, no source. */
static void compare_normal(struct stl_mesh *stl, vec3 normal, const vec3 corners[3])
{
    double length_sq = vec3_length_sq(normal);
    if (!(length_sq > 0.0) || !isfinite(length_sq)) {
        stl->normals_ignored++;
        return;
    }
    vec3 winding = vec3_cross(vec3_sub(corners[1], corners[0]), vec3_sub(corners[2], corners[0]));
    if (vec3_dot(normal, winding) < -0.5 * sqrt(length_sq) * vec3_length(winding))
        stl->normals_disagree++;
}

bool stl_mesh_add_hashed(struct stl_mesh *stl, vec3 normal, const vec3 corners[3], const uint64_t hashes[3],
                         struct arena *scratch, struct error *err)
{
    if (stl->facet_count == stl->facet_room)
        return source_refuse_full(stl->source, stl->facet_count, MESH_MAX_CORNERS / 3, "facets", err);
    compare_normal(stl, normal, corners);
    for (size_t c = 0; c < 3; c++)
        if (!weld_vertex(&stl->weld, corners[c], hashes[c], &stl->corners[3 * stl->facet_count + c], scratch,
                         err))
            return false;
    stl->facet_count++;
    return true;
}

bool stl_mesh_add(struct stl_mesh *stl, vec3 normal, const vec3 corners[3], struct arena *scratch,
                  struct error *err)
{
    vec3 points[3];
    uint64_t hashes[3];
    for (size_t c = 0; c < 3; c++) {
        points[c] = weld_point(corners[c]);
        hashes[c] = weld_hash(&stl->weld, points[c]);
    }
    return stl_mesh_add_hashed(stl, normal, points, hashes, scratch, err);
}

bool stl_mesh_end(struct stl_mesh *stl, struct mesh *mesh, struct arena *keep, struct error *err)
{
    struct mesh_file *file = stl->source->file;
    size_t corner_count = 3 * stl->facet_count;

    arena_trim(keep, stl->weld.positions, stl->weld.vertex_count, sizeof(vec3));
    mesh->positions = stl->weld.positions;
    mesh->vertex_count = stl->weld.vertex_count;
    mesh->face_count = stl->facet_count;
    mesh->face_offsets = ARENA_NEW(keep, uint32_t, stl->facet_count + 1);
    mesh->face_vertices = ARENA_NEW(keep, uint32_t, corner_count);
    if (!mesh->face_offsets || !mesh->face_vertices)
        return arena_error(err);
    for (size_t f = 0; f <= stl->facet_count; f++)
        mesh->face_offsets[f] = (uint32_t)(3 * f);
    memcpy(mesh->face_vertices, stl->corners, corner_count * sizeof *stl->corners);

    file->merged_vertices = corner_count - mesh->vertex_count;
    if (stl->normals_ignored)
        warning_add(&file->warnings, "normals_ignored", stl->normals_ignored,
                    "stored normals are zero or not finite; the winding of the corners was used");
    if (stl->normals_disagree)
        warning_add(&file->warnings, "normals_disagree", stl->normals_disagree,
                    "stored normals oppose the winding of the corners; the winding was used");
    return true;
}
