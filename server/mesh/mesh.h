/* mesh.h - a polygon mesh exactly as it was read; nothing derived is kept here.
 *
 * Faces are stored flat: the corners of face f are
 *     face_vertices[face_offsets[f]] ... face_vertices[face_offsets[f + 1] - 1]
 * counter-clockwise seen from outside. Lengths are in the units of the file.
 *
 * All arrays belong to the arena given to the reader; a mesh is never freed alone. */
#ifndef MESH_MESH_H
#define MESH_MESH_H

#include "base/arena.h"
#include "geom/vec3.h"
#include "mesh/creases.h"

struct mesh {
    size_t vertex_count;
    size_t face_count;
    vec3 *positions;         /* [vertex_count], all finite */
    uint32_t *face_offsets;  /* [face_count + 1], first is 0, never descending */
    uint32_t *face_vertices; /* [mesh_corner_count()] */
    struct creases creases;  /* as marked in the file; most have none */
};

/* Readers refuse more (ERROR_LIMIT), so that no later room checks: indices and offsets fit uint32_t, and
 * twice a corner count does too. */
#define MESH_MAX_VERTICES ((size_t)1 << 31)
#define MESH_MAX_CORNERS ((size_t)1 << 31)
#define MESH_MAX_FACE_CORNERS ((size_t)1000000)

static inline size_t mesh_corner_count(const struct mesh *mesh)
{
    return mesh->face_count ? mesh->face_offsets[mesh->face_count] : 0;
}
static inline size_t mesh_face_size(const struct mesh *mesh, size_t f)
{
    return mesh->face_offsets[f + 1] - mesh->face_offsets[f];
}
static inline const uint32_t *mesh_face(const struct mesh *mesh, size_t f)
{
    return mesh->face_vertices + mesh->face_offsets[f];
}

/* True when the offsets never descend, every face has three or more corners, every corner names a vertex and
 * every position is finite. Says nothing about manifoldness: see topology/. */
bool mesh_is_valid(const struct mesh *mesh);

#endif
