/* mesh.c - the check that makes a mesh's indices safe. */
#include "mesh/mesh.h"

static bool offsets_are_valid(const struct mesh *mesh)
{
    if (mesh->face_count == 0)
        return true;
    if (mesh->face_offsets[0] != 0)
        return false;
    for (size_t f = 0; f < mesh->face_count; f++)
        if (mesh->face_offsets[f + 1] < mesh->face_offsets[f] || mesh_face_size(mesh, f) < 3)
            return false;
    return true;
}

bool mesh_is_valid(const struct mesh *mesh)
{
    if (mesh->vertex_count > MESH_MAX_VERTICES || !offsets_are_valid(mesh)
        || mesh_corner_count(mesh) > MESH_MAX_CORNERS)
        return false;
    for (size_t c = 0; c < mesh_corner_count(mesh); c++)
        if (mesh->face_vertices[c] >= mesh->vertex_count)
            return false;
    for (size_t v = 0; v < mesh->vertex_count; v++) {
        vec3 p = mesh->positions[v];
        if (!isfinite(p.x) || !isfinite(p.y) || !isfinite(p.z))
            return false;
    }
    return true;
}
