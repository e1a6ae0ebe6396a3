/* places.h - the faces of a mesh that are far from the other surface, gathered into places.
 *
 * A face is far where its largest distance found exceeds the level, and belongs to a place where it exceeds
 * half of it and is joined to a far face through such faces that share vertices (hysteresis of two levels,
 * J. Canny 1986, "A computational approach to edge detection"): what is near the level does not fall apart.
 * Two such groups are one place where the shortest way between them along the mesh's edges is no longer than
 * the gap. The way is measured along the mesh so that two spines, or both sides of a wall, stay two places
 * however near they are in space. It is found by growing all groups at once from their borders by half the
 * gap (E. W. Dijkstra 1959) and looking where they meet, which joins the same groups as the ways between all
 * pairs would (K. Mehlhorn 1988, "A faster approximation algorithm for the Steiner problem in graphs").
 *
 * Places do not depend on how faces and vertices are numbered, apart from exact ties. Time is linear in the
 * faces, but for the logarithm of what lies within half a gap of a place, and one look at each face where
 * none is far. */
#ifndef MEASURE_PLACES_H
#define MEASURE_PLACES_H

#include "measure/deviation.h"
#include "measure/deviation_faces.h"

#define PLACES_KEPT_MAX 200
#define PLACE_FACES_MAX 64

/* What is far from the other surface, where no tolerance says so. Rules of thumb, no source, but that the
 * faces of a quad mesh of edge length h leave a curve of radius rho by h^2 / 4 rho: */
#define PLACE_LEVEL_EDGE 0.25     /* of the subject's median edge: what it leaves a curve of that radius by */
#define PLACE_LEVEL_MEDIAN 12     /* times the median distance: noise of a million faces stays below it */
#define PLACE_LEVEL_DIAGONAL 0.02 /* of the reference's diagonal: the noise of a scan is below this */
#define PLACE_LEAST 0.5           /* of the level: what every face of a place exceeds */
#define PLACE_GAP_EDGES 2         /* the gap, in median edges of the subject */

/* The level of one direction: the smallest tolerance where there is one (ascending, as the settings hold
 * them), else the largest of
 *   - a quarter of the subject's median edge length,
 *   - twelve times the direction's median distance; but where that is more than a fiftieth of the reference's
 *     diagonal, the larger of that fiftieth and of the distance within which 95 % of the area lies,
 *   - the wanted width of the certified interval.
 * The median tells noise as long as less than half of the area is off; p95 then stands for "worse than most
 * of it", so that a bad remesh still has its worst places. */
double places_level(const struct deviation_settings *settings, const struct one_sided_deviation *deviation,
                    double median_edge, double diagonal);

struct place {
    double lower, upper; /* the largest distance of the place's points is within */
    vec3 at;             /* where the distance is `lower` or more */
    double radius;       /* of the ball about `at` that holds the place; NaN where it exceeds a double */
    double area;         /* sum of its faces' areas; NaN likewise */
    double nearest;      /* every point of the place is at least so far from the other surface */
    size_t face_count;   /* <= PLACE_FACES_MAX */
    size_t faces[PLACE_FACES_MAX]; /* farthest first, equals by number */
    size_t faces_total;
    bool is_shell; /* exactly the faces of one shell */
};

struct place_request {
    double level, gap;                     /* lengths */
    const struct farthest_place *farthest; /* the certified maximum of this direction, or NULL */
};

struct place_list {
    size_t count; /* <= PLACES_KEPT_MAX */
    struct place *places;
    double *scores; /* [count] in (0, 1], descending; equals by their lowest face */
    size_t total;   /* every place, listed or cut */
    double *peaks;  /* [total] the lower bounds of all of them */
};

/* The places of the mesh of input. Lengths and areas are in the units of the file. Arrays come from keep.
 * ERROR_LIMIT when memory ends. */
bool places_find(const struct measure_input *input, const struct face_distances *distances,
                 const struct place_request *request, struct place_list *list, struct arena *keep,
                 struct arena scratch, struct error *err);

#endif
