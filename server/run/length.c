/* length.c - units of length by name, and lengths as people state them. */
#include "run/length.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const struct {
    const char *name;
    double micrometres; /* of one unit: whole numbers, so that a conversion rounds as little as it can */
} units_table[UNITS_COUNT] = {
    [UNITS_UNKNOWN] = {"unknown", 0}, [UNITS_MM] = {"mm", 1000},  [UNITS_CM] = {"cm", 10000},
    [UNITS_M] = {"m", 1000000},       [UNITS_IN] = {"in", 25400}, /* exact: international inch, 1959 */
};

const char *run_units_name(enum run_units units)
{
    return units_table[units].name;
}

bool run_units_parse(const char *text, enum run_units *units)
{
    for (int i = 0; i < UNITS_COUNT; i++)
        if (strcmp(text, units_table[i].name) == 0) {
            *units = (enum run_units)i;
            return true;
        }
    return false;
}

static const char *skip_digits(const char *text)
{
    return text + strspn(text, "0123456789");
}

const char *decimal_parse(const char *text, double *number)
{
    const char *at = text + (*text == '+' || *text == '-');
    const char *whole_end = skip_digits(at), *end = whole_end;
    size_t digits = (size_t)(whole_end - at);

    if (*end == '.') {
        end = skip_digits(end + 1);
        digits += (size_t)(end - whole_end - 1);
    }
    if (digits == 0)
        return NULL;
    if (*end == 'e' || *end == 'E') {
        const char *exponent = end + 1 + (end[1] == '+' || end[1] == '-');
        if (skip_digits(exponent) > exponent)
            end = skip_digits(exponent);
    }
    *number = strtod(text, NULL); /* the syntax above is the whole of what it can read here */
    return isfinite(*number) ? end : NULL;
}

bool length_parse(const char *text, enum run_units units, double *length, struct error *err)
{
    double number;
    enum run_units stated = units;
    const char *suffix = decimal_parse(text, &number);

    if (!suffix || number < 0 || (*suffix && !strchr(" cim", *suffix)))
        return error_set(err, ERROR_USAGE, "'%s' is not a length; write one such as 0.4 or 0.4mm", text);
    suffix += *suffix == ' ';
    if (*suffix && (!run_units_parse(suffix, &stated) || stated == UNITS_UNKNOWN))
        return error_set(err, ERROR_USAGE, "the unit of '%s' is not one of mm, cm, m, in", text);
    if (*suffix && units == UNITS_UNKNOWN)
        return error_set(err, ERROR_USAGE,
                         "'%s' has a unit but the files have none; say theirs with --units, or leave it out",
                         text);
    *length =
        stated == units ? number : number * units_table[stated].micrometres / units_table[units].micrometres;
    if (!isfinite(*length))
        return error_set(err, ERROR_USAGE, "'%s' is too large for a length", text);
    return true;
}
