/* test_spec_json.c
 *   builtin_*   the specs that come with the program
 *   read_*      what a spec says is what is read
 *   refused_*   what is wrong is told: which rule, which key, what belongs there */
#include "json/spec_builtin.h"
#include "json/spec_json.h"

#include <criterion/criterion.h>
#include <math.h>
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
TestSuite(spec_json, .init = begin, .fini = end);

/* A spec of one rule, of these keys besides those that every rule needs. */
static const char *with_rule(const char *keys)
{
    static char text[4000];
    snprintf(text, sizeof text,
             "{\"schema\":\"fettle/spec/1\",\"name\":\"N\",\"purpose\":\"P\",\"rules\":[{\"id\":\"r\","
             "\"reason\":\"because\",\"source\":\"none\",%s}]}",
             keys);
    return text;
}
/* Of these keys besides a rule and what every spec needs. */
static const char *with_keys(const char *keys)
{
    static char text[4000];
    snprintf(text, sizeof text,
             "{\"schema\":\"fettle/spec/1\",\"name\":\"N\",\"purpose\":\"P\",%s\"rules\":[{\"id\":\"r\","
             "\"reason\":\"because\",\"source\":\"none\",\"measure\":\"deviation.hausdorff\",\"relation\":"
             "\"at most\",\"limit\":0.4,\"unit\":\"mm\"}]}",
             keys);
    return text;
}
#define ABOUT "\"measure\":\"deviation.hausdorff\",\"relation\":\"at most\",\"limit\":0.4,\"unit\":\"mm\""
#define COUNT "\"measure\":\"subject.topology.open_edges\",\"relation\":\"at most\",\"limit\":0"

static struct spec opened(const char *text)
{
    struct spec spec;
    struct error err;
    cr_assert(spec_open(text, strlen(text), &measures, &spec, &err), "%s: %s", text, err.text);
    return spec;
}

Test(spec_json, builtin_specs_all_open_and_are_found_by_name)
{
    cr_expect_eq(spec_builtin_count(), 4);
    for (size_t i = 0; i < spec_builtin_count(); i++) {
        struct spec_builtin builtin = spec_builtin_at(i), found;
        struct spec spec;
        struct error err;
        cr_assert(spec_open(builtin.bytes, builtin.size, &measures, &spec, &err), "%s: %s", builtin.name,
                  err.text);
        cr_expect(spec_builtin_find(builtin.name, &found) && found.bytes == builtin.bytes);
        cr_expect_eq(strlen(spec.sha256), 64);
        spec_close(&spec);
    }
    struct spec_builtin none;
    cr_expect_not(spec_builtin_find("prin", &none));
}

/* Whatever is in the list of measures can be judged, of either mesh. */
Test(spec_json, read_a_rule_on_every_measure)
{
    for (size_t i = 0; i < measures.measure_count; i++) {
        const struct measure_definition *measure = &measures.measures[i];
        bool is_size = !strcmp(measure->unit, "length") || !strcmp(measure->unit, "area")
                       || !strcmp(measure->unit, "volume");
        char keys[500];
        snprintf(keys, sizeof keys, "\"measure\":\"%s\",\"relation\":\"at most\",\"limit\":1%s",
                 measure->path, is_size ? ",\"unit\":\"mm\"" : "");
        struct spec spec = opened(with_rule(keys));
        cr_expect_eq(spec.rules[0].power > 0, is_size, "%s", measure->path);
        cr_expect_str_eq(spec.rules[0].name, measure->name);
        spec_close(&spec);
    }
}

Test(spec_json, read_defaults)
{
    struct spec spec = opened(with_rule(ABOUT));
    cr_expect_eq(spec.version, 1);
    cr_expect_eq(spec.signatures, 1);
    cr_expect(spec.for_scan && spec.for_cage);
    cr_expect(spec.rules[0].required && !spec.rules[0].guarded);
    cr_expect_eq(spec.rules[0].standard_uncertainty, 0);
    cr_expect_eq(spec.rules[0].about, RULE_MEASURE);
    cr_expect_eq(spec.rules[0].unit, LIMIT_MM);
    spec_close(&spec);
}

Test(spec_json, read_what_is_stated)
{
    struct spec spec = opened(with_keys("\"version\":7,\"signatures\":2,\"for\":[\"cage\"],"));
    cr_expect_eq(spec.version, 7);
    cr_expect_eq(spec.signatures, 2);
    cr_expect(!spec.for_scan && spec.for_cage);
    spec_close(&spec);
    spec = opened(
        with_rule("\"name\":\"Rims\",\"findings\":{\"kinds\":[\"open_loop\"],\"severity\":\"any\",\"mesh\":"
                  "\"subject\",\"take\":\"largest size\"},\"relation\":\"below\",\"limit\":2.5,"
                  "\"unit\":\"in\",\"need\":\"advisory\""));
    const struct rule *rule = &spec.rules[0];
    cr_expect_str_eq(rule->name, "Rims");
    cr_expect_eq(rule->about, RULE_FINDINGS);
    cr_expect_eq(rule->findings.kind_count, 1);
    cr_expect_null(rule->findings.severity);
    cr_expect_str_eq(rule->findings.mesh, "subject");
    cr_expect_eq(rule->findings.take, TAKE_LARGEST_SIZE);
    cr_expect_eq(rule->relation, RELATION_BELOW);
    cr_expect_eq(rule->unit, LIMIT_IN);
    cr_expect_not(rule->required);
    spec_close(&spec);
    spec = opened(
        with_rule("\"measure\":\"reference.topology.closed\",\"relation\":\"equals\",\"limit\":false"));
    cr_expect_eq(spec.rules[0].about, RULE_STATEMENT);
    cr_expect_not(spec.rules[0].expected);
    spec_close(&spec);
}

/* The spec's uncertainty counts for lengths, in the unit of each rule; a rule's own goes before it. */
Test(spec_json, read_uncertainties_in_the_unit_of_the_limit)
{
    struct spec spec =
        opened(with_keys("\"uncertainty\":{\"standard\":0.005,\"unit\":\"cm\",\"source\":\"certificate\"},"));
    cr_expect_float_eq(spec.rules[0].standard_uncertainty, 0.05, 1e-15);
    cr_expect_str_eq(spec.rules[0].uncertainty_source, "certificate");
    spec_close(&spec);
    spec = opened(with_rule(
        "\"measure\":\"subject.area\",\"relation\":\"at most\",\"limit\":4,\"unit\":\"cm\","
        "\"decision\":\"guarded\",\"guard_factor\":2,\"uncertainty\":{\"standard\":50,\"unit\":\"mm\","
        "\"source\":\"certificate\"}"));
    cr_expect_float_eq(spec.rules[0].standard_uncertainty, 0.5, 1e-12); /* 50 mm^2 in cm^2 */
    cr_expect_eq(spec.rules[0].guard_factor, 2);
    spec_close(&spec);
    spec = opened(with_rule(
        ABOUT
        ",\"decision\":\"guarded\",\"uncertainty\":{\"standard\":0.1,\"unit\":\"mm\",\"source\":\"s\"}"));
    cr_expect_eq(spec.rules[0].guard_factor, 1.65);
    spec_close(&spec);
}

/* RFC 8785: order of keys and form of numbers do not count. */
Test(spec_json, read_digest_is_of_what_is_said_not_of_how_it_is_written)
{
    struct spec a = opened(with_rule(ABOUT));
    char first[65];
    strcpy(first, a.sha256);
    spec_close(&a);
    a = opened(with_rule("\"unit\" : \"mm\",  \"limit\":4.0e-1,\n\"relation\":\"at "
                         "most\",\"measure\":\"deviation.hausdorff\""));
    cr_expect_str_eq(a.sha256, first);
    spec_close(&a);
    a = opened(with_rule(
        "\"measure\":\"deviation.hausdorff\",\"relation\":\"at most\",\"limit\":0.41,\"unit\":\"mm\""));
    cr_expect_str_neq(a.sha256, first);
    spec_close(&a);
}

static void expect_refused(const char *text, const char *wanted)
{
    struct spec spec;
    struct error err = {0};
    bool ok = spec_open(text, strlen(text), &measures, &spec, &err);
    cr_expect_not(ok, "taken: %s", text);
    if (ok)
        spec_close(&spec);
    cr_expect_eq(err.code, ERROR_USAGE, "%s", text);
    cr_expect_not_null(strstr(err.text, wanted), "%s:\n  %s\nwanted: %s", text, err.text, wanted);
}

Test(spec_json, refused_as_a_whole)
{
    struct spec spec;
    struct error err;
    cr_expect_not(spec_open("{\n\n\"a\" 1}", 10, &measures, &spec, &err));
    cr_expect_eq(err.line, 3);
    expect_refused("", "a spec is JSON");
    expect_refused("{} {}", "a spec is JSON");
    expect_refused("{\"name\":\"a\",\"name\":\"b\"}", "duplicate");
    expect_refused("[]", "a spec is a JSON object");
    expect_refused("{}", "\"schema\" is missing");
    expect_refused("{\"schema\":\"fettle/spec/2\"}",
                   "\"schema\" is one of fettle/spec/1, not \"fettle/spec/2\"");
    expect_refused("{\"schema\":\"fettle/spec/1\"}", "\"name\" is missing");
    expect_refused("{\"schema\":\"fettle/spec/1\",\"name\":\"\"}", "\"name\" is a text");
    expect_refused("{\"schema\":\"fettle/spec/1\",\"name\":\"N\"}", "\"purpose\" is missing");
    expect_refused("{\"schema\":\"fettle/spec/1\",\"name\":\"N\",\"purpose\":\"P\"}",
                   "\"rules\" is a list of 1 to 200 rules");
    expect_refused("{\"schema\":\"fettle/spec/1\",\"name\":\"N\",\"purpose\":\"P\",\"rules\":[]}",
                   "1 to 200 rules");
    expect_refused("{\"schema\":\"fettle/spec/1\",\"name\":\"N\",\"purpose\":\"P\",\"rules\":[3]}",
                   "rule 1: a rule is an object");
    expect_refused("{\"schema\":\"fettle/spec/1\",\"name\":\"N\",\"purpose\":\"P\",\"rules\":[{}]}",
                   "rule 1: \"id\" is missing");
    expect_refused(with_keys("\"colour\":1,"), "no key \"colour\" here; there are: schema name version");
    expect_refused(with_keys("\"version\":0,"), "\"version\" is a whole number from 1 to 1000000");
    expect_refused(with_keys("\"version\":1.5,"), "\"version\" is a whole number");
    expect_refused(with_keys("\"signatures\":3,"), "\"signatures\" is a whole number from 1 to 2");
    expect_refused(with_keys("\"for\":[],"), "\"for\" is a list of scan, cage, or both");
    expect_refused(with_keys("\"for\":[\"solid\"],"), "\"for\" is a list of scan, cage, or both");
    expect_refused(with_keys("\"for\":\"cage\","), "\"for\" is a list of scan, cage, or both");
    expect_refused(with_keys("\"uncertainty\":0.1,"),
                   "\"uncertainty\" is an object with the keys standard unit source");
    expect_refused(with_keys("\"uncertainty\":{\"standard\":0,\"unit\":\"mm\",\"source\":\"s\"},"),
                   "a number above 0");
    expect_refused(with_keys("\"uncertainty\":{\"standard\":1,\"unit\":\"ft\",\"source\":\"s\"},"),
                   "not \"ft\"");
    expect_refused(with_keys("\"uncertainty\":{\"standard\":1,\"unit\":\"mm\"},"), "\"source\" is missing");
    expect_refused(with_keys("\"uncertainty\":{\"standard\":1,\"unit\":\"share\",\"source\":\"s\"},"),
                   "rule 1 (r): the uncertainty is in share, the limit in mm");
}

Test(spec_json, refused_rules)
{
    static const char *const rows[][2] = {
        {ABOUT ",\"colour\":1", "rule 1 (r): no key \"colour\" here; there are: id name measure"},
        {ABOUT ",\"name\":7", "rule 1 (r): \"name\" is a text"},
        {ABOUT ",\"need\":\"must\"", "\"need\" is one of required|advisory, not \"must\""},
        {ABOUT ",\"need\":\"required|advisory\"", "\"need\" is one of"},
        {"\"relation\":\"at most\",\"limit\":0", "a \"measure\" or about \"findings\": say one of them"},
        {COUNT ",\"findings\":{}", "a \"measure\" or about \"findings\": say one of them"},
        {"\"measure\":\"subject.beauty\",\"relation\":\"at most\",\"limit\":0",
         "no measure \"subject.beauty\""},
        {"\"measure\":\"\",\"relation\":\"at most\",\"limit\":0", "\"measure\" is a text"},
        {"\"measure\":\"subject.topology.open_edges\",\"limit\":0", "\"relation\" is missing"},
        {"\"measure\":\"subject.topology.open_edges\",\"relation\":\"<=\",\"limit\":0",
         "\"relation\" is one of at most|at least|below|above|equals, not \"<=\""},
        {"\"measure\":\"subject.topology.open_edges\",\"relation\":\"at most|at least\",\"limit\":0",
         "\"relation\" is one of"},
        {"\"measure\":\"subject.topology.open_edges\",\"relation\":\"at most\"", "\"limit\" is a number"},
        {"\"measure\":\"subject.topology.open_edges\",\"relation\":\"at most\",\"limit\":\"0\"",
         "\"limit\" is a number"},
        {"\"measure\":\"subject.topology.open_edges\",\"relation\":\"at most\",\"limit\":true",
         "\"limit\" is a number"},
        {COUNT ",\"unit\":\"mm\"", "\"unit\" of this is count, not \"mm\""},
        {"\"measure\":\"subject.area\",\"relation\":\"at most\",\"limit\":1", "\"unit\" is missing"},
        {"\"measure\":\"subject.area\",\"relation\":\"at most\",\"limit\":1,\"unit\":\"count\"",
         "\"unit\" of a limit of area is one of mm, cm, m, in, diagonal, not \"count\""},
        {"\"measure\":\"deviation.hausdorff\",\"relation\":\"at most\",\"limit\":0.1234567,\"unit\":\"mm\"",
         "\"limit\" has at most 6 digits"},
        {"\"measure\":\"subject.topology.closed\",\"relation\":\"at most\",\"limit\":true",
         "subject.topology.closed is true or false: its \"relation\" is \"equals\""},
        {"\"measure\":\"subject.topology.closed\",\"relation\":\"equals\",\"limit\":1",
         "its \"limit\" true or false"},
        {"\"measure\":\"subject.topology.closed\",\"relation\":\"equals\",\"limit\":true,\"unit\":\"count\"",
         "what is true or false has no \"unit\""},
        {"\"findings\":[],\"relation\":\"at most\",\"limit\":0",
         "\"findings\" is an object with the keys kinds severity mesh take"},
        {"\"findings\":{\"kind\":\"open_loop\"},\"relation\":\"at most\",\"limit\":0",
         "no key \"kind\" here; there are: kinds"},
        {"\"findings\":{\"kinds\":[]},\"relation\":\"at most\",\"limit\":0",
         "\"kinds\" is a list of 1 to 32 kinds"},
        {"\"findings\":{\"kinds\":[7]},\"relation\":\"at most\",\"limit\":0", "\"kinds\" is a list of texts"},
        {"\"findings\":{\"kinds\":[\"open_lop\"]},\"relation\":\"at most\",\"limit\":0",
         "no kind of finding is called \"open_lop\""},
        {"\"findings\":{\"severity\":\"grave\"},\"relation\":\"at most\",\"limit\":0",
         "\"severity\" is one of fault|warning|note|any"},
        {"\"findings\":{\"mesh\":\"scan\"},\"relation\":\"at most\",\"limit\":0",
         "\"mesh\" is one of subject|reference|both"},
        {"\"findings\":{\"take\":\"size\"},\"relation\":\"at most\",\"limit\":0",
         "\"take\" is one of count|largest size|faces"},
        {"\"findings\":{\"kinds\":[\"lost\"],\"take\":\"largest size\"},\"relation\":\"at "
         "most\",\"limit\":0,\"unit\":\"mm\"",
         "is a length, which only open loops have"},
        {"\"findings\":{\"take\":\"largest size\"},\"relation\":\"at most\",\"limit\":0,\"unit\":\"mm\"",
         "is a length, which only open loops have"},
        {ABOUT ",\"decision\":\"shared\"", "\"decision\" is one of simple|guarded, not \"shared\""},
        {ABOUT ",\"decision\":\"guarded\"", "the decision \"guarded\" needs an \"uncertainty\""},
        {ABOUT ",\"guard_factor\":2", "\"guard_factor\" belongs to the decision \"guarded\""},
        {ABOUT ",\"decision\":\"guarded\",\"guard_factor\":0,\"uncertainty\":{\"standard\":1,\"unit\":\"mm\","
               "\"source\":\"s\"}",
         "\"guard_factor\" is a number above 0 and up to 10"},
        {COUNT ",\"uncertainty\":{\"standard\":1,\"unit\":\"mm\",\"source\":\"s\"}",
         "the uncertainty is in mm, the limit in count"},
        {"\"measure\":\"subject.topology.open_edges\",\"relation\":\"equals\",\"limit\":0,\"decision\":"
         "\"guarded\","
         "\"uncertainty\":{\"standard\":1,\"unit\":\"count\",\"source\":\"s\"}",
         "what has to equal a limit cannot be guarded"},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++)
        expect_refused(with_rule(rows[i][0]), rows[i][1]);
    expect_refused(
        "{\"schema\":\"fettle/spec/1\",\"name\":\"N\",\"purpose\":\"P\",\"rules\":[{\"id\":\"r\"," COUNT
        ",\"source\":\"s\"}]}",
        "rule 1 (r): \"reason\" is missing");
    expect_refused(
        "{\"schema\":\"fettle/spec/1\",\"name\":\"N\",\"purpose\":\"P\",\"rules\":[{\"id\":\"r\"," COUNT
        ",\"reason\":\"s\"}]}",
        "rule 1 (r): \"source\" is missing");
    expect_refused(
        "{\"schema\":\"fettle/spec/1\",\"name\":\"N\",\"purpose\":\"P\",\"rules\":[{\"id\":\"r\"," COUNT
        ",\"reason\":\"s\",\"source\":\"s\"},{\"id\":\"r\"," COUNT ",\"reason\":\"s\",\"source\":\"s\"}]}",
        "rule 2 (r): rule 1 has that id too");
}

Test(spec_json, refused_more_than_200_rules)
{
    char *text = malloc(60000), *at = text;
    at += sprintf(at, "{\"schema\":\"fettle/spec/1\",\"name\":\"N\",\"purpose\":\"P\",\"rules\":[");
    for (int i = 0; i <= SPEC_RULES_MAX; i++)
        at += sprintf(at, "%s{\"id\":\"r%d\"," COUNT ",\"reason\":\"s\",\"source\":\"s\"}", i ? "," : "", i);
    strcpy(at, "]}");
    expect_refused(text, "1 to 200 rules");
    free(text);
}
