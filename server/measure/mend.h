/* mend.h - what was changed in a mesh: a mended scan against the scan before.
 *
 * Faces that both files have are told apart from those that only one has (mend_match.h). The others are
 * gathered into regions: faces added or removed that hang together through edges of equal position, whichever
 * of the two files they are in. So what was taken out and what was put in its place are one region.
 *
 * An edge is open where one face of its mesh lies on it, edges going by position. What a region did to open
 * edges tells its kind:
 *   removed    nothing was added
 *   filled     open edges are gone and none is new: a hole was closed, with or without trimming its rim
 *   replaced   faces were removed and others added, and it is not a filled hole
 *   extended   nothing was removed, open edges are gone and others are new: a hole closed in part, a border
 *              carried on
 *   added      nothing was removed and no open edge is gone: a new shell, a flap
 * A hole is a connected set of open edges of the reference that the region closes all of; loops that touch
 * count as one.
 *
 * The move of a region replaced is the two-sided Hausdorff distance between what was removed and what was put
 * in its place.
 *
 * The volume of a region is that between its surface before and after, positive where material was added.
 * Where both end at the same edges it is exact but for rounding. Where they do not - at a hole, a flap, a
 * border - the gap between their ends is closed by a cone: from the mean of the edges of the gap, weighted by
 * length, to each of them; this depends on neither the numbering nor the start of a loop. So a flat hole
 * filled flat has volume 0: what lay in the hole before is not known. The volume is not defined where two
 * faces at an edge of the region run through it in the same direction. Outside is the side from which faces
 * are listed counter- clockwise, unless a mesh that is closed and oriented says otherwise. The divergence
 * theorem as in C. Zhang, T. Chen, "Efficient feature extraction for 2D/3D objects in mesh representation",
 * ICIP 2001; regions, their kinds and the cone are ours.
 *
 * Lengths, areas and volumes are in the units of the files. A double that is NaN and an int64_t that is
 * MEASURE_UNDEFINED are not defined. */
#ifndef MEASURE_MEND_H
#define MEASURE_MEND_H

#include "measure/deviation.h"
#include "measure/mesh_report.h"

enum mend_kind { MEND_FILLED, MEND_EXTENDED, MEND_ADDED, MEND_REPLACED, MEND_REMOVED, MEND_KIND_COUNT };
const char *mend_kind_name(enum mend_kind kind);

/* A certified distance, and where its lower end was found. */
struct mend_move {
    struct interval distance;
    vec3 at;
};

struct mend_region {
    enum mend_kind kind;
    size_t added_faces, removed_faces;
    double added_area, removed_area;
    double volume;
    struct mend_move move;  /* of a region replaced; NaN in others */
    size_t open_edges_gone; /* open in the reference, not in the subject */
    size_t open_edges_new;  /* open in the subject, not in the reference */
    size_t holes_filled;    /* 0 where nothing was added */
    size_t holes_opened;    /* connected sets of edges, all newly open; 0 where nothing was removed */
    struct interval
        distance;   /* of its farthest point from the other mesh; NaN where no distances were given */
    vec3 farthest;  /* where the lower end was found */
    double outline; /* length of the edges it shares with unchanged faces */
    vec3 centre;    /* mean of its faces, weighted by area */
    aabb bounds;
    int64_t first_added, first_removed; /* lowest face of the subject, of the reference */
};

/* Moving vertices alone keeps every number of vertices and faces. */
struct vertex_moves {
    bool defined; /* both files list the same faces by number */
    size_t count; /* vertices whose position is not the same */
    double largest;
    int64_t vertex; /* the first that moved so far */
};

struct mend {
    size_t shared_faces; /* faces of both, a copy by a copy */
    size_t turned_faces; /* of them, those listed in the other direction */
    size_t added_faces, removed_faces;
    double shared_area; /* of the subject */
    double subject_share,
        reference_share; /* of the area of each mesh that is shared; NaN where it has none */
    double added_area, removed_area;
    double volume_change; /* enclosed volume after less before; NaN unless both are closed and oriented */
    struct vertex_moves moves;
    /* Of regions; with no shared face there are none, and these are not defined. */
    int64_t holes_filled, holes_opened;
    double filled_volume; /* sum over the kind `filled`; NaN where one of them is not defined */
    int64_t by_kind[MEND_KIND_COUNT];
    struct mend_move largest_move; /* of the regions listed; NaN where none was replaced */
    size_t region_total, region_count;
    struct mend_region *regions; /* the MEASURE_LIST_MAX with most area added or removed, largest first */
};

/* width: wanted width of the intervals of moves, a length. Tells stage "mend". Regions come from keep. The
 * same for any number of threads. ERROR_LIMIT when an arena is too small, ERROR_CANCELLED when progress says
 * stop. */
bool mend_build(const struct measure_input *subject, const struct measure_input *reference, double width,
                const struct progress *progress, struct mend *mend, struct arena *keep, struct arena scratch,
                struct error *err);

#endif
