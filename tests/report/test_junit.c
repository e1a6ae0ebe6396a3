/* test_junit.c
 *   junit_*  one case a rule; counts agree with the cases; every text escaped (tests/cli/audit.test.mjs asks
 * a published schema) */
#include "report/junit.h"

#include "json/spec_json.h"

#include <criterion/criterion.h>
#include <stdlib.h>
#include <string.h>

static const char record[] =
    "{\"schema\":\"fettle/run/"
    "1\",\"kind\":\"scan\",\"reference\":null,\"subject\":{\"file\":{\"name\":\"<a>&.obj\","
    "\"units\":\"mm\"},\"topology\":{\"open_edges\":3,\"shells\":1,\"nonmanifold_edges\":2,\"genus\":null}}}";
#define RULE(id, measure, more)                                                                              \
    "{\"id\":\"" id "\",\"measure\":\"subject.topology." measure "\",\"relation\":\"at most\",\"limit\":1,"  \
    "\"reason\":\"a < b & \\\"c\\\"\",\"source\":\"none\"" more "}"
static const char text[] = "{\"schema\":\"fettle/spec/1\",\"name\":\"N\",\"purpose\":\"P\",\"rules\":[" RULE(
    "good", "shells", "") "," RULE("bad", "open_edges",
                                   "") "," RULE("waived", "nonmanifold_edges",
                                                "") "," RULE("open", "genus",
                                                             "") "," RULE("told", "open_edges",
                                                                          ",\"need\":\"advisory\"") "]}";

static size_t count(const char *in, const char *what)
{
    size_t found = 0;
    for (; (in = strstr(in, what)) != NULL; in++)
        found++;
    return found;
}

Test(junit, junit_has_a_case_a_rule_and_counts_that_agree)
{
    static const struct waiver waiver = {"waived", "agreed <today>", "R. Roe", "2026-12-31"};
    struct measure_list measures;
    struct spec spec;
    struct audited audited;
    struct error err;
    char *xml;
    size_t size;
    cr_assert(measures_open(&measures, &err) && spec_open(text, strlen(text), &measures, &spec, &err), "%s",
              err.text);
    struct audit_request request = {&spec, &measures, &waiver, 1, "2026-11-28"};
    cr_assert(audited_make(record, strlen(record), &request, &audited, &err), "%s", err.text);
    cr_assert(junit_write(&audited, &request, &xml, &size, &err), "%s", err.text);
    cr_expect_eq(strlen(xml), size);
    cr_expect_not_null(
        strstr(
            xml,
            "<testsuite name=\"&lt;a&gt;&amp;.obj\" tests=\"5\" failures=\"1\" errors=\"1\" skipped=\"1\""),
        "%s", xml);
    cr_expect_eq(count(xml, "<testcase "), 5);
    cr_expect_eq(count(xml, "</testcase>"), 5);
    cr_expect_eq(count(xml, "<failure "), 1);
    cr_expect_eq(count(xml, "<error "), 1);
    cr_expect_eq(count(xml, "<skipped>"), 1);
    cr_expect_not_null(strstr(xml, "waived until 2026-12-31 by R. Roe: agreed &lt;today&gt;</skipped>"));
    cr_expect_not_null(strstr(xml, "message=\"a &lt; b &amp; &quot;c&quot;\" type=\"does not "
                                   "conform\">value: 3; limit: at most 1; does not conform</failure>"),
                       "%s", xml);
    free(xml);
    audited_close(&audited);
    spec_close(&spec);
    measures_close(&measures);
}
