/* text.c - appending. */
#include "report/text.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

void text_add_bytes(struct text *text, const char *bytes, size_t count)
{
    if (text->failed)
        return;
    if (text->room - text->size <= count) {
        size_t room = 2 * (text->room + count) + 1024;
        char *grown = realloc(text->bytes, room);
        if (!grown) {
            text->failed = true;
            return;
        }
        text->bytes = grown;
        text->room = room;
    }
    memcpy(text->bytes + text->size, bytes, count);
    text->size += count;
    text->bytes[text->size] = '\0';
}

void text_add(struct text *text, const char *plain)
{
    text_add_bytes(text, plain, strlen(plain));
}

static const char *entity_of(char byte)
{
    switch (byte) {
    case '&':
        return "&amp;";
    case '<':
        return "&lt;";
    case '>':
        return "&gt;";
    case '"':
        return "&quot;";
    case '\'':
        return "&#39;";
    case '\t':
        return "&#9;";
    case '\n':
        return "&#10;";
    case '\r':
        return "&#13;";
    default:
        return (unsigned char)byte < 0x20 || byte == 0x7f ? "?" : NULL;
    }
}

/* U+FFFE and U+FFFF in UTF-8, which XML 1.0 has no way to hold either. */
static bool is_no_character(const char *plain)
{
    return strncmp(plain, "\xef\xbf\xbe", 3) == 0 || strncmp(plain, "\xef\xbf\xbf", 3) == 0;
}

void text_add_escaped(struct text *text, const char *plain)
{
    const char *from = plain;
    while (*plain) {
        bool skipped = is_no_character(plain);
        const char *entity = skipped ? "?" : entity_of(*plain);
        if (entity) {
            text_add_bytes(text, from, (size_t)(plain - from));
            text_add(text, entity);
            from = plain + (skipped ? 3 : 1);
        }
        plain += skipped ? 3 : 1;
    }
    text_add_bytes(text, from, (size_t)(plain - from));
}

void text_add_format(struct text *text, const char *format, ...)
{
    char line[512];
    va_list arguments;
    va_start(arguments, format);
    int size = vsnprintf(line, sizeof line, format, arguments);
    va_end(arguments);
    if (size < 0 || (size_t)size >= sizeof line)
        text->failed = true;
    else
        text_add(text, line);
}
