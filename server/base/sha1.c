/* sha1.c - SHA-1 by nettle. */
#include "base/sha1.h"

#include <nettle/sha1.h>

_Static_assert(sizeof(struct sha1_ctx) <= sizeof(struct sha1), "the context must fit");

static struct sha1_ctx *context(struct sha1 *sha1)
{
    return (struct sha1_ctx *)(void *)sha1->state;
}

void sha1_begin(struct sha1 *sha1)
{
    sha1_init(context(sha1));
}

void sha1_add(struct sha1 *sha1, const void *bytes, size_t count)
{
    sha1_update(context(sha1), count, bytes);
}

void sha1_end(struct sha1 *sha1, uint8_t raw[SHA1_SIZE])
{
    sha1_digest(context(sha1), SHA1_SIZE, raw);
}
