/* tolerances.c - a short list of lengths, put in order, written and read. */
#include "store/tolerances.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static int compare(const void *left, const void *right)
{
    const double *a = left, *b = right;
    return (*a > *b) - (*a < *b);
}

bool store_tolerances_settle(struct store_tolerances *tolerances, struct error *err)
{
    double *lengths = tolerances->lengths;
    size_t kept = 0;

    for (size_t i = 0; i < tolerances->count; i++)
        if (!isfinite(lengths[i]) || !(lengths[i] > 0))
            return error_set(err, ERROR_USAGE, "a tolerance must be a length above 0, such as 0.1");
    qsort(lengths, tolerances->count, sizeof *lengths, compare);
    for (size_t i = 0; i < tolerances->count; i++)
        if (i == 0 || lengths[i] != lengths[kept - 1])
            lengths[kept++] = lengths[i];
    tolerances->count = kept;
    return true;
}

void store_tolerances_write(const struct store_tolerances *tolerances, char text[STORE_TOLERANCES_TEXT])
{
    size_t at = 0;

    text[0] = '\0';
    for (size_t i = 0; i < tolerances->count; i++) {
        char number[25];
        for (int digits = 15; digits <= 17; digits++) {
            snprintf(number, sizeof number, "%.*g", digits, tolerances->lengths[i]);
            if (strtod(number, NULL) == tolerances->lengths[i])
                break;
        }
        at += (size_t)snprintf(text + at, STORE_TOLERANCES_TEXT - at, "%s%s", i ? " " : "", number);
    }
}

bool store_tolerances_read(const char *text, struct store_tolerances *tolerances, struct error *err)
{
    const char *at = text ? text : "";

    tolerances->count = 0;
    while (*at) {
        char *end;
        double length = strtod(at, &end);
        bool ascends = tolerances->count == 0 || length > tolerances->lengths[tolerances->count - 1];
        if (end == at || (*end && *end != ' ') || !isfinite(length) || !(length > 0) || !ascends
            || tolerances->count == STORE_TOLERANCES_MAX) {
            tolerances->count = 0;
            return error_set(err, ERROR_STORE, "'%.60s' is no list of tolerances", text);
        }
        tolerances->lengths[tolerances->count++] = length;
        at = end + strspn(end, " ");
    }
    return true;
}
