/* sha512.c - SHA-512 by nettle. */
#include "base/sha512.h"

#include <nettle/sha2.h>

_Static_assert(sizeof(struct sha512_ctx) <= sizeof(struct sha512), "the context must fit");

static struct sha512_ctx *context(struct sha512 *sha512)
{
    return (struct sha512_ctx *)(void *)sha512->state;
}

void sha512_begin(struct sha512 *sha512)
{
    sha512_init(context(sha512));
}

void sha512_add(struct sha512 *sha512, const void *bytes, size_t count)
{
    sha512_update(context(sha512), count, bytes);
}

void sha512_end(struct sha512 *sha512, char hex[SHA512_HEX_SIZE])
{
    static const char digits[] = "0123456789abcdef";
    uint8_t raw[SHA512_DIGEST_SIZE];
    sha512_digest(context(sha512), sizeof raw, raw);
    for (size_t i = 0; i < sizeof raw; i++) {
        hex[2 * i] = digits[raw[i] >> 4];
        hex[2 * i + 1] = digits[raw[i] & 15];
    }
    hex[SHA512_HEX_SIZE - 1] = '\0';
}
