/* signature.c - HMAC of timestamp and body. */
#include "notify/signature.h"

#include "base/hmac.h"

#include <stdio.h>
#include <string.h>

void signature_make(const char *secret, int64_t timestamp_s, const char *body, char out[SIGNATURE_SIZE])
{
    char head[24], hex[DIGEST_HEX_SIZE];
    int size = snprintf(head, sizeof head, "%lld.", (long long)timestamp_s);
    const struct hmac_piece pieces[] = {{head, (size_t)size}, {body, strlen(body)}};
    hmac_sha256(secret, strlen(secret), pieces, 2, hex);
    snprintf(out, SIGNATURE_SIZE, "sha256=%s", hex);
}
