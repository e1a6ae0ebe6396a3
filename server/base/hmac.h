/* hmac.h - HMAC-SHA-256 (RFC 2104 with FIPS 180-4) as lower-case hex. */
#ifndef BASE_HMAC_H
#define BASE_HMAC_H

#include "base/digest.h"

/* Of `count` pieces one after the other. */
struct hmac_piece {
    const void *bytes;
    size_t size;
};
void hmac_sha256(const void *key, size_t key_size, const struct hmac_piece *pieces, size_t count,
                 char hex[DIGEST_HEX_SIZE]);

#endif
