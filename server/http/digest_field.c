/* digest_field.c - the sha-256 member of a digest field, in Base64 between colons. */
#include "http/digest_field.h"

#include "http/base64.h"

#include <stdio.h>
#include <string.h>

/* Exactly 32 bytes: 43 letters and one "=". */
static bool decode(const char *text, size_t size, unsigned char raw[33])
{
    size_t count;
    return size == 44 && base64_decode(text, size, raw, &count) && count == 32;
}

bool digest_field_parse(const char *value, bool *found, char hex[DIGEST_HEX_SIZE], struct error *err)
{
    *found = false;
    for (const char *at = value + strspn(value, " \t"); *at;) {
        size_t member = strcspn(at, ",");
        if (member > 8 && !memcmp(at, "sha-256=", 8)) {
            const char *begin = at + 8;
            const char *end = *begin == ':' ? memchr(begin + 1, ':', member - 9) : NULL;
            unsigned char raw[33];
            if (!end || !decode(begin + 1, (size_t)(end - begin - 1), raw))
                return error_set(err, ERROR_USAGE,
                                 "the sha-256 of a digest field must be 32 bytes in Base64 between colons");
            for (size_t i = 0; i < 32; i++)
                snprintf(hex + 2 * i, 3, "%02x", raw[i]);
            *found = true;
        }
        at += member;
        at += strspn(at, ", \t");
    }
    return true;
}

static unsigned hex_value(char c)
{
    return (unsigned)(c <= '9' ? c - '0' : c - 'a' + 10);
}

void digest_field_write(const char *hex, char field[DIGEST_FIELD_SIZE])
{
    unsigned char raw[33] = {0};
    char *out = field + sprintf(field, "sha-256=:");
    for (size_t i = 0; i < 32; i++)
        raw[i] = (unsigned char)(hex_value(hex[2 * i]) << 4 | hex_value(hex[2 * i + 1]));
    for (size_t i = 0; i < 33; i += 3) {
        uint32_t bits = (uint32_t)raw[i] << 16 | (uint32_t)raw[i + 1] << 8 | raw[i + 2];
        for (int shift = 18; shift >= 0; shift -= 6)
            *out++ = base64_letter(bits >> shift);
    }
    out[-1] = '=';
    memcpy(out, ":", 2);
}
