/* cages.h - control meshes for the tests of subdivision, and short ways to refine them. */
#ifndef SUBDIV_CAGES_H
#define SUBDIV_CAGES_H

#include "subdiv/refine.h"
#include "support/fixture_shapes.h"

/* n quads around one vertex (0), closed or, with one sheet of n quads between two open edges, open; a second
 * ring of quads lies around them, so that the vertex is inside by two rings. Heights are a paraboloid's. */
struct mesh cage_fan(struct arena *arena, size_t n, bool open);
/* Moves every coordinate by at most `amount` either way. */
void cage_shake(struct mesh *mesh, double amount, uint64_t *state);
/* Random creases: one edge in `every` gets one of the sharpnesses 0.5, 1, 1.75, 2.5 and 10. */
struct creases cage_creases(struct arena *arena, const struct mesh *mesh, size_t every, uint64_t *state);
/* Builds the cage and refines it `levels` times; the test fails on an error. */
struct cage cage_at(struct arena *arena, const struct mesh *mesh, const struct creases *creases,
                    enum boundary_rule rule, unsigned levels);
/* Limit positions of all vertices of a cage. */
vec3 *cage_limits(struct arena *arena, const struct cage *cage);
/* Scratch memory of the tests' process. */
struct arena cage_scratch(void);

#endif
