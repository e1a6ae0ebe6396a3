/* limit_deviation.h - distances between a reference and the Catmull-Clark limit surface of a cage.
 *
 * The limit surface is measured as triangles, each with a certified distance eps to its piece of it
 * (subdiv/patches.h). With e the largest eps, the distance of any point to the surface and to the triangles
 * differ by at most e, and so does the distance of a point of the surface to the reference from that of some
 * point of its triangle, by at most that triangle's eps. Hence
 *   - a maximum in [l, u] for the triangles is in [l - e, u + e] for the surface, either way;
 *   - mean and root mean square of the way from the reference differ by at most e (Minkowski's inequality),
 *     those of the way to it by the mean and the root mean square of eps over the area;
 *   - percentiles differ by at most e, and the area within t lies between that of the triangles within t - e
 *     and within t + e.
 * On the way to the reference points weigh by the area of the triangles that stand for the surface. Signed
 * values and normal angles are those of the triangles, of fewer samples where there are few triangles.
 *
 * Faces that are named are the cage's; places lie on the triangles, within e of the surface.
 *
 * e is wanted at six tenths of the interval's width, which leaves mean and RMS the rest; the maxima are then
 * narrowed where they may be (limit_farthest.h). Where that takes more quads than LIMIT_QUADS_MIN and
 * LIMIT_QUADS_OF_FACE a face, or more work than LIMIT_WORK_MIN and LIMIT_WORK_OF_FACE a face, or a vertex has
 * very many faces, e is wider: so the time is linear in the faces however small the wanted width is beside
 * the cage. budget_exhausted says where a maximum, mean, RMS or coverage is still known less narrowly than
 * asked for.
 */
#ifndef MEASURE_LIMIT_DEVIATION_H
#define MEASURE_LIMIT_DEVIATION_H

#include "measure/deviation.h"
#include "measure/deviation_faces.h"
#include "measure/limit_surface.h"
#include "mesh/warning.h"
#include "subdiv/rules.h"

#define LIMIT_QUADS_MIN ((size_t)1 << 17)
#define LIMIT_QUADS_OF_FACE 2
#define LIMIT_WORK_MIN ((size_t)1 << 22) /* work: see limit_room in subdiv/patches.h */
#define LIMIT_WORK_OF_FACE 512
#define LIMIT_QUADS_NARROW ((size_t)1 << 15) /* of the faces that may hold a maximum */
#define LIMIT_WORK_NARROW ((size_t)1 << 20)

struct limit_request {
    const struct creases *creases; /* NULL: none */
    enum boundary_rule rule;
    const struct deviation_settings *settings;
    const struct progress *progress; /* told the stage "limit" alone */
    bool want_positions;
};

/* The limit surface as triangles, and what they were made of. */
struct limit_triangles {
    struct limit_source source;
    struct limit_surface surface;
};

/* Where the cage has no face with a limit surface, surface.limit.triangle_count is 0, and there is nothing to
 * measure. Adds to warnings: no_limit_surface (parts that are not manifold, where the surface is a convention
 * of subdiv/cage.h, and faces left out) and crease_without_edge. ERROR_LIMIT when memory ends,
 * ERROR_CANCELLED. */
bool limit_deviation_build(const struct measure_input *cage, const struct measure_input *reference,
                           const struct limit_request *request, struct limit_triangles *triangles,
                           struct warning_list *warnings, struct arena *keep, struct arena scratch,
                           struct error *err);

/* positions: the field "limit_position", three values a vertex, from keep. faces: NULL, or those of the limit
 * over each face of the cage and of the reference, from keep; where a place is, is known up to e. The same
 * errors. */
bool limit_deviation_measure(struct limit_triangles *triangles, const struct measure_input *reference,
                             const struct limit_request *request, struct deviation *deviation,
                             struct deviation_field *positions, struct deviation_faces *faces,
                             struct arena *keep, struct arena scratch, struct error *err);

#endif
