/* measures.h - schema/measures.json: what each measure of a run record is called, means and where it stands.
 *
 * The file is part of the program. Server, command line, page and spec all take names, units and directions
 * from it. */
#ifndef JSON_MEASURES_H
#define JSON_MEASURES_H

#include "base/error.h"

struct json_t;

enum measure_direction { MEASURE_NO_DIRECTION, MEASURE_LOWER_IS_BETTER, MEASURE_HIGHER_IS_BETTER };
enum measure_certainty { MEASURE_EXACT, MEASURE_CERTIFIED, MEASURE_SAMPLED };

struct measure_definition {
    const char *path; /* dotted, in the record: "subject.topology.open_edges" */
    const char *name, *group, *unit, *definition, *source;
    enum measure_direction direction;
    enum measure_certainty certainty;
    bool of_scan, of_cage; /* kinds of subject for which it is shown */
    bool stored;           /* lists sort or plot it; the command line's table shows it */
    /* Paths of the ends of its interval, or of its half-width; NULL where it has none. */
    const char *lower, *upper, *halfwidth;
    /* Path of the level from which it counts: two counts from other levels say nothing of each other. */
    const char *level;
    /* Stands once for each tolerance of a run: its path leads to a list of { tolerance, share }. */
    bool per_tolerance;
};

struct measure_group {
    const char *id, *title;
};

struct measure_list {
    struct json_t *document; /* owns every string below */
    int definitions;
    size_t group_count, measure_count;
    struct measure_group *groups;
    struct measure_definition *measures; /* in the order to show them, groups together */
};

/* The file's own bytes, for GET /measures; not terminated. */
const char *measures_text(size_t *size);

/* On success the caller owes measures_close. ERROR_MACHINE when memory is out. */
bool measures_open(struct measure_list *list, struct error *err);
void measures_close(struct measure_list *list);
/* NULL when no measure has that path. */
const struct measure_definition *measures_find(const struct measure_list *list, const char *path);
/* The same for any place of a record that a person may name: also of the reference ("reference.area" is
 * defined as "subject.area" is), and of an interval without its end ("deviation.hausdorff"). */
const struct measure_definition *measures_find_place(const struct measure_list *list, const char *path);

/* What a record has at a dotted path: borrowed, NULL when the path does not lead anywhere. */
struct json_t *measure_node(const struct json_t *record, const char *path);
/* Where a record has its certified interval, { lower, upper }, whatever is sampled: of a statistic with a
 * half-width. False where it has no such place. */
bool measure_certified_path(const struct measure_definition *measure, char *path, size_t size);
/* Whether its value in this record rests on samples: always, or because certified statistics took too much
 * work there. */
bool measure_is_sampled(const struct json_t *record, const struct measure_definition *measure);
/* Adds the places of a record that measure_number and measure_is_sampled look at for this measure
 * (json/record_pick.h). False when memory is out. */
bool measure_add_places(const struct measure_definition *measure, struct json_t *places);

/* True and *value where that is a number; false for null, booleans and missing keys. */
bool measure_number(const struct json_t *record, const char *path, double *value);

#endif
