/* etag.h - entity tags (RFC 9110 section 8.8.3) made of bytes, and the headers that list them. */
#ifndef HTTP_ETAG_H
#define HTTP_ETAG_H

#include <stdbool.h>
#include <stddef.h>

#define ETAG_SIZE 72

/* A strong tag: the first 32 hex digits of the bytes' SHA-256, in quotes. */
void etag_of_bytes(const void *bytes, size_t size, char etag[ETAG_SIZE]);

/* True when list (an If-Match or If-None-Match value) is "*" or names etag. The weak comparison, for
 * If-None-Match, ignores W/; the strong one, for If-Match, never matches a weak tag. */
bool etag_list_has(const char *list, const char *etag, bool weak);

#endif
