/* test_api_compare.c
 *   verdict_*  the rules of api_compare.h, by hand-made numbers
 *   row_*      alignment of two small records; what is not comparable */
#include "json/api_compare.h"

#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const char *exact(enum measure_direction direction, double value, double base)
{
    return compare_verdict(direction, true, value, value, value, base, base, base);
}

Test(api_compare, verdict_of_exact_measures_follows_the_direction)
{
    cr_expect(eq(str, (char *)exact(MEASURE_LOWER_IS_BETTER, 3, 5), "better"));
    cr_expect(eq(str, (char *)exact(MEASURE_LOWER_IS_BETTER, 5, 3), "worse"));
    cr_expect(eq(str, (char *)exact(MEASURE_HIGHER_IS_BETTER, 5, 3), "better"));
    cr_expect(eq(str, (char *)exact(MEASURE_HIGHER_IS_BETTER, 3, 5), "worse"));
    cr_expect(eq(str, (char *)exact(MEASURE_NO_DIRECTION, 3, 5), "differs"));
    cr_expect(eq(str, (char *)exact(MEASURE_LOWER_IS_BETTER, 5, 5), "no change"));
    cr_expect(exact(MEASURE_LOWER_IS_BETTER, NAN, 5) == NULL);
    cr_expect(exact(MEASURE_LOWER_IS_BETTER, 5, NAN) == NULL);
}

Test(api_compare, verdict_of_intervals_needs_them_apart)
{
    static const struct {
        const char *name, *word;
        double lower, upper, base_lower, base_upper;
    } cases[] = {
        {"below", "better", 1, 2, 3, 4},           {"above", "worse", 3, 4, 1, 2},
        {"overlap", "not told apart", 1, 3, 2, 4}, {"touch", "not told apart", 1, 2, 2, 3},
        {"inside", "not told apart", 2, 3, 1, 4},  {"same", "not told apart", 1, 2, 1, 2},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++)
        cr_expect(strcmp(compare_verdict(MEASURE_LOWER_IS_BETTER, false, cases[i].upper, cases[i].lower,
                                         cases[i].upper, cases[i].base_upper, cases[i].base_lower,
                                         cases[i].base_upper),
                         cases[i].word)
                      == 0,
                  "%s", cases[i].name);
}

static const char *of_readings(const struct measure_definition *measure, const char *a, const char *b,
                               char word[24])
{
    struct store_run runs[2] = {
        {.id = 1, .version = 1, .kind = "cage", .number = 1, .created = "", .settings = ""},
        {.id = 2, .version = 2, .kind = "cage", .number = 2, .created = "", .settings = ""}};
    struct compared_run compared[] = {{&runs[0], NAN, a, strlen(a)}, {&runs[1], NAN, b, strlen(b)}};
    struct measure_list measures = {.measure_count = 1, .measures = (struct measure_definition *)measure};
    struct api_text text;
    struct error err;
    cr_assert(api_compare_write(compared, 2, 0, &measures, &text, &err), "%s", err.text);
    const char *at = strstr(text.bytes, "\"verdicts\":[null,");
    cr_assert(at != NULL, "%s", text.bytes);
    snprintf(word, 24, "%.*s", (int)strcspn(at + 17, "]"), at + 17);
    free(text.bytes);
    return word;
}

Test(api_compare, verdict_needs_more_than_rounding_samples_or_another_level)
{
    static const struct measure_definition
        area = {.path = "x.v", .name = "x", .group = "x", .unit = "area", .of_cage = true},
        count = {.path = "x.v", .name = "x", .group = "x", .unit = "count", .of_cage = true},
        sampled = {.path = "x.v",
                   .name = "x",
                   .group = "x",
                   .unit = "degree",
                   .of_cage = true,
                   .certainty = MEASURE_SAMPLED},
        spread = {.path = "x.v",
                  .name = "x",
                  .group = "x",
                  .unit = "degree",
                  .of_cage = true,
                  .certainty = MEASURE_SAMPLED,
                  .halfwidth = "x.h"},
        places = {.path = "x.v", .name = "x", .group = "x", .unit = "count", .of_cage = true, .level = "x.l"};
    static const struct {
        const struct measure_definition *measure;
        const char *a, *b, *word;
    } cases[] = {
        {&area, "{\"x\":{\"v\":3}}", "{\"x\":{\"v\":3.000000000000004}}", "\"not told apart\""},
        {&area, "{\"x\":{\"v\":3}}", "{\"x\":{\"v\":3.0000001}}", "\"differs\""},
        {&area, "{\"x\":{\"v\":3}}", "{\"x\":{\"v\":3}}", "\"no change\""},
        {&count, "{\"x\":{\"v\":2000000000}}", "{\"x\":{\"v\":2000000001}}", "\"differs\""},
        {&sampled, "{\"x\":{\"v\":10}}", "{\"x\":{\"v\":80}}", "\"not told apart\""},
        {&spread, "{\"x\":{\"v\":10,\"h\":1}}", "{\"x\":{\"v\":80,\"h\":1}}", "\"differs\""},
        {&spread, "{\"x\":{\"v\":10,\"h\":1}}", "{\"x\":{\"v\":12,\"h\":1}}", "\"not told apart\""},
        {&spread, "{\"x\":{\"v\":10,\"h\":1}}", "{\"x\":{\"v\":80}}", "\"not told apart\""},
        {&places, "{\"x\":{\"v\":4,\"l\":1}}", "{\"x\":{\"v\":2,\"l\":1}}", "\"differs\""},
        {&places, "{\"x\":{\"v\":4,\"l\":1}}", "{\"x\":{\"v\":2,\"l\":1.5}}", "\"not told apart\""},
    };
    char word[24];
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++)
        cr_expect(strcmp(of_readings(cases[i].measure, cases[i].a, cases[i].b, word), cases[i].word) == 0,
                  "%zu: %s", i, word);
}

static const char record_a[] =
    "{\"subject\":{\"file\":{\"units\":\"mm\"},\"topology\":{\"open_edges\":7,\"genus\":null}},"
    "\"deviation\":{\"hausdorff\":{\"lower\":0.5,\"upper\":0.6},"
    "\"reference_to_subject\":{\"mean\":2,\"halfwidth\":{\"mean\":0.5},\"sampled\":null}},"
    "\"control_excess\":{\"reference_to_subject\":{\"mean\":{\"lower\":1,\"upper\":2}}}}";
static const char record_b[] =
    "{\"subject\":{\"file\":{\"units\":\"mm\"},\"topology\":{\"open_edges\":3,\"genus\":1}},"
    "\"deviation\":{\"hausdorff\":{\"lower\":0.1,\"upper\":0.2},"
    "\"reference_to_subject\":{\"mean\":1,\"halfwidth\":{\"mean\":0.25},\"sampled\":{\"N\":9,\"seed\":1}}},"
    "\"control_excess\":{\"reference_to_subject\":{\"mean\":{\"lower\":3,\"upper\":4}}}}";

static struct store_run run_of(int64_t id, const char *reference)
{
    return (struct store_run){.id = id,
                              .version = id,
                              .kind = "cage",
                              .number = id,
                              .created = "2026-11-25T12:00:00Z",
                              .definitions = 1,
                              .settings = "{}",
                              .reference_sha256 = reference};
}

static char *compare(const struct store_run *a, const struct store_run *b)
{
    static struct measure_definition definitions[] = {
        {.path = "subject.topology.open_edges",
         .name = "Open edges",
         .group = "topology",
         .unit = "count",
         .direction = MEASURE_LOWER_IS_BETTER,
         .of_cage = true},
        {.path = "deviation.hausdorff.upper",
         .name = "Hausdorff distance",
         .group = "deviation",
         .unit = "length",
         .direction = MEASURE_LOWER_IS_BETTER,
         .of_cage = true,
         .lower = "deviation.hausdorff.lower",
         .upper = "deviation.hausdorff.upper"},
        {.path = "deviation.reference_to_subject.mean",
         .name = "Mean loss",
         .group = "deviation",
         .unit = "length",
         .certainty = MEASURE_CERTIFIED,
         .of_cage = true,
         .halfwidth = "deviation.reference_to_subject.halfwidth.mean"},
        {.path = "control_excess.reference_to_subject.mean.upper",
         .name = "Polygon: mean loss",
         .group = "limit",
         .unit = "length",
         .certainty = MEASURE_CERTIFIED,
         .of_cage = true,
         .lower = "control_excess.reference_to_subject.mean.lower",
         .upper = "control_excess.reference_to_subject.mean.upper"},
        {.path = "subject.only.of.scans", .name = "x", .group = "x", .unit = "count", .of_scan = true},
    };
    struct measure_list measures = {.measure_count = 5, .measures = definitions};
    struct compared_run runs[] = {{a, NAN, record_a, sizeof record_a - 1},
                                  {b, 0.4, record_b, sizeof record_b - 1}};
    struct api_text text;
    struct error err;
    cr_assert(api_compare_write(runs, 2, 0, &measures, &text, &err), "%s", err.text);
    return text.bytes;
}

Test(api_compare, row_tells_difference_and_verdict)
{
    struct store_run a = run_of(1, "r"), b = run_of(2, "r");

    char *text = compare(&a, &b);

    cr_expect(strstr(text, "\"measure\":\"subject.topology.open_edges\"") != NULL);
    cr_expect(
        strstr(text,
               "\"values\":[7,3],\"differences\":[0,-4],\"verdicts\":[null,\"better\"],\"comparable\":[true,"
               "true]")
            != NULL,
        "%s", text);
    cr_expect(strstr(text, "\"values\":[0.6,0.2]") != NULL);
    cr_expect(strstr(text, "\"lower\":[0.5,0.1],\"upper\":[0.6,0.2]") != NULL);
    cr_expect(strstr(text, "subject.only.of.scans") == NULL);
    free(text);
}

Test(api_compare, row_tells_which_run_has_samples)
{
    struct store_run a = run_of(1, "r"), b = run_of(2, "r");

    char *text = compare(&a, &b);

    const char *mean = strstr(text, "\"deviation.reference_to_subject.mean\""),
               *excess = strstr(text, "\"control_excess.reference_to_subject.mean.upper\"");
    cr_assert(mean && excess);
    const char *of_mean = strstr(mean, "\"sampled\":"), *of_excess = strstr(excess, "\"sampled\":");
    cr_assert(of_mean && of_excess);
    cr_expect(strncmp(of_mean, "\"sampled\":[false,true]", 22) == 0, "%s", text);
    cr_expect(strncmp(of_excess, "\"sampled\":[false,true]", 22) == 0, "%s", text);
    free(text);
}

Test(api_compare, row_of_excess_needs_the_same_reference)
{
    struct store_run a = run_of(1, "r"), b = run_of(2, "other");

    char *text = compare(&a, &b);

    cr_expect(strstr(text, "\"values\":[2,4],\"differences\":[0,null],\"verdicts\":[null,null]") != NULL,
              "%s", text);
    free(text);
}

Test(api_compare, row_of_deviation_needs_the_same_reference)
{
    struct store_run a = run_of(1, "r"), b = run_of(2, "other");

    char *text = compare(&a, &b);

    cr_expect(strstr(text, "\"values\":[7,3],\"differences\":[0,-4]") != NULL);
    cr_expect(
        strstr(text,
               "\"values\":[0.6,0.2],\"differences\":[0,null],\"verdicts\":[null,null],\"comparable\":[true,"
               "false]")
            != NULL,
        "%s", text);
    cr_expect(strstr(text, "another reference") != NULL);
    free(text);
}

Test(api_compare, row_of_other_definitions_or_settings_is_not_differenced)
{
    struct store_run a = run_of(1, "r"), b = run_of(2, "r"), c = run_of(3, "r");
    b.definitions = 2;
    c.settings = "{\"certify\":1}";

    char *by_definitions = compare(&a, &b), *by_settings = compare(&a, &c);

    cr_expect(strstr(by_definitions, "\"values\":[7,3],\"differences\":[0,null]") != NULL);
    cr_expect(strstr(by_definitions, "\"comparable\":false,\"why\":\"measured by definitions 2") != NULL);
    cr_expect(strstr(by_settings, "\"comparable\":false,\"why\":\"measured with other settings") != NULL);
    free(by_definitions);
    free(by_settings);
}

/* Both ends of an interval are certain whatever its width; what counts as far may be another thing. */
Test(api_compare, row_of_a_finer_certify_is_compared_and_findings_are_not)
{
    struct store_run a = run_of(1, "r"), b = run_of(2, "r");
    a.settings = "certify=0.0001 surface=2";
    b.settings = "certify=1.0000000000000001e-05 surface=2";

    char *finer = compare(&a, &b);
    b.settings = "certify=1.0000000000000001e-05 surface=1";
    char *other = compare(&a, &b);

    cr_expect(strstr(finer, "\"values\":[0.6,0.2]") && !strstr(finer, "\"verdicts\":[null,null]"), "%s",
              finer);
    cr_expect(strstr(finer, "\"comparable\":true,\"why\":\"measured to another width") != NULL, "%s", finer);
    cr_expect(strstr(other, "measured with other settings") != NULL, "%s", other);
    free(finer);
    free(other);
}

Test(api_compare, row_for_each_tolerance_of_any_run)
{
    static const char with_one[] =
        "{\"engine\":{\"settings\":{\"tolerances\":[0.5]}},\"deviation\":{\"reference_to_subject\":{"
        "\"sampled\":null,\"coverage\":[{\"tolerance\":0.5,\"share\":{\"lower\":0.25,\"upper\":0.75}}]}}}";
    static const char with_two[] =
        "{\"engine\":{\"settings\":{\"tolerances\":[0.1,0.5]}},\"deviation\":{\"reference_to_subject\":{"
        "\"sampled\":{\"N\":9,\"seed\":1},\"coverage\":[{\"tolerance\":0.1,\"share\":{\"lower\":0.5,"
        "\"upper\":0.5}},"
        "{\"tolerance\":0.5,\"share\":{\"lower\":0.875,\"upper\":1}}]}}}";
    static struct measure_definition within = {.path = "deviation.reference_to_subject.coverage",
                                               .name = "Area within",
                                               .group = "lost",
                                               .unit = "share",
                                               .direction = MEASURE_HIGHER_IS_BETTER,
                                               .certainty = MEASURE_CERTIFIED,
                                               .per_tolerance = true,
                                               .of_cage = true};
    struct measure_list measures = {.measure_count = 1, .measures = &within};
    struct store_run a = run_of(1, "r"), b = run_of(2, "r");
    struct compared_run runs[] = {{&a, NAN, with_one, sizeof with_one - 1},
                                  {&b, NAN, with_two, sizeof with_two - 1}};
    struct api_text text;
    struct error err;

    cr_assert(api_compare_write(runs, 2, 0, &measures, &text, &err), "%s", err.text);

    const char *first = strstr(text.bytes, "coverage@0.1\""), *second = strstr(text.bytes, "coverage@0.5\"");
    cr_assert(first && second, "%s", text.bytes);
    cr_expect(strstr(text.bytes, "\"values\":[null,0.5]") != NULL, "%s", text.bytes);
    cr_expect(strstr(text.bytes, "\"values\":[0.5,0.9375]") != NULL, "%s", text.bytes);
    cr_expect(strstr(text.bytes, "\"lower\":[0.25,0.875],\"upper\":[0.75,1]") != NULL, "%s", text.bytes);
    cr_expect(strstr(text.bytes, "\"sampled\":[false,true]") != NULL, "%s", text.bytes);
    cr_expect(strstr(text.bytes, "\"verdicts\":[null,\"better\"]") != NULL, "%s", text.bytes);
    cr_expect(strstr(text.bytes, "\"tolerances\":[0.1,0.5]") != NULL, "%s", text.bytes);
    free(text.bytes);
}

Test(api_compare, row_of_findings_needs_the_same_tolerances)
{
    static const char with[] = "{\"engine\":{\"settings\":{\"tolerances\":[0.5]}},"
                               "\"findings_of_subject\":{\"fault\":3},\"deviation\":{\"hausdorff\":2}}";
    static const char without[] = "{\"engine\":{\"settings\":{\"tolerances\":[]}},"
                                  "\"findings_of_subject\":{\"fault\":1},\"deviation\":{\"hausdorff\":1}}";
    static struct measure_definition definitions[] = {
        {.path = "deviation.hausdorff", .name = "d", .group = "d", .unit = "count", .of_cage = true},
        {.path = "findings_of_subject.fault", .name = "f", .group = "f", .unit = "count", .of_cage = true}};
    struct measure_list measures = {.measure_count = 2, .measures = definitions};
    struct store_run a = run_of(1, "r"), b = run_of(2, "r");
    struct compared_run runs[] = {{&a, NAN, with, sizeof with - 1}, {&b, NAN, without, sizeof without - 1}};
    struct api_text text;
    struct error err;

    cr_assert(api_compare_write(runs, 2, 0, &measures, &text, &err), "%s", err.text);

    cr_expect(strstr(text.bytes, "\"values\":[2,1],\"differences\":[0,-1]") != NULL, "%s", text.bytes);
    cr_expect(strstr(text.bytes, "\"values\":[3,1],\"differences\":[0,null]") != NULL, "%s", text.bytes);
    cr_expect(strstr(text.bytes, "other tolerances") != NULL, "%s", text.bytes);
    free(text.bytes);
}
