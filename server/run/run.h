/* run.h - one measurement: a subject alone or against a reference, and everything that was found.
 *
 * Same code, two doors: command line and service both call run_measure. The same bytes, names, kind, units
 * and settings give the same struct run apart from timings and settings.threads. */
#ifndef RUN_RUN_H
#define RUN_RUN_H

#include "io/mesh_file.h"
#include "measure/control_excess.h"
#include "measure/deviation.h"
#include "measure/finding.h"
#include "measure/limit_deviation.h"
#include "measure/mend.h"
#include "measure/mesh_report.h"

#define RUN_DEFINITIONS 1 /* raised when the meaning or value of any measure changes */

enum run_units { UNITS_UNKNOWN, UNITS_MM, UNITS_CM, UNITS_M, UNITS_IN, UNITS_COUNT };
const char *run_units_name(enum run_units units);
bool run_units_parse(const char *text, enum run_units *units);

struct run_input {
    int fd;           /* open for reading; -1: none */
    const char *name; /* shown, never opened */
};

struct run_settings {
    struct deviation_settings deviation; /* certify, tolerances, threads */
    enum run_units units;                /* of both files */
    enum surface_kind surface;           /* of a cage; in a run of a scan: control */
    enum boundary_rule boundary;
    bool ignore_creases;
    bool kind_given;
    enum mesh_kind kind; /* of the subject, where given; the reference is always a scan */
    size_t memory_bytes; /* limit of the run's arena; 0: a default from the files' sizes */
};
/* certify 1e-4, both surfaces of a cage, edge and corner, one thread per core, unknown units. */
struct run_settings run_settings_default(void);

struct run_timings { /* seconds */
    double read, topology, quality, index, hausdorff, statistics, limit, mend, findings, total;
    double peak_rss_mib, peak_anonymous_mib;
};

struct run_mesh {
    struct mesh_file file;
    struct mesh_report report;
};

struct run {
    struct run_settings settings;
    enum mesh_kind kind;
    bool has_reference;
    bool has_deviation;       /* of the faces as they are */
    bool has_deviation_limit; /* of a cage's limit surface */
    bool has_mend;            /* of a scan against a scan */
    struct run_mesh subject, reference;
    struct deviation deviation, deviation_limit;
    struct mend mend;
    struct finding_list findings;
    struct deviation_fields fields; /* filled only when asked for */
    struct run_timings timings;
    struct arena arena; /* holds every array above */
};

/* Measures; on success the caller owes run_close. On failure nothing is kept and err says which file in its
 * text where that is not plain. */
bool run_measure(const struct run_input *subject, const struct run_input *reference,
                 const struct run_settings *settings, bool want_fields, const struct progress *progress,
                 struct run *run, struct error *err);
void run_close(struct run *run);

#endif
