/* refine.h - one Catmull-Clark step of a cage, by the rules of rules.h.
 *
 * The refined cage has V + E + F vertices: first the vertex points, with the numbers of the vertices (a
 * vertex without faces stays where it is), then the edge points V + e, then the face points V + E + f. All
 * its faces are quads, one for each corner c of the cage and with that number: vertex point, edge point of
 * the side that starts at c, face point, edge point of the side that ends at c. Its face_source names faces
 * of the first mesh still; the face it comes from in `cage` is that of the corner. Time and memory
 * are linear in the corners. */
#ifndef SUBDIV_REFINE_H
#define SUBDIV_REFINE_H

#include "subdiv/cage.h"

/* ERROR_LIMIT when memory ends or the refined mesh would have more than MESH_MAX_CORNERS corners. */
bool refine_build(const struct cage *cage, struct cage *refined, struct arena *keep, struct arena scratch,
                  struct error *err);

/* The mean of a face's vertices. */
vec3 refine_face_point(const struct mesh *mesh, size_t f);

#endif
