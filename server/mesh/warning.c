/* warning.c - the list of remarks about a file. */
#include "mesh/warning.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>

static void make_printable(char *text)
{
    for (; *text; text++)
        if ((unsigned char)*text < 0x20 || (unsigned char)*text > 0x7e)
            *text = '?';
}

void warning_add(struct warning_list *list, const char *code, size_t count, const char *format, ...)
{
    size_t i = 0;
    while (i < list->count && strcmp(list->entries[i].code, code) != 0)
        i++;
    if (i == WARNING_MAX)
        return;
    struct warning *entry = &list->entries[i];
    if (i == list->count) {
        va_list args;
        list->count++;
        entry->code = code;
        entry->count = 0;
        va_start(args, format);
        vsnprintf(entry->text, sizeof entry->text, format, args);
        va_end(args);
        make_printable(entry->text);
    }
    entry->count += count;
}
