/* report.h - the lines that a worker writes into its pipe, and what the parent makes of them.
 *
 *     sandbox ABI 0|1              how it is fenced in: Landlock's ABI, whether seccomp is on
 *     progress STAGE FRACTION      of the whole job
 *     format FORMAT                of the subject
 *     measure PATH VALUE|null
 *     field NAME vertex|face COUNT
 *     error CODE FORMAT|- LINE BYTE|- TEXT
 *     done                         record and fields are whole: whatever comes after, the job is done
 *     pictures SURFACE THUMBNAIL   bytes of surface.bin and thumbnail.png, which are whole too
 *
 * A worker may have been taken over by its input, so nothing in a line is believed beyond its form. */
#ifndef JOB_REPORT_H
#define JOB_REPORT_H

#include "base/error.h"

#define REPORT_LINE_MAX 512
#define REPORT_MEASURES_MAX 128
#define REPORT_FIELDS_MAX 16

struct report_measure {
    char path[96];
    double value; /* NaN: null */
};
struct report_field {
    char name[32];
    bool per_face;
    uint64_t count;
};

struct report {
    int landlock_abi;
    bool seccomp;
    char stage[24];
    double fraction; /* never goes back */
    char format[24];
    size_t measure_count;
    struct report_measure measures[REPORT_MEASURES_MAX];
    size_t field_count;
    struct report_field fields[REPORT_FIELDS_MAX];
    uint64_t surface_bytes, thumbnail_bytes; /* 0: none */
    bool has_error, done;
    char code[24]; /* one of reason.h's words */
    struct error error;

    size_t line_bytes; /* of the line not complete yet */
    bool broken;       /* a line was too long or made no sense: the rest is ignored */
    char line[REPORT_LINE_MAX];
};

void report_begin(struct report *report);
/* Takes the next bytes of the pipe. True when the progress moved. */
bool report_take(struct report *report, const char *bytes, size_t count);

/* The worker's side: writes one line, ignoring faults (the parent is gone then). */
void report_write(int fd, const char *format, ...) __attribute__((format(printf, 2, 3)));

#endif
