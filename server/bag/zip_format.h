/* zip_format.h - numbers of the zip format (PKWARE APPNOTE.TXT 6.3.10), for the writer and the reader. */
#ifndef BAG_ZIP_FORMAT_H
#define BAG_ZIP_FORMAT_H

#include <stdint.h>

enum {
    ZIP_LOCAL = 0x04034b50,     /* 4.3.7 */
    ZIP_CENTRAL = 0x02014b50,   /* 4.3.12 */
    ZIP_END = 0x06054b50,       /* 4.3.16 */
    ZIP64_END = 0x06064b50,     /* 4.3.14 */
    ZIP64_LOCATOR = 0x07064b50, /* 4.3.15 */
    ZIP_LOCAL_BYTES = 30,
    ZIP_CENTRAL_BYTES = 46,
    ZIP_END_BYTES = 22,
    ZIP64_END_BYTES = 56,
    ZIP64_LOCATOR_BYTES = 20,
    ZIP64_EXTRA = 1, /* 4.5.3 */
};
#define ZIP_FULL32 0xffffffffu
#define ZIP_FULL16 0xffffu

/* Whole numbers are little-endian, wherever they lie. */
static inline uint16_t zip_get16(const unsigned char *at)
{
    return (uint16_t)(at[0] | at[1] << 8);
}
static inline uint32_t zip_get32(const unsigned char *at)
{
    return zip_get16(at) | (uint32_t)zip_get16(at + 2) << 16;
}
static inline uint64_t zip_get64(const unsigned char *at)
{
    return zip_get32(at) | (uint64_t)zip_get32(at + 4) << 32;
}
static inline unsigned char *zip_put(unsigned char *at, uint64_t value, unsigned bytes)
{
    for (unsigned i = 0; i < bytes; i++)
        *at++ = (unsigned char)(value >> (8 * i));
    return at;
}

#endif
