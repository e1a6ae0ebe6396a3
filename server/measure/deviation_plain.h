/* deviation_plain.h - which triangles of a surface share each of their sides with just one other that is not
 * folded over it: what deviation_overlay.h builds on. */
#ifndef MEASURE_DEVIATION_PLAIN_H
#define MEASURE_DEVIATION_PLAIN_H

#include "measure/deviation_side.h"
#include "measure/overlay_kernels.h"

/* [slot], from keep; side: of the surface, or NULL. Holds bits of OVERLAY_PLAIN and OVERLAY_ALIKE, or 0; NULL
 * when memory ends. The same for any number of threads. Triangles at a vertex of very many count as not
 * plain, so that the work is linear. */
const unsigned char *plain_find(const struct deviation_surface *surface, const struct deviation_side *side,
                                size_t threads, struct arena *keep);

#endif
