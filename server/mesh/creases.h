/* creases.h - edges of a mesh that its maker marked as sharp, as they were read.
 *
 * An edge is two vertices of the mesh, in either order; its sharpness is 0 for smooth, and the larger the
 * more steps of subdivision keep it sharp (T. DeRose, M. Kass, T. Truong, "Subdivision surfaces in character
 * animation", SIGGRAPH 1998). Pairs that are no edge of the mesh are the affair of who uses them. Both arrays
 * belong to the arena given to the reader. */
#ifndef MESH_CREASES_H
#define MESH_CREASES_H

#include <stddef.h>
#include <stdint.h>

struct creases {
    size_t count;
    uint32_t (*edges)[2]; /* [count] */
    double *sharpness;    /* [count] not negative */
};

#endif
