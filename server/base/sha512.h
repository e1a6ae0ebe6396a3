/* sha512.h - SHA-512 (FIPS 180-4) as lower-case hex. */
#ifndef BASE_SHA512_H
#define BASE_SHA512_H

#include <stddef.h>
#include <stdint.h>

#define SHA512_HEX_SIZE 129 /* 128 hex digits and the terminator */

struct sha512 {
    uint64_t state[32]; /* opaque: holds the context */
};

void sha512_begin(struct sha512 *sha512);
void sha512_add(struct sha512 *sha512, const void *bytes, size_t count);
void sha512_end(struct sha512 *sha512, char hex[SHA512_HEX_SIZE]);

#endif
