/* base64.c - letters to bytes. */
#include "http/base64.h"

#include <stdint.h>
#include <string.h>

static const char letters[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";

bool base64_decode(const char *text, size_t size, unsigned char *out, size_t *count)
{
    size_t padding = 0;
    uint32_t bits = 0;
    int held = 0;

    *count = 0;
    if (size % 4)
        return false;
    while (padding < 2 && padding < size && text[size - padding - 1] == '=')
        padding++;
    for (size_t i = 0; i < size - padding; i++) {
        const char *letter = memchr(letters, text[i], 64);
        if (!letter)
            return false;
        bits = bits << 6 | (uint32_t)(letter - letters);
        held += 6;
        if (held >= 8) {
            held -= 8;
            out[(*count)++] = (unsigned char)(bits >> held);
        }
    }
    return !(bits & ((1u << held) - 1));
}

char base64_letter(unsigned bits)
{
    return letters[bits & 63];
}
