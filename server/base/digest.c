/* digest.c - SHA-256 by nettle. */
#include "base/digest.h"

#include <nettle/sha2.h>
#include <string.h>

_Static_assert(sizeof(struct sha256_ctx) <= sizeof(struct digest), "nettle's context must fit");

static struct sha256_ctx *context(struct digest *digest)
{
    return (struct sha256_ctx *)(void *)digest->state; // cppcheck-suppress ctuuninitvar
}

void digest_begin(struct digest *digest)
{
    sha256_init(context(digest));
}

void digest_add(struct digest *digest, const void *bytes, size_t count)
{
    sha256_update(context(digest), count, bytes);
}

void digest_end_raw(struct digest *digest, uint8_t raw[32])
{
    sha256_digest(context(digest), SHA256_DIGEST_SIZE, raw);
}

void digest_end(struct digest *digest, char hex[DIGEST_HEX_SIZE])
{
    static const char digits[] = "0123456789abcdef";
    uint8_t raw[32];
    digest_end_raw(digest, raw);
    for (size_t i = 0; i < 32; i++) {
        hex[2 * i] = digits[raw[i] >> 4];
        hex[2 * i + 1] = digits[raw[i] & 15];
    }
    hex[64] = '\0';
}

bool digest_is_hex(const char *text)
{
    return text && strlen(text) == 64 && strspn(text, "0123456789abcdef") == 64;
}
