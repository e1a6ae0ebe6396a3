/* test_log.c
 *   line_*  one JSON object a line, whatever the texts hold */
#include "http/log.h"

#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <string.h>

Test(log, line_escapes_what_could_break_it)
{
    struct log_line line;

    log_begin(&line, "e");
    line.size = 0;
    log_text(&line, "k", "a\"b\\c\n\x1b[31m\xc3\xa9");

    cr_expect(strncmp(line.text, ",\"k\":\"a\\\"b\\\\c\\u000a\\u001b[31m\\u00c3\\u00a9\"", line.size) == 0);
}

Test(log, line_that_is_too_long_keeps_its_form)
{
    char text[8000];
    struct log_line line;

    memset(text, '"', sizeof text - 1);
    text[sizeof text - 1] = '\0';
    log_begin(&line, "e");
    for (int i = 0; i < 40; i++) {
        log_text(&line, "text", text);
        log_number(&line, "number", INT64_MIN);
    }
    line.text[line.size] = '\0';

    cr_expect(line.size < sizeof line.text - 2);
    cr_expect(line.text[line.size - 1] == '"' || line.text[line.size - 1] == '8'); /* of ...5808 */
    cr_expect(strstr(line.text, "\"number\":-9223372036854775808") != NULL);
}

Test(log, line_time_is_rfc_3339)
{
    char text[LOG_TIME_SIZE];

    log_time(951827696, text); /* 29 February 2000, by date -u -d @951827696 */

    cr_expect(eq(str, text, "2000-02-29T12:34:56Z"));
}
