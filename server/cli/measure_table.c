/* measure_table.c - names, units and order of the rows come from schema/measures.json. */
#include "cli/measure_table.h"

#include "cli/measure_text.h"
#include "cli/mend_table.h"
#include "json/measures.h"
#include "json/run_json.h"

#include <math.h>
#include <string.h>

enum { NAME_WIDTH = 28, VALUE_WIDTH = 20, FINDINGS_SHOWN = 4 /* of a kind */ };

#define SUBJECT_PREFIX "subject."

static const char *kind_name(enum mesh_kind kind)
{
    return kind == MESH_CAGE ? "cage" : "scan";
}

static void print_padding(FILE *out, const char *text, int width)
{
    for (int i = (int)measure_text_width(text); i < width; i++)
        fputc(' ', out);
}

/* A name is anybody's: what would steer the terminal is shown as '?'. */
static void make_printable(char *name)
{
    for (unsigned char *c = (unsigned char *)name; *c; c++)
        if (*c < 0x20 || *c == 0x7f)
            *c = '?';
        else if (*c == 0xc2 && c[1] < 0xa0) /* U+0080 to U+009F */
            c[0] = c[1] = '?';
}

static void print_file(FILE *out, const char *role, const struct mesh_file *file, enum run_units units)
{
    char bytes[MEASURE_TEXT_SIZE], name[sizeof file->name];
    measure_text_bytes(file->bytes, bytes);
    snprintf(name, sizeof name, "%s", file->name);
    make_printable(name);
    fprintf(out, "%-10s %s (%s%s%s, %s, units: %s)\n", role, name, file->format,
            file->compression ? ", " : "", file->compression ? file->compression : "", bytes,
            run_units_name(units));
}

/* The unit after a value; empty for counts, ratios and where the files' unit is not known. */
static void unit_text(const struct measure_definition *measure, enum run_units units, char text[16])
{
    static const struct {
        const char *unit, *power;
    } powers[] = {{"length", ""}, {"area", "\xc2\xb2"}, {"volume", "\xc2\xb3"}};

    text[0] = '\0';
    if (strcmp(measure->unit, "degree") == 0)
        strcpy(text, "\xc2\xb0");
    else if (strcmp(measure->unit, "share") == 0)
        strcpy(text, " %");
    for (size_t i = 0; i < sizeof powers / sizeof powers[0] && units != UNITS_UNKNOWN; i++)
        if (strcmp(measure->unit, powers[i].unit) == 0)
            snprintf(text, 16, " %s%s", run_units_name(units), powers[i].power);
}

/* The number at path in the mesh report that swap names; NaN where there is none. */
static double value_at(const struct json_t *record, const char *path, bool of_reference)
{
    char other[160];
    double value;
    if (!path)
        return NAN;
    if (of_reference) {
        snprintf(other, sizeof other, "reference.%s", path + strlen(SUBJECT_PREFIX));
        path = other;
    }
    return measure_number(record, path, &value) ? value : NAN;
}

static void value_text(const struct measure_definition *measure, const struct json_t *record,
                       bool of_reference, enum run_units units, char text[MEASURE_TEXT_SIZE + 32])
{
    char digits[MEASURE_TEXT_SIZE], unit[16];
    double value = value_at(record, measure->path, of_reference);
    const char *sampled = !isnan(value) && measure_is_sampled(record, measure) ? "\xe2\x89\x88 " : "";

    if (measure->lower && measure->upper)
        measure_text_interval(value_at(record, measure->lower, of_reference),
                              value_at(record, measure->upper, of_reference), digits);
    else if (measure->halfwidth)
        measure_text_halfwidth(value, value_at(record, measure->halfwidth, of_reference), digits);
    else if (strcmp(measure->unit, "count") == 0)
        measure_text_count(value, digits);
    else if (strcmp(measure->unit, "share") == 0)
        measure_text_share(value, digits);
    else
        measure_text_value(value, digits);
    unit_text(measure, units, unit);
    snprintf(text, MEASURE_TEXT_SIZE + 32, "%s%s%s", sampled, digits, isnan(value) ? "" : unit);
}

static bool is_row(const struct measure_definition *measure, const struct run *run, const char *group)
{
    if (!measure->stored || strcmp(measure->group, group) != 0)
        return false;
    if (!run->has_deviation && strncmp(measure->path, "deviation.", 10) == 0)
        return false;
    if (!run->has_deviation_limit && strncmp(measure->path, "deviation_limit.", 16) == 0)
        return false;
    if (!run->has_mend && strncmp(measure->path, "mend.", 5) == 0)
        return false;
    if (!(run->has_deviation && run->has_deviation_limit)
        && strncmp(measure->path, "control_excess.", 15) == 0)
        return false;
    return run->kind == MESH_CAGE ? measure->of_cage : measure->of_scan;
}

static void print_row(FILE *out, const struct measure_definition *measure, const struct json_t *record,
                      const struct run *run)
{
    char text[MEASURE_TEXT_SIZE + 32];
    bool of_mesh = strncmp(measure->path, SUBJECT_PREFIX, strlen(SUBJECT_PREFIX)) == 0;

    value_text(measure, record, false, run->settings.units, text);
    fprintf(out, "  %s", measure->name);
    print_padding(out, measure->name, NAME_WIDTH);
    print_padding(out, text, VALUE_WIDTH);
    fputs(text, out);
    if (run->has_reference && of_mesh && measure->of_scan) {
        value_text(measure, record, true, run->settings.units, text);
        print_padding(out, text, VALUE_WIDTH);
        fputs(text, out);
    }
    fputc('\n', out);
}

/* One row for each tolerance that was asked for: the share of the area within it. */
static void print_coverage(FILE *out, const struct run *run, const struct one_sided_deviation *side)
{
    enum run_units units = run->settings.units;
    for (size_t i = 0; i < run->settings.deviation.tolerance_count; i++) {
        char length[MEASURE_TEXT_SIZE], name[MEASURE_TEXT_SIZE + 32];
        char digits[MEASURE_TEXT_SIZE], text[MEASURE_TEXT_SIZE + 32];
        measure_text_value(run->settings.deviation.tolerances[i], length);
        snprintf(name, sizeof name, "Area within %s%s%s", length, units == UNITS_UNKNOWN ? "" : " ",
                 units == UNITS_UNKNOWN ? "" : run_units_name(units));
        measure_text_interval(100 * side->coverage[i].lower, 100 * side->coverage[i].upper, digits);
        snprintf(text, sizeof text, "%s%s %%", side->sample_count > 0 ? "\xe2\x89\x88 " : "", digits);
        fprintf(out, "  %s", name);
        print_padding(out, name, NAME_WIDTH);
        print_padding(out, text, VALUE_WIDTH);
        fprintf(out, "%s\n", text);
    }
}

static void print_group(FILE *out, const struct measure_group *group, const struct measure_list *measures,
                        const struct json_t *record, const struct run *run)
{
    bool titled = false;
    for (size_t i = 0; i < measures->measure_count; i++) {
        if (!is_row(&measures->measures[i], run, group->id))
            continue;
        if (!titled)
            fprintf(out, "\n%s\n", group->title);
        titled = true;
        print_row(out, &measures->measures[i], record, run);
    }
    if (titled && strcmp(group->id, "mend") == 0)
        mend_table_print(&run->mend, run->settings.units, out);
    if (run->has_deviation && strcmp(group->id, "lost") == 0)
        print_coverage(out, run, &run->deviation.reference_to_subject);
    if (run->has_deviation && strcmp(group->id, "invented") == 0)
        print_coverage(out, run, &run->deviation.subject_to_reference);
}

/* Whether the i-th finding is among the first of its kind. */
static bool is_shown(const struct finding_list *findings, size_t i)
{
    return i < FINDINGS_SHOWN || findings->entries[i - FINDINGS_SHOWN].kind != findings->entries[i].kind;
}

static void print_findings(FILE *out, const struct run *run)
{
    const struct finding_list *findings = &run->findings;
    size_t shown = 0;

    if (findings->count)
        fputs("\nPlaces\n", out);
    for (size_t i = 0; i < findings->count; i++) {
        const struct finding *finding = &findings->entries[i];
        if (!is_shown(findings, i))
            continue;
        shown++;
        fprintf(out, "  %-8s at (%.5g, %.5g, %.5g)%s: %s\n", finding_severity_name(finding->severity),
                finding->at.x, finding->at.y, finding->at.z,
                finding->mesh == FINDING_REFERENCE ? " of the reference" : "", finding->text);
    }
    if (findings->total > shown)
        fprintf(out, "  and %zu more; --json lists them\n", findings->total - shown);
}

static void print_warnings(FILE *out, const char *role, const struct mesh_file *file)
{
    for (size_t i = 0; i < file->warnings.count; i++)
        fprintf(out, "  %s: %s (%s, %zu)\n", role, file->warnings.entries[i].text,
                file->warnings.entries[i].code, file->warnings.entries[i].count);
}

static void print_notes(FILE *out, const struct run *run)
{
    size_t samples = run->deviation.reference_to_subject.normal_angle.sample_count;
    char text[MEASURE_TEXT_SIZE];

    if (run->subject.file.warnings.count || (run->has_reference && run->reference.file.warnings.count))
        fputs("\nRemarks on the files\n", out);
    print_warnings(out, "subject", &run->subject.file);
    if (run->has_reference)
        print_warnings(out, "reference", &run->reference.file);
    if (run->has_deviation && samples) {
        measure_text_count((double)samples, text);
        fprintf(out, "\n\xe2\x89\x88 from %s samples, \xc2\xb1 four standard errors\n", text);
    }
    if (run->has_deviation && run->has_deviation_limit)
        fputs("\nPolygon: what the faces of the cage deviate more than the surface they stand "
              "for.\n",
              out);
    if ((run->has_deviation && run->deviation.budget_exhausted)
        || (run->has_deviation_limit && run->deviation_limit.budget_exhausted))
        fputs("\nThe work budget ended first: the certified intervals are wider than was asked for.\n", out);
}

bool measure_table_print(const struct run *run, FILE *out, struct error *err)
{
    struct measure_list measures = {0};
    struct json_t *record = NULL;
    bool ok = false;

    record = run_to_json(run, err);
    if (!record || !measures_open(&measures, err))
        goto out;
    print_file(out, kind_name(run->kind), &run->subject.file, run->settings.units);
    if (!run->settings.kind_given)
        fprintf(out, "%-10s taken for a %s by the corners of its faces; --kind sets it\n", "",
                kind_name(run->kind));
    if (run->has_reference) {
        print_file(out, "against", &run->reference.file, run->settings.units);
        fprintf(out, "\n  %*s%*s%*s\n", NAME_WIDTH, "", VALUE_WIDTH, "subject", VALUE_WIDTH, "reference");
    }
    for (size_t i = 0; i < measures.group_count; i++)
        print_group(out, &measures.groups[i], &measures, record, run);
    print_findings(out, run);
    print_notes(out, run);
    ok = true;

out:
    measures_close(&measures);
    run_json_release(record);
    return ok;
}
