/* limit.h - where the vertices of a cage end up on the limit surface, and the surface's normals there.
 *
 *   one closed fan of n faces, no sharp edge     (n^2 v' + 4 sum e' + sum f') / (n (n + 5))
 *   two sharp edges to l and r                   (l + 4 v + r) / 6
 *   three and more sharp edges, or fixed         v
 * with v', e', f' the vertex, edge and face points of one step around v; where all faces there are quads this
 * is the mask (n^2 v + 4 sum e + sum d) / (n (n + 5)) of edge neighbours e and opposite corners d. M.
 * Halstead, M. Kass, T. DeRose, "Efficient, fair interpolation using Catmull-Clark surfaces", SIGGRAPH 1993;
 * creases: DeRose, Kass, Truong 1998. It holds for n = 2 too. Semi-sharp edges are refined until they are
 * smooth, and then the same masks apply. At a dart (one edge sharp for ever) no closed form is used: its ring
 * is refined until it is one point, to rounding.
 *
 * A vertex without faces is its own limit. What is said of non-manifold vertices is the convention of cage.h.
 */
#ifndef SUBDIV_LIMIT_H
#define SUBDIV_LIMIT_H

#include "subdiv/ring.h"

/* Fills limits[vertex_count]; linear in the corners. */
bool limit_positions(const struct cage *cage, vec3 *limits, struct arena scratch, struct error *err);

/* Fills normals[vertex_count] with unit vectors towards the side from which the faces are counter-clockwise;
 * zero where the surface has no single tangent plane or none is claimed: non-manifold and unused vertices,
 * creases and darts inside the surface, corners of several faces, interior valence 2, vanishing tangents.
 *
 * Tangents inside: Halstead, Kass, DeRose 1993. On a boundary, along it and across it: the left eigenvectors
 * of the step there, worked out in the .c. With five and more faces at a boundary vertex the surface is not
 * smooth there (the step has other eigenvalues above 1/2: H. Biermann, A. Levin, D. Zorin, "Piecewise smooth
 * subdivision surfaces with normal control", SIGGRAPH 2000); the normal is then that of these two directions.
 * Where faces are turned over, the first face of the vertex decides. */
bool limit_normals(const struct cage *cage, vec3 *normals, struct arena scratch, struct error *err);

/* The limit of one vertex. face_points of all faces, or NULL to work out those needed. */
vec3 limit_position(const struct cage *cage, const vec3 *face_points, uint32_t v, struct ring *ring);

#endif
