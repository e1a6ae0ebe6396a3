/* test_run_json.c
 *   undefined_*  what is not defined is null
 *   forms_*      units of findings, nulls without a reference, one line of text */
#include "json/run_json.h"

#include "json/measures.h"

#include <criterion/criterion.h>
#include <jansson.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

/* A run that found nothing: every list empty, every metric named. */
static struct run *empty_run(void)
{
    struct run *run = calloc(1, sizeof *run);
    run->settings = run_settings_default();
    for (size_t i = 0; i < QUAD_METRIC_COUNT; i++)
        run->subject.report.quality.quad[i].name = "metric";
    for (size_t i = 0; i < TRIANGLE_METRIC_COUNT; i++)
        run->subject.report.quality.triangle[i].name = "metric";
    run->subject.file.format = "obj";
    return run;
}

static json_t *record_of(const struct run *run)
{
    struct error err;
    json_t *record = run_to_json(run, &err);
    cr_assert(record != NULL, "%s", err.text);
    return record;
}

static bool is_null(const json_t *record, const char *path)
{
    const json_t *node = measure_node(record, path);
    cr_assert(node != NULL, "%s", path);
    return json_is_null(node);
}

Test(run_json, undefined_numbers_are_null)
{
    struct run *run = empty_run();
    run->subject.report.volume = NAN;
    run->subject.report.area = INFINITY;
    run->subject.report.topology.genus = MEASURE_UNDEFINED;
    run->subject.report.topology.open_loops = MEASURE_UNDEFINED;
    run->subject.report.quality.quad[0].worst_face = MEASURE_UNDEFINED;
    json_t *record = record_of(run);

    cr_expect(is_null(record, "subject.volume"));
    cr_expect(is_null(record, "subject.area"));
    cr_expect(is_null(record, "subject.topology.genus"));
    cr_expect(is_null(record, "subject.topology.open_loops"));
    cr_expect(is_null(record, "subject.file.compression"));
    cr_expect_not(is_null(record, "subject.topology.euler_characteristic"));
    json_decref(record);
    free(run);
}

Test(run_json, forms_without_a_reference_have_nulls)
{
    struct run *run = empty_run();
    json_t *record = record_of(run);

    cr_expect(is_null(record, "reference"));
    cr_expect(is_null(record, "deviation"));
    cr_expect(is_null(record, "deviation_limit"));
    cr_expect(is_null(record, "control_excess"));
    cr_expect_str_eq(json_string_value(measure_node(record, "schema")), "fettle/run/1");
    json_decref(record);
    free(run);
}

Test(run_json, forms_of_finding_units_follow_the_file)
{
    static const struct {
        const char *unit;
        enum run_units units;
        const char *text;
    } rows[] = {{"length", UNITS_MM, "mm"},
                {"area", UNITS_IN, "in\xc2\xb2"},
                {"edges", UNITS_MM, "edges"},
                {"length", UNITS_UNKNOWN, "unknown"}};
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct run *run = empty_run();
        struct finding finding = {.unit = rows[i].unit, .text = "text"};
        run->settings.units = rows[i].units;
        run->findings = (struct finding_list){.count = 1, .entries = &finding, .total = 1};
        json_t *record = record_of(run);
        json_t *first = json_array_get(measure_node(record, "findings"), 0);
        cr_expect_str_eq(json_string_value(json_object_get(first, "unit")), rows[i].text);
        json_decref(record);
        free(run);
    }
}

/* What the words of a finding turn on stands in fields of its own, and only where it means something. */
Test(run_json, forms_of_a_finding_are_those_of_its_kind)
{
    static const char *const keys[] = {"form", "edges", "fans", "vertex"};
    static const struct {
        struct finding finding;
        bool has[4];
    } rows[] = {
        {{.kind = FINDING_FLIPPED_FACES, .form = FINDING_ONE_SIDED}, {true, false, false, false}},
        {{.kind = FINDING_OPEN_LOOP, .edges = 7}, {false, true, false, false}},
        {{.kind = FINDING_NONMANIFOLD_VERTEX, .fans = 2, .vertex = 0}, {false, false, true, true}},
        {{.kind = FINDING_LOST, .form = FINDING_HOLE}, {true, false, false, false}},
        {{.kind = FINDING_STRAY_SHELL}, {false, false, false, false}},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct run *run = empty_run();
        struct finding finding = rows[i].finding;
        finding.unit = "length";
        run->findings = (struct finding_list){.count = 1, .entries = &finding, .total = 1};
        json_t *record = record_of(run);
        json_t *first = json_array_get(measure_node(record, "findings"), 0);
        for (size_t k = 0; k < 4; k++)
            cr_expect((json_object_get(first, keys[k]) != NULL) == rows[i].has[k], "%zu %s", i, keys[k]);
        if (rows[i].has[1])
            cr_expect(json_integer_value(json_object_get(first, "edges")) == 7);
        json_decref(record);
        free(run);
    }
}

Test(run_json, forms_count_findings_of_both_meshes_and_of_the_subject)
{
    struct run *run = empty_run();
    run->findings.total_by_severity[FINDING_SUBJECT][FINDING_FAULT] = 2;
    run->findings.total_by_severity[FINDING_REFERENCE][FINDING_FAULT] = 5;
    json_t *record = record_of(run);
    double total = 0, own = 0;

    cr_expect(measure_number(record, "findings_by_severity.fault", &total));
    cr_expect(measure_number(record, "findings_of_subject.fault", &own));
    cr_expect_eq(total, 7.0);
    cr_expect_eq(own, 2.0);
    json_decref(record);
    free(run);
}

Test(run_json, forms_of_the_text_are_one_line)
{
    struct run *run = empty_run();
    struct error err;
    char *text;
    size_t size;

    cr_assert(run_record_text(run, &text, &size, &err));
    cr_expect_eq(strlen(text), size);
    cr_expect_eq(strchr(text, '\n'), text + size - 1);
    free(text);
    free(run);
}
