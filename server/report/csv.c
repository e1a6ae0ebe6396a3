/* csv.c - quoting. */
#include "report/csv.h"

#include <string.h>

void csv_add(struct text *text, bool is_first, const char *field)
{
    if (!is_first)
        text_add(text, ",");
    if (!field || !*field)
        return;
    const char *guard = strchr("=+-@\t\r", *field) ? "'" : "";
    if (!field[strcspn(field, ",\"\r\n")]) {
        text_add(text, guard);
        text_add(text, field);
        return;
    }
    text_add(text, "\"");
    text_add(text, guard);
    for (const char *at = field; *at;) {
        size_t plain = strcspn(at, "\"");
        text_add_bytes(text, at, plain);
        text_add(text, at[plain] ? "\"\"" : "");
        at += plain + (at[plain] != '\0');
    }
    text_add(text, "\"");
}

void csv_end_row(struct text *text)
{
    text_add(text, "\r\n");
}
