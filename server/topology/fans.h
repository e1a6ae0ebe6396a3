/* fans.h - the fans (umbrellas) at each vertex: the corners there, joined through the edges they share.
 *
 * Two corners at v belong to one fan when their faces share an edge at v, non-manifold edges included, or
 * when they follow each other in one face. A vertex is non-manifold when the faces at it fall into more than
 * one class; a face that names a vertex twice, not running, joins the two fans for that count (they are still
 * two fans here, and the surface is pinched there). Linear in the corners. */
#ifndef TOPOLOGY_FANS_H
#define TOPOLOGY_FANS_H

#include "topology/edges.h"

struct fans {
    size_t count;
    uint32_t *corner_fan;         /* [corner_count] fans are numbered by their first corner */
    uint32_t *first_corner;       /* [count] */
    uint32_t *vertex_class_count; /* [vertex_count] classes of faces there; 0: no face uses the vertex */
    size_t referenced_count;      /* vertices that some face uses */
    size_t nonmanifold_count;     /* vertices with more than one class of faces */
};

bool fans_build(const struct mesh *mesh, const struct edges *edges, struct fans *fans, struct arena *keep,
                struct arena scratch, struct error *err);

/* True when every fan is at one vertex, every corner has a fan, and all corners joined by an edge share it.
 */
bool fans_is_valid(const struct fans *fans, const struct mesh *mesh, const struct edges *edges);

#endif
