/* test_report.c
 *   take_*     each kind of line, in pieces of any size
 *   hostile_*  lines that a taken-over worker might send: ignored from there on, and never "done" */
#include "job/report.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

static struct report report;

static void take(const char *text)
{
    report_begin(&report);
    report_take(&report, text, strlen(text));
}

Test(report, take_reads_every_kind_of_line)
{
    take("sandbox 4 1\nprogress read 0.25\nformat obj\nmeasure subject.topology.genus null\n"
         "measure subject.area 0.1\nfield distance vertex 8\ndone\n");

    cr_expect_not(report.broken);
    cr_expect(report.done);
    cr_expect_eq(report.landlock_abi, 4);
    cr_expect(report.seccomp);
    cr_expect_str_eq(report.stage, "read");
    cr_expect_eq(report.fraction, 0.25);
    cr_expect_str_eq(report.format, "obj");
    cr_assert_eq(report.measure_count, 2);
    cr_expect(isnan(report.measures[0].value));
    cr_expect_str_eq(report.measures[1].path, "subject.area");
    cr_expect_eq(report.measures[1].value, 0.1);
    cr_assert_eq(report.field_count, 1);
    cr_expect_not(report.fields[0].per_face);
    cr_expect_eq(report.fields[0].count, 8);
}

Test(report, take_reads_the_same_byte_by_byte)
{
    static const char text[] = "progress read 0.5\nerror reject-syntax obj 12 - face without corners\n";
    report_begin(&report);
    for (size_t i = 0; i < sizeof text - 1; i++)
        report_take(&report, text + i, 1);

    cr_expect_not(report.broken);
    cr_expect(report.has_error);
    cr_expect_str_eq(report.code, "reject-syntax");
    cr_expect_str_eq(report.error.format, "obj");
    cr_expect_eq(report.error.line, 12);
    cr_expect_not(report.error.has_byte);
    cr_expect_str_eq(report.error.text, "face without corners");
}

Test(report, take_never_goes_back)
{
    take("progress hausdorff 0.7\nprogress read 0.1\n");
    cr_expect_eq(report.fraction, 0.7);
}

Test(report, hostile_lines_end_the_reading)
{
    static const char *const lines[] = {
        "nonsense\n",
        "\n",
        "progress read nan\n",
        "progress read 0x1p3 \n",
        "progress <b>read</b> 0.5\n",
        "measure a;b 1\n",
        "measure a inf\n",
        "measure a 1 2\n",
        "field ../../etc/passwd vertex 1\n",
        "field distance vertex 99999999999999999999\n",
        "field distance vertex -1\n",
        "format a/b\n",
        "error no-such-word obj 1 - text\n",
        "error reject-syntax obj -1 - text\n",
        "sandbox -1 1\n",
        "sandbox 1\n",
    };
    for (size_t i = 0; i < sizeof lines / sizeof lines[0]; i++) {
        char text[200];
        snprintf(text, sizeof text, "%sdone\n", lines[i]);
        take(text);
        cr_expect(report.broken, "%s", lines[i]);
        cr_expect_not(report.done, "%s", lines[i]);
    }
}

Test(report, hostile_lines_without_end_and_without_number_are_bounded)
{
    char letters[3000];
    memset(letters, 'a', sizeof letters);
    report_begin(&report);
    report_take(&report, letters, sizeof letters);
    cr_expect(report.broken);

    report_begin(&report);
    for (int i = 0; i < 1000; i++)
        report_take(&report, "measure a 1\n", 12);
    cr_expect(report.broken);
    cr_expect_eq(report.measure_count, REPORT_MEASURES_MAX);
}

Test(report, hostile_text_of_an_error_is_made_printable)
{
    take("error crashed - 0 - a\x1b[31mred\xff\n");
    cr_expect(report.has_error);
    cr_expect_str_eq(report.error.text, "a?[31mred?");
}

Test(report, take_what_write_wrote)
{
    int ends[2];
    char bytes[1024];
    cr_assert_eq(pipe(ends), 0);
    report_write(ends[1], "progress %s %.4f", "quality", 1.0 / 3);
    report_write(ends[1], "error crashed - 0 - %0600d", 0); /* longer than a line: cut, still a line */
    ssize_t count = read(ends[0], bytes, sizeof bytes);
    report_begin(&report);
    report_take(&report, bytes, (size_t)count);

    cr_expect_not(report.broken);
    cr_expect_float_eq(report.fraction, 1.0 / 3, 1e-4);
    cr_expect(report.has_error);
    close(ends[0]);
    close(ends[1]);
}
