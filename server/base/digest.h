/* digest.h - SHA-256 (FIPS 180-4) as lower-case hex. */
#ifndef BASE_DIGEST_H
#define BASE_DIGEST_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define DIGEST_HEX_SIZE 65 /* 64 hex digits and the terminator */

struct digest {
    uint64_t state[32]; /* opaque: holds the context */
};

void digest_begin(struct digest *digest);
void digest_add(struct digest *digest, const void *bytes, size_t count);
void digest_end(struct digest *digest, char hex[DIGEST_HEX_SIZE]);
/* The raw 32 bytes instead of the hex digits. */
void digest_end_raw(struct digest *digest, uint8_t raw[32]);
/* True for exactly 64 lower-case hex digits. */
bool digest_is_hex(const char *text);

#endif
