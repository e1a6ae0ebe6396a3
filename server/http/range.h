/* range.h - the Range header (RFC 9110 section 14) for single byte ranges. */
#ifndef HTTP_RANGE_H
#define HTTP_RANGE_H

#include <stdbool.h>
#include <stdint.h>

enum range_kind {
    RANGE_WHOLE,         /* no range, several, another unit or not well-formed: answer 200 with everything */
    RANGE_PART,          /* answer 206 */
    RANGE_UNSATISFIABLE, /* answer 416 */
};

struct byte_range {
    enum range_kind kind;
    uint64_t first, size; /* of RANGE_PART */
};

/* value may be NULL; total is the length of the whole. */
struct byte_range range_parse(const char *value, uint64_t total);

#endif
