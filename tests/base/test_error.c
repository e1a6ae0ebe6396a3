/* test_error.c
 *   describe_*  how place and text are printed
 *   text_*      what may stand in a text
 */
#include "base/error.h"

#include <criterion/criterion.h>
#include <criterion/new/assert.h>

Test(error, describe_names_format_and_line)
{
    struct error err;
    char out[300];
    cr_expect(not(error_set_line(&err, ERROR_SYNTAX, "obj", 12, "a vertex has %d numbers", 2)));
    error_describe(&err, out, sizeof out);
    cr_expect(eq(str, out, "OBJ: line 12: a vertex has 2 numbers"));
    cr_expect(eq(str, (char *)error_word(err.code), "reject-syntax"));
}

Test(error, describe_names_a_byte_even_if_it_is_the_first)
{
    struct error err;
    char out[300];
    error_set_byte(&err, ERROR_DATA, "stl", 0, "x");
    error_describe(&err, out, sizeof out);
    cr_expect(eq(str, out, "STL: byte 0: x"));
}

Test(error, text_is_printable_ascii)
{
    struct error err;
    error_set(&err, ERROR_USAGE, "%s", "a\nb\x1b[31m\xff");
    cr_expect(eq(str, err.text, "a?b?[31m?"));
    cr_expect(not(error_is_reject(err.code)));
}
