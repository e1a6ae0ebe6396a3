/* test_audit_json.c
 *   reading_*  what a record holds for a rule: units, powers, the diagonal, intervals, what is not known
 *   audit_*    refused records, digests, texts, the same bytes
 *   sarif_*    names and reasons of any length and script */
#include "json/audit_json.h"
#include "json/spec_json.h"

#include <criterion/criterion.h>
#include <jansson.h>
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static struct measure_list measures;

static void begin(void)
{
    struct error err;
    cr_assert(measures_open(&measures, &err), "%s", err.text);
}
static void end(void)
{
    measures_close(&measures);
}
TestSuite(audit_json, .init = begin, .fini = end);

#define KINDS(open, lost)                                                                                    \
    "\"findings_by_kind\":{\"open_loop\":" #open ",\"lost\":" #lost ",\"nonmanifold_edge\":0}"
#define SUBJECT(units)                                                                                       \
    "\"subject\":{\"file\":{\"name\":\"a.obj\",\"units\":\"" units                                           \
    "\"},\"area\":645.16,\"volume\":16387.064,"                                                              \
    "\"bounds\":{\"diagonal\":50},\"topology\":{\"open_edges\":3,\"closed\":false,\"genus\":null}}"
#define ENGINE "\"engine\":{\"settings\":{\"certify\":1e-4,\"threads\":2}},\"timings\":{\"total\":1}"
/* A scan of one square inch and one cubic inch in millimetres, alone. */
static const char alone[] = "{\"schema\":\"fettle/run/1\",\"kind\":\"scan\"," SUBJECT(
    "mm") ",\"reference\":null,"
          "\"deviation\":null,\"findings\":[]," KINDS(0, 0) "," ENGINE "}";
static const char unknown_units[] = "{\"schema\":\"fettle/run/1\",\"kind\":\"scan\"," SUBJECT(
    "unknown") ",\"reference\":null,\"deviation\":null,\"findings\":[]," KINDS(0, 0) "," ENGINE "}";
static const char against[] = "{\"schema\":\"fettle/run/1\",\"kind\":\"cage\"," SUBJECT(
    "mm") ",\"reference\":{\"bounds\":{\"diagonal\":200},"
          "\"topology\":{\"open_edges\":0,\"closed\":true}},\"deviation\":{\"hausdorff\":{\"lower\":0.5,"
          "\"upper\":0.75},"
          "\"subject_to_reference\":{\"mean\":0.25,\"halfwidth\":{\"mean\":0.0625},\"sampled\":null}},"
          "\"deviation_"
          "limit\":null,"
          "\"findings\":[{\"kind\":\"open_loop\",\"severity\":\"warning\",\"mesh\":\"subject\",\"size\":25.4,"
          "\"unit\":\"mm\",\"faces_total\":3},"
          "{\"kind\":\"open_loop\",\"severity\":\"note\",\"mesh\":\"reference\",\"size\":12.7,\"unit\":"
          "\"mm\",\"faces_total\":4},"
          "{\"kind\":\"lost\",\"severity\":\"warning\",\"mesh\":\"reference\",\"size\":9999,\"unit\":"
          "\"mm\xc2\xb2\",\"faces_total\":5}]," KINDS(2, 4) "," ENGINE "}";

static struct spec spec_of(const char *rule)
{
    char text[3000];
    struct spec spec;
    struct error err;
    snprintf(text, sizeof text,
             "{\"schema\":\"fettle/spec/1\",\"name\":\"N\",\"purpose\":\"P\",\"rules\":[{\"id\":\"r\","
             "\"reason\":\"because\",\"source\":\"none\",%s}]}",
             rule);
    cr_assert(spec_open(text, strlen(text), &measures, &spec, &err), "%s: %s", text, err.text);
    return spec;
}

static struct audit_reading reading_of(const char *record, const char *format, ...)
{
    char rule[1000];
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(rule, sizeof rule, format, arguments);
    va_end(arguments);
    struct spec spec = spec_of(rule);
    json_t *tree = json_loads(record, 0, NULL);
    cr_assert_not_null(tree);
    struct audit_reading reading = audit_reading_of(tree, &spec.rules[0], &measures);
    json_decref(tree);
    spec_close(&spec);
    return reading;
}

static void expect_known(struct audit_reading reading, double lower, double upper)
{
    cr_expect_eq(reading.state, READING_KNOWN);
    cr_expect_float_eq(reading.lower, lower, 1e-12 * (1 + fabs(lower)), "%.17g", reading.lower);
    cr_expect_float_eq(reading.upper, upper, 1e-12 * (1 + fabs(upper)), "%.17g", reading.upper);
}

#define LIMIT(measure, unit)                                                                                 \
    "\"measure\":\"" measure "\",\"relation\":\"at most\",\"limit\":1,\"unit\":\"" unit "\""

Test(audit_json, reading_in_the_unit_of_the_limit_by_its_power)
{
    expect_known(reading_of(alone, LIMIT("subject.area", "mm")), 645.16, 645.16);
    expect_known(reading_of(alone, LIMIT("subject.area", "in")), 1, 1);
    expect_known(reading_of(alone, LIMIT("subject.area", "cm")), 6.4516, 6.4516);
    expect_known(reading_of(alone, LIMIT("subject.volume", "in")), 1, 1);
    expect_known(reading_of(alone, LIMIT("subject.volume", "m")), 1.6387064e-5, 1.6387064e-5);
    expect_known(reading_of(against, LIMIT("deviation.hausdorff", "in")), 0.5 / 25.4, 0.75 / 25.4);
}

static const char sampled[] = "{\"schema\":\"fettle/run/1\",\"kind\":\"cage\"," SUBJECT(
    "mm") ",\"reference\":{\"bounds\":{\"diagonal\":200}},\"deviation\":{\"reference_to_subject\":{\"mean\":"
          "254,"
          "\"p95\":300,\"halfwidth\":{\"mean\":2.54,\"p95\":1},\"sampled\":{\"N\":9,\"seed\":1},"
          "\"certified\":{\"mean\":{\"lower\":127,\"upper\":508}}}},\"deviation_limit\":null,"
          "\"findings\":[]," KINDS(0, 0) "," ENGINE "}";

Test(audit_json, reading_of_samples_has_what_is_certified_beside_it_where_the_record_does)
{
    struct audit_reading mean = reading_of(sampled, LIMIT("deviation.reference_to_subject.mean", "in"));
    expect_known(mean, 9.9, 10.1);
    cr_expect(mean.sampled && mean.has_certified);
    cr_expect_float_eq(mean.certified_lower, 5, 1e-12);
    cr_expect_float_eq(mean.certified_upper, 20, 1e-12);
    struct audit_reading p95 = reading_of(sampled, LIMIT("deviation.reference_to_subject.p95", "mm"));
    expect_known(p95, 299, 301);
    cr_expect_eq(p95.has_certified, false);
}

Test(audit_json, reading_by_the_diagonal_of_the_reference_or_of_the_subject_alone)
{
    expect_known(reading_of(against, LIMIT("deviation.hausdorff", "diagonal")), 0.0025, 0.00375);
    expect_known(reading_of(against, LIMIT("subject.area", "diagonal")), 645.16 / 40000, 645.16 / 40000);
    expect_known(reading_of(alone, LIMIT("subject.volume", "diagonal")), 16387.064 / 125000,
                 16387.064 / 125000);
    expect_known(reading_of(unknown_units, LIMIT("subject.volume", "diagonal")), 16387.064 / 125000,
                 16387.064 / 125000);
}

Test(audit_json, reading_of_intervals_halfwidths_counts_and_statements)
{
    expect_known(reading_of(against, LIMIT("deviation.hausdorff.upper", "mm")), 0.5, 0.75);
    expect_known(reading_of(against, LIMIT("deviation.subject_to_reference.mean", "mm")), 0.1875, 0.3125);
    struct audit_reading count = reading_of(
        against, "\"measure\":\"reference.topology.open_edges\",\"relation\":\"at most\",\"limit\":0");
    expect_known(count, 0, 0);
    cr_expect(count.exact);
    expect_known(
        reading_of(alone, "\"measure\":\"subject.topology.closed\",\"relation\":\"equals\",\"limit\":true"),
        0, 0);
    expect_known(
        reading_of(against,
                   "\"measure\":\"reference.topology.closed\",\"relation\":\"equals\",\"limit\":true"),
        1, 1);
}

Test(audit_json, reading_that_is_not_known_says_why)
{
    cr_expect_eq(reading_of(alone, LIMIT("deviation.hausdorff", "mm")).state, READING_ALONE);
    cr_expect_eq(
        reading_of(alone, "\"measure\":\"reference.topology.closed\",\"relation\":\"equals\",\"limit\":true")
            .state,
        READING_ALONE);
    cr_expect_eq(reading_of(unknown_units, LIMIT("subject.area", "mm")).state, READING_UNITLESS);
    cr_expect_eq(
        reading_of(alone, "\"measure\":\"subject.topology.genus\",\"relation\":\"at most\",\"limit\":0")
            .state,
        READING_UNDEFINED);
    cr_expect_eq(
        reading_of(alone, "\"measure\":\"subject.topology.shells\",\"relation\":\"at most\",\"limit\":1")
            .state,
        READING_ABSENT);
    cr_expect_eq(reading_of(against, LIMIT("deviation_limit.hausdorff", "mm")).state, READING_ABSENT);
    cr_expect_eq(
        reading_of(alone, "\"findings\":{\"kinds\":[\"stray_shell\"]},\"relation\":\"at most\",\"limit\":0")
            .state,
        READING_ABSENT, "a kind that the record does not know was taken for none of it");
    cr_expect_eq(
        reading_of("{\"reference\":null}", "\"findings\":{},\"relation\":\"at most\",\"limit\":0").state,
        READING_ABSENT);
}

/* A value that rests on samples, without a bound of its own. */
Test(audit_json, reading_of_samples_has_no_bound)
{
    size_t seen = 0;
    for (size_t i = 0; i < measures.measure_count; i++) {
        const struct measure_definition *measure = &measures.measures[i];
        if (measure->certainty != MEASURE_SAMPLED || measure->halfwidth || measure->upper
            || strstr(measure->path, "mend."))
            continue;
        char rule[300];
        snprintf(rule, sizeof rule, "\"measure\":\"%s\",\"relation\":\"at most\",\"limit\":1%s",
                 measure->path, strcmp(measure->unit, "length") ? "" : ",\"unit\":\"mm\"");
        json_t *record = json_real(0.5);
        char path[200];
        snprintf(path, sizeof path, "%s", measure->path);
        for (char *point; (point = strrchr(path, '.')) != NULL; *point = '\0')
            record = json_pack("{s:o}", point + 1, record);
        record = json_pack("{s:o}", path, record);
        struct spec spec = spec_of(rule);
        cr_expect_eq(audit_reading_of(record, &spec.rules[0], &measures).state, READING_UNBOUNDED, "%s",
                     measure->path);
        spec_close(&spec);
        json_decref(record);
        seen++;
    }
    cr_expect_gt(seen, 0u);
}

Test(audit_json, reading_of_findings_by_kind_severity_and_mesh)
{
    expect_known(
        reading_of(against, "\"findings\":{\"kinds\":[\"open_loop\"]},\"relation\":\"at most\",\"limit\":0"),
        2, 2);
    expect_known(reading_of(against, "\"findings\":{\"kinds\":[\"open_loop\"],\"mesh\":\"subject\"},"
                                     "\"relation\":\"at most\",\"limit\":0"),
                 1, 1);
    expect_known(reading_of(against, "\"findings\":{\"kinds\":[\"open_loop\"],\"severity\":\"note\",\"take\":"
                                     "\"faces\"},\"relation\":\"at most\",\"limit\":0"),
                 4, 4);
    expect_known(reading_of(against, "\"findings\":{\"kinds\":[\"open_loop\"],\"take\":\"largest "
                                     "size\"},\"relation\":\"at most\",\"limit\":1,\"unit\":\"in\""),
                 1, 1);
    expect_known(reading_of(against,
                            "\"findings\":{\"kinds\":[\"open_loop\"],\"mesh\":\"reference\",\"take\":"
                            "\"largest size\"},\"relation\":\"at most\",\"limit\":1,\"unit\":\"in\""),
                 0.5, 0.5);
}

/* One lost place is listed, of four: what is asked of the others may or may not hold. */
Test(audit_json, reading_of_a_cut_list_is_an_interval)
{
    expect_known(
        reading_of(against, "\"findings\":{\"kinds\":[\"lost\"]},\"relation\":\"at most\",\"limit\":0"), 4,
        4);
    expect_known(reading_of(against, "\"findings\":{},\"relation\":\"at most\",\"limit\":0"), 6, 6);
    expect_known(reading_of(against, "\"findings\":{\"kinds\":[\"lost\"],\"severity\":\"warning\"},"
                                     "\"relation\":\"at most\",\"limit\":0"),
                 1, 4);
    struct audit_reading faces = reading_of(
        against,
        "\"findings\":{\"kinds\":[\"lost\"],\"take\":\"faces\"},\"relation\":\"at most\",\"limit\":0");
    cr_expect_eq(faces.lower, 5);
    cr_expect_eq(faces.upper, INFINITY);
}

static struct audit_request request_of(const struct spec *spec)
{
    return (struct audit_request){.spec = spec, .measures = &measures, .day = "2026-11-28"};
}

static struct audited audited_of(const char *record, const struct spec *spec)
{
    struct audited audited;
    struct error err;
    struct audit_request request = request_of(spec);
    cr_assert(audited_make(record, strlen(record), &request, &audited, &err), "%s", err.text);
    return audited;
}

Test(audit_json, audit_refuses_what_is_not_a_record_or_of_another_kind)
{
    struct spec spec = spec_of(LIMIT("subject.area", "mm"));
    struct audit_request request = request_of(&spec);
    struct audited audited;
    struct error err = {0};
    static const char *const others[] = {"",
                                         "{",
                                         "[]",
                                         "{}",
                                         "{\"schema\":\"fettle/run/2\",\"kind\":\"scan\"}",
                                         "{\"schema\":\"fettle/run/1\"}"};
    for (size_t i = 0; i < sizeof others / sizeof others[0]; i++) {
        cr_expect_not(audited_make(others[i], strlen(others[i]), &request, &audited, &err));
        cr_expect_eq(err.code, ERROR_USAGE);
    }
    spec.for_scan = false;
    cr_expect_not(audited_make(alone, strlen(alone), &request, &audited, &err));
    cr_expect_str_eq(err.text,
                     "the spec \"N\" is for a cage, and this is a run of a scan; take another spec");
    spec_close(&spec);
}

Test(audit_json, audit_digest_leaves_out_what_varies_and_nothing_else)
{
    struct spec spec = spec_of(LIMIT("subject.area", "mm"));
    char *other = strdup(alone);
    struct audited first = audited_of(alone, &spec);
    *strstr(other, "\"threads\":2") = ' ';
    memcpy(strstr(other, "\"total\":1"), "\"total\":9", 9);
    memcpy(strstr(other, " threads\":2"), "\"threads\":7", 11);
    struct audited second = audited_of(other, &spec);
    cr_expect_str_eq(first.record_sha256, second.record_sha256);
    audited_close(&second);
    memcpy(strstr(other, "645.16"), "645.17", 6);
    second = audited_of(other, &spec);
    cr_expect_str_neq(first.record_sha256, second.record_sha256);
    audited_close(&second);
    audited_close(&first);
    free(other);
    spec_close(&spec);
}

static void expect_texts(const char *record, const char *rule, const char *value, const char *limit,
                         const char *advice)
{
    char text[200];
    struct spec spec = spec_of(rule);
    struct audited audited = audited_of(record, &spec);
    audit_value_text(&audited.rules[0], text, sizeof text);
    cr_expect_str_eq(text, value);
    audit_limit_text(&spec.rules[0], text, sizeof text);
    cr_expect_str_eq(text, limit);
    audit_advice(&audited.rules[0], text, sizeof text);
    cr_expect(*advice ? strstr(text, advice) != NULL : !*text, "%s", text);
    audited_close(&audited);
    spec_close(&spec);
}

Test(audit_json, audit_texts_show_the_numbers_that_are_judged)
{
    expect_texts(against,
                 "\"measure\":\"deviation.hausdorff\",\"relation\":\"at most\",\"limit\":0.6,\"unit\":\"mm\"",
                 "0.5 to 0.75 mm", "at most 0.6 mm", "measure again with --certify 0.00001");
    expect_texts(against,
                 "\"measure\":\"deviation.hausdorff\",\"relation\":\"at most\",\"limit\":0.6,\"unit\":\"in\"",
                 "0.019685 to 0.0295276 in", "at most 0.6 in", "");
}

Test(audit_json, audit_texts_of_statements_counts_and_the_unknown)
{
    expect_texts(alone, "\"measure\":\"subject.topology.closed\",\"relation\":\"equals\",\"limit\":true",
                 "false", "is true", "");
    expect_texts(alone, "\"measure\":\"subject.topology.open_edges\",\"relation\":\"below\",\"limit\":5", "3",
                 "below 5", "");
    expect_texts(alone, LIMIT("deviation.hausdorff", "mm"), "not known", "at most 1 mm",
                 "measure it against its scan");
    expect_texts(unknown_units, LIMIT("subject.area", "in"), "not known", "at most 1 in\xc2\xb2", "state it");
    expect_texts(alone, LIMIT("subject.volume", "diagonal"), "0.131097 of the diagonal\xc2\xb3",
                 "at most 1 of the diagonal\xc2\xb3", "");
    expect_texts(
        against,
        "\"findings\":{\"kinds\":[\"lost\"],\"take\":\"faces\"},\"relation\":\"at most\",\"limit\":9",
        "5 or more", "at most 9", "more findings than the record lists");
    expect_texts(against,
                 "\"measure\":\"deviation.hausdorff\",\"relation\":\"at "
                 "most\",\"limit\":1,\"unit\":\"mm\",\"decision\":"
                 "\"guarded\",\"uncertainty\":{\"standard\":0.5,\"unit\":\"mm\",\"source\":\"s\"}",
                 "0.5 to 0.75 mm", "at most 1 mm", "standard uncertainty is at most 0.151515 mm");
}

Test(audit_json, audit_is_the_same_to_the_byte)
{
    struct spec spec = spec_of(LIMIT("deviation.hausdorff", "mm"));
    struct audit_request request = request_of(&spec);
    char *texts[2];
    size_t sizes[2];
    struct error err;
    for (int i = 0; i < 2; i++) {
        struct audited audited = audited_of(against, &spec);
        cr_assert(audit_text(&audited, &request, &texts[i], &sizes[i], &err));
        audited_close(&audited);
    }
    cr_expect_eq(sizes[0], sizes[1]);
    cr_expect_str_eq(texts[0], texts[1]);
    cr_expect_not_null(strstr(texts[0], "\"cautions\":[\"Measures describe the files, not the object"));
    free(texts[0]);
    free(texts[1]);
    spec_close(&spec);
}

Test(audit_json, sarif_takes_reasons_of_any_length_and_names_of_any_script)
{
    char rule[2600];
    int used =
        snprintf(rule, sizeof rule, "\"name\":\"N\xc3\xa4he\",%s,\"reason\":\"", LIMIT("subject.area", "mm"));
    struct error err;
    char text[3000];
    for (int i = 0; i < 401; i++)
        used += snprintf(rule + used, sizeof rule - (size_t)used, "\xe6\xb8\xac");
    snprintf(text, sizeof text,
             "{\"schema\":\"fettle/spec/"
             "1\",\"name\":\"N\",\"purpose\":\"P\",\"rules\":[{\"id\":\"r\",\"source\":\"none\",%s\"}]}",
             rule);
    struct spec spec;
    cr_assert(spec_open(text, strlen(text), &measures, &spec, &err), "%s", err.text);
    struct audit_request request = request_of(&spec);
    char *record = strdup(alone);
    memcpy(strstr(record, "a.obj"), "\xc3\xa4 %b", 5);
    struct audited audited = audited_of(record, &spec);
    char *sarif;
    size_t size;
    cr_assert(audit_sarif(&audited, &request, &sarif, &size, &err), "%s", err.text);
    cr_expect_not_null(strstr(sarif, "%C3%A4%20%25b"));
    json_t *log = json_loads(sarif, 0, NULL);
    cr_expect_not_null(log);
    json_decref(log);
    free(sarif);
    free(record);
    audited_close(&audited);
    spec_close(&spec);
}
