/* api_compare.c - extracting, aligning and judging the measures of several runs. */
#include "json/api_compare.h"

#include <jansson.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

struct reading {
    double value, lower, upper; /* NaN: none */
    double level;               /* from which it counts; NaN where it does not say */
    bool sampled;
};

struct column {
    char units[16];
    char reason[96];           /* "" when comparable with the baseline in every row */
    bool comparable;           /* in all rows but those of deviation */
    bool deviation_comparable; /* in those */
    struct reading *readings;  /* [measure_count] */
};

const char *compare_verdict(enum measure_direction direction, bool exact, double value, double lower,
                            double upper, double base, double base_lower, double base_upper)
{
    if (isnan(value) || isnan(base))
        return NULL;
    bool above = exact ? value > base : lower > base_upper;
    bool below = exact ? value < base : upper < base_lower;
    if (!above && !below)
        return exact ? "no change" : "not told apart";
    if (direction == MEASURE_NO_DIRECTION)
        return "differs";
    return above == (direction == MEASURE_HIGHER_IS_BETTER) ? "better" : "worse";
}

static bool has_interval(const struct measure_definition *measure)
{
    return measure->halfwidth || (measure->lower && measure->upper);
}

static struct reading read_measure(const json_t *record, const struct measure_definition *measure)
{
    struct reading reading = {NAN, NAN, NAN, NAN, measure_is_sampled(record, measure)};
    double half;
    if (measure->level && !measure_number(record, measure->level, &reading.level))
        reading.level = NAN;
    if (measure->lower && measure->upper) {
        if (measure_number(record, measure->lower, &reading.lower)
            && measure_number(record, measure->upper, &reading.upper))
            reading.value = reading.upper;
        else
            reading.lower = reading.upper = NAN;
        return reading;
    }
    if (!measure_number(record, measure->path, &reading.value))
        reading.value = NAN;
    reading.lower = reading.upper = reading.value;
    if (measure->halfwidth && measure_number(record, measure->halfwidth, &half)) {
        reading.lower = reading.value - half;
        reading.upper = reading.value + half;
    }
    return reading;
}

/* Whether it is known how far the value may be off, and its ends. */
static bool reading_ends(const struct measure_definition *measure, const struct reading *reading,
                         double *lower, double *upper)
{
    if (reading->sampled && !(reading->upper > reading->lower))
        return false;
    bool rounded = !has_interval(measure) && strcmp(measure->unit ? measure->unit : "", "count") != 0;
    double rounding = rounded ? COMPARE_ROUNDING * fabs(reading->value) : 0;
    *lower = reading->lower - rounding;
    *upper = reading->upper + rounding;
    return true;
}

static const char *verdict_of(const struct measure_definition *measure, const struct reading *reading,
                              const struct reading *base)
{
    double lower, upper, base_lower, base_upper;
    if (isnan(reading->value) || isnan(base->value))
        return NULL;
    if (!reading_ends(measure, reading, &lower, &upper)
        || !reading_ends(measure, base, &base_lower, &base_upper)
        || (measure->level && reading->level != base->level))
        return "not told apart";
    bool exact = !has_interval(measure)
                 && (reading->value == base->value || (lower == upper && base_lower == base_upper));
    return compare_verdict(measure->direction, exact, reading->value, lower, upper, base->value, base_lower,
                           base_upper);
}

static bool read_column(const struct compared_run *run, const struct measure_list *measures,
                        struct column *column, struct error *err)
{
    json_t *record = json_loadb(run->record, run->record_size, 0, NULL);
    if (!record)
        return error_set(err, ERROR_STORE, "the record of run %lld cannot be read", (long long)run->run->id);
    const char *units = json_string_value(measure_node(record, "subject.file.units"));
    snprintf(column->units, sizeof column->units, "%s", units ? units : "unknown");
    for (size_t m = 0; m < measures->measure_count; m++)
        column->readings[m] = read_measure(record, &measures->measures[m]);
    json_decref(record);
    return true;
}

static bool same_text(const char *a, const char *b)
{
    return a && b ? !strcmp(a, b) : a == b;
}

static void judge_column(const struct store_run *run, const struct store_run *base, const char *base_units,
                         struct column *column)
{
    char *reason = column->reason;
    size_t room = sizeof column->reason;
    if (run->definitions != base->definitions)
        snprintf(reason, room, "measured by definitions %d, the baseline by %d", run->definitions,
                 base->definitions);
    else if (strcmp(run->settings, base->settings))
        snprintf(reason, room, "measured with other settings than the baseline");
    else if (strcmp(run->kind, base->kind))
        snprintf(reason, room, "a %s, the baseline is a %s", run->kind, base->kind);
    else if (strcmp(column->units, base_units))
        snprintf(reason, room, "lengths in %s, the baseline has %s", column->units, base_units);
    column->comparable = !*reason;
    bool same_reference = same_text(run->reference_sha256, base->reference_sha256);
    column->deviation_comparable = column->comparable && same_reference;
    if (column->comparable && !same_reference)
        snprintf(reason, room, "%s: deviations are not compared",
                 !run->reference_sha256    ? "measured alone"
                 : !base->reference_sha256 ? "the baseline was measured alone"
                                           : "measured against another reference");
}

static json_t *run_tree(const struct compared_run *compared, const struct column *column)
{
    const struct store_run *run = compared->run;
    return json_pack("{s:o, s:o, s:o, s:s, s:o, s:o, s:o, s:i, s:s, s:b, s:o}", "id", api_id(run->id),
                     "version", api_id(run->version), "label", api_label(run->kind, run->number), "kind",
                     run->kind, "face_size", api_number(compared->face_size), "against", api_id(run->against),
                     "reference_sha256", api_string(run->reference_sha256), "definitions", run->definitions,
                     "created", run->created, "comparable", (int)column->comparable, "why",
                     api_string(*column->reason ? column->reason : NULL));
}

struct row {
    json_t *values, *lower, *upper, *sampled, *differences, *verdicts, *comparable;
};

/* False when memory is out; each array takes its element. */
static bool row_add(struct row *row, const struct measure_definition *measure, const struct reading *reading,
                    const struct reading *base, bool is_baseline, bool comparable)
{
    bool judged = comparable && !is_baseline;
    const char *verdict = judged ? verdict_of(measure, reading, base) : NULL;
    bool ok = !json_array_append_new(row->values, api_number(reading->value))
              && !json_array_append_new(row->sampled, json_boolean(reading->sampled))
              && !json_array_append_new(row->differences,
                                        api_number(comparable ? reading->value - base->value : NAN))
              && !json_array_append_new(row->verdicts, api_string(verdict))
              && !json_array_append_new(row->comparable, json_boolean(comparable));
    if (ok && has_interval(measure))
        ok = !json_array_append_new(row->lower, api_number(reading->lower))
             && !json_array_append_new(row->upper, api_number(reading->upper));
    return ok;
}

static const char *direction_word(enum measure_direction direction)
{
    return direction == MEASURE_LOWER_IS_BETTER    ? "lower"
           : direction == MEASURE_HIGHER_IS_BETTER ? "higher"
                                                   : "none";
}

/* Needs the reference. */
static bool is_of_pair(const struct measure_definition *measure)
{
    return !strncmp(measure->path, "deviation", 9) || !strncmp(measure->path, "control_excess.", 15)
           || !strncmp(measure->path, "mend.", 5);
}

static json_t *row_tree(const struct measure_definition *measure, size_t m, const struct column *columns,
                        size_t run_count, size_t baseline)
{
    bool of_pair = is_of_pair(measure), ok = true;
    struct row row = {json_array(), json_array(), json_array(), json_array(),
                      json_array(), json_array(), json_array()};
    for (size_t r = 0; ok && r < run_count; r++) {
        const struct column *column = &columns[r];
        ok = row_add(&row, measure, &column->readings[m], &columns[baseline].readings[m], r == baseline,
                     of_pair ? column->deviation_comparable : column->comparable);
    }
    json_t *tree =
        json_pack("{s:s, s:s, s:s, s:o, s:s, s:o, s:o, s:o, s:o, s:o}", "measure", measure->path, "name",
                  measure->name, "group", measure->group, "unit", api_string(measure->unit), "direction",
                  direction_word(measure->direction), "values", row.values, "differences", row.differences,
                  "verdicts", row.verdicts, "comparable", row.comparable, "sampled", row.sampled);
    if (tree && has_interval(measure))
        ok = !json_object_set(tree, "lower", row.lower) && !json_object_set(tree, "upper", row.upper) && ok;
    json_decref(row.lower);
    json_decref(row.upper);
    if (ok)
        return tree;
    json_decref(tree);
    return NULL;
}

/* Measures of the kinds that are there; those of the limit surface and of a mend only where a run has them.
 */
static bool is_shown(const struct measure_definition *measure, size_t m, const struct compared_run *runs,
                     const struct column *columns, size_t run_count)
{
    bool seldom = !strncmp(measure->path, "deviation_limit.", 16)
                  || !strncmp(measure->path, "control_excess.", 15) || !strncmp(measure->path, "mend.", 5);
    for (size_t r = 0; r < run_count; r++)
        if ((strcmp(runs[r].run->kind, "cage") ? measure->of_scan : measure->of_cage)
            && !(seldom && isnan(columns[r].readings[m].value)))
            return true;
    return false;
}

static json_t *comparison_tree(const struct compared_run *runs, size_t run_count, size_t baseline,
                               const struct measure_list *measures, const struct column *columns)
{
    json_t *heads = json_array(), *rows = json_array();
    bool ok = true;
    for (size_t r = 0; ok && r < run_count; r++)
        ok = !json_array_append_new(heads, run_tree(&runs[r], &columns[r]));
    for (size_t m = 0; ok && m < measures->measure_count; m++)
        if (is_shown(&measures->measures[m], m, runs, columns, run_count))
            ok = !json_array_append_new(rows,
                                        row_tree(&measures->measures[m], m, columns, run_count, baseline));
    if (ok)
        return json_pack("{s:o, s:o, s:o}", "baseline", api_id(runs[baseline].run->id), "runs", heads, "rows",
                         rows);
    json_decref(heads);
    json_decref(rows);
    return NULL;
}

bool api_compare_write(const struct compared_run *runs, size_t run_count, size_t baseline,
                       const struct measure_list *measures, struct api_text *text, struct error *err)
{
    size_t measure_count = measures->measure_count;
    struct column *columns = calloc(run_count, sizeof *columns);
    struct reading *readings = calloc(run_count * measure_count, sizeof *readings);
    bool ok = columns && readings;
    if (!ok)
        error_set(err, ERROR_MACHINE, "memory is short; try again later");
    for (size_t r = 0; ok && r < run_count; r++) {
        columns[r].readings = readings + r * measure_count;
        ok = read_column(&runs[r], measures, &columns[r], err);
    }
    if (ok) {
        for (size_t r = 0; r < run_count; r++)
            judge_column(runs[r].run, runs[baseline].run, columns[baseline].units, &columns[r]);
        ok = api_text_write(comparison_tree(runs, run_count, baseline, measures, columns), text, err);
    }
    free(readings);
    free(columns);
    return ok;
}
