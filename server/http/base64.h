/* base64.h - Base64 (RFC 4648 section 4), read strictly: padded, without line ends, no bits left over. */
#ifndef HTTP_BASE64_H
#define HTTP_BASE64_H

#include <stdbool.h>
#include <stddef.h>

/* out has room for size / 4 * 3 bytes; *count is how many came. */
bool base64_decode(const char *text, size_t size, unsigned char *out, size_t *count);
/* The letter that stands for the lowest six bits. */
char base64_letter(unsigned bits);

#endif
