/* surface_clusters.h - all triangles of a mesh in pieces that lie close together, each with vertices of its
 * own, so that the page can fetch what is near a place.
 *
 * First a table, one entry a cluster, then what the entries point to, each at a multiple of 8 bytes: the
 * vertices as in surface.h, the triangles (three u16 over the cluster's own vertices), for each triangle the
 * face of the mesh (u32), for each vertex the vertex of the mesh (u32), for each triangle the aspect ratio
 * and the shell of its face (u16 each) and for each vertex its edges (u8), as in surface_form.h. Triangles
 * are in the order of the Morton code of their middle (G. M. Morton 1966, "A computer oriented geodetic data
 * base"), a cluster is a run of them. */
#ifndef PICTURE_SURFACE_CLUSTERS_H
#define PICTURE_SURFACE_CLUSTERS_H

#include "mesh/triangulation.h"
#include "picture/surface_form.h"

#define CLUSTER_TRIANGLES 16384

/* As it is written. */
struct surface_cluster {
    float min[3], max[3]; /* rounded outwards */
    double origin[3], step;
    uint64_t offset; /* from the start of the file */
    uint32_t vertex_count, triangle_count;
};

/* Writes the table at `offset` of fd, then the clusters, and sets *end to the first byte behind; the count of
 * clusters is that of triangles over CLUSTER_TRIANGLES, rounded up. normals: of the mesh's vertices, of any
 * length. ERROR_LIMIT, ERROR_MACHINE where fd takes no more. */
bool surface_clusters_write(const struct mesh *mesh, const struct triangulation *triangulation, aabb box,
                            const struct surface_form *form, const float (*normals)[3], int fd,
                            uint64_t offset, uint64_t *end, struct arena scratch, struct error *err);

#endif
