/* text.h - a growing text for documents: plain, or escaped for XML and HTML.
 *
 * It remembers whether memory ran out; who began it looks once, at the end. */
#ifndef REPORT_TEXT_H
#define REPORT_TEXT_H

#include <stdbool.h>
#include <stddef.h>

struct text {
    char *bytes; /* the owner frees it */
    size_t size, room;
    bool failed;
};

void text_add_bytes(struct text *text, const char *bytes, size_t count);
void text_add(struct text *text, const char *plain);
/* plain: UTF-8. With & < > " ' as entities. What XML 1.0 has no way to hold (control characters, U+FFFE and
 * U+FFFF) becomes '?'; tab, newline
 * and return become character references, so that an attribute keeps them. */
void text_add_escaped(struct text *text, const char *plain);
void text_add_format(struct text *text, const char *format, ...) __attribute__((format(printf, 2, 3)));

#endif
