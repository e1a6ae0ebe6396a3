/* test_compose.c
 *   report_*  of a run without stored pictures; of a record that says almost nothing; of no audit */
#include "report/audit_report.h"
#include "store/audits.h"
#include "store/folder.h"
#include "store/specs.h"

#include <criterion/criterion.h>
#include <stdlib.h>
#include <string.h>

#define BARE "{\"schema\":\"fettle/run/1\"}\n"
#define BOXED                                                                                                \
    "{\"schema\":\"fettle/run/1\",\"subject\":{\"bounds\":{\"min\":[0,0,0],\"max\":[1,1,1]}},"               \
    "\"findings\":[{\"kind\":\"open_loop\",\"severity\":\"fault\",\"mesh\":\"subject\",\"at\":[0,0,0],"      \
    "\"text\":\"open <here>\"}],\"findings_total\":1}\n"
#define AUDIT                                                                                                \
    "{\"outcome\":\"undecided\",\"spec\":{\"name\":\"House\",\"version\":1},\"rules\":[{\"id\":\"a\","       \
    "\"name\":\"A\",\"outcome\":\"undecided\",\"value_text\":\"not known\",\"limit_text\":\"at most "        \
    "1\"}]}\n"

static struct folder folder;
static struct measure_list measures;

static void begin(void)
{
    folder_begin(&folder);
    cr_assert(measures_open(&measures, &folder.err));
}
static void end(void)
{
    measures_close(&measures);
    folder_end(&folder);
}
TestSuite(report, .init = begin, .fini = end);

static int64_t make_audit(const char *record)
{
    struct store_spec_new spec = {.name = "House", .version = 1, .body = "{}"};
    struct store_audit_new audit = {.outcome = "undecided", .body = AUDIT};
    bool created;
    int64_t id;
    add_version(&folder, add_specimen(&folder, "A-1"), "scan", 0, "some bytes of a scan");
    audit.run = finish_job(&folder, claim_next_job(&folder), record, 1, 0);
    memset(spec.sha256, 'a', sizeof spec.sha256 - 1);
    memset(audit.sha256, 'b', sizeof audit.sha256 - 1);
    cr_assert(store_spec_add(folder.store, &spec, &audit.spec, &created, &folder.err), "%s", folder.err.text);
    cr_assert(store_audit_add(folder.store, &audit, &id, &created, &folder.err), "%s", folder.err.text);
    return id;
}

static char *html_of(int64_t audit)
{
    char *html;
    size_t size;
    cr_assert(audit_report_write(folder.store, audit, &measures, REPORT_HTML, &html, &size, &folder.err),
              "%s", folder.err.text);
    return html;
}

Test(report, report_without_pictures_says_how_to_have_them)
{
    char *html = html_of(make_audit(BOXED));
    cr_expect_not_null(strstr(html, "There is no picture of scan 1"));
    cr_expect_not_null(strstr(html, "fettle remeasure"));
    cr_expect_not_null(strstr(html, "open &lt;here&gt;"));
    cr_expect_not_null(strstr(html, "this audit is not signed"));
    free(html);
}

Test(report, report_of_a_record_that_says_nothing_is_made_all_the_same)
{
    char *html = html_of(make_audit(BARE)), *pdf;
    size_t size;
    cr_expect_not_null(strstr(html, "The record tells no extent"));
    cr_expect_not_null(strstr(html, "not known"));
    cr_assert(audit_report_write(folder.store, 1, &measures, REPORT_PDF, &pdf, &size, &folder.err), "%s",
              folder.err.text);
    free(pdf);
    free(html);
}

Test(report, report_of_no_audit_is_not_found)
{
    char *bytes;
    size_t size;
    cr_expect_not(audit_report_write(folder.store, 7, &measures, REPORT_PDF, &bytes, &size, &folder.err));
    cr_expect_eq(folder.err.code, ERROR_NOT_FOUND, "%s", folder.err.text);
}
