/* error.c - filling and describing struct error. */
#include "base/error.h"

#include <ctype.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

static const char *const words[ERROR_CODE_COUNT] = {
    [ERROR_NONE] = "none",           [ERROR_SYNTAX] = "reject-syntax", [ERROR_DATA] = "reject-data",
    [ERROR_LIMIT] = "reject-limit",  [ERROR_TYPE] = "reject-type",     [ERROR_EMPTY] = "reject-empty",
    [ERROR_USAGE] = "usage",         [ERROR_NOT_FOUND] = "not-found",  [ERROR_CONFLICT] = "conflict",
    [ERROR_BUSY] = "busy",           [ERROR_STORE] = "store",          [ERROR_MACHINE] = "machine",
    [ERROR_CANCELLED] = "cancelled",
};

/* Non-ASCII bytes go too: quoted input may not be UTF-8, and the text ends up in JSON. */
static void make_printable(char *text)
{
    for (; *text; text++)
        if ((unsigned char)*text < 0x20 || (unsigned char)*text > 0x7e)
            *text = '?';
}

__attribute__((format(printf, 4, 0))) static bool
fill(struct error *err, enum error_code code, const char *input_format, const char *format, va_list args)
{
    if (!err)
        return false;
    memset(err, 0, sizeof *err);
    err->code = code;
    snprintf(err->format, sizeof err->format, "%s", input_format);
    vsnprintf(err->text, sizeof err->text, format, args);
    make_printable(err->text);
    return false;
}

bool error_set(struct error *err, enum error_code code, const char *format, ...)
{
    va_list args;
    va_start(args, format);
    fill(err, code, "", format, args);
    va_end(args);
    return false;
}

bool error_set_line(struct error *err, enum error_code code, const char *input_format, size_t line,
                    const char *format, ...)
{
    va_list args;
    va_start(args, format);
    fill(err, code, input_format, format, args);
    va_end(args);
    if (err)
        err->line = line;
    return false;
}

bool error_set_byte(struct error *err, enum error_code code, const char *input_format, size_t byte,
                    const char *format, ...)
{
    va_list args;
    va_start(args, format);
    fill(err, code, input_format, format, args);
    va_end(args);
    if (err) {
        err->has_byte = true;
        err->byte = byte;
    }
    return false;
}

const char *error_word(enum error_code code)
{
    return (unsigned)code < ERROR_CODE_COUNT ? words[code] : "machine";
}

bool error_is_reject(enum error_code code)
{
    return code >= ERROR_SYNTAX && code <= ERROR_EMPTY;
}

void error_describe(const struct error *err, char *out, size_t out_size)
{
    char format[sizeof err->format];
    size_t i = 0;
    for (; err->format[i]; i++)
        format[i] = (char)toupper((unsigned char)err->format[i]);
    format[i] = '\0';
    if (err->line)
        snprintf(out, out_size, "%s: line %zu: %s", format, err->line, err->text);
    else if (err->has_byte)
        snprintf(out, out_size, "%s: byte %zu: %s", format, err->byte, err->text);
    else if (format[0])
        snprintf(out, out_size, "%s: %s", format, err->text);
    else
        snprintf(out, out_size, "%s", err->text);
}
