/* api_compare.c - extracting, aligning and judging the measures of several runs. */
#include "json/api_compare.h"

#include "store/settings.h"
#include "store/tolerances.h"
#include "json/record_pick.h"

#include <jansson.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static const char record_units[] = "subject.file.units", record_tolerances[] = "engine.settings.tolerances";

struct reading {
    double value, lower, upper; /* NaN: none */
    double level;               /* from which it counts; NaN where it does not say */
    bool sampled;
};

/* A row: a measure, or what a measure that stands once for each tolerance says of one of them. */
struct line {
    size_t measure;
    double tolerance; /* NaN: none */
};

struct lines {
    size_t count;
    struct line *lines;
};

struct column {
    char units[16];
    size_t tolerance_count;
    double tolerances[STORE_TOLERANCES_MAX]; /* of the run, ascending */
    char reason[96];                         /* "" when comparable with the baseline in every row */
    bool comparable;                         /* in all rows but those of deviation */
    bool deviation_comparable;               /* in those */
    bool findings_comparable;                /* in rows of findings, whose severity the tolerances decide */
    struct reading *readings;                /* [measure_count] */
    struct reading
        *within; /* [measure_count][STORE_TOLERANCES_MAX], of those that stand for each tolerance */
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
    return measure->halfwidth || measure->per_tolerance || (measure->lower && measure->upper);
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

static void read_tolerances(const json_t *record, struct column *column)
{
    const json_t *list = measure_node(record, record_tolerances), *item;
    size_t i;
    json_array_foreach(list, i, item)
    {
        if (i == STORE_TOLERANCES_MAX || !json_is_number(item))
            break;
        column->tolerances[i] = json_number_value(item);
        column->tolerance_count = i + 1;
    }
}

/* In the middle of its interval; the list has the run's tolerances in their order. */
static void read_within(const json_t *record, const struct measure_definition *measure,
                        struct reading within[STORE_TOLERANCES_MAX])
{
    const json_t *list = measure_node(record, measure->path), *entry;
    bool sampled = measure_is_sampled(record, measure);
    size_t i;
    for (size_t t = 0; t < STORE_TOLERANCES_MAX; t++)
        within[t] = (struct reading){NAN, NAN, NAN, NAN, sampled};
    json_array_foreach(list, i, entry)
    {
        struct reading *reading = &within[i];
        if (i == STORE_TOLERANCES_MAX)
            break;
        if (measure_number(entry, "share.lower", &reading->lower)
            && measure_number(entry, "share.upper", &reading->upper))
            reading->value = reading->lower + 0.5 * (reading->upper - reading->lower);
    }
}

/* The places of a record that a column is made of; NULL when memory is out. */
static json_t *column_places(const struct measure_list *measures)
{
    json_t *places = json_object();
    bool ok = record_places_add(places, record_units) && record_places_add(places, record_tolerances);
    for (size_t m = 0; ok && m < measures->measure_count; m++)
        ok = measure_add_places(&measures->measures[m], places);
    if (ok)
        return places;
    json_decref(places);
    return NULL;
}

static bool read_column(const struct compared_run *run, const struct measure_list *measures,
                        const json_t *places, struct column *column, struct error *err)
{
    json_t *record = record_pick(run->record, run->record_size, places);
    if (!record)
        return error_set(err, ERROR_STORE, "the record of run %lld cannot be read", (long long)run->run->id);
    const char *units = json_string_value(measure_node(record, record_units));
    snprintf(column->units, sizeof column->units, "%s", units ? units : "unknown");
    read_tolerances(record, column);
    for (size_t m = 0; m < measures->measure_count; m++)
        if (measures->measures[m].per_tolerance)
            read_within(record, &measures->measures[m], column->within + m * STORE_TOLERANCES_MAX);
        else
            column->readings[m] = read_measure(record, &measures->measures[m]);
    json_decref(record);
    return true;
}

static bool same_text(const char *a, const char *b)
{
    return a && b ? !strcmp(a, b) : a == b;
}

static bool same_tolerances(const struct column *a, const struct column *b)
{
    return a->tolerance_count == b->tolerance_count
           && !memcmp(a->tolerances, b->tolerances, a->tolerance_count * sizeof *a->tolerances);
}

static void judge_column(const struct store_run *run, const struct store_run *base,
                         const struct column *base_column, struct column *column)
{
    char *reason = column->reason;
    size_t room = sizeof column->reason;
    if (run->definitions != base->definitions)
        snprintf(reason, room, "measured by definitions %d, the baseline by %d", run->definitions,
                 base->definitions);
    else if (!store_settings_alike(run->settings, base->settings))
        snprintf(reason, room, "measured with other settings than the baseline");
    else if (strcmp(run->kind, base->kind))
        snprintf(reason, room, "a %s, the baseline is a %s", run->kind, base->kind);
    else if (strcmp(column->units, base_column->units))
        snprintf(reason, room, "lengths in %s, the baseline has %s", column->units, base_column->units);
    column->comparable = !*reason;
    bool same_reference = same_text(run->reference_sha256, base->reference_sha256);
    column->deviation_comparable = column->comparable && same_reference;
    if (column->comparable && !same_reference)
        snprintf(reason, room, "%s: deviations are not compared",
                 !run->reference_sha256    ? "measured alone"
                 : !base->reference_sha256 ? "the baseline was measured alone"
                                           : "measured against another reference");
    bool same_certify = store_settings_certify(run->settings) == store_settings_certify(base->settings),
         both_alone = !run->reference_sha256 && !base->reference_sha256,
         like_tolerances = both_alone || same_tolerances(column, base_column);
    /* without a tolerance, the wanted width of the interval is part of what counts as far (measure/places.h)
     */
    column->findings_comparable =
        column->comparable && like_tolerances && (both_alone || same_certify || column->tolerance_count > 0);
    if (column->deviation_comparable && !column->findings_comparable)
        snprintf(reason, room, "measured %s than the baseline: findings are not compared",
                 like_tolerances ? "to another width of interval" : "with other tolerances");
}

static json_t *tolerance_list(const struct column *column)
{
    json_t *list = json_array();
    for (size_t t = 0; list && t < column->tolerance_count; t++)
        if (json_array_append_new(list, json_real(column->tolerances[t]))) {
            json_decref(list);
            list = NULL;
        }
    return list;
}

static json_t *run_tree(const struct compared_run *compared, const struct column *column)
{
    const struct store_run *run = compared->run;
    return json_pack("{s:o, s:o, s:o, s:s, s:o, s:o, s:o, s:i, s:s, s:b, s:o, s:o}", "id", api_id(run->id),
                     "version", api_id(run->version), "label", api_label(run->kind, run->number), "kind",
                     run->kind, "face_size", api_number(compared->face_size), "against", api_id(run->against),
                     "reference_sha256", api_string(run->reference_sha256), "definitions", run->definitions,
                     "created", run->created, "comparable", (int)column->comparable, "why",
                     api_string(*column->reason ? column->reason : NULL), "tolerances",
                     tolerance_list(column));
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

static bool is_comparable(const struct measure_definition *measure, const struct column *column)
{
    if (!strncmp(measure->path, "findings_of_subject.", 20))
        return column->findings_comparable;
    return is_of_pair(measure) ? column->deviation_comparable : column->comparable;
}

static const struct reading *reading_of(const struct line *line, const struct column *column)
{
    static const struct reading none = {NAN, NAN, NAN, NAN, false};
    if (isnan(line->tolerance))
        return &column->readings[line->measure];
    for (size_t t = 0; t < column->tolerance_count; t++)
        if (column->tolerances[t] == line->tolerance)
            return &column->within[line->measure * STORE_TOLERANCES_MAX + t];
    return &none;
}

/* The path, with the tolerance of the row where it has one. */
static json_t *row_name(const struct measure_definition *measure, double tolerance)
{
    char text[STORE_TOLERANCES_TEXT];
    const struct store_tolerances one = {1, {tolerance}};
    if (isnan(tolerance))
        return json_string(measure->path);
    store_tolerances_write(&one, text);
    return json_sprintf("%s@%s", measure->path, text);
}

static json_t *row_tree(const struct measure_definition *measure, const struct line *line,
                        const struct column *columns, size_t run_count, size_t baseline)
{
    bool ok = true;
    struct row row = {json_array(), json_array(), json_array(), json_array(),
                      json_array(), json_array(), json_array()};
    for (size_t r = 0; ok && r < run_count; r++) {
        const struct column *column = &columns[r];
        ok = row_add(&row, measure, reading_of(line, column), reading_of(line, &columns[baseline]),
                     r == baseline, is_comparable(measure, column));
    }
    json_t *tree = json_pack(
        "{s:o, s:s, s:s, s:o, s:s, s:o, s:o, s:o, s:o, s:o}", "measure", row_name(measure, line->tolerance),
        "name", measure->name, "group", measure->group, "unit", api_string(measure->unit), "direction",
        direction_word(measure->direction), "values", row.values, "differences", row.differences, "verdicts",
        row.verdicts, "comparable", row.comparable, "sampled", row.sampled);
    if (tree && !isnan(line->tolerance))
        ok = !json_object_set_new(tree, "tolerance", json_real(line->tolerance)) && ok;
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
static bool is_shown(const struct measure_definition *measure, const struct line *line,
                     const struct compared_run *runs, const struct column *columns, size_t run_count)
{
    bool seldom = measure->per_tolerance || !strncmp(measure->path, "deviation_limit.", 16)
                  || !strncmp(measure->path, "control_excess.", 15) || !strncmp(measure->path, "mend.", 5);
    for (size_t r = 0; r < run_count; r++)
        if ((strcmp(runs[r].run->kind, "cage") ? measure->of_scan : measure->of_cage)
            && !(seldom && isnan(reading_of(line, &columns[r])->value)))
            return true;
    return false;
}

static json_t *comparison_tree(const struct compared_run *runs, size_t run_count, size_t baseline,
                               const struct measure_list *measures, const struct lines *lines,
                               const struct column *columns)
{
    json_t *heads = json_array(), *rows = json_array();
    bool ok = true;
    for (size_t r = 0; ok && r < run_count; r++)
        ok = !json_array_append_new(heads, run_tree(&runs[r], &columns[r]));
    for (size_t i = 0; ok && i < lines->count; i++) {
        const struct line *line = &lines->lines[i];
        const struct measure_definition *measure = &measures->measures[line->measure];
        if (is_shown(measure, line, runs, columns, run_count))
            ok = !json_array_append_new(rows, row_tree(measure, line, columns, run_count, baseline));
    }
    if (ok)
        return json_pack("{s:o, s:o, s:o}", "baseline", api_id(runs[baseline].run->id), "runs", heads, "rows",
                         rows);
    json_decref(heads);
    json_decref(rows);
    return NULL;
}

/* The tolerances of all runs, ascending, each once. */
static size_t gather_tolerances(const struct column *columns, size_t run_count, double *all)
{
    size_t count = 0;
    for (size_t r = 0; r < run_count; r++)
        for (size_t t = 0; t < columns[r].tolerance_count; t++) {
            double tolerance = columns[r].tolerances[t];
            size_t at = 0;
            while (at < count && all[at] < tolerance)
                at++;
            if (at < count && all[at] == tolerance)
                continue;
            memmove(&all[at + 1], &all[at], (count - at) * sizeof *all);
            all[at] = tolerance;
            count++;
        }
    return count;
}

/* The rows in the order of the measures. False when memory is out; on success the caller frees the lines. */
static bool make_lines(const struct measure_list *measures, const struct column *columns, size_t run_count,
                       struct lines *lines)
{
    double *tolerances = calloc(run_count * STORE_TOLERANCES_MAX + 1, sizeof *tolerances);
    size_t tolerance_count = tolerances ? gather_tolerances(columns, run_count, tolerances) : 0;
    lines->lines =
        tolerances ? calloc(measures->measure_count * (tolerance_count + 1), sizeof *lines->lines) : NULL;
    lines->count = 0;
    for (size_t m = 0; lines->lines && m < measures->measure_count; m++) {
        bool each = measures->measures[m].per_tolerance;
        for (size_t t = 0; t < (each ? tolerance_count : 1); t++)
            lines->lines[lines->count++] = (struct line){m, each ? tolerances[t] : NAN};
    }
    free(tolerances);
    return lines->lines != NULL;
}

static bool memory_is_short(struct error *err)
{
    return error_set(err, ERROR_MACHINE, "memory is short; try again later");
}

bool api_compare_write(const struct compared_run *runs, size_t run_count, size_t baseline,
                       const struct measure_list *measures, struct api_text *text, struct error *err)
{
    const size_t measure_count = measures->measure_count, each = 1 + STORE_TOLERANCES_MAX;
    struct column *columns = calloc(run_count, sizeof *columns);
    struct reading *readings = calloc(run_count * measure_count * each, sizeof *readings);
    json_t *places = column_places(measures);
    struct lines lines = {0, NULL};
    bool ok = columns && readings && places;
    if (!ok)
        memory_is_short(err);
    for (size_t r = 0; ok && r < run_count; r++) {
        columns[r].readings = readings + r * measure_count * each;
        columns[r].within = columns[r].readings + measure_count;
        ok = read_column(&runs[r], measures, places, &columns[r], err);
    }
    if (ok && !make_lines(measures, columns, run_count, &lines))
        ok = memory_is_short(err);
    if (ok) {
        for (size_t r = 0; r < run_count; r++)
            judge_column(runs[r].run, runs[baseline].run, &columns[baseline], &columns[r]);
        ok = api_text_write(comparison_tree(runs, run_count, baseline, measures, &lines, columns), text, err);
    }
    free(lines.lines);
    json_decref(places);
    free(readings);
    free(columns);
    return ok;
}
