/* hmac.c - by nettle. */
#include "base/hmac.h"

#include <nettle/hmac.h>
#include <stdio.h>

void hmac_sha256(const void *key, size_t key_size, const struct hmac_piece *pieces, size_t count,
                 char hex[DIGEST_HEX_SIZE])
{
    struct hmac_sha256_ctx context;
    uint8_t raw[SHA256_DIGEST_SIZE];
    hmac_sha256_set_key(&context, key_size, key);
    for (size_t i = 0; i < count; i++)
        hmac_sha256_update(&context, pieces[i].size, pieces[i].bytes);
    hmac_sha256_digest(&context, sizeof raw, raw);
    for (size_t i = 0; i < sizeof raw; i++)
        snprintf(hex + 2 * i, 3, "%02x", raw[i]);
}
