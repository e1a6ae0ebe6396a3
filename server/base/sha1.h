/* sha1.h - SHA-1 (FIPS 180-4), for protocols that name it; it tells of accidents, not of forgers. */
#ifndef BASE_SHA1_H
#define BASE_SHA1_H

#include <stddef.h>
#include <stdint.h>

#define SHA1_SIZE 20

struct sha1 {
    uint64_t state[16]; /* opaque: holds the context */
};

void sha1_begin(struct sha1 *sha1);
void sha1_add(struct sha1 *sha1, const void *bytes, size_t count);
void sha1_end(struct sha1 *sha1, uint8_t raw[SHA1_SIZE]);

#endif
