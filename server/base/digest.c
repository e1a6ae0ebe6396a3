/* digest.c - SHA-256 by the processor where it can (digest_blocks.h), else by nettle. */
#include "base/digest.h"

#include "base/digest_blocks.h"

#include <nettle/sha2.h>
#include <string.h>

/* The processor's own: whole blocks go straight into the state, the rest waits. */
struct own {
    uint32_t state[8];
    uint64_t bytes; /* so far; bytes % 64 of them wait */
    uint8_t waiting[64];
};

/* What struct digest holds. */
struct context {
    bool is_own;
    union {
        struct own own;
        struct sha256_ctx nettle;
    } by;
};
_Static_assert(sizeof(struct context) <= sizeof(struct digest), "both contexts must fit");

static struct context *context(struct digest *digest)
{
    return (struct context *)(void *)digest->state; // cppcheck-suppress ctuuninitvar
}

static void own_begin(struct own *own)
{
    static const uint32_t initial[8] = {0x6a09e667, 0xbb67ae85, 0x3c6ef372, 0xa54ff53a,
                                        0x510e527f, 0x9b05688c, 0x1f83d9ab, 0x5be0cd19}; /* section 5.3.3 */
    memcpy(own->state, initial, sizeof initial);
    own->bytes = 0;
}

static void own_add(struct own *own, const uint8_t *bytes, size_t count)
{
    size_t waiting = own->bytes % 64;
    own->bytes += count;
    if (waiting > 0) {
        size_t taken = count < 64 - waiting ? count : 64 - waiting;
        memcpy(own->waiting + waiting, bytes, taken);
        if (waiting + taken < 64)
            return;
        digest_blocks(own->state, own->waiting, 1);
        bytes += taken;
        count -= taken;
    }
    digest_blocks(own->state, bytes, count / 64);
    memcpy(own->waiting, bytes + count / 64 * 64, count % 64);
}

/* Padding of section 5.1.1: a one bit, zeros, and the length in bits as a big-endian 64-bit number. */
static void own_end(struct own *own, uint8_t raw[32])
{
    uint8_t padding[72] = {0x80};
    uint64_t bits = own->bytes * 8;
    size_t zeros = (119 - own->bytes % 64) % 64 + 1;
    for (size_t i = 0; i < 8; i++)
        padding[zeros + i] = (uint8_t)(bits >> (56 - 8 * i));
    own_add(own, padding, zeros + 8);
    for (size_t i = 0; i < 32; i++)
        raw[i] = (uint8_t)(own->state[i / 4] >> (24 - 8 * (i % 4)));
}

void digest_begin(struct digest *digest)
{
    struct context *into = context(digest);
    into->is_own = digest_has_blocks();
    if (into->is_own)
        own_begin(&into->by.own);
    else
        sha256_init(&into->by.nettle);
}

void digest_add(struct digest *digest, const void *bytes, size_t count)
{
    struct context *into = context(digest);
    if (count == 0)
        return;
    if (into->is_own)
        own_add(&into->by.own, bytes, count);
    else
        sha256_update(&into->by.nettle, count, bytes);
}

void digest_end_raw(struct digest *digest, uint8_t raw[32])
{
    struct context *from = context(digest);
    if (from->is_own)
        own_end(&from->by.own, raw);
    else
        sha256_digest(&from->by.nettle, SHA256_DIGEST_SIZE, raw);
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
