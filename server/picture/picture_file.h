/* picture_file.h - writing pictures: at any offset, in sections that begin at multiples of 8 bytes. */
#ifndef PICTURE_PICTURE_FILE_H
#define PICTURE_PICTURE_FILE_H

#include "base/error.h"

static inline uint64_t picture_align(uint64_t offset)
{
    return (offset + 7) & ~(uint64_t)7;
}

/* Writes all bytes at an offset; ERROR_MACHINE where fd takes no more. */
bool picture_write_at(int fd, const void *bytes, size_t count, uint64_t offset, struct error *err);

/* Writes zeros before an offset that is a multiple of 8, for what is written there to end at it. */
bool picture_write_end(int fd, uint64_t offset, struct error *err);

#endif
