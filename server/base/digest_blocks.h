/* digest_blocks.h - the compression of SHA-256 by the processor's own instructions, where it has them. */
#ifndef BASE_DIGEST_BLOCKS_H
#define BASE_DIGEST_BLOCKS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* True where digest_blocks may be called: x86-64 with the SHA extensions. */
bool digest_has_blocks(void);

/* FIPS 180-4, section 6.2.2: takes count blocks of 64 bytes into the state H0..H7. */
void digest_blocks(uint32_t state[8], const uint8_t *bytes, size_t count);

#endif
