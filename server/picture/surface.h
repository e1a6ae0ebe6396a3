/* surface.h - a mesh as the compact bytes that the page draws.
 *
 * A header of SURFACE_HEADER_BYTES, then sections, each beginning at a multiple of 8; little endian
 * throughout.
 *
 *     offset  type      what
 *          0  u8[8]     "fettleS3"
 *          8  u32       header bytes
 *         12  u32       flags: 1 the triangles are simplified, 2 `faces` follow, 4 `sources` follow
 *         16  u32       vertices   V
 *         20  u32       triangles  T
 *         24  u32       triangles of the coarse level  C; 0: the surface is small enough to be its own
 *         28  u32       triangles of the coarsest level; 0: the surface is small enough to be its own
 *         32  u32       clusters   K; not 0 only where the triangles are simplified
 *         36  u32       0
 *         40  f64[3]    origin  } vertex = origin + step * quantised, in the units of the file
 *         64  f64       step    }
 *         72  f64       largest distance between a vertex and its quantised place
 *         80  f64       certified upper bound of the distance between the mesh and the triangles, both
 *                       ways; 0 where they are the mesh's own (quantisation apart)
 *         88  u64       faces of the mesh  F
 *         96  u64[11]   offsets from the start of the sections, in this order, and of the end
 *
 *     vertices   u16 x, y, z, then the normal as two i8 in octahedral coordinates (Q. Meyer and others
 *                2010, "On floating-point normal vectors"); 8 bytes each
 *     coarsest   u32 x 3, over the same vertices
 *     coarse     u32 x 3, over the same vertices
 *     triangles  u32 x 3, counter-clockwise seen from outside, in the order of the mesh's faces
 *     faces      u32: the face of the mesh that each triangle belongs to; left out where triangle t is
 *                face t; where they are simplified, for each vertex the first face of the mesh there
 *     sources    u32: the vertex of the mesh that each vertex is; left out where vertex v is vertex v
 *     aspects    u16 for each face of the mesh; where the triangles are simplified, for each vertex the
 *                greatest that is defined of the faces there. As in surface_form.h, like these:
 *     shells     u16 for each face of the mesh; where the triangles are simplified, for each vertex the
 *                largest shell there; left out where there is one shell
 *     edges      u8 for each vertex
 *     clusters   all triangles of the mesh, in pieces that lie close together: see surface_clusters.h
 *
 * The same mesh gives the same bytes, whatever the number of threads. */
#ifndef PICTURE_SURFACE_H
#define PICTURE_SURFACE_H

#include "base/progress.h"
#include "mesh/triangulation.h"

#define SURFACE_HEADER_BYTES 184
#define SURFACE_WHOLE_MAX 2000000 /* triangles: more are simplified */
#define SURFACE_SIMPLIFIED 1000000
#define SURFACE_COARSE 60000  /* four views together then draw a quarter of a million */
#define SURFACE_COARSEST 6000 /* four views together, without a graphics card: half of what one draws */

struct surface_request {
    size_t whole_max, simplified, coarse, coarsest; /* triangles */
    size_t threads;
    const struct progress *progress;
};
struct surface_request surface_request_default(void);

/* Writes the surface of a mesh with at least one face to fd. The error of the simplified triangles is that of
 * measure/deviation.h. ERROR_LIMIT when memory ends, ERROR_CANCELLED, ERROR_MACHINE where fd takes no more.
 */
bool surface_write(const struct mesh *mesh, const struct surface_request *request, int fd,
                   struct arena scratch, struct error *err);

#endif
