/* patch_tree.h - the limit surface over one quad as a quadtree of bicubic pieces.
 *
 * A regular quad is one piece. Another quad has four children, the quads that it becomes in one step: most
 * are pieces, and the one or the few that are not have children again. A quad on a semi-sharp crease that
 * goes straight on has two children, again and again until the crease is smooth: halves along it. What is
 * still unresolved where the tree ends is a rest: a ball that holds the surface there, since it lies in the
 * hull of its control points, and the four corner limits. The child i of a quad is the one at its corner i,
 * and all corners are numbered alike, around, as in bezier.h. */
#ifndef SUBDIV_PATCH_TREE_H
#define SUBDIV_PATCH_TREE_H

#include "subdiv/local_cage.h"
#include "subdiv/net.h"
#include "subdiv/quad_fit.h"

enum patch_kind { PATCH_INNER, PATCH_HALVED, PATCH_PIECE, PATCH_REST };

struct patch {
    enum patch_kind kind;
    unsigned turns; /* a piece: its own corner j is the quad's corner (j + turns) & 3; halved: the first child
                     * has the side from corner `turns` on, the second one the side across */
    uint32_t child; /* inner: the first of four children; halved: of two */
    vec3 points[16]; /* a piece: Bezier points */
    vec3 corners[4]; /* a rest: limits */
    vec3 centre;     /* a rest: the ball */
    double radius;
};

struct patch_tree {
    size_t count, capacity;
    struct patch *patches; /* [capacity], 0 is the root */
    struct eye *eye;
    double rest_radius;                                           /* a rest of this radius is small enough, */
    unsigned level_max;                                           /* and so is one after so many steps, */
    bool (*is_wanted)(void *context, vec3 centre, double radius); /* or in a ball where it is not; NULL: it is
                                                                   * everywhere */
    void *context;
    size_t work; /* of all trees: patches made, and looked at for a bound; a step of a fan or a mesh counts
                  * by its faces */
};

/* Room for trees of at most `capacity` patches (at least 1); false when the arena is out of memory. */
bool patch_tree_open(struct patch_tree *tree, size_t capacity, double rest_radius, unsigned level_max,
                     struct arena *keep);

/* The tree of quad f, whose corner `first` is corner 0. No vertex of f may have more than NET_VALENCE_MAX
 * corners. marks belong to cage; two scratch arenas, since what the first holds is built with the help of the
 * second. */
bool patch_tree_build(struct patch_tree *tree, const struct cage *cage, uint32_t f, unsigned first,
                      struct local_marks *marks, struct arena scratch, struct arena more_scratch,
                      struct error *err);

/* The limit at corner 0 to 3 of a patch. */
vec3 patch_corner(const struct patch_tree *tree, uint32_t patch, unsigned corner);

/* A bound of the distance between the surface over a patch and two triangles over its corners: see
 * quad_fit.h. Where it is larger than `most`, it may be INFINITY instead. */
double patch_eps(struct patch_tree *tree, uint32_t patch, const vec3 corners[4], enum quad_cut cut,
                 double most);

#endif
