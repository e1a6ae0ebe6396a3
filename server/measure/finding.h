/* finding.h - one place that somebody may want to mend; one per connected group. */
#ifndef MEASURE_FINDING_H
#define MEASURE_FINDING_H

#include "base/arena.h"
#include "measure/deviation.h"
#include "measure/deviation_faces.h"
#include "measure/measure_input.h"
#include "measure/mesh_report.h"

#define FINDING_FACES_MAX 64
#define FINDING_PER_KIND_MAX 200

enum finding_kind {
    FINDING_NONMANIFOLD_EDGE,
    FINDING_FLIPPED_FACES,
    FINDING_DUPLICATE_FACES,
    FINDING_DEGENERATE_FACES,
    FINDING_OPEN_LOOP,
    FINDING_NONMANIFOLD_VERTEX,
    FINDING_STRAY_SHELL,
    FINDING_LOST,     /* the reference is far from the subject: on the reference */
    FINDING_INVENTED, /* the subject is far from the reference: on the subject */
    FINDING_KIND_COUNT
};
/* Of flipped faces: whether their surface has two sides at all. Of lost and invented: what the place is, as
 * far as topology tells it. */
enum finding_form {
    FINDING_PLAIN, /* its kind has but one */
    FINDING_TWO_SIDED,
    FINDING_ONE_SIDED,
    FINDING_PATCH,     /* part of a shell */
    FINDING_HOLE,      /* the nearest of the other surface is an open edge */
    FINDING_SHELL,     /* a whole shell, none of which touches the other surface */
    FINDING_EVERYTHING /* the whole mesh */
};
enum finding_severity { FINDING_FAULT, FINDING_WARNING, FINDING_NOTE, FINDING_SEVERITY_COUNT };
enum finding_mesh { FINDING_SUBJECT, FINDING_REFERENCE, FINDING_MESH_COUNT };

struct finding {
    enum finding_kind kind;
    enum finding_severity severity;
    double score; /* 0..1, 1 is worst; orders findings of one kind */
    bool certain; /* false: likely */
    enum finding_mesh mesh;
    vec3 at;       /* a point on or in the middle of the place; of lost and invented: the farthest */
    double radius; /* of a ball about `at` that holds the place, in units of length */
    struct interval distance; /* of lost and invented: the largest is within; else both are NaN */
    double size;              /* what `unit` counts */
    const char *unit;  /* "length", "area", "edges", "faces": the record turns length into the file's unit */
    size_t face_count; /* <= FINDING_FACES_MAX */
    size_t faces[FINDING_FACES_MAX];
    size_t faces_total;
    /* What the sentence turns on beside these. */
    enum finding_form form;
    size_t edges;        /* of an open loop: how many */
    size_t fans, vertex; /* of a pinched vertex: how many meet there, and which it is */
    char text[200];      /* one sentence: what is there and what to do */
};

struct finding_list {
    size_t count;
    struct finding *entries; /* grouped by kind in enum order, worst first within a kind */
    size_t total;
    /* Every finding, listed or cut. */
    size_t total_by_kind[FINDING_MESH_COUNT][FINDING_KIND_COUNT];
    size_t total_by_severity[FINDING_MESH_COUNT][FINDING_SEVERITY_COUNT];
    /* Of lost and of invented: farther than this is a place (measure/places.h); NaN where not looked for. */
    double level_lost, level_invented;
};

/* What the topology of one mesh alone tells. */
struct mesh_findings {
    struct finding *found; /* grouped by kind in enum order, worst first; `mesh` is not known yet */
    size_t kind_count[FINDING_KIND_COUNT]; /* how many of these are of each kind: at most
                                            * FINDING_PER_KIND_MAX */
    /* Every finding, listed or cut. */
    size_t total_by_kind[FINDING_KIND_COUNT];
    size_t total_by_severity[FINDING_SEVERITY_COUNT];
};

/* The deviation of two meshes, in which lost and invented places are looked for. */
struct finding_distances {
    const struct measure_input *subject, *reference;
    double median_edge;                        /* of the subject */
    const struct deviation_settings *settings; /* tolerances and certify */
    const struct deviation *deviation;         /* of the control faces */
    const struct face_distances *of_subject, *of_reference;
    const char *length_unit; /* for the texts: "mm"; empty where it is not known */
};

const char *finding_kind_name(enum finding_kind kind);             /* "nonmanifold_edge", ... */
const char *finding_severity_name(enum finding_severity severity); /* "fault", "warning", "note" */
const char *finding_form_name(enum finding_form form); /* "two_sided", "patch", ...; NULL of plain */

/* The input must still have its topology. ERROR_LIMIT when an arena is too small. */
bool mesh_findings_build(const struct measure_input *input, const struct mesh_report *report,
                         struct mesh_findings *findings, struct arena *keep, struct arena scratch,
                         struct error *err);

/* The findings of the subject, then those of the reference (NULL: there is none) within each kind, worst
 * first; at most FINDING_PER_KIND_MAX of a kind are kept, the totals count all. distances is NULL where the
 * two were not compared; their inputs need no topology any more. Entries come from keep. */
bool findings_build(const struct mesh_findings *subject, const struct mesh_findings *reference,
                    const struct finding_distances *distances, struct finding_list *findings,
                    struct arena *keep, struct arena scratch, struct error *err);

#endif
