/* triangulation.h - the triangles that stand for a mesh's faces when distances are measured.
 *
 * The cut does not depend on which corner of a face is listed first, apart from exact ties:
 *   - a triangle is itself, rotated as listed;
 *   - a quad is cut along the diagonal that lies inside it where only one does (a concave quad), else along
 * the shorter one; a tie: first to third corner;
 *   - a polygon is projected along its Newell normal (the sum of the cross products of its corners) and cut
 * by a plane sweep in O(n log n): see polygon_cut.h; where its projection crosses itself or has no area, a
 * fan about its corner of smallest coordinates, which is counted. Triangles keep the direction of their face,
 * and come in the order of faces. */
#ifndef MESH_TRIANGULATION_H
#define MESH_TRIANGULATION_H

#include "mesh/mesh.h"

struct triangulation {
    size_t triangle_count;
    uint32_t (*corners)[3]; /* [triangle_count] vertices of the mesh; where all its faces are triangles, the
                             * mesh's own list */
    uint32_t *faces;        /* [triangle_count] the face each belongs to; NULL where each is a face */
    size_t fan_count;       /* faces of more than four corners that could not be cut and became fans */
    size_t first_fan;       /* the first of them, when there is one */
};

/* The face that triangle t belongs to. */
static inline uint32_t triangulation_face(const struct triangulation *triangulation, size_t t)
{
    return triangulation->faces ? triangulation->faces[t] : (uint32_t)t;
}

/* The mesh must be valid, and outlive its triangulation. ERROR_LIMIT when memory ends or a face has more than
 * MESH_MAX_FACE_CORNERS corners.
 */
bool triangulation_build(const struct mesh *mesh, struct triangulation *triangulation, struct arena *keep,
                         struct arena scratch, struct error *err);

/* True when every corner names a vertex and every triangle a face of the mesh. */
bool triangulation_is_valid(const struct triangulation *triangulation, const struct mesh *mesh);

#endif
