/* net.h - the control points of one quad of a cage, as far as they form a pattern that needs no mesh any
 * more.
 *
 *   regular        the surface over the quad is one bicubic B-spline piece: every corner is regular, or lies
 *                  on edges that are sharp for ever so that a mirrored row of points stands for the missing
 *                  ones: p(-1) = 2 p(0) - p(1) gives the boundary rules exactly
 *   extraordinary  one corner is a smooth vertex of another valence than four, the others are regular
 * vertices creased        one side is semi-sharp and so, by as much, are the edges that go on from it at both
 * ends, through vertices of four quads; all else is as around a regular quad other          everything else:
 * one more step of its surroundings is needed
 */
#ifndef SUBDIV_NET_H
#define SUBDIV_NET_H

#include "subdiv/cage.h"

enum net_kind { NET_REGULAR, NET_EXTRAORDINARY, NET_CREASED, NET_OTHER };

/* More faces than this around a vertex are not followed: see patches.h. */
#define NET_VALENCE_MAX 512

/* The kind of quad f. Where it is extraordinary, *corner is the place (0 to 3) of that corner in the face;
 * where it is creased, of the corner where the semi-sharp side begins. */
enum net_kind net_classify(const struct cage *cage, uint32_t f, unsigned *corner);

/* The 4 x 4 points of a regular or creased quad f: point [4 (j + 1) + i + 1] for i, j in -1..2, where (0, 0)
 * is the corner at place `first` of the face and (1, 0) the next one. */
void net_gather(const struct cage *cage, uint32_t f, unsigned first, vec3 net[16]);

/* A creased quad, with its 4 x 4 points from the corner where the side begins: row j = 0 is the crease. */
struct crease_net {
    vec3 net[16];
    double sharpness;
};

void crease_gather(const struct cage *cage, uint32_t f, unsigned corner, struct crease_net *crease);

/* One step across the crease alone. The rules of rules.h are then products of those of a uniform cubic
 * B-spline along it and of
 *     v' = s v + (1 - s) (a + 6 v + b) / 8 (s at most 1),  a' = (a + v) / 2,  b' = (v + b) / 2
 * across it, so that both directions may be refined apart. The half of the quad that lies away from the
 * crease is regular: its points go to far. The crease becomes that of the other half; at sharpness 0 that is
 * regular too. */
void crease_refine(struct crease_net *crease, vec3 far[16]);

/* The points around an extraordinary corner: the vertex v, its n edges and opposite corners in order (face i
 * lies between edges i and i + 1, face 0 is the quad), and the 4 x 4 points of the quad as in net_gather with
 * v at (0, 0), edge 0 towards (1, 0) and edge 1 towards (0, 1); the point (-1, -1) is not used. */
struct eye {
    size_t valence;
    vec3 ends[NET_VALENCE_MAX], opposites[NET_VALENCE_MAX];
    vec3 net[16];
};

/* valence must be at most NET_VALENCE_MAX. */
void eye_gather(const struct cage *cage, uint32_t f, unsigned corner, struct eye *eye);

/* One step. The quad's children that do not touch v are regular: their points go to nets, at the places that
 * net_gather would give them: nets[0] at (1, 0), nets[1] at (1, 1), nets[2] at (0, 1). The eye becomes that
 * of the child at v. */
void eye_refine(struct eye *eye, vec3 nets[3][16]);

/* The limits of the quad's four corners, around from v. */
void eye_limits(const struct eye *eye, vec3 limits[4]);

/* A ball around all points of the eye: the surface over the quad lies in their hull. */
void eye_ball(const struct eye *eye, vec3 *centre, double *radius);

#endif
