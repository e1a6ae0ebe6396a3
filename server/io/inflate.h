/* inflate.h - gzip (RFC 1952) and Zstandard (RFC 8878) streams, unpacked within bounds.
 *
 * Several members or frames in a row are one stream. Inflating stops at INFLATE_RATIO times the compressed
 * size (but not below INFLATE_FLOOR) and at INFLATE_MAX bytes: sizes that the stream declares are not
 * believed. */
#ifndef IO_INFLATE_H
#define IO_INFLATE_H

#include "base/arena.h"
#include "base/progress.h"
#include "io/format.h"

#define INFLATE_RATIO ((size_t)200)
#define INFLATE_FLOOR ((size_t)1 << 20)
#define INFLATE_MAX ((size_t)8 << 30)

struct inflated {
    const char *begin; /* in the arena */
    size_t bytes;
    size_t trailing_bytes; /* behind the last member, not read */
};

/* compression is FORMAT_GZIP or FORMAT_ZSTD. Errors: ERROR_SYNTAX (damaged, a wrong checksum, cut short),
 * ERROR_LIMIT, ERROR_MACHINE, ERROR_CANCELLED. */
bool inflate_bytes(const char *begin, size_t bytes, enum format compression, const struct progress *progress,
                   struct inflated *inflated, struct arena *arena, struct error *err);

#endif
