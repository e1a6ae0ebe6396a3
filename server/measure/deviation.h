/* deviation.h - distances between two surfaces, both ways: certified maximum, statistics, signed side.
 *
 * h(A, B) = max over points a of A of min over points b of B of |a - b| (one-sided Pompeiu-Hausdorff
 * distance); the two-sided distance is the larger of both. The interval [lower, upper] holds the true value,
 * rounding included. Statistics are weighted by area. Lengths are in the units of the file. A NaN means not
 * defined: null in the record. */
#ifndef MEASURE_DEVIATION_H
#define MEASURE_DEVIATION_H

#include "measure/deviation_faces.h"
#include "measure/measure_input.h"
#include "mesh/warning.h"
#include "subdiv/rules.h"

#define DEVIATION_TOLERANCES_ASKED 16 /* of a run */
#define DEVIATION_TOLERANCES_MAX 32   /* the limit surface needs two for each: see limit_deviation.h */
#define DEVIATION_CLASS_LIMITS 28     /* of distance: see deviation_classes.h */

enum surface_kind { SURFACE_CONTROL, SURFACE_LIMIT, SURFACE_BOTH };

struct deviation_settings {
    double certify;         /* wanted interval width as a share of the reference's box diagonal */
    double halfwidth_share; /* of that width: the half-width wanted of mean and RMS; 0: all of it */
    bool frugal;            /* see deviation_statistics.h; and sparse samples, see deviation_samples.h */
    size_t tolerance_count;
    double tolerances[DEVIATION_TOLERANCES_MAX]; /* lengths, ascending */
    double class_margin; /* a length: classes are to hold for a surface that is so near the one measured */
    size_t threads;      /* >= 1; does not change any result */
};

struct interval {
    double lower, upper;
};

struct distance_classes { /* see deviation_classes.h */
    size_t limit_count;
    double limits[DEVIATION_CLASS_LIMITS]; /* lengths, ascending */
    double margin;                         /* what is told holds for distances less or more by it */
};

struct farthest_place {
    struct interval distance;
    vec3 at;             /* on the surface measured from */
    size_t face;         /* its face there */
    vec3 nearest;        /* nearest point of the other surface */
    size_t nearest_face; /* and its face */
};

/* The true value lies between the ends, rounding included. */
struct certified_statistics {
    struct interval mean, rms, median, p95, p99, p999;
    struct interval coverage[DEVIATION_TOLERANCES_MAX]; /* share of area within each tolerance */
};

struct one_sided_deviation {
    struct farthest_place max;
    double mean, rms, median, p95, p99, p999;
    struct {
        double mean, rms, median, p95, p99, p999;
    } halfwidth; /* the true value is no farther from the one stated: certified, unless sample_count */
    struct interval coverage[DEVIATION_TOLERANCES_MAX]; /* likewise: share of area within each tolerance */
    struct certified_statistics certified;              /* always, whatever of the above is sampled */
    /* Share of the area in each class of distance: up to limit 0, up to the next, and so on, beyond the last.
     * Certified, unless class_sample_count says that those marked are sampled, within four standard errors.
     */
    struct interval class_shares[DEVIATION_CLASS_LIMITS + 1];
    bool class_is_sampled[DEVIATION_CLASS_LIMITS + 1];
    size_t class_sample_count; /* seed as normal_angle's */
    size_t sample_count;       /* 0; else certified values tell too little, and values, half-widths and
                                * coverage are of samples, four standard errors wide (deviation_samples.h) */
    uint64_t seed;
    struct {
        double mean, p95, max; /* degrees, 0..180, between facing normals at nearest points */
        struct {
            double mean, p95;
        } halfwidth; /* four standard errors; the greatest of samples has none */
        size_t sample_count;
        uint64_t seed;
    } normal_angle;
};

struct signed_deviation {
    bool defined; /* only where the reference is closed and orientable */
    double mean, min, max, p05, p95;
};

struct deviation {
    enum surface_kind surface;
    bool budget_exhausted; /* a certified value is known less narrowly than asked for, and than rounding
                              leaves */
    struct interval hausdorff;
    struct distance_classes classes;                 /* of both directions */
    struct one_sided_deviation reference_to_subject; /* what was lost */
    struct one_sided_deviation subject_to_reference; /* what was invented */
    struct signed_deviation signed_; /* over the subject's area; positive outside the reference */
};

/* One value per vertex or face of a mesh, for --fields: of the subject's vertices "distance",
 * "distance_lower", "distance_upper", "signed", "nearest_face", "normal_angle"; of its faces
 * "face_distance_lower", "face_distance_upper", "face_distance_peak" (see deviation_faces.h), and of the
 * reference's faces the same after "reference_". */
struct deviation_field {
    const char *name;
    bool per_face; /* else per vertex of the subject */
    size_t count;
    double *values;
    bool of_reference; /* else of the subject */
};
#define DEVIATION_FIELD_MAX 16
struct deviation_fields {
    size_t count;
    struct deviation_field fields[DEVIATION_FIELD_MAX];
};

/* fields and faces may be NULL. Seconds spent go to nowhere: the caller times the three steps by the stages
 * told to progress ("index", "hausdorff", "statistics"). warnings receive polygon_fan_used of each mesh. */
bool deviation_measure(const struct measure_input *subject, const struct measure_input *reference,
                       const struct deviation_settings *settings, const struct progress *progress,
                       struct deviation *deviation, struct deviation_fields *fields,
                       struct deviation_faces *faces, struct warning_list *subject_warnings,
                       struct warning_list *reference_warnings, struct arena *keep, struct arena scratch,
                       struct error *err);

/* The maximum of the distance from one mesh to another alone; `width` is what is wanted of its interval, a
 * length, and the interval is wider where the search takes too much work. Both have faces. progress hears the
 * stage "hausdorff". ERROR_LIMIT, ERROR_CANCELLED. */
bool deviation_farthest(const struct measure_input *from, const struct measure_input *to, double width,
                        size_t threads, const struct progress *progress, struct farthest_place *place,
                        struct arena scratch, struct error *err);

#endif
